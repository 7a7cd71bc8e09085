"""The steps that could be taken, as arrays: what each costs, tells and cures.

Beliefs are weights over causes, not normalised: their sum is the probability of getting this far, so that
costs weighted with them add up along all paths. One cause is at work; the outcomes of steps depend on it
alone.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airproof.errors import UnusableRequest
from airproof.knowledge.model import Knowledge, Prices, Step

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

MONEY, MINUTES, WATCHED = 0, 1, 2
"""What a step uses up: money for parts and other people's bills, minutes of one's own, and the watched
part."""

FREE_TIME_PER_HOUR = 0.06
"""Worth of an hour that costs nothing, in the currency: of two ways that cost the same the shorter one is
taken. judged: Airproof authors, small enough never to outweigh a part."""

RULED_OUT = 1e-6
"""Causes less probable than this are left out of the planning. judged: Airproof authors, at that probability
even the dearest repair weighs less than a cent."""

SPEAKS_FOR = 2.0
"""A step is looked at as the test before a repair if its positive outcome is at least that many times more
probable under a cause that the repair cures than under those it does not name. judged: Airproof authors, 3
decibans."""

TESTS_A_REPAIR = 3
"""Tests looked at before each repair. judged: Airproof authors, more cost time and change nothing."""


@dataclass(frozen=True)
class Choices:
    """S steps, n causes, E attributes (MONEY, MINUTES, WATCHED).

    `uses` (S, E); `positive` (S, n): P(positive outcome | cause), NaN where the step tells nothing; `cures`
    (S, n); `before` (S, S): true where step [i] needs [j] first, directly or through others; `ending` the
    step that ends the job. `worth` (E,) turns what is used up into one cost in the currency.

    `pairs_test`, `pairs_repair` (M,): a test (-1: none) followed, on its positive outcome, by a repair.
    """

    causes: tuple[str, ...]
    steps: tuple[Step, ...]
    uses: Floats
    positive: Floats
    cures: Floats
    before: Flags
    ending: int
    worth: Floats
    pairs_test: NDArray[np.intp]
    pairs_repair: NDArray[np.intp]

    @property
    def cost(self) -> Floats:
        """Cost of each step (S,), its minutes included."""
        return np.asarray(self.uses @ self.worth)

    def index(self, step: str) -> int | None:
        """Where a step stands; None if it plays no part here."""
        return next((i for i, s in enumerate(self.steps) if s.id == step), None)


def lay_out(
    belief: Mapping[str, float], knowledge: Knowledge, prices: Prices, watched_part: str
) -> tuple[Choices, Floats]:
    """The choices that matter under a belief, and the belief (n,) in their order of causes, summing to 1."""
    causes = tuple(c for c, p in belief.items() if p > RULED_OUT)
    weights = np.array([belief[c] for c in causes])
    steps = _steps_that_matter(knowledge.steps.values(), causes)
    number = {step.id: i for i, step in enumerate(steps)}
    uses = np.array([[prices.part(s.part), s.minutes, float(s.part == watched_part)] for s in steps], dtype=np.float64)
    positive = np.array([[s.positive_given(c) if s.tells else np.nan for c in causes] for s in steps], dtype=np.float64)
    cures = np.array([[s.cures.get(c, 0.0) for c in causes] for s in steps], dtype=np.float64)
    before = np.zeros((len(steps), len(steps)), dtype=np.bool_)
    for step in steps:
        for earlier in _all_before(step, knowledge):
            before[number[step.id], number[earlier]] = True
    endings = [i for i, step in enumerate(steps) if step.ends]
    if not endings:
        raise UnusableRequest("no step ends the job", "a step that settles it at some price", "Add one to the steps.")
    per_minute = max(prices.labour_per_hour, FREE_TIME_PER_HOUR) / 60.0
    worth = np.array([1.0, per_minute, 0.0])
    ending = min(endings, key=lambda i: float(uses[i] @ worth))
    tests, repairs = _pairs(steps, belief, uses @ worth)
    choices = Choices(causes, steps, uses, positive, cures, before, ending, worth, tests, repairs)
    return choices, weights / weights.sum()


def _steps_that_matter(steps: Collection[Step], causes: Collection[str]) -> tuple[Step, ...]:
    """Steps that cure one of the causes or tell them apart, what must come first, and what ends the job."""
    known = {step.id: step for step in steps}
    kept: dict[str, Step] = {}

    def keep(step: Step) -> None:
        if step.id not in kept:
            for earlier in step.after:
                keep(known[earlier])
            kept[step.id] = step

    for step in steps:
        chances = {step.positive_given(c) for c in causes}
        if step.ends or any(c in step.cures for c in causes) or (step.tells and len(chances) > 1):
            keep(step)
    return tuple(kept.values())


def _all_before(step: Step, knowledge: Knowledge) -> set[str]:
    before: set[str] = set()
    waiting = list(step.after)
    while waiting:
        earlier = waiting.pop()
        before.add(earlier)
        waiting.extend(knowledge.steps[earlier].after)
    return before


def _pairs(
    steps: Sequence[Step], belief: Mapping[str, float], cost: Floats
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Each repair alone, and after each of the few tests that make it cure most probability per cost."""
    tests, repairs = [], []
    for r, repair in enumerate(steps):
        cured = [c for c in repair.cures if c in belief]
        rated = []
        for t, test in enumerate(steps):
            speaks = test.otherwise is not None and any(
                test.positive_given(c) >= SPEAKS_FOR * test.otherwise for c in cured
            )
            if speaks and not test.after:
                gain = sum(belief[c] * test.positive_given(c) * repair.cures[c] for c in cured)
                fired = sum(p * test.positive_given(c) for c, p in belief.items())
                rated.append((gain / (cost[t] + fired * cost[r] + FREE_TIME_PER_HOUR), t))
        best = [t for _, t in sorted(rated, reverse=True)[:TESTS_A_REPAIR]]
        for t in (-1, *best) if cured else ():
            tests.append(t)
            repairs.append(r)
    return np.array(tests, dtype=np.intp), np.array(repairs, dtype=np.intp)
