"""Facts from TOML files.

[[code]]                      # status: stored, pending, permanent, present
id = "P0106"
status = "stored"
order = 1

[[freeze_frame]]
code = "P0106"
engine_speed = "780 1/min"
manifold_pressure = "52 kPa"

[readiness]                   # codes_read: all codes were read, and no others are there
codes_read = true
misfire = "complete"

[[look]]                      # and [[symptom]], [[history]], [[condition]]
id = "plug-loose"
found = false

[[reading]]
step = "smoke-test-intake"
found = false

[[reading]]
signal = "manifold_pressure"
value = "108.5 kPa"
regime = "key-on"

A later entry on the same thing, or with the same `id`, takes an earlier one's place; `withdrawn = true` takes it back.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, StrictBool

from airproof.diagnosis.facts import (
    KINDS,
    STORED,
    Facts,
    FreezeFrame,
    Kind,
    Noted,
    Readiness,
    StoredCode,
    about,
    entries_of,
    facts_of,
)
from airproof.diagnosis.readings import WAY_OUT, Reading, WrittenReading, reading_of
from airproof.errors import AirproofError, UnusableFile, UnusableRequest
from airproof.knowledge.lookup import UnlistedCode, explain_code, find_noticed
from airproof.knowledge.model import Knowledge
from airproof.quantities.units import canonical, parse, to_unit
from airproof.recording.signals import glossary
from airproof.toml_files import load_toml

WANTED = "what was told, seen or measured"
NOT_IN_A_FRAME = ("time", "lamp", "code_count")


class _Code(BaseModel):
    model_config = ConfigDict(extra="forbid")

    id: str
    status: str = STORED
    order: Annotated[int, Field(ge=1, le=99)] | None = None
    withdrawn: StrictBool = False
    note: str = ""


class _Noted(BaseModel):
    model_config = ConfigDict(extra="forbid")

    id: str
    found: StrictBool = True
    withdrawn: StrictBool = False
    note: str = ""


class _Frame(BaseModel):
    model_config = ConfigDict(extra="allow")  # its other keys are signals

    code: str | None = None
    id: str | None = None
    withdrawn: StrictBool = False
    note: str = ""


class _Readiness(BaseModel):
    model_config = ConfigDict(extra="allow")  # its other keys are monitors

    codes_read: StrictBool = False


class _File(BaseModel):
    model_config = ConfigDict(extra="forbid")

    reading: list[WrittenReading] = []
    code: list[_Code] = []
    freeze_frame: list[_Frame] = []
    readiness: _Readiness | None = None
    symptom: list[_Noted] = []
    look: list[_Noted] = []
    history: list[_Noted] = []
    condition: list[_Noted] = []
    # Measurements with a meter stand in the same file: diagnosis/meter/measured_file.py reads these tables.
    measured: list[Any] = []
    meter: dict[str, Any] = {}
    sensor: dict[str, Any] = {}
    day: dict[str, Any] = {}


def load_facts(
    paths: Sequence[Path], knowledge: Knowledge, codes: Sequence[str | StoredCode] = (), symptoms: Sequence[str] = ()
) -> Facts:
    """All facts of the files, in their order; `codes` and `symptoms`, by id, were said before.

    Raises UnusableFile: not TOML, a key unknown, a code, step, look, signal or unit that does not exist, or a thing
    told twice with no id that says which counts.
    """
    first = facts_of(codes, symptoms)
    kept = _Kept()
    kept.facts.update({("code", one.id): one for one in first.codes})
    kept.facts.update({(one.kind, one.id): one for one in first.noted})
    readiness: Readiness | None = None
    for path in paths:
        file = load_toml(path, _File, wanted=WANTED, way_out=WAY_OUT)
        if not file.model_fields_set - {"meter", "sensor", "day"}:
            raise UnusableFile(
                "no [[reading]], no [[measured]] and no other fact in it", WANTED, WAY_OUT, where=str(path)
            )
        kept.take_in(file, _Page(knowledge, str(path)))
        if file.readiness is not None:
            readiness = _readiness(file.readiness, _Page(knowledge, str(path)))
    return Facts(
        codes=tuple(one for one in kept.facts.values() if isinstance(one, StoredCode)),
        noted=tuple(one for one in kept.facts.values() if isinstance(one, Noted)),
        readings=tuple(kept.readings()),
        frames=tuple(one for one in kept.facts.values() if isinstance(one, FreezeFrame)),
        readiness=readiness,
    )


class _Page:
    """One file, for messages, with what is known."""

    def __init__(self, knowledge: Knowledge, where: str) -> None:
        self.knowledge, self.where = knowledge, where

    def refuse(self, given: str, wanted: str, way_out: str) -> UnusableFile:
        return UnusableFile(given, wanted, way_out, where=self.where)


class _Kept:
    """Facts by identity, the latest of each; what is withdrawn leaves no trace."""

    def __init__(self) -> None:
        self.facts: dict[Hashable, StoredCode | Noted | FreezeFrame | Reading] = {}
        self.where: dict[Hashable, str] = {}

    def take_in(self, file: _File, page: _Page) -> None:
        for code in file.code:
            one = _code(code, page)
            self._put(("code", one.id), one, withdrawn=code.withdrawn)
        for kind in KINDS:
            for entry in getattr(file, kind):
                noted = _noted(kind, entry, page)
                self._put((kind, noted.id), noted, withdrawn=entry.withdrawn)
        for number, frame in enumerate(file.freeze_frame, start=1):
            self._frame(frame, number, page)
        for number, entry in enumerate(file.reading, start=1):
            self._reading(entry, number, page)

    def _put(self, key: Hashable, fact: StoredCode | Noted | FreezeFrame | Reading, *, withdrawn: bool) -> None:
        if withdrawn:
            self.facts.pop(key, None)
        else:
            self.facts[key] = fact

    def _frame(self, entry: _Frame, number: int, page: _Page) -> None:
        values = entry.model_extra or {}
        if entry.withdrawn and not values:
            self._take_back("freeze frame", entry.id or entry.code, number, page)
            return
        code = _known_code(entry.code or "", f"freeze_frame {number}", page)
        frame = FreezeFrame(code, _frame_values(values, number, page))
        self._put(("freeze frame", entry.id or code), frame, withdrawn=entry.withdrawn)

    def _reading(self, entry: WrittenReading, number: int, page: _Page) -> None:
        if entry.withdrawn and entry.step is None and entry.signal is None:
            self._take_back("reading", entry.id, number, page)
            return
        reading = reading_of(entry, number, page.knowledge, page.where)
        key: Hashable = ("reading", entry.id) if entry.id is not None else about(reading)
        if entry.id is None and key in self.facts and not entry.withdrawn:
            name = reading.step if hasattr(reading, "step") else reading.signal
            raise page.refuse(f"{name!r} is read twice", "each reading once", "Keep the one that counts.")
        self._put(key, reading, withdrawn=entry.withdrawn)
        self.where[key] = page.where

    def _take_back(self, kind: str, name: str | None, number: int, page: _Page) -> None:
        if (kind, name) not in self.facts:
            raise page.refuse(
                f"{kind} {number} takes back {name!r}, which was not said" if name else f"{kind} {number} has no id",
                "the id of one that was given before",
                "Give the id of the one that is withdrawn.",
            )
        del self.facts[(kind, name)]

    def readings(self) -> list[Reading]:
        """All readings; of one thing there may be one."""
        found: dict[Hashable, Reading] = {}
        for key, one in self.facts.items():
            if isinstance(one, (StoredCode, Noted, FreezeFrame)):
                continue
            thing = about(one)
            if thing in found:
                name = one.step if hasattr(one, "step") else one.signal
                raise UnusableFile(
                    f"{name!r} is read twice, under two ids",
                    "each reading once",
                    "Give the later one the id of the earlier, or withdraw one.",
                    where=self.where[key],
                )
            found[thing] = one
        return list(found.values())


def _code(entry: _Code, page: _Page) -> StoredCode:
    statuses = page.knowledge.statuses
    status = entry.status.strip().lower()
    if status not in statuses:
        raise page.refuse(
            f"code {entry.id} has the status {entry.status!r}",
            f"one of {', '.join(statuses)}",
            "Leave it out where nobody knows.",
        )
    return StoredCode(_known_code(entry.id, f"code {entry.id}", page), status, entry.order)


def _known_code(text: str, what: str, page: _Page) -> str:
    try:
        code = explain_code(text, page.knowledge)
    except UnusableRequest as fault:
        raise page.refuse(f"{what}: {fault.given}", fault.wanted, fault.way_out) from fault
    if isinstance(code, UnlistedCode):
        raise page.refuse(
            f"{what}: {code.id} is not among the codes that are weighed here (it concerns {code.area})",
            "codes of the air path, mixture, boost or idle",
            "Leave it out: the verdict would not change with it.",
        )
    return code.id


def _noted(kind: Kind, entry: _Noted, page: _Page) -> Noted:
    entries = entries_of(kind, page.knowledge)
    try:
        found = find_noticed(entry.id, entries, kind, f"Known are {', '.join(entries)}.")
    except UnusableRequest as fault:
        raise page.refuse(fault.given, fault.wanted, fault.way_out) from fault
    return Noted(kind, found.id, entry.found)


def _readiness(entry: _Readiness, page: _Page) -> Readiness:
    complete: dict[str, bool] = {}
    for name, told in (entry.model_extra or {}).items():
        key = name.replace("_", "-")
        if key not in page.knowledge.monitors:
            raise page.refuse(
                f"readiness: {name!r} is not a monitor",
                f"one of {', '.join(page.knowledge.monitors)}",
                "Leave out what the car does not have.",
            )
        if told not in ("complete", "incomplete", "not supported"):
            raise page.refuse(
                f"readiness: {name} = {told!r}",
                '"complete", "incomplete" or "not supported"',
                "Write it as the car tells.",
            )
        complete[key] = told == "complete"
    return Readiness(complete, entry.codes_read)


def _frame_values(values: Mapping[str, Any], number: int, page: _Page) -> dict[str, float]:
    signals = glossary().signals
    known = [name for name in signals if name not in NOT_IN_A_FRAME]
    found: dict[str, float] = {}
    for name, written in values.items():
        if name not in known:
            near = ", ".join(get_close_matches(name, known, 3, 0.5)) or ", ".join(known[:6])
            raise page.refuse(f"freeze_frame {number}: {name!r} is not a signal", "the name of one", f"Near: {near}.")
        kind = signals[name]
        value = _value(written, kind.unit, kind.texts)
        if isinstance(value, AirproofError):
            raise page.refuse(f"freeze_frame {number}, {name}: {value.given}", value.wanted, value.way_out)
        if not kind.possible[0] <= value <= kind.possible[1]:
            raise page.refuse(
                f"freeze_frame {number}, {name}: {written}",
                f"{kind.possible[0]:g} to {kind.possible[1]:g} {kind.unit}",
                "Check value and unit.",
            )
        found[name] = value
    if not found:
        raise page.refuse(f"freeze_frame {number} holds no value", "its values", 'As in engine_speed = "780 1/min".')
    return found


def _value(written: object, unit: str, texts: Mapping[str, float]) -> float | AirproofError:
    """A value in the signal's own unit, or what is wrong with it; a ratio may be a bare number."""
    if isinstance(written, str) and written.casefold() in texts:
        return texts[written.casefold()]
    if isinstance(written, (int, float)) and not isinstance(written, bool) and unit == "1":
        return float(written)
    known = canonical(unit)
    assert known is not None  # every signal's unit is in the table: tests/recording holds it
    if not isinstance(written, str):
        return UnusableFile(f"{written!r}", f'text with its unit, as "12 {unit}"', "Write it in quotes, with its unit.")
    if unit == "1":
        words = f"a plain number{' or one of ' + ', '.join(texts) if texts else ''}"
        return UnusableFile(f"{written!r}", words, "Leave out the unit.")
    try:
        return float(to_unit(parse(written, known.kind).si, known))
    except AirproofError as fault:
        return fault
