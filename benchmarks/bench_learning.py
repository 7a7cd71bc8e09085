"""What learning from closed jobs saves: jobs planned with judged numbers against learned ones, in shops that differ.

    python benchmarks/bench_learning.py [WORKSHOPS [JOBS]]

Each workshop's true numbers lie off the judged ones by a random factor, log-normal: odds (of codes, symptoms, outcomes
and cures) by FACTOR_ODDS, how common causes are by FACTOR_COMMON, minutes and prices by FACTOR_AMOUNTS (one standard
deviation each). It closes jobs by the plan, written down as such files are, and learns from them. Then the same new
cars (causes, codes, symptoms and the luck of every step alike) are repaired by plans with the judged numbers, with
those learned from 50 and from 500 jobs, and with the true ones. Cost is money and minutes at the price of labour, as it
falls due in the true workshop. What a car shows is its codes and symptoms alone: no recording.
"""

from __future__ import annotations

import datetime
import math
import os
import sys
import time
from collections.abc import Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from functools import partial
from multiprocessing import get_context
from typing import Any

import numpy as np

from airproof.knowledge.load import knowledge
from airproof.knowledge.model import NONE, Knowledge
from airproof.repair.learned.closed_job import ClosedJob, Engine, Found, StepTaken, possible
from airproof.repair.learned.counts import JobCounts, counts_of
from airproof.repair.learned.sharpen import LearnedNumber, sharpened
from airproof.repair.learned.shop_file import Shop
from airproof.repair.search import NEAR
from airproof.repair.task import task_for

FACTOR_ODDS, FACTOR_COMMON, FACTOR_AMOUNTS = 2.0, 2.0, 1.5
SPREAD = 1.4  # of single jobs' minutes and prices
LEARNED_FROM = (50, 500)
LONGEST = 40
ENGINE = Engine(induction="turbocharged", air_metering="air-flow sensor", equipment=("charge-pressure-sensor",))


def true_workshop(rng: np.random.Generator) -> Knowledge:
    """What is known, with every number off by its factor."""
    known = knowledge()

    def odds(p: float) -> float:
        logit = math.log(p / (1.0 - p)) if p < 1.0 else 7.0
        return float(1.0 / (1.0 + math.exp(-rng.normal(logit, math.log(FACTOR_ODDS)))))

    def all_odds(given: Mapping[str, float]) -> dict[str, float]:
        return {cause: odds(p) for cause, p in given.items()}

    def times(factor: float) -> float:
        return math.exp(rng.normal(0.0, math.log(factor)))

    def witnessed(entries: Mapping[str, Any]) -> dict[str, Any]:
        return {
            name: e.model_copy(update={"sets": all_odds(e.sets), "by_chance": odds(e.by_chance)})
            for name, e in entries.items()
        }

    steps = {}
    for name, step in known.steps.items():
        changed: dict[str, Any] = {"cures": all_odds(step.cures), "minutes": step.minutes * times(FACTOR_AMOUNTS)}
        if step.otherwise is not None:
            changed |= {"tells": all_odds(step.tells), "otherwise": odds(step.otherwise)}
        steps[name] = step.model_copy(update=changed)
    parts = {
        name: part.model_copy(update={key: f * getattr(part, key) for key in ("low", "typical", "high")})
        for name, part in known.prices.parts.items()
        for f in [times(FACTOR_AMOUNTS)]
    }
    return replace(
        known,
        causes={c: e.model_copy(update={"weight": e.weight * times(FACTOR_COMMON)}) for c, e in known.causes.items()},
        codes=witnessed(known.codes),
        symptoms=witnessed(known.symptoms),
        steps=steps,
        prices=known.prices.model_copy(update={"parts": parts}),
        setups=_within(known, steps),
    )


def _within(known: Knowledge, steps: Mapping[str, Any]) -> dict[str, Any]:
    """Set-ups as much shorter as the quickest step that includes them asks for."""
    share = dict.fromkeys(known.setups, 1.0)
    for step in steps.values():
        needed = sum(known.setups[one].minutes for one in step.set_up)
        for one in step.set_up:
            share[one] = min(share[one], step.minutes / needed)
    return {name: e.model_copy(update={"minutes": share[name] * e.minutes}) for name, e in known.setups.items()}


@dataclass(frozen=True)
class Car:
    """One car, what it shows, and the luck of every step on it."""

    cause: str
    codes: tuple[str, ...]
    symptoms: tuple[str, ...]
    luck: Mapping[str, float]


def cars(true: Knowledge, count: int, rng: np.random.Generator) -> list[Car]:
    names = [c for c in true.causes if possible(ENGINE, c, true) > 0.0]
    weight = np.array([true.causes[c].weight for c in names])
    made = []
    for _ in range(count):
        cause = str(rng.choice(names, p=weight / weight.sum()))
        codes, symptoms = (
            tuple(name for name, e in entries.items() if rng.random() < e.given(cause))
            for entries in (true.codes, true.symptoms)
        )
        made.append(Car(cause, codes, symptoms, {step: float(rng.random()) for step in true.steps}))
    return made


class Believes:
    """What a shop believes of a car by its codes and symptoms, with one set of numbers."""

    def __init__(self, known: Knowledge) -> None:
        self.known = known
        self.names = [c for c in known.causes if possible(ENGINE, c, known) > 0.0]
        self.prior = np.log([known.causes[c].weight for c in self.names])
        self.shows = {
            name: np.array([entry.given(c) for c in self.names])
            for entries in (known.codes, known.symptoms)
            for name, entry in entries.items()
        }
        self.nothing = self.prior + sum(np.log1p(-p) for p in self.shows.values())

    def of(self, car: Car) -> dict[str, float]:
        logs = self.nothing + sum(
            np.log(self.shows[name]) - np.log1p(-self.shows[name]) for name in (*car.codes, *car.symptoms)
        )
        p = np.exp(logs - logs.max())
        return dict(zip(self.names, (p / p.sum()).tolist(), strict=True))


@dataclass
class Repaired:
    """What one repair cost, and the steps it took."""

    cost: float = 0.0
    cured: bool = False
    steps: list[tuple[str, str, float]] = field(default_factory=list)


def repair(car: Car, believes: Believes, true: Knowledge) -> Repaired:
    """The car repaired by the plan of those numbers, in the true workshop."""
    known, done = believes.known, Repaired()
    task = task_for(believes.of(car), known, known.prices).doubted()
    looked = task.looked_into(NEAR)
    search, place, number = looked.search, looked.place, looked.options[0].step
    standing: set[str] = set()
    hour = true.prices.labour_per_hour
    for _ in range(LONGEST):
        step = true.steps[search.choices.steps[number].id]
        judged = knowledge().steps[step.id].minutes
        spared = sum(knowledge().setups[s].minutes for s in step.set_up if s in standing)
        minutes = step.minutes * (1.0 - spared / judged)
        done.cost += true.prices.part(step.part) + step.risk.expected_money + minutes * hour / 60.0
        standing |= set(step.set_up)
        if step.engine_runs:
            standing = {s for s in standing if true.setups[s].stands_running}
        if step.ends:
            done.steps.append((step.id, "helped", minutes))
            return done
        lucky = car.luck[step.id]
        if step.tells:
            came = lucky < step.positive_given(car.cause)
            done.steps.append((step.id, "found" if came else "not found", minutes))
        else:
            came = False
            done.cured = lucky < step.cures.get(car.cause, 0.0)
            done.steps.append((step.id, "helped" if done.cured else "did not help", minutes))
            if done.cured:
                return done
        place = next(child for outcome, child in search.leads(place, number) if outcome == came)
        number = search.best(place).step
    raise RuntimeError("no plan is that long")


def closed(car: Car, done: Repaired, true: Knowledge, number: int, rng: np.random.Generator) -> ClosedJob:
    """The job as the shop writes it down."""

    def about(mean: float) -> float:
        sd = math.log(SPREAD)
        return mean * math.exp(rng.normal(-(sd**2) / 2.0, sd))

    taken = tuple(
        StepTaken(
            id=step,
            outcome=outcome,  # type: ignore[arg-type]
            minutes=about(minutes),
            money=about(true.prices.part(true.steps[step].part)) if true.steps[step].part else None,
        )
        for step, outcome, minutes in done.steps
    )
    found = Found(causes=(car.cause,), how_sure="proved") if done.cured else Found(how_sure="handed over")
    return ClosedJob(
        version="airproof.closed-job/1", id=str(number), closed=datetime.date(2026, 1, 1), engine=ENGINE,
        found=found, codes=car.codes, symptoms=car.symptoms, step=taken,
    )  # fmt: skip


def true_number(one: LearnedNumber, true: Knowledge) -> float:
    """What a learned number should have been."""
    match one.about:
        case "how common":
            faults = sum(c.weight for c in true.causes.values() if c.id != NONE)
            weight = true.causes[one.of].weight
            return weight / (faults + weight) if one.of == NONE else weight / faults
        case "cures":
            return true.steps[one.of].cures[one.given]
        case "minutes":
            return true.steps[one.of].minutes
        case "price":
            return true.prices.part(one.of)
        case "tells":
            return true.steps[one.of].positive_given(one.given)
    return {"code": true.codes, "symptom": true.symptoms}[one.about][one.of].given(one.given)


@dataclass(frozen=True)
class Shown:
    """Of one workshop: costs of the same cars by each set of numbers, and which learned numbers lay in their 90 %
    intervals after so many jobs, by what they are about.
    """

    costs: Mapping[str, list[float]]
    caught: Mapping[str, Mapping[str, list[bool]]]


def one_workshop(count: int, seed: int) -> Shown:
    """Costs of the same cars by each set of numbers."""
    rng = np.random.default_rng(seed)
    true = true_workshop(rng)
    judged = Believes(knowledge())
    history: dict[str, JobCounts] = {}
    sets = {"judged": judged}
    caught: dict[str, dict[str, list[bool]]] = {}
    for number, car in enumerate(cars(true, max(LEARNED_FROM), rng), start=1):
        job = closed(car, repair(car, judged, true), true, number, rng)
        history[f"{number:032x}"] = counts_of(job, knowledge())
        if number in LEARNED_FROM:
            learned = sharpened(knowledge(), Shop(jobs=dict(history)))
            sets[f"{number} jobs"] = Believes(learned.knowledge)
            hits = caught.setdefault(f"{number} jobs", {})
            for one in learned.numbers:
                low, high = one.interval
                hits.setdefault(one.about, []).append(low <= true_number(one, true) <= high)
    sets["true"] = Believes(true)
    new = cars(true, count, rng)
    return Shown({name: [repair(car, known, true).cost for car in new] for name, known in sets.items()}, caught)


def main() -> None:
    given = [int(word) for word in sys.argv[1:3]]
    workshops, count = (*given, *(6, 150)[len(given) :])
    began = time.perf_counter()
    with ProcessPoolExecutor(os.cpu_count(), mp_context=get_context("spawn")) as pool:
        found = list(pool.map(partial(one_workshop, count), range(1, workshops + 1)))
    names = list(found[0].costs)
    costs = {name: np.array([one.costs[name] for one in found]) for name in names}
    print(f"{workshops} workshops, {count} new cars each; mean cost of a job, USD, minutes included")
    print("and against the judged numbers on the same cars, with 90 % intervals over workshops")
    for name in names:
        saved = (costs["judged"] - costs[name]).mean(axis=1)
        share = saved / costs["judged"].mean(axis=1)
        half = 1.645 * saved.std(ddof=1) / math.sqrt(workshops) if workshops > 1 else math.nan
        print(
            f"  {name:10s} {costs[name].mean():7.1f}   saves {saved.mean():6.1f} +- {half:4.1f}  "
            f"({100 * share.mean():5.1f} %; workshops from {100 * share.min():.1f} to {100 * share.max():.1f} %)"
        )
    print("learned numbers within their 90 % intervals; the jobs were chosen by the plan, and some ended unknown")
    for name in found[0].caught:
        hits = {about: [hit for one in found for hit in one.caught[name][about]] for about in found[0].caught[name]}
        shares = ", ".join(f"{about} {100 * np.mean(some):.0f} % of {len(some)}" for about, some in hits.items())
        print(f"  {name:10s} {shares}")
    print(f"{time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    main()
