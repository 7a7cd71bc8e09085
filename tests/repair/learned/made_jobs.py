"""A workshop whose true numbers are known, and the jobs it closes: what learning is measured against.

The truth is drawn round the judged numbers as data/learning.toml states how well they are known, or off by stated
factors; jobs are then drawn from the truth.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from airproof.knowledge.load import knowledge
from airproof.knowledge.model import NONE, Knowledge
from airproof.repair.learned.closed_job import ClosedJob, Engine, Found, StepTaken, possible
from airproof.repair.learned.conjugate import Beta, log_mean, within
from airproof.repair.learned.judged_weights import Otherwise, Within, judged_weights

KNOWN = knowledge()
ENGINES = (
    Engine(induction="turbocharged", air_metering="air-flow sensor"),
    Engine(induction="turbocharged", air_metering="speed-density", equipment=("egr", "charge-pressure-sensor")),
    Engine(induction="naturally-aspirated", air_metering="both"),
)
TWICE = 0.04  # jobs with two causes


@dataclass(frozen=True)
class Amount:
    """A log-normal amount: mean and spread of its logarithm."""

    mu: float
    sd: float

    @property
    def mean(self) -> float:
        return math.exp(self.mu + self.sd**2 / 2.0)


@dataclass(frozen=True)
class Truth:
    """The true numbers of a workshop; `odds[kind][name][cause]`, "otherwise" where a cause never met would lie."""

    healthy: float
    among: Mapping[str, float]
    odds: Mapping[str, Mapping[str, Mapping[str, float]]]
    cures: Mapping[str, Mapping[str, float]]
    minutes: Mapping[str, Amount]
    prices: Mapping[str, Amount]

    def of(self, about: str, name: str, given: str) -> float:
        """The true value of a learned number."""
        match about:
            case "how common":
                return self.healthy if name == NONE else self.among[name]
            case "cures":
                return self.cures[name][given]
            case "minutes":
                return self.minutes[name].mean
            case "price":
                return self.prices[name].mean
        return self.odds[about][name][given]


def drawn(rng: np.random.Generator, known: Knowledge = KNOWN) -> Truth:
    """A truth as likely as the judged numbers and their weights have it."""
    w = judged_weights()
    whole = sum(c.weight for c in known.causes.values())

    def beta(prior: Beta) -> float:
        return float(np.clip(rng.beta(prior.yes, prior.no), 1e-9, 1.0 - 1e-9))

    def odds(named: Mapping[str, float], otherwise: float, judged: Within, rest: Otherwise) -> dict[str, float]:
        m = beta(within(otherwise, rest.factor))
        near = within(otherwise, rest.alike)
        alike = near.yes + near.no
        own = {c: beta(within(named[c], judged.factor)) if c in named else None for c in known.causes}
        spread = {c: beta(Beta(alike * m, alike * (1.0 - m))) if p is None else p for c, p in own.items()}
        return {**spread, "otherwise": m}

    def amount(judged: float, factor: float, spread: float, jobs: float) -> Amount:
        prior = log_mean(judged, factor, spread, jobs)
        variance = prior.b / rng.gamma(prior.a)
        return Amount(rng.normal(prior.mu, math.sqrt(variance / prior.count)), math.sqrt(variance))

    weight = {c: w.causes.jobs * entry.weight / whole for c, entry in known.causes.items()}
    gammas = {c: rng.gamma(a) for c, a in weight.items() if c != NONE}
    faulty = sum(gammas.values())
    return Truth(
        healthy=beta(Beta(weight[NONE], w.causes.jobs - weight[NONE])),
        among={c: g / faulty for c, g in gammas.items()},
        odds={
            "tells": {
                s.id: odds(s.tells, s.otherwise, w.tells, w.tells_otherwise)
                for s in known.steps.values()
                if s.otherwise is not None
            },
            "code": {c.id: odds(c.sets, c.by_chance, w.codes, w.codes_otherwise) for c in known.codes.values()},
            "look": {k.id: odds(k.sets, k.by_chance, w.looks, w.looks_otherwise) for k in known.looks.values()},
            "symptom": {
                s.id: odds(s.sets, s.by_chance, w.symptoms, w.symptoms_otherwise) for s in known.symptoms.values()
            },
        },
        cures={s.id: {c: beta(within(q, w.cures.factor)) for c, q in s.cures.items()} for s in known.steps.values()},
        minutes={
            s.id: amount(s.minutes, w.minutes.factor, w.minutes.spread or 1.4, w.minutes.spread_jobs)
            for s in known.steps.values()
        },
        prices={
            p.id: amount(
                p.typical,
                w.prices.factor,
                math.exp(math.log(p.high / p.low) / (2.0 * 1.6448536269514722)),
                w.prices.spread_jobs,
            )
            for p in known.prices.parts.values()
        },
    )


class Workshop:
    """Closes jobs by a truth: tests and repairs picked at random, but never by what is not known yet."""

    def __init__(self, truth: Truth, rng: np.random.Generator, known: Knowledge = KNOWN) -> None:
        self.truth, self.rng, self.known = truth, rng, known
        self.telling = [s for s in known.steps.values() if s.tells]
        self.curing = [s for s in known.steps.values() if s.cures]
        self._codes = self._table("code")
        self._symptoms = self._table("symptom")

    def _table(self, kind: str) -> tuple[list[str], dict[str, np.ndarray]]:
        entries = self.truth.odds[kind]
        return list(entries), {c: np.array([e[c] for e in entries.values()]) for c in self.known.causes}

    def causes(self, engine: Engine) -> tuple[str, ...]:
        """What is wrong with the next car."""
        if self.rng.random() < self.truth.healthy:
            return (NONE,)
        names = list(self.truth.among)
        p = np.array([self.truth.among[c] * possible(engine, c, self.known) for c in names])
        many = 2 if self.rng.random() < TWICE else 1
        return tuple(str(c) for c in self.rng.choice(names, size=many, replace=False, p=p / p.sum()))

    def job(self, number: int) -> ClosedJob:
        """One closed and proved job."""
        rng, truth = self.rng, self.truth
        engine = ENGINES[int(rng.integers(len(ENGINES)))]
        causes = self.causes(engine)
        alone = causes[0]
        steps = []
        for i in rng.permutation(len(self.telling))[: rng.integers(1, 6)]:
            step = self.telling[int(i)]
            steps.append(
                self._took(step.id, "found" if rng.random() < truth.odds["tells"][step.id][alone] else "not found")
            )
        there = list(causes)
        able = [s for s in self.curing if set(s.cures) & set(causes)]
        for i in rng.permutation(len(able)):
            gone = [c for c in there if c in able[int(i)].cures and rng.random() < truth.cures[able[int(i)].id][c]]
            there = [c for c in there if c not in gone]
            both = tuple(gone) if len(causes) > 1 else ()
            steps.append(self._took(able[int(i)].id, "helped" if gone else "did not help", both))
            if not there:
                break
        return ClosedJob(
            version="airproof.closed-job/1",
            id=str(number),
            closed=datetime.date(2020 + number % 6, 1 + number % 12, 1),
            engine=engine,
            found=Found(causes=causes, how_sure="proved"),
            codes=tuple(n for n, p in zip(*self._of(self._codes, alone), strict=True) if rng.random() < p),
            symptoms=tuple(n for n, p in zip(*self._of(self._symptoms, alone), strict=True) if rng.random() < p),
            looks={
                str(one): bool(rng.random() < truth.odds["look"][str(one)][alone])
                for one in rng.choice(list(self.known.looks), size=4, replace=False)
            },
            step=tuple(self._spared(steps)),
        )

    def _spared(self, steps: list[StepTaken]) -> list[StepTaken]:
        """The same, each step shorter by the share that stood set up from the step before."""
        standing: set[str] = set()
        told = []
        for taken in steps:
            step = self.known.steps[taken.id]
            whole = sum(self.known.setups[s].minutes for s in step.set_up if s in standing)
            told.append(taken.model_copy(update={"minutes": (taken.minutes or 0.0) * (1.0 - whole / step.minutes)}))
            standing |= set(step.set_up)
            if step.runs or step.cures:
                standing = {s for s in standing if self.known.setups[s].stands_running}
        return told

    def _of(self, table: tuple[list[str], dict[str, np.ndarray]], cause: str) -> tuple[list[str], list[float]]:
        names, chances = table
        return names, chances[cause].tolist()

    def _took(self, step: str, outcome: str, cured: tuple[str, ...] = ()) -> StepTaken:
        known = self.known.steps[step]
        minutes = self.truth.minutes[step]
        price = None if known.part is None else self.truth.prices[known.part]
        return StepTaken(
            id=step,
            outcome=outcome,  # type: ignore[arg-type]
            minutes=math.exp(self.rng.normal(minutes.mu, minutes.sd)),
            money=None if price is None else math.exp(self.rng.normal(price.mu, price.sd)),
            cured=cured,
        )
