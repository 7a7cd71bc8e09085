"""What a closed job says: what was wrong at last, how sure that is, and what each step gave and took.

    schema = "airproof.closed-job/1"
    id = "2026-017"                # your own number; only its fingerprint is kept
    closed = 2026-03-14
    codes = ["P0106"]              # all that were stored; leave it out if none were read
    symptoms = ["hesitation"]      # all that was complained of
    looks = {port-oily = true}     # only what was looked for

    [engine]
    induction = "turbocharged"
    air_metering = "air-flow sensor"

    [found]
    causes = ["map-slow"]          # one, or two at once, or ["none"]
    how_sure = "proved"            # or "believed"; "handed over" without causes

    [[step]]
    id = "clean-map-sensor"
    outcome = "helped"             # "did not help", "done" where nobody knows; a test: "found", "not found"; either:
                                   # "could not be done"
    minutes = 30
    money = 6.50                   # for the part, or somebody else's bill

Neither the car nor its owner is named anywhere.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, StrictBool, model_validator

from airproof.errors import UnusableFile, UnusableRequest
from airproof.knowledge.lookup import find_noticed, find_symptom, normal_code
from airproof.knowledge.model import NONE, AirMetering, Fuel, Induction, Knowledge
from airproof.toml_files import load_json, load_toml

WANTED = "a closed job of airproof.closed-job/1"
WAY_OUT = 'A closed job looks like the one in examples/closed-job; "airproof learn --help" shows it in short.'

HowSure = Literal["proved", "believed", "handed over"]
Outcome = Literal["found", "not found", "helped", "did not help", "could not be done", "done"]
TELLS: tuple[Outcome, ...] = ("found", "not found")
NOT_DONE: Outcome = "could not be done"
NOBODY_KNOWS: Outcome = "done"
"""Of a repair of which nobody knows whether it helped: its minutes and its price count, and nothing else."""

CURES: tuple[Outcome, ...] = ("helped", "did not help", NOBODY_KNOWS)

Amount = Annotated[float, Field(ge=0.0, le=1e6, allow_inf_nan=False)]
Chance = Annotated[float, Field(ge=0.0, le=1.0, allow_inf_nan=False)]
Word = Annotated[str, Field(min_length=1, max_length=100)]
TOO_MUCH = 1.0 + 1e-3  # of a belief, as files round it
NAMED = 4


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Engine(_Part):
    """The kind of engine: what causes it can have at all. `equipment`: all it has of what not every engine has; None
    where nobody says.
    """

    induction: Induction
    air_metering: AirMetering
    fuel: Fuel = "petrol"
    equipment: tuple[Word, ...] | None = None


class Found(_Part):
    """What was wrong at last."""

    causes: Annotated[tuple[Word, ...], Field(max_length=2)] = ()
    how_sure: HowSure

    @model_validator(mode="after")
    def _fit(self) -> Self:
        if (self.how_sure == "handed over") != (not self.causes):
            msg = 'one or two causes, or how_sure = "handed over" and none'
            raise ValueError(msg)
        if len(set(self.causes)) < len(self.causes) or (NONE in self.causes and len(self.causes) > 1):
            msg = f'causes = {list(self.causes)}, where two different causes can be, or "{NONE}" alone'
            raise ValueError(msg)
        return self


class StepTaken(_Part):
    """One step, what came of it, and what it took. `cured`: which of two causes were gone after it."""

    id: Word
    outcome: Outcome
    minutes: Amount | None = None
    money: Amount | None = None
    cured: tuple[Word, ...] = ()


class ClosedJob(_Part):
    """One closed job; `belief` is how probable each cause was held when it was closed unproved."""

    model_config = ConfigDict(frozen=True, extra="forbid", validate_by_name=True, validate_by_alias=True)

    version: Annotated[Literal["airproof.closed-job/1"], Field(alias="schema")]
    id: Annotated[str, Field(min_length=1, max_length=80)]
    closed: datetime.date
    engine: Engine
    found: Found
    belief: dict[Word, Chance] = {}
    currency: Annotated[str, Field(pattern=r"^[A-Z]{3}$")] | None = None
    codes: tuple[Word, ...] | None = None
    symptoms: tuple[Word, ...] | None = None
    looks: dict[Word, StrictBool] = {}
    step: tuple[StepTaken, ...] = ()
    invented: bool = False

    @model_validator(mode="after")
    def _believable(self) -> Self:
        if self.belief and self.found.how_sure == "proved":
            msg = "a belief beside a proved cause, where one of the two can be"
            raise ValueError(msg)
        if sum(self.belief.values()) > TOO_MUCH:
            msg = f"belief sums to {sum(self.belief.values()):g}, where at most 1 can be"
            raise ValueError(msg)
        return self


def load_closed_job(path: Path, knowledge: Knowledge) -> ClosedJob:
    """The job in a file, TOML or (by its ending) JSON, with codes, symptoms and looks as the knowledge spells them.

    Raises UnusableFile: not such a file, or a cause, step, code or symptom that does not exist or cannot be.
    """
    load = load_json if path.suffix.lower() == ".json" else load_toml
    job = load(path, ClosedJob, wanted=WANTED, way_out=WAY_OUT)
    return fitted(job, knowledge, str(path))


def fitted(job: ClosedJob, knowledge: Knowledge, where: str) -> ClosedJob:
    """The job with codes, symptoms and looks as the knowledge spells them.

    Raises UnusableFile for what does not exist there, or cannot be on such an engine.
    """
    _known([*job.found.causes, *job.belief], knowledge.causes, "cause", where)
    _known(job.engine.equipment or (), knowledge.equipment, "equipment", where)
    for cause in [*job.found.causes, *(c for c, p in job.belief.items() if p > 0.0)]:
        if possible(job.engine, cause, knowledge) <= 0.0:
            raise UnusableFile(
                f"{cause} cannot be on this engine ({job.engine.induction}, {job.engine.air_metering})",
                "a cause that can",
                "Check the engine, its equipment, and the cause.",
                where=where,
            )
    _known([step.id for step in job.step], knowledge.steps, "step", where)
    for number, step in enumerate(job.step, start=1):
        _sound(step, number, job, knowledge, where)
    try:
        codes = None if job.codes is None else [normal_code(code, knowledge) for code in job.codes]
        symptoms = None if job.symptoms is None else [find_symptom(one, knowledge).id for one in job.symptoms]
        looks = {
            find_noticed(one, knowledge.looks, "look", '"airproof explain looks" lists them all.').id: there
            for one, there in job.looks.items()
        }
    except UnusableRequest as fault:
        raise UnusableFile(fault.given, fault.wanted, fault.way_out, where=where) from fault
    return job.model_copy(update={"codes": _sorted(codes), "symptoms": _sorted(symptoms), "looks": looks})


def possible(engine: Engine, cause: str, knowledge: Knowledge) -> float:
    """1 where such an engine can have the cause, 0 where it cannot, and a half where the cause needs equipment of which
    nobody says whether it is there: as a verdict counts it (diagnosis/hypotheses.py).
    """
    applies = knowledge.causes[cause].applies
    if not applies.to(engine.induction, engine.air_metering, engine.fuel):
        return 0.0
    if engine.equipment is None:
        return 0.5 if applies.needs else 1.0
    return float(set(applies.needs) <= set(engine.equipment))


def _sound(step: StepTaken, number: int, job: ClosedJob, knowledge: Knowledge, where: str) -> None:
    known = knowledge.steps[step.id]
    fitting = TELLS if known.tells else CURES
    if step.outcome not in (*fitting, NOT_DONE):
        raise UnusableFile(
            f"step {number}, {step.id}: outcome = {step.outcome!r}",
            " or ".join(f'"{one}"' for one in (*fitting, NOT_DONE)),
            "A step that looks or measures finds; one that repairs, or watches, helps.",
            where=where,
        )
    if step.cured and (step.outcome != "helped" or not set(step.cured) <= set(job.found.causes)):
        raise UnusableFile(
            f"step {number}, {step.id}: cured = {list(step.cured)}",
            "of the causes found, those that were gone after a step that helped",
            "It is only needed where two causes were found.",
            where=where,
        )


def _known(used: Iterable[str], there: Iterable[str], what: str, where: str) -> None:
    known = list(there)
    unknown = [name for name in dict.fromkeys(used) if name not in known]
    if unknown:
        near = get_close_matches(unknown[0], known, NAMED, 0.4) or known[:NAMED]
        raise UnusableFile(
            f"unknown {what} {', '.join(unknown)}", f"the id of a {what}", f"Near: {', '.join(near)}.", where=where
        )


def _sorted(names: Sequence[str] | None) -> tuple[str, ...] | None:
    return None if names is None else tuple(sorted(set(names)))
