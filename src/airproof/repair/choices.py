"""The steps that could be taken, as arrays: what each costs, tells and cures.

A fault is one cause, or two at once. Beliefs are weights over faults, not normalised: their sum is the probability of
getting this far, so that costs weighted with them add up along all paths. The outcomes of steps depend on the fault
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
Fault = tuple[str, ...]
"""One cause, or two at once."""

MONEY, MINUTES, WATCHED = 0, 1, 2
"""What a step uses up: money for parts and other people's bills, minutes of one's own, and the watched
part."""

FREE_TIME_PER_HOUR = 0.06
"""Worth of an hour that costs nothing, in the currency: of two ways that cost the same the shorter one is
taken. judged: Airproof authors, small enough never to outweigh a part."""

RULED_OUT = 1e-6
"""Causes less probable than this are left out of the planning. judged: Airproof authors, at that probability
even the dearest repair weighs less than a cent."""

RARE_PAIR = 2e-3
"""Two causes at once less probable than this are left to the plan that is made when one of them has been cured.
judged: Airproof authors, a second round of repairs at that probability weighs less than a dollar."""

SPEAKS_FOR = 2.0
"""A step is looked at as the test before a repair if its positive outcome is at least that many times more
probable under a cause that the repair cures than under those it does not name. judged: Airproof authors, 3
decibans."""

TESTS_A_REPAIR = 3
"""Tests looked at before each repair. judged: Airproof authors, more cost time and change nothing."""


@dataclass(frozen=True)
class Choices:
    """S steps, n faults (the last m of them two causes at once), K set-ups, E things used up (MONEY, MINUTES, WATCHED).

    `uses` (S, E), everything set up already; `positive` (S, n): P(positive outcome | fault), NaN where the step tells
    nothing; `stays` (S, n): chance that a repair leaves the fault as it is, 1 where it cures none of it; `halves`
    (2, S, m): chance that it cures just the first, or just the second, of two causes, and `left` (2, m) the faults
    that are then left. `before` (S, S): true where step [i] needs [j] first, directly or through others;
    `ending` the step that ends the job. `set_up` (S, K): what a step needs set up, `setting_up` (K, E) what that uses
    up, and `clears` (S, K): what a step takes down again. `worth` (E,) turns what is used up into one cost in the
    currency.

    `pairs_test`, `pairs_repair` (M,): a test (-1: none) followed, on its positive outcome, by a repair.
    """

    faults: tuple[Fault, ...]
    steps: tuple[Step, ...]
    uses: Floats
    positive: Floats
    stays: Floats
    halves: Floats
    left: NDArray[np.intp]
    before: Flags
    ending: int
    set_up: Flags
    setting_up: Floats
    clears: Flags
    worth: Floats
    pairs_test: NDArray[np.intp]
    pairs_repair: NDArray[np.intp]

    @property
    def from_scratch(self) -> Floats:
        """What each step uses up (S, E) with nothing set up."""
        return np.asarray(self.uses + self.set_up @ self.setting_up)

    @property
    def cost(self) -> Floats:
        """Cost of each step (S,) with nothing set up, its minutes included."""
        return np.asarray(self.from_scratch @ self.worth)

    def uses_with(self, standing: Flags) -> Floats:
        """What each step uses up (S, E) where some set-ups (K,) stand already."""
        return np.asarray(self.uses + (self.set_up & ~standing) @ self.setting_up)

    def standing_after(self, standing: Flags, step: int) -> Flags:
        """The set-ups (K,) that stand after a step."""
        return np.asarray((standing | self.set_up[step]) & ~self.clears[step])

    def not_cured(self, beliefs: Floats, steps: NDArray[np.intp], fires: Floats | float = 1.0) -> Floats:
        """Beliefs (L, n) after one repair each (L,), where it did not end the job; `fires` (L, n): chance that the
        repair is made at all.
        """
        after = beliefs * (1.0 - fires * (1.0 - self.stays[steps]))
        if self.left.size:
            two = slice(len(self.faults) - self.left.shape[1], None)
            tried = beliefs[:, two] * (fires if isinstance(fires, float) else fires[:, two])
            for which in (0, 1):
                np.add.at(after.T, self.left[which], (tried * self.halves[which, steps]).T)
        return np.asarray(after)

    def index(self, step: str) -> int | None:
        """Where a step stands; None if it plays no part here."""
        return next((i for i, s in enumerate(self.steps) if s.id == step), None)


def lay_out(
    belief: Mapping[str, float],
    knowledge: Knowledge,
    prices: Prices,
    watched_part: str,
    pairs: Mapping[Fault, float] | None = None,
    without: Collection[str] = (),
) -> tuple[Choices, Floats]:
    """The choices that matter under a belief, and the belief (n,) in their order of faults, summing to 1.

    `pairs`: probabilities of two causes at once, beside those of `belief`; `without`: steps that are not to be taken.
    """
    alone = [c for c, p in belief.items() if p > RULED_OUT]
    twos = {pair: p for pair, p in (pairs or {}).items() if p > RARE_PAIR}
    causes = tuple(dict.fromkeys([*alone, *(cause for pair in twos for cause in pair)]))
    faults: tuple[Fault, ...] = (*((c,) for c in causes), *twos)
    weights = np.array([*(belief.get(c, 0.0) for c in causes), *twos.values()])
    steps = _steps_that_matter(to_hand(knowledge.steps, prices, without), causes)
    if not any(step.ends for step in steps):
        raise UnusableRequest("no step ends the job", "a step that settles it at some price", "Add one to the steps.")
    number = {step.id: i for i, step in enumerate(steps)}
    setups = tuple(dict.fromkeys(name for step in steps for name in step.set_up))
    minutes = {name: knowledge.setups[name].minutes for name in setups}
    uses = np.array(
        [
            [
                prices.part(s.part) + s.risk.expected_money,
                s.minutes - sum(minutes[name] for name in s.set_up),
                float(s.part == watched_part),
            ]
            for s in steps
        ],
        dtype=np.float64,
    )
    before = np.zeros((len(steps), len(steps)), dtype=np.bool_)
    for step in steps:
        for earlier in _all_before(step, knowledge.steps):
            before[number[step.id], number[earlier]] = True
    per_minute = max(prices.labour_per_hour, FREE_TIME_PER_HOUR) / 60.0
    worth = np.array([1.0, per_minute, 0.0])
    stays, halves = _cures(steps, faults, len(twos))
    set_up = np.array([[name in s.set_up for name in setups] for s in steps], dtype=np.bool_).reshape(
        len(steps), len(setups)
    )
    stands = np.array([knowledge.setups[name].stands_running for name in setups], dtype=np.bool_)
    running = np.array([s.engine_runs for s in steps], dtype=np.bool_)
    setting_up = np.array([[0.0, minutes[name], 0.0] for name in setups]).reshape(-1, 3)
    cost = (uses + set_up @ setting_up) @ worth
    tests, repairs = _tests_and_repairs(steps, belief, cost)
    endings = [i for i, step in enumerate(steps) if step.ends]
    choices = Choices(
        faults=faults,
        steps=steps,
        uses=uses,
        positive=np.array([[positive_given(s, f) if s.tells else np.nan for f in faults] for s in steps]),
        stays=stays,
        halves=halves,
        left=np.array([[causes.index(pair[1 - i]) for pair in twos] for i in (0, 1)], dtype=np.intp),
        before=before,
        ending=min(endings, key=lambda i: float(cost[i])),
        set_up=set_up,
        setting_up=setting_up,
        clears=running[:, None] & ~stands,
        worth=worth,
        pairs_test=tests,
        pairs_repair=repairs,
    )
    return choices, weights / weights.sum()


def positive_given(step: Step, fault: Fault) -> float:
    """Probability of the outcome `if_so` under one cause, or under two at once by noisy-or with leak.

    A cause that makes the outcome rarer than `otherwise` makes it rarer by the same factor beside another.
    """
    if step.otherwise is None:
        return 0.5
    misses, rarer = 1.0 - step.otherwise, 1.0
    for cause in fault:
        chance = step.positive_given(cause)
        if chance >= step.otherwise:
            misses *= (1.0 - chance) / (1.0 - step.otherwise)
        else:
            rarer *= chance / step.otherwise
    return (1.0 - misses) * rarer


def _cures(steps: Sequence[Step], faults: Sequence[Fault], twos: int) -> tuple[Floats, Floats]:
    """`stays` (S, n) and `halves` (2, S, m): causes of a pair are cured or not independently."""
    first = np.array([[s.cures.get(f[0], 0.0) for f in faults] for s in steps])
    second = np.array([[s.cures.get(f[1], 0.0) if len(f) > 1 else 0.0 for f in faults] for s in steps])
    two = slice(len(faults) - twos, None)
    only_first = first[:, two] * (1.0 - second[:, two])
    only_second = second[:, two] * (1.0 - first[:, two])
    return (1.0 - first) * (1.0 - second), np.array([only_first, only_second])


def to_hand(steps: Mapping[str, Step], prices: Prices, without: Collection[str]) -> dict[str, Step]:
    """The steps that can be taken with the tools there are, and whose forerunners can."""
    missing = set(prices.tools_missing)
    can = {name for name, step in steps.items() if name not in without and not missing & set(step.tools)}
    return {name: steps[name] for name in steps if name in can and _all_before(steps[name], steps) <= can}


def _steps_that_matter(steps: Mapping[str, Step], causes: Collection[str]) -> tuple[Step, ...]:
    """Steps that cure one of the causes or tell them apart, what must come first, and what ends the job."""
    kept: dict[str, Step] = {}

    def keep(step: Step) -> None:
        if step.id not in kept:
            for earlier in step.after:
                keep(steps[earlier])
            kept[step.id] = step

    for step in steps.values():
        chances = {step.positive_given(c) for c in causes}
        if step.ends or any(c in step.cures for c in causes) or (step.tells and len(chances) > 1):
            keep(step)
    return tuple(kept.values())


def _all_before(step: Step, steps: Mapping[str, Step]) -> set[str]:
    before: set[str] = set()
    waiting = list(step.after)
    while waiting:
        earlier = waiting.pop()
        before.add(earlier)
        waiting.extend(steps[earlier].after)
    return before


def _tests_and_repairs(
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
