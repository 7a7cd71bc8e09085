"""Reading what is known from its data files, and refusing what is not sound.

A folder holds TOML files; each may hold tables of any kind: `sources`, `equipment`, `causes`, `families`,
`areas`, `codes`, `symptoms`, `setups`, `steps`, `prices`, `sensors`, `thermistors`, `sensor_kinds`,
`meter_tasks`, and in them one table per entry, headed by its id. A code that says `like = "P0171"` takes from
that code all it does not say itself.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from functools import lru_cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from airproof.errors import BrokenKnowledge
from airproof.knowledge.model import (
    JUDGED,
    NONE,
    Cause,
    Code,
    CodeArea,
    CodeFamily,
    Equipment,
    Knowledge,
    Known,
    Prices,
    SetUp,
    Source,
    Step,
    Symptom,
)
from airproof.knowledge.sensors import MeterTask, SensorKind, SensorLine, ThermistorTable, check_sensors

KINDS = (
    "sources", "equipment", "causes", "families", "areas", "codes", "symptoms", "setups", "steps", "prices",
    "sensors", "thermistors", "sensor_kinds", "meter_tasks",
)  # fmt: skip
WAY_OUT = "Repair that entry; the other entries of the same kind show how one looks."

Entry = TypeVar("Entry", bound=BaseModel)
Raw = dict[str, tuple[str, dict[str, Any]]]
"""By id: the file's name and the table as read."""


@lru_cache(maxsize=1)
def knowledge() -> Knowledge:
    """All that ships with the package, read once.

    Raises BrokenKnowledge naming file and entry when one of the data files is at fault.
    """
    return _load(files("airproof.knowledge") / "data")


def load_folder(folder: Path) -> Knowledge:
    """What the TOML files of a folder hold; it must be whole in itself.

    Raises BrokenKnowledge naming file and entry.
    """
    return _load(folder)


def _load(folder: Traversable) -> Knowledge:
    raw = _read(folder)
    _fill_in_alike(raw["codes"])
    prices_where, prices = _only_one(raw["prices"])
    known = Knowledge(
        sources=_entries(Source, raw["sources"]),
        equipment=_entries(Equipment, raw["equipment"]),
        causes=_entries(Cause, raw["causes"]),
        families=_entries(CodeFamily, raw["families"]),
        areas=_entries(CodeArea, raw["areas"]),
        codes=_entries(Code, raw["codes"]),
        symptoms=_entries(Symptom, raw["symptoms"]),
        steps=_entries(Step, raw["steps"]),
        prices=_entry(Prices, prices_where, "prices", prices),
        setups=_entries(SetUp, raw["setups"]),
        sensors=_entries(SensorLine, raw["sensors"]),
        thermistors=_entries(ThermistorTable, raw["thermistors"]),
        sensor_kinds=_entries(SensorKind, raw["sensor_kinds"]),
        meter_tasks=_entries(MeterTask, raw["meter_tasks"]),
    )
    _check_references(known, raw, prices_where)
    return known


def _read(folder: Traversable) -> dict[str, Raw]:
    raw: dict[str, Raw] = {kind: {} for kind in KINDS}
    names = sorted((f for f in folder.iterdir() if f.name.endswith(".toml")), key=lambda f: f.name)
    if not names:
        raise BrokenKnowledge("no .toml file in it", "a folder of data files", WAY_OUT, where=str(folder))
    for file in names:
        try:
            tables = tomllib.loads(file.read_text(encoding="utf-8"))
        except (tomllib.TOMLDecodeError, UnicodeDecodeError) as cause:
            raise BrokenKnowledge(f"not valid TOML ({cause})", "TOML", WAY_OUT, where=file.name) from cause
        for kind, entries in tables.items():
            if kind not in raw or not isinstance(entries, dict):
                raise BrokenKnowledge(f"unknown table [{kind}]", "one of " + ", ".join(KINDS), WAY_OUT, where=file.name)
            if kind == "prices":
                entries = {"prices": entries}
            for key, entry in entries.items():
                _add(raw[kind], key, file.name, entry, kind)
    return raw


def _add(into: Raw, key: str, file: str, entry: object, kind: str) -> None:
    where = f"{file}, {kind} {key}"
    if key in into:
        raise BrokenKnowledge(f"{key} is already in {into[key][0]}", "each id once", WAY_OUT, where=where)
    if not isinstance(entry, dict):
        raise BrokenKnowledge(f"{key} is not a table", f"[{kind}.{key}] and its keys", WAY_OUT, where=where)
    into[key] = (file, entry)


def _only_one(prices: Raw) -> tuple[str, dict[str, Any]]:
    """The prices, with each part knowing its id."""
    if not prices:
        raise BrokenKnowledge("no [prices]", "currency, labour and parts", WAY_OUT, where="prices")
    file, table = prices["prices"]
    parts = table.get("parts", {})
    if not isinstance(parts, dict) or not all(isinstance(part, dict) for part in parts.values()):
        raise BrokenKnowledge("parts are not tables", "[prices.parts.ID]", WAY_OUT, where=f"{file}, prices")
    return file, table | {"parts": {key: {"id": key} | part for key, part in parts.items()}}


def _fill_in_alike(codes: Raw) -> None:
    for key, (file, entry) in codes.items():
        other = entry.get("like")
        if other is None:
            continue
        if other not in codes or "like" in codes[other][1]:
            raise BrokenKnowledge(
                f"like = {other!r}",
                "a code written out in full",
                WAY_OUT,
                where=f"{file}, codes {key}",
            )
        own = {name: value for name, value in entry.items() if name != "like"}
        codes[key] = (file, codes[other][1] | own)


def _entries(model: type[Entry], raw: Raw) -> dict[str, Entry]:
    return {
        key: _entry(model, file, f"{model.__name__.lower()} {key}", {"id": key} | table)
        for key, (file, table) in raw.items()
    }


def _entry(model: type[Entry], file: str, what: str, table: dict[str, Any]) -> Entry:
    try:
        return model.model_validate(table)
    except ValidationError as cause:
        faults = "; ".join(f"{'.'.join(map(str, e['loc'])) or 'entry'}: {e['msg']}" for e in cause.errors())
        wanted = "a source for every entry, and every key within its bounds"
        raise BrokenKnowledge(faults, wanted, WAY_OUT, where=f"{file}, {what}") from cause


def _check_references(known: Knowledge, raw: Mapping[str, Raw], prices_file: str) -> None:
    """Refuse any id or source that leads nowhere."""

    def refuse(kind: str, key: str, fault: str, wanted: str) -> None:
        file = raw[kind][key][0] if key in raw[kind] else (prices_file if kind == "prices" else "all files")
        raise BrokenKnowledge(fault, wanted, WAY_OUT, where=f"{file}, {kind} {key}")

    def within(kind: str, key: str, used: Iterable[str], there: Iterable[str], what: str) -> None:
        unknown = sorted(set(used) - set(there))
        if unknown:
            refuse(kind, key, f"unknown {what} {', '.join(unknown)}", f"an id that a {what} has")

    sourced: dict[str, Mapping[str, Known | Prices]] = {
        "equipment": known.equipment,
        "causes": known.causes,
        "families": known.families,
        "areas": known.areas,
        "codes": known.codes,
        "symptoms": known.symptoms,
        "setups": known.setups,
        "steps": known.steps,
        "prices": {"prices": known.prices, **known.prices.parts},
        "sensors": known.sensors,
        "thermistors": known.thermistors,
        "sensor_kinds": known.sensor_kinds,
        "meter_tasks": known.meter_tasks,
    }
    for kind, entries in sourced.items():
        for key, entry in entries.items():
            for source in entry.source:
                if source not in known.sources and not JUDGED.fullmatch(source):
                    refuse(kind, key, f"source {source!r}", "a key of the sources, or judged: who, why")
    for key, cause in known.causes.items():
        within("causes", key, cause.applies.needs, known.equipment, "equipment")
    for kind, witnesses in (("codes", known.codes), ("symptoms", known.symptoms)):
        for key, witness in witnesses.items():
            within(kind, key, witness.sets, known.causes, "cause")
    for key, code in known.codes.items():
        within("codes", key, [code.family], known.families, "family")
        within("codes", key, code.check_first, known.steps, "step")
    for key, step in known.steps.items():
        within("steps", key, [*step.tells, *step.cures], known.causes, "cause")
        within("steps", key, step.after, known.steps, "step")
        within("steps", key, step.set_up, known.setups, "set-up")
        if step.minutes < sum(known.setups[name].minutes for name in step.set_up):
            refuse("steps", key, "fewer minutes than what it needs set up", "minutes that include it")
        within("steps", key, [step.part] if step.part else [], known.prices.parts, "part")
        if key in _all_before(key, known.steps):
            refuse("steps", key, "it must come after itself", "an order that can be followed")
    check_sensors(known, within)
    if NONE not in known.causes:
        refuse("causes", NONE, f"no cause {NONE}", "the cause that is no fault")
    if known.steps and not any(step.ends for step in known.steps.values()):
        refuse("steps", "any", "no step ends the job", "one step with ends = true")


def _all_before(key: str, steps: Mapping[str, Step]) -> set[str]:
    """Every step that must come before this one, itself included if they run in a ring."""
    before: set[str] = set()
    waiting = list(steps[key].after)
    while waiting:
        step = waiting.pop()
        if step not in before:
            before.add(step)
            waiting.extend(steps[step].after)
    return before
