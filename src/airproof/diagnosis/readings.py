"""Readings: outcomes of steps already done, and pressures read with the engine off."""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Literal, TypeAlias

from pydantic import BaseModel, ConfigDict, StrictBool

from airproof.errors import AirproofError, UnusableFile
from airproof.knowledge.model import Knowledge
from airproof.quantities.units import parse_quantity

WAY_OUT = 'A reading looks like this: [[reading]] step = "smoke-test-intake", found = false.'
ENGINE_OFF_KPA = (0.0, 400.0)  # what sensors of this kind can put out, right or wrong


@dataclass(frozen=True)
class Outcome:
    """What a step gave: `found` is whether it came out as the step's `if_so` says.

    Of a step that repairs it is never true: the trouble was still there after it.
    """

    step: str
    found: bool


@dataclass(frozen=True)
class EngineOffReading:
    """One pressure read with key on and engine off, kPa absolute."""

    signal: str
    kpa: float


Reading: TypeAlias = Outcome | EngineOffReading


class WrittenReading(BaseModel):
    """One [[reading]] as it stands in a file."""

    model_config = ConfigDict(extra="forbid")

    id: str | None = None
    withdrawn: StrictBool = False
    step: str | None = None
    found: StrictBool | None = None
    signal: Literal["manifold_pressure", "charge_pressure", "barometric_pressure"] | None = None
    value: str | None = None
    regime: Literal["key-on"] = "key-on"
    note: str = ""


def load_readings(path: Path, knowledge: Knowledge) -> list[Reading]:
    """All readings of a file of facts.

    Raises UnusableFile: not TOML, a key unknown, a step or unit that does not exist.
    """
    from airproof.diagnosis.facts_file import load_facts  # it knows readings, not the other way round

    return list(load_facts([path], knowledge).readings)


def reading_of(entry: WrittenReading, number: int, knowledge: Knowledge, where: str) -> Reading:
    """The reading that an entry stands for.

    Raises UnusableFile naming the entry by its number.
    """
    if entry.step is not None and entry.found is not None and entry.signal is None and entry.value is None:
        step = knowledge.steps.get(entry.step)
        if step is not None and step.cures and entry.found:
            raise UnusableFile(
                f"reading {number}: {entry.step!r} was found, and it looks for nothing: it repairs",
                "found = false where the trouble was still there after it",
                "Where the trouble is gone, the job is done: prove it with a recording.",
                where=where,
            )
        if step is None or not (step.tells or step.cures):
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
