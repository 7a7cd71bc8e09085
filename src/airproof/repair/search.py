"""The search for the cheapest plan: look some steps ahead, and go on from there with a good order of repairs.

A step that tells splits the belief by Bayes' rule; a step that cures leaves what it did not cure. Where few
enough states can be reached the search visits them all and its plan is the best there is; otherwise it
follows the most promising steps, and its plan is one that can be followed, at a cost that is never below the
best plan's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from airproof.repair.choices import Choices, Flags, Floats
from airproof.repair.sequence import Sequences

STATES_TO_VISIT_ALL = 2000
"""Up to that many states the search is complete. judged: Airproof authors, a few tenths of a second."""

FAR = (6, 3, 2)
"""How many of the most promising steps are followed, by depth, where it is not. judged: Airproof authors,
what a person waits for without noticing; twenty times the work finds plans 1 or 2 % cheaper."""

NEAR = (6, 3)
"""The same for a quick look."""

RARE = 0.03
"""Where the job gets with less than this probability, the sequence of repairs is good enough. judged: Airproof
authors, what could be gained there is a few per cent of that."""

WORTHWHILE = 0.004
"""A step is looked at if it cures that share of the weight, or shifts that share of it between its outcomes.
judged: Airproof authors, below it no step pays for its minutes."""

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

    def __init__(self, choices: Choices, widths: tuple[int, ...] = FAR) -> None:
        self.choices = choices
        self._widths = widths
        self._sequences = Sequences(choices)
        self._tells: Flags = np.array([bool(step.tells) for step in choices.steps], dtype=np.bool_)
        self._positive = np.where(self._tells[:, None], choices.positive, 0.0)
        self._needs = choices.before
        kinds = self._tells[np.arange(len(choices.steps)) != choices.ending]
        states = 3.0 ** np.count_nonzero(kinds) * 2.0 ** np.count_nonzero(~kinds)
        self.complete = bool(states <= STATES_TO_VISIT_ALL)
        self._known: dict[tuple[History, int], Floats] = {}

    def options(self, belief: Floats, done: Flags) -> list[Option]:
        """Every step that can be taken first, cheapest whole job first; `belief` (n,), `done` (S,)."""
        return self._options(belief, done, frozenset(), depth=0)

    def after(self, belief: Floats, done: Flags, step: int) -> list[tuple[bool, float, int]]:
        """Where a step leads: for each outcome whether positive, its probability, and the best step then."""
        leads = []
        for came, child in self._outcomes(belief, step):
            weight = float(child.sum())
            if weight > 0.0:
                then = self._options(child, _with(done, step), frozenset({(step, came)}), depth=1)
                leads.append((came, weight / float(belief.sum()), then[0].step))
        return leads

    def _outcomes(self, belief: Floats, step: int) -> list[tuple[bool, Floats]]:
        if step == self.choices.ending:
            return []
        if self._tells[step]:
            positive = belief * self._positive[step]
            return [(True, positive), (False, belief - positive)]
        return [(False, belief * (1.0 - self.choices.cures[step]))]

    def _options(self, belief: Floats, done: Flags, history: History, depth: int) -> list[Option]:
        """Each possible step by what the job costs with it: with the sequence after it, then deeper."""
        weight = float(belief.sum())
        self.count = getattr(self,'count',0)+1
        steps = self._possible(belief, done, weight)
        children: list[Floats] = []
        owners: list[int] = []
        for row, step in enumerate(steps):
            for _, child in self._outcomes(belief, step):
                children.append(child)
                owners.append(row)
        totals = weight * self.choices.uses[steps]
        follow: dict[int, list[Floats]] = {row: [] for row in range(len(steps))}
        if children:
            after = np.repeat(done[None, :], len(children), axis=0)
            after[np.arange(len(children)), np.asarray(steps)[owners]] = True
            rest = self._sequences.totals(np.asarray(children), after)
            np.add.at(totals, owners, rest)
            for owner, total in zip(owners, rest, strict=True):
                follow[owner].append(total)
        order = np.argsort(totals @ self.choices.worth, kind="stable")
        wide = len(order) if self.complete else (*self._widths, *[0] * depth)[depth]
        for row in order[:wide]:
            step = steps[row]
            deeper = weight * self.choices.uses[step]
            for (came, child), sequence in zip(self._outcomes(belief, step), follow[row], strict=True):
                then = history | {(step, came)}
                deeper = deeper + self._value(child, _with(done, step), then, sequence, depth + 1)
            totals[row] = deeper
        costs = totals @ self.choices.worth
        return [
            Option(steps[row], totals[row], float(costs[row])) for row in np.argsort(costs, kind="stable")
        ]

    def _value(self, belief: Floats, done: Flags, history: History, sequence: Floats, depth: int) -> Floats:
        """What the rest of the job uses up (E,), weighted by the chance of it; no more than `sequence`."""
        if not self.complete and float(belief.sum()) < RARE:
            return sequence
        key = (history, depth)
        if key not in self._known:
            best = self._options(belief, done, history, depth)[0]
            self._known[key] = min(best.total, sequence, key=lambda total: float(total @ self.choices.worth))
        return self._known[key]

    def _possible(self, belief: Floats, done: Flags, weight: float) -> list[int]:
        """Steps not done, whose predecessors are, and which can matter here; the ending step always."""
        c = self.choices
        ready = ~done & ~(self._needs & ~done).any(axis=1)
        ready[c.ending] = True
        if not self.complete:
            cured = c.cures @ belief
            fired = self._positive @ belief
            moved = np.abs(self._positive - (fired / weight)[:, None]) @ belief
            ready &= np.maximum(cured, moved) >= WORTHWHILE * weight
            ready |= self._gates(done) & ~done
            ready[c.ending] = True
        return [int(i) for i in np.flatnonzero(ready)]

    def _gates(self, done: Flags) -> Flags:
        """Steps that are ready and that some step not done waits for."""
        waiting = (self._needs & ~done).any(axis=1) & ~done
        return np.asarray(self._needs[waiting].any(axis=0) & ~(self._needs & ~done).any(axis=1))


def _with(done: Flags, step: int) -> Flags:
    after = done.copy()
    after[step] = True
    return after
