"""All closed jobs of a shop, summed up: the counts that the judged numbers meet.

Sums are correctly rounded (math.fsum), so that the order of jobs does not matter to the last bit.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

from airproof.repair.learned.closed_job import Engine
from airproof.repair.learned.conjugate import Moments
from airproof.repair.learned.counts import JobCounts, moments
from airproof.repair.learned.shop_file import Shop


@dataclass(frozen=True)
class Tally:
    """So many that were, of so many, resting on so many jobs."""

    yes: float
    count: float
    jobs: int


@dataclass(frozen=True)
class Totals:
    """What the jobs of a shop count together."""

    jobs: tuple[JobCounts, ...]
    half_life_months: float | None

    @classmethod
    def of(cls, shop: Shop) -> Totals:
        """The totals of a shop."""
        return cls(tuple(shop.jobs.values()), shop.half_life_months)

    @cached_property
    def kinds(self) -> dict[Engine, dict[str, float]]:
        """How much each cause counts, by kind of engine."""
        found: dict[Engine, dict[str, list[float]]] = {}
        for job in self.jobs:
            if job.causes:
                counts = found.setdefault(job.engine, {})
                for cause, n in job.causes.items():
                    counts.setdefault(cause, []).append(n)
        return {
            engine: {c: math.fsum(n) for c, n in sorted(counts.items())}
            for engine, counts in sorted(found.items(), key=lambda entry: entry[0].model_dump_json())
        }

    @cached_property
    def step_jobs(self) -> dict[str, int]:
        """How many jobs say anything of each step."""
        found: dict[str, int] = {}
        for job in self.jobs:
            for step in {*job.tells, *job.cures, *job.minutes}:
                found[step] = found.get(step, 0) + 1
        return found

    def witness_jobs(self, kind: str) -> int:
        """How many jobs say anything of codes, or symptoms."""
        return sum(getattr(job, kind) is not None and bool(job.causes) and not job.two for job in self.jobs)

    @cached_property
    def tells(self) -> dict[str, dict[str, Tally]]:
        """By step and cause, how often it found what it looks for."""
        return _tallied((job.tells, job) for job in self.jobs if job.tells)

    @cached_property
    def looks(self) -> dict[str, dict[str, Tally]]:
        """By look and cause, how often it was there where somebody looked."""
        return _tallied((job.looks, job) for job in self.jobs if job.looks)

    @cached_property
    def look_jobs(self) -> dict[str, int]:
        """How many jobs say anything of each look."""
        found: dict[str, int] = {}
        for job in self.jobs:
            for look in job.looks if job.causes else ():
                found[look] = found.get(look, 0) + 1
        return found

    @cached_property
    def cures(self) -> dict[str, dict[str, Tally]]:
        """By step and cause, how often it cured."""
        found: dict[str, dict[str, list[tuple[float, float]]]] = {}
        for job in self.jobs:
            for step, causes in job.cures.items():
                for cause, came in causes.items():
                    found.setdefault(step, {}).setdefault(cause, []).append(came)
        return {
            step: {
                cause: Tally(math.fsum(y for y, _ in some), math.fsum(x for came in some for x in came), len(some))
                for cause, some in sorted(causes.items())
            }
            for step, causes in sorted(found.items())
        }

    def witnessed(self, kind: str, there_are: Iterable[str]) -> dict[str, dict[str, Tally]]:
        """By code or symptom and cause, how often it was there where somebody looked; all that `there_are`."""
        looked = [(getattr(job, kind), job) for job in self.jobs]
        looked = [(found, job) for found, job in looked if found is not None and job.causes and not job.two]
        count: dict[str, list[float]] = {}
        yes: dict[str, dict[str, list[float]]] = {name: {} for name in there_are}
        for found, job in looked:
            for cause, n in job.causes.items():
                count.setdefault(cause, []).append(n)
                for name in found:
                    if name in yes:
                        yes[name].setdefault(cause, []).append(n)
        whole = {cause: (math.fsum(some), len(some)) for cause, some in sorted(count.items())}
        return {
            name: {cause: Tally(math.fsum(came.get(cause, ())), total, jobs) for cause, (total, jobs) in whole.items()}
            for name, came in yes.items()
        }

    @cached_property
    def minutes(self) -> dict[str, tuple[Moments, int]]:
        """By step; and how many jobs."""
        return self._amounts([(job.minutes, 1.0) for job in self.jobs])

    def prices(self, currency: str) -> dict[str, tuple[Moments, int]]:
        """By part, in that currency; an old price counts less where the shop wants it."""
        newest = max((job.months for job in self.jobs), default=0)
        half = self.half_life_months
        return self._amounts(
            [
                (job.prices, 1.0 if half is None else 2.0 ** (-(newest - job.months) / half))
                for job in self.jobs
                if job.currency == currency
            ]
        )

    def _amounts(
        self, given: list[tuple[Mapping[str, tuple[float, float, float]], float]]
    ) -> dict[str, tuple[Moments, int]]:
        found: dict[str, list[tuple[tuple[float, float, float], float]]] = {}
        for amounts, weight in given:
            for name, sums in amounts.items():
                found.setdefault(name, []).append((sums, weight))
        return {
            name: (moments([sums for sums, _ in some], [weight for _, weight in some]), len(some))
            for name, some in sorted(found.items())
        }


def _tallied(given: Iterable[tuple[Mapping[str, bool], JobCounts]]) -> dict[str, dict[str, Tally]]:
    found: dict[str, dict[str, list[tuple[float, bool]]]] = {}
    for outcomes, job in given:
        for name, came in outcomes.items():
            for cause, n in job.causes.items():
                found.setdefault(name, {}).setdefault(cause, []).append((n, came))
    return {
        name: {
            cause: Tally(math.fsum(n for n, came in some if came), math.fsum(n for n, _ in some), len(some))
            for cause, some in sorted(causes.items())
        }
        for name, causes in sorted(found.items())
    }
