"""What a list shows of a job and what a search looks in, drawn from its state."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from airproof.jobs.events import Event
from airproof.jobs.kinds import Verdict
from airproof.jobs.state import State, standing, state_of
from airproof.knowledge.vin import tidy_vin

SHOWN = 200  # letters of a line in a list
NOT_SEARCHED = ("verdict", "proof", "measured", "engine", "rehearsed", "unreadable")
LONGEST_WORDS = 200_000

_APART = re.compile(r"[\s.\-_/]+")


@dataclass(frozen=True)
class JobLine:
    """One line of a list of jobs; `cause`: what it was closed with, else the foremost of the last verdict."""

    number: int
    uid: str
    opened_at: str
    changed_at: str
    last_event: int
    car: str
    plate: str
    owner: str
    complaint: str
    cause: str
    closed: str


def drawn_from(events: Sequence[Event]) -> dict[str, Any]:
    """The columns of a job's row that follow from its events."""
    state = state_of(events)
    car = state.car
    return {
        "car": car_in_words(state)[:SHOWN],
        "plate": on_one_line(car.plate or "")[:SHOWN],
        "owner": on_one_line(car.owner or "")[:SHOWN],
        "complaint": on_one_line(state.complaint.payload.text if state.complaint else "")[:SHOWN],
        "cause": _cause(state)[:SHOWN],
        "closed": state.closed.payload.standing if state.closed else "",
        "plate_key": number_key(car.plate or ""),
        "vin_key": number_key(tidy_vin(car.vin or "")),
        "codes": " ".join(["", *sorted(state.codes), ""]) if state.codes else "",
    }


def words_of(events: Sequence[Event]) -> str:
    """All words of the facts that stand, for the free search."""
    said: list[str] = []
    for kind, fact in standing(events):
        if kind not in NOT_SEARCHED:
            said.extend(_texts(fact.payload.model_dump(mode="json", exclude_none=True)))
    state = state_of(events)
    said.extend((number_key(state.car.plate or ""), number_key(state.car.vin or ""), _cause(state)))
    return folded(" ".join(said))[:LONGEST_WORDS]


def car_in_words(state: State) -> str:
    """Make, model and year, as far as they were said."""
    car = state.car
    return on_one_line(" ".join(str(part) for part in (car.make, car.model, car.year) if part is not None))


def foremost(verdict: Verdict) -> tuple[str, float] | None:
    """The most probable cause of a stored verdict, with its probability; None where it judged nothing."""
    causes = verdict.verdict.get("causes")
    if verdict.verdict.get("refusal") is not None or not isinstance(causes, list):
        return None
    for cause in causes[:1]:
        if isinstance(cause, dict) and isinstance(cause.get("probability"), (int, float)):
            return str(cause.get("id", "")), float(str(cause["probability"]))
    return None


def folded(text: str) -> str:
    """In small letters, without accents, with one blank between words."""
    signs = (sign for sign in unicodedata.normalize("NFKD", text) if not unicodedata.combining(sign))
    return " ".join("".join(signs).casefold().replace("\0", " ").split())


def number_key(text: str) -> str:
    """A plate or a VIN as a search compares it: no blanks, no dashes."""
    return _APART.sub("", folded(text))


def _cause(state: State) -> str:
    if state.closed is not None:
        return on_one_line(state.closed.payload.cause)
    if not state.verdicts or state.rehearsed is not None:  # of a job to practise on a list gives nothing away
        return ""
    found = foremost(state.verdicts[-1].payload)
    return "" if found is None else on_one_line(found[0])


def on_one_line(text: str) -> str:
    """On one line, without what a database or a console stumbles over."""
    return " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())


def _texts(value: object) -> Iterable[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for inner in value.values():
            yield from _texts(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _texts(inner)
