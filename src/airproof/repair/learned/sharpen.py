"""The shop's own numbers in place of the judged ones, each with what it rests on; the judged ones stay as they were."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal, TypeVar

import numpy as np

from airproof.knowledge.model import NONE, Cause, Knowledge, Known, Look, PartPrice, SetUp, Step, Witness, learned_over
from airproof.repair.learned.closed_job import possible
from airproof.repair.learned.conjugate import (
    LEVEL,
    Beta,
    LogMean,
    Own,
    Unnamed,
    log_mean,
    share_of,
    shares,
    unnamed,
    within,
)
from airproof.repair.learned.judged_weights import Otherwise, Within, judged_weights
from airproof.repair.learned.shop_file import Shop
from airproof.repair.learned.totals import Tally, Totals

About = Literal["how common", "tells", "code", "symptom", "look", "cures", "minutes", "price"]
Entry = TypeVar("Entry", bound=Witness)

OTHERWISE = "otherwise"
"""In place of a cause: all that are not named."""

NO_SPREAD = 1.0 + 1e-9
"""A usual range narrower than this factor is a stated price: nothing is learned over it."""


@dataclass(frozen=True)
class LearnedNumber:
    """One number before and after: a probability, minutes, or money in the currency of the prices.

    `of`: id of the cause, step, code, symptom, look or part; `given`: under which cause, "otherwise" for all not named,
    empty where that has no meaning. `belief` is what is held of it now, and `jobs` how many closed jobs that rests on.
    """

    about: About
    of: str
    given: str
    before: float
    belief: Beta | Own | Unnamed | LogMean
    jobs: int

    @property
    def after(self) -> float:
        """What it is taken for now."""
        return self.belief.mean

    @cached_property
    def interval(self) -> tuple[float, float]:
        """Between what it lies at 90 %."""
        return self.belief.interval()

    @property
    def moved(self) -> float:
        """How far, as the logarithm of the ratio of amounts, or of odds."""
        if self.about in ("minutes", "price"):
            return abs(math.log(self.after / self.before))
        return abs(_log_odds(self.after) - _log_odds(self.before))


@dataclass(frozen=True)
class Learned:
    """The knowledge with the shop's own numbers, and all that moved, what moved most first."""

    knowledge: Knowledge
    numbers: tuple[LearnedNumber, ...]
    jobs: int
    remarks: tuple[str, ...] = ()


def sharpened(known: Knowledge, shop: Shop) -> Learned:
    """What is known, with what a shop has learned; without any job it is the very same.

    Raises nothing: what a file names and the knowledge does not hold is passed over, with a remark.
    """
    if not shop.jobs:
        return Learned(known, (), 0)
    totals = Totals.of(shop)
    causes, how_common = _causes(known, totals)
    steps, of_steps = _steps(known, totals)
    codes, of_codes = _codes_and_symptoms(known, known.codes, "codes", totals)
    symptoms, of_symptoms = _codes_and_symptoms(known, known.symptoms, "symptoms", totals)
    looks, of_looks = _looks(known, totals)
    parts, of_parts = _prices(known, totals)
    prices = known.prices.model_copy(update={"parts": parts})
    numbers = [*how_common, *of_steps, *of_codes, *of_symptoms, *of_looks, *of_parts]
    return Learned(
        replace(
            known,
            causes=causes,
            codes=codes,
            symptoms=symptoms,
            looks=looks,
            steps=steps,
            prices=prices,
            setups=_setups(known, steps, totals),
        ),
        tuple(sorted(numbers, key=lambda number: -number.moved)),
        len(shop.jobs),
        _remarks(known, totals),
    )


def _causes(known: Knowledge, totals: Totals) -> tuple[Mapping[str, Cause], list[LearnedNumber]]:
    """How common each cause is: nothing wrong against all faults, and the faults among each other.

    A verdict takes the share of cars with nothing wrong as it is, and scales the faults that the engine can have to the
    rest (diagnosis/hypotheses.py): so they are learned.
    """
    kinds = {engine: {c: n for c, n in counts.items() if c in known.causes} for engine, counts in totals.kinds.items()}
    jobs = sum(1 for job in totals.jobs if any(c in known.causes for c in job.causes))
    if not jobs:
        return known.causes, []
    whole = math.fsum(cause.weight for cause in known.causes.values())
    weight = judged_weights().causes.jobs
    faults = [cause for cause in known.causes if cause != NONE]
    prior = np.array([weight * known.causes[c].weight / whole for c in faults])
    counted = [
        (
            np.array([counts.get(c, 0.0) for c in faults]),
            np.array([possible(engine, c, known) for c in faults]),
        )
        for engine, counts in kinds.items()
    ]
    found, exposure = shares(prior, counted)
    counts = prior + np.sum([count for count, _ in counted], axis=0)
    healthy_before = known.causes[NONE].weight / whole
    nothing = math.fsum(counts_.get(NONE, 0.0) for counts_ in kinds.values())
    faulty = float(counts.sum() - prior.sum())
    healthy = Beta(weight * healthy_before, weight * (1.0 - healthy_before)).and_then(nothing, faulty)
    entries, numbers = dict(known.causes), []
    among = {c: float(w) for c, w in zip(faults, found / found.sum(), strict=True)}
    for cause, entry in known.causes.items():
        share = healthy.mean if cause == NONE else (1.0 - healthy.mean) * among[cause]
        margin = healthy if cause == NONE else share_of(faults.index(cause), counts, exposure)
        before = entry.weight / whole if cause == NONE else entry.weight / whole / (1.0 - healthy_before)
        entries[cause] = _with(entry, jobs, weight=share * whole)
        numbers.append(LearnedNumber("how common", cause, "", before, margin, jobs))
    return entries, numbers


def _steps(known: Knowledge, totals: Totals) -> tuple[Mapping[str, Step], list[LearnedNumber]]:
    weights = judged_weights()
    minutes = totals.minutes
    entries, numbers = dict(known.steps), []
    for name, step in known.steps.items():
        changed: dict[str, object] = {}
        tallies = {c: t for c, t in totals.tells.get(name, {}).items() if c in known.causes}
        if step.otherwise is not None and tallies:
            odds = _odds(
                step.tells, step.otherwise, tallies, weights.tells, weights.tells_otherwise, totals.step_jobs[name]
            )
            changed |= {"tells": odds.named, "otherwise": odds.otherwise}
            numbers += [replace(n, about="tells", of=name) for n in odds.numbers]
        cures = {c: t for c, t in totals.cures.get(name, {}).items() if c in step.cures}
        if cures:
            chances = dict(step.cures)
            for cause, tally in cures.items():
                number = _chance("cures", cause, step.cures[cause], tally, weights.cures.factor)
                chances[cause] = number.after
                numbers.append(replace(number, of=name))
            changed["cures"] = chances
        if name in minutes and step.minutes > 0.0:
            sums, jobs = minutes[name]
            judged = weights.minutes
            mean = log_mean(step.minutes, judged.factor, judged.spread or judged.factor, judged.spread_jobs)
            mean = mean.and_then(sums)
            changed["minutes"] = mean.mean
            numbers.append(LearnedNumber("minutes", name, "", step.minutes, mean, jobs))
        if changed:
            entries[name] = _with(step, totals.step_jobs[name], **changed)
    return entries, numbers


def _codes_and_symptoms(
    known: Knowledge, there: Mapping[str, Entry], kind: Literal["codes", "symptoms"], totals: Totals
) -> tuple[Mapping[str, Entry], list[LearnedNumber]]:
    weights, jobs = judged_weights(), totals.witness_jobs(kind)
    named, rest = (
        (weights.codes, weights.codes_otherwise) if kind == "codes" else (weights.symptoms, weights.symptoms_otherwise)
    )
    about: About = "code" if kind == "codes" else "symptom"
    tallies = totals.witnessed(kind, there) if jobs else {}
    return _witnesses(known, there, about, tallies, dict.fromkeys(tallies, jobs), named, rest)


def _looks(known: Knowledge, totals: Totals) -> tuple[Mapping[str, Look], list[LearnedNumber]]:
    if not totals.looks:
        return known.looks, []  # not even read
    weights = judged_weights()
    tallies = {name: told for name, told in totals.looks.items() if name in known.looks}
    return _witnesses(known, known.looks, "look", tallies, totals.look_jobs, weights.looks, weights.looks_otherwise)


def _witnesses(
    known: Knowledge,
    there: Mapping[str, Entry],
    about: About,
    told: Mapping[str, Mapping[str, Tally]],
    jobs: Mapping[str, int],
    named: Within,
    rest: Otherwise,
) -> tuple[Mapping[str, Entry], list[LearnedNumber]]:
    """Codes, symptoms or looks after what was `told` of each by cause, in so many `jobs`."""
    entries, numbers = dict(there), []
    for name, of_causes in told.items():
        tallies = {c: t for c, t in of_causes.items() if c in known.causes}
        if not tallies:
            continue
        entry = there[name]
        odds = _odds(entry.sets, entry.by_chance, tallies, named, rest, jobs[name], never_named=(NONE,))
        entries[name] = _with(entry, jobs[name], sets=odds.named, by_chance=odds.otherwise)
        numbers += [replace(n, about=about, of=name) for n in odds.numbers]
    return entries, numbers


def _prices(known: Knowledge, totals: Totals) -> tuple[Mapping[str, PartPrice], list[LearnedNumber]]:
    judged = judged_weights().prices
    entries, numbers = dict(known.prices.parts), []
    for part, (sums, jobs) in totals.prices(known.prices.currency).items():
        entry = known.prices.parts.get(part)
        if entry is None or entry.low <= 0.0 or entry.high / entry.low <= NO_SPREAD:
            continue
        # Nine of ten within the usual range: so many standard deviations to each side.
        spread = math.exp(math.log(entry.high / entry.low) / (2.0 * NINE_OF_TEN))
        price = log_mean(entry.typical, judged.factor, spread, judged.spread_jobs).and_then(sums)
        low, high = price.next_one()
        typical = price.mean
        entries[part] = _with(entry, jobs, low=min(low, typical), typical=typical, high=max(high, typical))
        numbers.append(LearnedNumber("price", part, "", entry.typical, price, jobs))
    return entries, numbers


NINE_OF_TEN = 1.6448536269514722  # standard deviations to each side that hold 90 % of a normal distribution


def _setups(known: Knowledge, steps: Mapping[str, Step], totals: Totals) -> Mapping[str, SetUp]:
    """Set-ups never take longer than a step that includes them: where hands proved faster, they shrink alike."""
    entries = dict(known.setups)
    for name, (_, jobs) in totals.minutes.items():
        step = steps.get(name)
        if step is None:
            continue
        share = step.minutes / max(sum(known.setups[one].minutes for one in step.set_up), 1e-9)
        for one in step.set_up:
            if share * known.setups[one].minutes < entries[one].minutes:
                entries[one] = _with(known.setups[one], jobs, minutes=share * known.setups[one].minutes)
    return entries


@dataclass(frozen=True)
class _Odds:
    named: Mapping[str, float]
    otherwise: float
    numbers: tuple[LearnedNumber, ...]


def _odds(
    named: Mapping[str, float],
    otherwise: float,
    tallies: Mapping[str, Tally],
    judged: Within,
    rest: Otherwise,
    most: int,
    never_named: tuple[str, ...] = (),
) -> _Odds:
    """What is probable under each cause named, and under all others.

    A cause that is not named is taken as all others until its own jobs say, at 90 %, that it is not as they are; then
    it gets a number of its own, near theirs.
    """
    after, numbers = dict(named), []
    for cause in named:
        if cause in tallies:
            number = _chance("tells", cause, named[cause], tallies[cause], judged.factor)
            after[cause] = number.after
            numbers.append(number)
    others = {c: t for c, t in tallies.items() if c not in named}
    if not others:
        return _Odds(after, otherwise, tuple(numbers))
    yes, count = (np.array([getattr(t, what) for t in others.values()]) for what in ("yes", "count"))
    alike = within(otherwise, rest.alike)
    pooled = unnamed(within(otherwise, rest.factor), alike.yes + alike.no, yes, count)
    jobs = min(most, sum(t.jobs for t in others.values()))
    numbers.append(LearnedNumber("tells", "", OTHERWISE, otherwise, pooled, jobs))
    for cause, tally in others.items():
        own = pooled.own(tally.yes, tally.count)
        alike_at = own.below(pooled.mean)
        if cause not in never_named and not (1.0 - LEVEL) / 2.0 <= alike_at <= (1.0 + LEVEL) / 2.0:
            after[cause] = own.mean
            numbers.append(LearnedNumber("tells", "", cause, otherwise, own, tally.jobs))
    return _Odds(after, pooled.mean, tuple(numbers))


def _chance(about: About, cause: str, before: float, tally: Tally, factor: float) -> LearnedNumber:
    chance = within(before, factor).and_then(tally.yes, tally.count - tally.yes)
    return LearnedNumber(about, "", cause, before, chance, tally.jobs)


Changed = TypeVar("Changed", bound=Known)


def _with(entry: Changed, jobs: int, **changed: object) -> Changed:
    """The entry with other numbers, and a source that says on how many jobs they rest."""
    return entry.model_copy(update={**changed, "source": (learned_over(entry.source, jobs), *entry.source)})


def _remarks(known: Knowledge, totals: Totals) -> tuple[str, ...]:
    remarks = []
    other = [job for job in totals.jobs if job.prices and job.currency != known.prices.currency]
    if other:
        remarks.append(
            f"Prices of {len(other)} jobs are not in {known.prices.currency}: nothing is converted, nothing learned "
            "from them."
        )
    there: dict[str, Callable[[], set[str]]] = {
        "causes": lambda: set(known.causes),
        "steps": lambda: set(known.steps),
        "parts": lambda: set(known.prices.parts),
    }
    used = {
        "causes": {c for job in totals.jobs for c in job.causes},
        "steps": {s for job in totals.jobs for s in (*job.tells, *job.cures, *job.minutes)},
        "parts": {p for job in totals.jobs for p in job.prices},
    }
    for what, names in used.items():
        unknown = sorted(names - there[what]())
        if unknown:
            remarks.append(f"Not in the lists any more, and passed over: {what} {', '.join(unknown)}.")
    return tuple(remarks)


def _log_odds(p: float) -> float:
    return math.log(p) - math.log1p(-p) if 0.0 < p < 1.0 else math.copysign(40.0, p - 0.5)
