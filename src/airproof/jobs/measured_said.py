"""Readings with a meter from a worksheet's fields, as the tables of a reading file (docs/meter.md)."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from airproof.diagnosis.meter.measured import Measurements
from airproof.diagnosis.meter.measured_file import load_measurements
from airproof.errors import UnusableFile, UnusableRequest
from airproof.jobs.facts_written import toml
from airproof.knowledge.model import Knowledge

FIELDS: Mapping[str, tuple[str, ...]] = {
    "supply": ("value",),
    "ground": ("value",),
    "signal": ("value", "shown"),
    "sweep": ("counted", "gauge", "points"),
    "thermistor": ("value", "temperature"),
    "wiggle": ("found",),
    "digital": ("value",),
}
"""What is measured, and what a worksheet asks of it; a field's name is the two with a blank between."""

SHEET: Mapping[str, tuple[str, ...]] = {"meter": ("accuracy",), "sensor": ("line", "temperature"), "day": ()}


def measured_tables(said: Mapping[str, str], before: Mapping[Any, Any] | None = None) -> dict[str, Any]:
    """The tables from what was typed; what was left out is not in them. Points stand one a line: "5 inHg, 1.49 V".

    What `before` holds and no field was there for stays: the day, that a reading creeps, a second reading of one thing.

    Raises UnusableRequest for a line that is no point.
    """
    old = before or {}
    said = {**typed_from(old), **said}
    tables: dict[str, Any] = {}
    for table, keys in SHEET.items():
        others = {key: value for key, value in (old.get(table) or {}).items() if key not in keys}
        row = {key: said[f"{table} {key}"] for key in keys if said.get(f"{table} {key}")}
        if others or row:
            tables[table] = {**others, **row}
    shown = _shown(old)
    rows = []
    for what, keys in FIELDS.items():
        told = {key: said[f"{what} {key}"] for key in keys if said.get(f"{what} {key}")}
        if not told or (what == "sweep" and "points" not in told):
            continue
        others = {key: value for key, value in shown.get(what, {}).items() if key not in keys}
        rows.append({"what": what, **others, **{key: _value(key, text) for key, text in told.items()}})
    rows += [row for row in old.get("measured") or [] if row is not shown.get(row["what"])]
    if rows:
        tables["measured"] = rows
    return tables


def typed_from(tables: Mapping[Any, Any]) -> dict[str, str]:
    """What to put into a worksheet's fields for tables that are there already; see `measured_tables`."""
    said = {
        f"{n} {key}": str(v) for n, keys in SHEET.items() for key, v in (tables.get(n) or {}).items() if key in keys
    }
    for what, row in _shown(tables).items():
        for key in FIELDS[what]:
            value = row.get(key)
            if key == "points":
                said[f"{what} points"] = "\n".join(f"{one[0]}, {one[1]}" for one in value or [])
            elif isinstance(value, bool):
                said[f"{what} {key}"] = "yes" if value else "no"
            elif value is not None:
                said[f"{what} {key}"] = str(value)
    return said


def _shown(tables: Mapping[Any, Any]) -> dict[str, Mapping[str, Any]]:
    """The row that a worksheet shows of each thing it asks for: the last."""
    return {row["what"]: row for row in tables.get("measured") or [] if row["what"] in FIELDS}


def measurements_typed(tables: Mapping[str, Any], known: Knowledge) -> Measurements:
    """The measurements, checked as those of a file are; raises UnusableRequest."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "worksheet.toml"
        path.write_text(toml(tables), encoding="utf-8")
        try:
            return load_measurements(path, known)
        except UnusableFile as fault:
            raise UnusableRequest(fault.given, fault.wanted, fault.way_out) from fault


def _value(key: str, text: str) -> object:
    if key == "found":
        return text == "yes"
    if key != "points":
        return text
    points = []
    for line in filter(None, map(str.strip, text.splitlines())):
        pressure, mark, reading = line.rpartition(";") if ";" in line else line.rpartition(", ")
        if not mark:
            wanted = "a pressure and a reading with their units, a comma and a blank between"
            raise UnusableRequest(f"{line[:60]!r}", wanted, "Such as: 5 inHg, 1.49 V")
        points.append([pressure.strip(), reading.strip()])
    return points
