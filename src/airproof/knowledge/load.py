"""Reading what is known from its data files, and refusing what is not sound.

A folder holds TOML files, and those in its folder `told` (looks, history, conditions, monitors) are read when they are
first asked for: most verdicts need none of them. Each file may hold tables of any kind: `sources`, `equipment`,
`causes`, `families`, `areas`, `codes`, `symptoms`, `looks`, `history`, `conditions`, `monitors`, `statuses`, `setups`,
`steps`, `prices`, `sensors`, `thermistors`, `sensor_kinds`, `meter_tasks`, and in them one table per entry, headed by
its id. A code that says `like = "P0171"` takes from that code all it does not say itself.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import cached_property, lru_cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any, TypeVar

import tomli
from pydantic import BaseModel, ValidationError

from airproof.errors import BrokenKnowledge
from airproof.knowledge.model import (
    Cause,
    Code,
    CodeArea,
    CodeStatus,
    Condition,
    Equipment,
    Family,
    History,
    Knowledge,
    Known,
    Look,
    Monitor,
    Prices,
    SetUp,
    Source,
    Step,
    Symptom,
)
from airproof.knowledge.references import WAY_OUT, References
from airproof.knowledge.sensors import MeterTask, SensorKind, SensorLine, ThermistorTable

KINDS = (
    "sources", "equipment", "causes", "families", "areas", "codes", "symptoms", "looks", "history", "conditions",
    "monitors", "statuses", "setups", "steps", "prices", "sensors", "thermistors", "sensor_kinds", "meter_tasks",
)  # fmt: skip

Entry = TypeVar("Entry", bound=BaseModel)
Teller = TypeVar("Teller", bound=Known)
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


class _Later(Mapping[str, Entry]):
    """Entries by id that are read when one of them is first asked for."""

    def __init__(self, read: Callable[[], Mapping[str, Entry]]) -> None:
        self._read = read

    @cached_property
    def _entries(self) -> Mapping[str, Entry]:
        return self._read()

    def __getitem__(self, key: str) -> Entry:
        return self._entries[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._entries)

    def __len__(self) -> int:
        return len(self._entries)


def _load(folder: Traversable) -> Knowledge:
    raw = _read(folder)
    _fill_in_alike(raw["codes"])
    prices_where, prices = _only_one(raw["prices"])

    def told(kind: str, model: type[Teller]) -> Mapping[str, Teller]:
        if (later := folder / "told" / f"{kind}.toml").is_file():
            _read_file(later, raw, only=kind)
        references.files[kind].update({key: file for key, (file, _) in raw[kind].items()})
        entries = _entries(model, raw[kind])
        references.check_told(kind, entries)
        return entries

    known = Knowledge(
        sources=_entries(Source, raw["sources"]),
        equipment=_entries(Equipment, raw["equipment"]),
        causes=_entries(Cause, raw["causes"]),
        families=_entries(Family, raw["families"]),
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
        looks=_Later(lambda: told("looks", Look)),
        history=_Later(lambda: told("history", History)),
        conditions=_Later(lambda: told("conditions", Condition)),
        monitors=_Later(lambda: told("monitors", Monitor)),
        statuses=_entries(CodeStatus, raw["statuses"]),
    )
    references = References(
        known, {kind: {key: file for key, (file, _) in there.items()} for kind, there in raw.items()}
    )
    references.check()
    return known


def _read(folder: Traversable) -> dict[str, Raw]:
    raw: dict[str, Raw] = {kind: {} for kind in KINDS}
    names = sorted((f for f in folder.iterdir() if f.name.endswith(".toml")), key=lambda f: f.name)
    if not names:
        raise BrokenKnowledge("no .toml file in it", "a folder of data files", WAY_OUT, where=str(folder))
    for file in names:
        _read_file(file, raw)
    return raw


def _read_file(file: Traversable, raw: dict[str, Raw], only: str | None = None) -> None:
    """Add what a file holds; where `only` is given, it may hold that kind alone."""
    try:
        tables = tomli.loads(file.read_text(encoding="utf-8"))
    except (tomli.TOMLDecodeError, UnicodeDecodeError) as cause:
        raise BrokenKnowledge(f"not valid TOML ({cause})", "TOML", WAY_OUT, where=file.name) from cause
    for kind, entries in tables.items():
        if kind not in raw or not isinstance(entries, dict) or only not in (None, kind):
            wanted = "one of " + ", ".join(KINDS) if only is None else f"only [{only}.ID]"
            raise BrokenKnowledge(f"unknown table [{kind}]", wanted, WAY_OUT, where=file.name)
        if kind == "prices":
            entries = {"prices": entries}
        for key, entry in entries.items():
            _add(raw[kind], key, file.name, entry, kind)


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
