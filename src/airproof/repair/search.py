"""The search for the cheapest plan: look some steps ahead, and go on from there with a good order of repairs.

A step that tells splits the belief by Bayes' rule; a step that cures leaves what it did not cure. Where few
enough states can be reached the search visits them all and its plan is the best there is; otherwise it
follows the most promising steps, and its plan is one that can be followed, at a cost that is never below the
best plan's.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from airproof.repair.choices import Choices, Flags, Floats
from airproof.repair.sequence import Sequences

STATES_TO_VISIT_ALL = 2000
"""Up to that many states the search is complete. judged: Airproof authors, a few tenths of a second."""

FAR, NEAR = 6, 2
"""First steps followed up in earnest, and for a quick look. judged: Airproof authors, what a person waits for without
noticing; twenty times the work finds plans 1 to 3 % cheaper, up to 10 % where one's own time costs nothing."""

DEEPEST = 10
"""Steps looked ahead. judged: Airproof authors, few jobs get there."""

RARE = 0.015
"""Where the job gets with less than this probability, the sequence of repairs is good enough. judged: Airproof
authors, what could be gained there is a few per cent of that."""

LOOKED_AT = 14
"""Steps looked at in each state, those that shift or cure most per cost. judged: Airproof authors, more find nothing
better."""

SMALL_CHANGE = 5.0
"""Added to the cost of each step in that comparison, in the currency, so that what is nearly free does not crowd out
all else. judged: Airproof authors, the price of a can of cleaner."""

WORTHWHILE = 0.004
"""A step is looked at if it cures that share of the weight, or shifts that share of it between its outcomes. judged:
Airproof authors, below it no step pays for its minutes."""

SAME_COST = 6
"""Digits of the currency after the point that are compared: what is cheaper by less costs the same, so that the last
digit of a sum, which no two processors share, does not choose."""

History = frozenset[tuple[int, bool]]
"""What has been done, and whether it came out positive; for a cure always False: it did not help."""


@dataclass(frozen=True)
class Option:
    """One step to take now, and what the job uses up if it is taken and the best found follows (E,)."""

    step: int
    total: Floats
    cost: float


class Search:
    """One planning task: the choices, and a memory of the states already looked into."""

    def __init__(self, choices: Choices, first_steps: int = FAR) -> None:
        self.choices = choices
        self._first_steps = first_steps
        self._sequences = Sequences(choices)
        self._tells: Flags = np.array([bool(step.tells) for step in choices.steps], dtype=np.bool_)
        self._positive = np.where(self._tells[:, None], choices.positive, 0.0)
        self._needs = choices.before
        kinds = self._tells[np.arange(len(choices.steps)) != choices.ending]
        states = 3.0 ** np.count_nonzero(kinds) * 2.0 ** np.count_nonzero(~kinds)
        self.complete = bool(states <= STATES_TO_VISIT_ALL)
        self._known: dict[History, Floats] = {}

    def options(self, belief: Floats, done: Flags, asked: Collection[int] = ()) -> list[Option]:
        """Steps that can be taken first, cheapest whole job first; `belief` (n,), `done` (S,).

        Those followed up in earnest only, and those `asked` for.
        """
        return self._options(belief, done, frozenset(), self._first_steps, asked)

    def after(self, belief: Floats, done: Flags, step: int) -> list[tuple[bool, float, int]]:
        """Where a step leads: for each outcome whether positive, its probability, and the best step then."""
        leads = []
        for came, child in self._outcomes(belief, step):
            weight = float(child.sum())
            if weight > 0.0:
                then = self._options(child, _with(done, step), frozenset({(step, came)}), 1)
                leads.append((came, weight / float(belief.sum()), then[0].step))
        return leads

    def _outcomes(self, belief: Floats, step: int) -> list[tuple[bool, Floats]]:
        if step == self.choices.ending:
            return []
        if self._tells[step]:
            positive = belief * self._positive[step]
            return [(True, positive), (False, belief - positive)]
        return [(False, belief * (1.0 - self.choices.cures[step]))]

    def _options(
        self, belief: Floats, done: Flags, history: History, width: int, asked: Collection[int] = ()
    ) -> list[Option]:
        """The `width` best steps here, and those asked for, by what the job costs with them, cheapest first.

        Each is first judged with the sequence of repairs after it; the best are then followed further.
        """
        weight = float(belief.sum())
        steps = self._possible(belief, done, weight, asked)
        totals = weight * self.choices.uses[steps]
        leads = [self._outcomes(belief, step) for step in steps]
        owners = [row for row, outcomes in enumerate(leads) for _ in outcomes]
        rest: list[list[Floats]] = [[] for _ in steps]
        if owners:
            after = np.repeat(done[None, :], len(owners), axis=0)
            after[np.arange(len(owners)), np.asarray(steps)[owners]] = True
            children = np.array([child for outcomes in leads for _, child in outcomes])
            for owner, total in zip(owners, self._sequences.totals(children, after), strict=True):
                totals[owner] += total
                rest[owner].append(total)
        order = np.argsort(np.round(totals @ self.choices.worth, SAME_COST), kind="stable")
        followed = list(order[: None if self.complete else width])
        followed += [row for row in order if steps[row] in asked and row not in followed]
        found = []
        for row in followed:
            step, total = steps[row], weight * self.choices.uses[steps[row]]
            for (came, child), sequence in zip(leads[row], rest[row], strict=True):
                total = total + self._value(child, _with(done, step), history | {(step, came)}, sequence)
            found.append(Option(step, total, float(total @ self.choices.worth)))
        return sorted(found, key=lambda option: round(option.cost, SAME_COST))

    def _value(self, belief: Floats, done: Flags, history: History, sequence: Floats) -> Floats:
        """What the rest of the job uses up (E,), weighted by the chance of it; no more than `sequence`."""
        weight = float(belief.sum())
        if weight <= 0.0 or (not self.complete and (len(history) >= DEEPEST or weight < RARE)):
            return sequence
        if history not in self._known:
            best = self._options(belief, done, history, 1)[0]
            self._known[history] = min(best.total, sequence, key=lambda total: float(total @ self.choices.worth))
        return self._known[history]

    def _possible(self, belief: Floats, done: Flags, weight: float, asked: Collection[int]) -> list[int]:
        """Steps not done, whose predecessors are, and which promise something here; the ending step always."""
        c = self.choices
        ready = ~done & ~(self._needs & ~done).any(axis=1)
        chosen = ready.copy()
        if not self.complete:
            moved = np.abs(self._positive - (self._positive @ belief / weight)[:, None]) @ belief
            promise = np.where(ready, np.maximum(c.cures @ belief, moved), 0.0)
            chosen &= promise >= WORTHWHILE * weight
            rate = np.where(chosen, promise / (c.cost + SMALL_CHANGE), 0.0)
            chosen &= rate >= np.sort(rate)[-LOOKED_AT:][0]
            chosen |= self._gates(done) & ready
            chosen[list(asked)] |= ready[list(asked)]
        chosen[c.ending] = True
        return [int(i) for i in np.flatnonzero(chosen)]

    def _gates(self, done: Flags) -> Flags:
        """Steps that are ready and that some step not done waits for."""
        waiting = (self._needs & ~done).any(axis=1) & ~done
        return np.asarray(self._needs[waiting].any(axis=0) & ~(self._needs & ~done).any(axis=1))


def _with(done: Flags, step: int) -> Flags:
    after = done.copy()
    after[step] = True
    return after
