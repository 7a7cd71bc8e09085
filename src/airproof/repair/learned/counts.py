"""What one closed job counts: the sums that learning needs, and nothing of the car or its owner.

Rules. A proved job counts in full. One that is only believed, or was handed over, counts a share of it
(data/learning.toml), spread over the causes as they were held when it was closed; where no belief is given, over those
that were named, and a job handed over without one says nothing of causes. Of two causes at once each counts a half;
what codes, symptoms, looks and tests show of one cause alone such a job cannot tell. A test says something as long as
the trouble is there, and once; what was not tested, not read or could not be done says nothing, nor does a repair of
which nobody knows whether it helped. Minutes and prices count whatever the cause.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Annotated, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from airproof.knowledge.model import Knowledge, Step
from airproof.repair.learned.closed_job import NOBODY_KNOWS, NOT_DONE, ClosedJob, Engine, StepTaken
from airproof.repair.learned.conjugate import Moments, moments_of
from airproof.repair.learned.judged_weights import judged_weights

Count = Annotated[float, Field(ge=0.0, le=1e6, allow_inf_nan=False)]
Sum = Annotated[float, Field(ge=-1e9, le=1e9, allow_inf_nan=False)]
Word = Annotated[str, Field(min_length=1, max_length=100)]

LEAST = 0.01
"""Minutes or money below that are taken for nothing."""

FARTHEST = 40.0
"""Logarithms of amounts lie within this to both sides; a file with others is broken."""


class JobCounts(BaseModel):
    """What one job adds. `month` as "2026-03".

    `causes`: how much each counts; `two`: they were there at once. `tells`: steps that tell, and whether they found.
    `cures`: by step and cause, how much it cured and how much it did not. `codes`, `symptoms`: all that were there,
    None where nobody looked; `looks`: what was looked for, and whether it was there. `minutes` by step, `prices` by
    part: how many, sum of logarithms, sum of their squares; minutes as they would have been with nothing set up, prices
    in `currency`.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    month: Annotated[str, Field(pattern=r"^[0-9]{4}-(0[1-9]|1[0-2])$")]
    engine: Engine
    causes: dict[Word, Count] = {}
    two: bool = False
    tells: dict[Word, bool] = {}
    cures: dict[Word, dict[Word, tuple[Count, Count]]] = {}
    codes: tuple[Word, ...] | None = None
    symptoms: tuple[Word, ...] | None = None
    looks: dict[Word, bool] = {}
    minutes: dict[Word, tuple[Count, Sum, Sum]] = {}
    currency: Annotated[str, Field(pattern=r"^[A-Z]{3}$")]
    prices: dict[Word, tuple[Count, Sum, Sum]] = {}

    @model_validator(mode="after")
    def _amounts_can_be(self) -> Self:
        for name, (count, total, squares) in [*self.minutes.items(), *self.prices.items()]:
            if abs(total) > FARTHEST * count or not 0.0 <= squares <= FARTHEST**2 * count:
                msg = f"the sums of {name} are no sums of amounts"
                raise ValueError(msg)
        return self

    @property
    def months(self) -> int:
        """The month as a number that counts on from year to year."""
        year, month = self.month.split("-")
        return 12 * int(year) + int(month)


def counts_of(job: ClosedJob, knowledge: Knowledge) -> JobCounts:
    """What a job counts; it must have been fitted to this knowledge."""
    who = _who(job)
    two = len(job.found.causes) > 1
    tells, cures = _outcomes(job, {c: 2.0 * n for c, n in who.items()} if two else who, knowledge)
    minutes, prices = _used(job.step, knowledge)
    return JobCounts(
        month=f"{job.closed:%Y-%m}",
        engine=job.engine,
        causes=who,
        two=two,
        tells={} if two else tells,
        cures=cures,
        codes=job.codes,
        symptoms=job.symptoms,
        looks={} if two else job.looks,
        minutes=_sums(minutes),
        currency=job.currency or knowledge.prices.currency,
        prices=_sums(prices),
    )


def remarks_on(job: ClosedJob, knowledge: Knowledge) -> list[str]:
    """What of a job looks odd, or cannot be learned from."""
    remarks = []
    found = job.found.causes
    for step in job.step:
        known = knowledge.steps[step.id]
        if step.outcome == "helped" and found and not known.ends and not set(found) & set(known.cures):
            remarks.append(
                f"{step.id} is not known to cure {' or '.join(found)}: nothing is learned of its chance to cure"
            )
        if step.outcome == "helped" and len(found) > 1 and _cured(step, known, found) is None:
            remarks.append(
                f"{step.id} can cure both causes: nothing is learned of its chance to cure; "
                'cured = ["..."] in that step says which were gone'
            )
        if step.money and known.part is None:
            remarks.append(f"{step.id} has no part in the lists: its {step.money:g} are not learned")
    unlisted = [code for code in job.codes or () if code not in knowledge.codes]
    if unlisted:
        remarks.append(f"{', '.join(unlisted)} carry no weight here: nothing is learned of them")
    return list(dict.fromkeys(remarks))


def _who(job: ClosedJob) -> dict[str, float]:
    """How much each cause counts."""
    found = job.found.causes
    if job.found.how_sure == "proved":
        return {cause: 1.0 / len(found) for cause in found}
    share = judged_weights().unproved.share
    if job.belief and len(found) < 2:
        return {cause: share * p for cause, p in job.belief.items() if p > 0.0}
    return {cause: share / len(found) for cause in found}


def _outcomes(
    job: ClosedJob, who: Mapping[str, float], knowledge: Knowledge
) -> tuple[dict[str, bool], dict[str, dict[str, tuple[float, float]]]]:
    """What each step found, and what each repair cured, while the trouble was there."""
    tells: dict[str, bool] = {}
    cures: dict[str, dict[str, tuple[float, float]]] = {}
    there = dict(who)
    for step in job.step:
        known = knowledge.steps[step.id]
        if step.outcome in (NOT_DONE, NOBODY_KNOWS) or not there:
            continue
        if known.tells:
            tells.setdefault(step.id, step.outcome == "found")
        elif step.outcome == "did not help":
            failed = {cause: (0.0, n) for cause, n in there.items() if cause in known.cures}
            if failed:
                cures.setdefault(step.id, failed)
        else:
            gone = _cured(step, known, job.found.causes) if len(job.found.causes) > 1 else tuple(there)
            if gone:
                able = {c: n for c, n in there.items() if c in known.cures}
                came = {c: (n, 0.0) if c in gone else (0.0, n) for c, n in able.items()}
                if came:
                    cures.setdefault(step.id, came)
            there = {} if gone is None else {c: n for c, n in there.items() if c not in gone}
    return tells, cures


def _cured(step: StepTaken, known: Step, found: Sequence[str]) -> tuple[str, ...] | None:
    """Which of two causes a step that helped cured; None where nobody can know."""
    if step.cured:
        return step.cured
    able = tuple(cause for cause in found if cause in known.cures)
    return able if len(able) == 1 else None


def _used(steps: Iterable[StepTaken], knowledge: Knowledge) -> tuple[dict[str, list[float]], dict[str, list[float]]]:
    """Minutes by step, as if nothing had been set up before, and prices by part."""
    minutes: dict[str, list[float]] = {}
    prices: dict[str, list[float]] = {}
    standing: set[str] = set()
    for taken in steps:
        if taken.outcome == NOT_DONE:
            continue
        step = knowledge.steps[taken.id]
        if taken.minutes is not None and taken.minutes >= LEAST:
            spared = sum(knowledge.setups[name].minutes for name in step.set_up if name in standing)
            # Whoever is fast sets up fast as well: what was spared is a share of the step, not so many minutes.
            if spared < step.minutes:
                minutes.setdefault(step.id, []).append(taken.minutes * step.minutes / (step.minutes - spared))
        if taken.money is not None and taken.money >= LEAST and step.part is not None:
            prices.setdefault(step.part, []).append(taken.money)
        standing |= set(step.set_up)
        if step.engine_runs:
            standing = {name for name in standing if knowledge.setups[name].stands_running}
    return minutes, prices


def _sums(amounts: Mapping[str, Sequence[float]]) -> dict[str, tuple[float, float, float]]:
    found = {}
    for name, some in amounts.items():
        sums = moments_of(some)
        found[name] = (sums.count, sums.total, sums.squares)
    return found


def moments(sums: Sequence[tuple[float, float, float]], weights: Sequence[float]) -> Moments:
    """Many such sums as one, each with its weight; in whatever order, to the last bit the same."""
    counts, totals, squares = (
        math.fsum(weight * one[part] for one, weight in zip(sums, weights, strict=True)) for part in range(3)
    )
    return Moments(counts, totals, squares)
