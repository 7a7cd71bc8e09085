"""Readings from a TOML file: outcomes of steps already done, and pressures read with the engine off.

[[reading]]
step = "smoke-test-intake"
found = false

[[reading]]
signal = "manifold_pressure"
value = "108.5 kPa"
regime = "key-on"
"""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, StrictBool

from airproof.errors import AirproofError, UnusableFile
from airproof.knowledge.model import Knowledge
from airproof.quantities.units import parse_quantity
from airproof.toml_files import load_toml

WAY_OUT = 'A reading looks like this: [[reading]] step = "smoke-test-intake", found = false.'
ENGINE_OFF_KPA = (0.0, 400.0)  # what sensors of this kind can put out, right or wrong


@dataclass(frozen=True)
class Outcome:
    """What a step gave: `found` is whether it came out as the step's `if_so` says."""

    step: str
    found: bool


@dataclass(frozen=True)
class EngineOffReading:
    """One pressure read with key on and engine off, kPa absolute."""

    signal: str
    kpa: float


class _Reading(BaseModel):
    model_config = ConfigDict(extra="forbid")

    step: str | None = None
    found: StrictBool | None = None
    signal: Literal["manifold_pressure", "charge_pressure", "barometric_pressure"] | None = None
    value: str | None = None
    regime: Literal["key-on"] = "key-on"
    note: str = ""


class _File(BaseModel):
    model_config = ConfigDict(extra="forbid")

    reading: list[_Reading] = []
    # Measurements with a meter stand in the same file: diagnosis/meter/measured_file.py reads these tables.
    measured: list[Any] = []
    meter: dict[str, Any] = {}
    sensor: dict[str, Any] = {}
    day: dict[str, Any] = {}


def load_readings(path: Path, knowledge: Knowledge) -> list[Outcome | EngineOffReading]:
    """All readings of a file.

    Raises UnusableFile: not TOML, a key unknown, a step or unit that does not exist.
    """
    where = str(path)
    file = load_toml(path, _File, wanted="readings", way_out=WAY_OUT)
    entries = file.reading
    if not entries and not file.measured:
        raise UnusableFile("no [[reading]] and no [[measured]] in it", "readings", WAY_OUT, where=where)
    readings = [_one(entry, number, knowledge, where) for number, entry in enumerate(entries, start=1)]
    names = [reading.step if isinstance(reading, Outcome) else reading.signal for reading in readings]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise UnusableFile(f"{twice!r} is read twice", "each reading once", "Keep the one that counts.", where=where)
    return readings


def _one(entry: _Reading, number: int, knowledge: Knowledge, where: str) -> Outcome | EngineOffReading:
    if entry.step is not None and entry.found is not None and entry.signal is None and entry.value is None:
        if entry.step not in knowledge.steps or not knowledge.steps[entry.step].tells:
            telling = [name for name, step in knowledge.steps.items() if step.tells]
            near = ", ".join(get_close_matches(entry.step, telling, 4, 0.4)) or ", ".join(telling[:6])
            raise UnusableFile(
                f"reading {number}: {entry.step!r} is not a step that tells anything",
                "the id of such a step",
                f"Near: {near}.",
                where=where,
            )
        return Outcome(entry.step, entry.found)
    if entry.signal is not None and entry.value is not None and entry.step is None and entry.found is None:
        try:
            kpa = float(parse_quantity(entry.value, "pressure")) * 1e-3
        except AirproofError as cause:
            raise UnusableFile(f"reading {number}: {cause.given}", cause.wanted, cause.way_out, where=where) from cause
        if not ENGINE_OFF_KPA[0] <= kpa <= ENGINE_OFF_KPA[1]:
            raise UnusableFile(
                f"reading {number}: {entry.value} with the engine off",
                f"{ENGINE_OFF_KPA[0]:g} to {ENGINE_OFF_KPA[1]:g} kPa absolute",
                "Check the unit, and that the pressure is absolute.",
                where=where,
            )
        return EngineOffReading(entry.signal, kpa)
    raise UnusableFile(
        f"reading {number} is neither a step with its outcome nor a signal with its value",
        "step and found, or signal and value",
        WAY_OUT,
        where=where,
    )
