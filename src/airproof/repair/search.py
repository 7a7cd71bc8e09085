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

ALIKE = 12
"""Digits after the point in which two beliefs agree that are one: reached by the same steps in another order, they
differ in the last."""


NOTHING = np.zeros(3)
"""Of money, minutes and the watched part."""


@dataclass(frozen=True)
class Place:
    """Where a job stands: belief (n,), steps done (S,), set-ups standing (K,), after so many steps looked ahead."""

    belief: Floats
    done: Flags
    standing: Flags
    ahead: int = 0

    @property
    def weight(self) -> float:
        """Probability of getting here."""
        return float(self.belief.sum())

    @property
    def key(self) -> tuple[bytes, bytes, bytes]:
        """The same for the same place, whichever way it was reached."""
        return np.round(self.belief, ALIKE).tobytes(), self.done.tobytes(), self.standing.tobytes()


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
        self._known: dict[tuple[bytes, bytes, bytes], Floats] = {}

    def start(self, belief: Floats, done: Flags) -> Place:
        """A job that stands at a belief (n,), with steps done (S,) and nothing set up."""
        return Place(belief, done, np.zeros(len(self.choices.setting_up), dtype=np.bool_))

    def options(self, place: Place, asked: Collection[int] = ()) -> list[Option]:
        """Steps that can be taken first, cheapest whole job first.

        Those followed up in earnest only, and those `asked` for.
        """
        return self._options(place, self._first_steps, asked)

    def best(self, place: Place) -> Option:
        """The step to take there."""
        return self._options(place, 1)[0]

    def leads(self, place: Place, step: int) -> list[tuple[bool, Place]]:
        """Where a step leads to if the job is not over with it: whether the outcome was positive, and the place."""
        c = self.choices
        if step == c.ending:
            return []
        if self._tells[step]:
            positive = place.belief * self._positive[step]
            children = [(True, positive), (False, place.belief - positive)]
        else:
            children = [(False, c.not_cured(place.belief[None, :], np.array([step]))[0])]
        done = _with(place.done, step)
        standing = c.standing_after(place.standing, step)
        return [(came, Place(child, done, standing, place.ahead + 1)) for came, child in children]

    def _options(self, place: Place, width: int, asked: Collection[int] = ()) -> list[Option]:
        """The `width` best steps here, and those asked for, by what the job costs with them, cheapest first.

        Each is first judged with the sequence of repairs after it; the best are then followed further.
        """
        weight = place.weight
        steps = self._possible(place, asked)
        uses = self.choices.uses_with(place.standing)
        totals = weight * uses[steps]
        leads = [self.leads(place, step) for step in steps]
        rest = self._in_sequence(leads)
        if not self.complete:
            totals = totals + np.array([sum((x for x in onward if x is not None), NOTHING) for onward in rest])
        order = np.argsort(np.round(totals @ self.choices.worth, SAME_COST), kind="stable")
        followed = list(order[: None if self.complete else width])
        followed += [row for row in order if steps[row] in asked and row not in followed]
        found = []
        for row in followed:
            total = weight * uses[steps[row]]
            for (_, child), sequence in zip(leads[row], rest[row], strict=True):
                total = total + self._value(child, sequence)
            found.append(Option(steps[row], total, float(total @ self.choices.worth)))
        return sorted(found, key=lambda option: round(option.cost, SAME_COST))

    def _in_sequence(self, leads: list[list[tuple[bool, Place]]]) -> list[list[Floats | None]]:
        """What the sequence of repairs uses up (E,) from each place that some steps lead to; None where all places are
        visited, and nobody asks.
        """
        children = [child for outcomes in leads for _, child in outcomes]
        if self.complete or not children:
            return [[None for _ in outcomes] for outcomes in leads]
        totals = iter(
            self._sequences.totals(
                np.array([child.belief for child in children]),
                np.array([child.done for child in children]),
                np.array([child.standing for child in children]),
            )
        )
        return [[next(totals) for _ in outcomes] for outcomes in leads]

    def _value(self, place: Place, sequence: Floats | None) -> Floats:
        """What the rest of the job uses up (E,), weighted by the chance of it; no more than the `sequence` of repairs
        where that was followed.
        """
        weight = place.weight
        if weight <= 0.0:
            return NOTHING
        if sequence is not None and (place.ahead >= DEEPEST or weight < RARE):
            return sequence
        key = place.key
        if key not in self._known:
            best = self._options(place, 1)[0].total
            worth = self.choices.worth
            self._known[key] = best if sequence is None or best @ worth < sequence @ worth else sequence
        return self._known[key]

    def _possible(self, place: Place, asked: Collection[int]) -> list[int]:
        """Steps not done, whose predecessors are, and which promise something here; the ending step always."""
        c, belief, done, weight = self.choices, place.belief, place.done, place.weight
        ready = ~done & ~(self._needs & ~done).any(axis=1)
        chosen = ready.copy()
        if not self.complete:
            moved = np.abs(self._positive - (self._positive @ belief / weight)[:, None]) @ belief
            promise = np.where(ready, np.maximum(c.cured(belief), moved), 0.0)
            chosen &= promise >= WORTHWHILE * weight
            cost = c.uses_with(place.standing) @ c.worth
            rate = np.where(chosen, promise / (cost + SMALL_CHANGE), 0.0)
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
