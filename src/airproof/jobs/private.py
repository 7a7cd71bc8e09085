"""Leaving out what tells whose car it is: VIN, plate, owner, wherever they stand in what was written."""

from __future__ import annotations

import re
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from airproof.jobs.events import Event
from airproof.jobs.kinds import UNREADABLE, Car, Unreadable
from airproof.recording.recording import ColumnReading, ReadReport, Recording

FIELDS = ("vin", "plate", "owner")
LEFT_OUT = "[left out]"
OURS = uuid.UUID("5f0c3b52-5bd9-4a1c-9d2c-6a3b8d6f7b11")
"""Any UUID of our own: names of jobs without private data are made from it, RFC 4122, version 5."""

NAMES_OF_OURS = frozenset(
    {
        "id",
        "ids",
        "code",
        "signal",
        "status",
        "outcome",
        "role",
        "standing",
        "kind",
        "unit",
        "finding",
        "schema",
        "what",
    }
    | {"sha256", "facts_sha256", "program", "line"}
)
"""Keys whose values are words of the program, which a name might be spelt like."""

_IN_A_ROW = re.compile(rf'"({"|".join(FIELDS)})"\s*:\s*"((?:[^"\\]|\\.)*)')
"""What is private in a row that is damaged elsewhere."""

LEAST = 3  # letters of a word that is looked for everywhere
_WORD = re.compile(r"[^\W_]+")


@dataclass(frozen=True)
class Private:
    """What is to be left out of one job."""

    pattern: re.Pattern[str] | None

    @classmethod
    def of(cls, events: Sequence[Event]) -> Private:
        """From all that was ever said of the car, taken back or not."""
        known = [(name, value) for event in events for name, value in _said_of_car(event) if value]
        said, owners = {value for _, value in known}, {value for name, value in known if name == "owner"}
        # A plate or a VIN may stand elsewhere with other blanks; of an owner each name may stand alone.
        ways = {_loosely(value) for value in said} | {re.escape(name) for one in owners for name in _names(one)}
        long_enough = sorted((way for way in ways if len(_WORD.sub("x", way)) and _letters(way) >= LEAST), key=len)
        if not long_enough:
            return cls(None)
        joined = "|".join(reversed(long_enough))
        return cls(re.compile(rf"(?<![^\W_])(?:{joined})(?![^\W_])", re.IGNORECASE))

    def uid(self, uid: str) -> str:
        """Another name, always the same for the same: a job without its private data is another job."""
        return uuid.uuid5(OURS, uid).hex

    def without(self, event: dict[str, Any]) -> dict[str, Any]:
        """The event as JSON has it, without what is private."""
        payload = event["payload"]
        if event["kind"] == "car":
            payload = {name: value for name, value in payload.items() if name not in FIELDS}
        if event["kind"] == UNREADABLE:  # nobody knows what stands in it
            payload = {"trouble": LEFT_OUT}
        return {
            **event,
            "uid": self.uid(event["uid"]),
            "author": self.text(event["author"]),
            "payload": self._anywhere(payload),
        }

    def recording(self, recording: Recording) -> Recording:
        """The signals, with the names around them looked through."""
        report: dict[str, Any] = self._anywhere(asdict(recording.report))
        columns = tuple(ColumnReading(**column) for column in report.pop("columns"))
        remarks = tuple(report.pop("remarks"))
        return replace(
            recording,
            label=self.text(recording.label),
            report=ReadReport(**report, columns=columns, remarks=remarks),
        )

    def text(self, text: str) -> str:
        """The text with what is private replaced."""
        return text if self.pattern is None else self.pattern.sub(LEFT_OUT, text)

    def _anywhere(self, value: Any) -> Any:
        if isinstance(value, str):
            return self.text(value)
        if isinstance(value, dict):
            return {name: inner if name in NAMES_OF_OURS else self._anywhere(inner) for name, inner in value.items()}
        if isinstance(value, (list, tuple)):
            return [self._anywhere(inner) for inner in value]
        return value


def _said_of_car(event: Event) -> list[tuple[str, str]]:
    """The private fields of an event with their values, as far as they can be made out."""
    one = event.payload
    if isinstance(one, Car):
        return [(name, getattr(one, name) or "") for name in FIELDS]
    return _IN_A_ROW.findall(str(one.row.get("payload", ""))) if isinstance(one, Unreadable) else []


def _names(owner: str) -> list[str]:
    """The words of an owner's name; where some have a capital, those without are no names."""
    words = _WORD.findall(owner)
    return [word for word in words if word[0].isupper()] or words


def _loosely(text: str) -> str:
    """A pattern for the same letters with any blanks and dashes between them."""
    letters: Iterable[str] = (re.escape(sign) for word in _WORD.findall(text) for sign in word)
    return r"[\W_]{0,3}".join(letters)


def _letters(pattern: str) -> int:
    return len("".join(_WORD.findall(pattern.replace(r"[\W_]{0,3}", ""))))
