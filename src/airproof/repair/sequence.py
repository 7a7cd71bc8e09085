"""A good order of repairs, found at once: the start from which the search improves.

Each move is a repair, or a test and, on its positive outcome, a repair. The move that cures most probability
per cost comes first: the best order there is for single faults, independent perfect moves and fixed costs
(Kadane & Simon; Heckerman, Breese & Rommelse 1995), and a fair one elsewhere. Where handing the car over is
cheaper than going on, the sequence ends. What a test says beyond its repair is forgotten, so that the cost
found is that of a plan one can follow, and never less than the best plan's.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from airproof.repair.choices import Choices, Flags, Floats

LONGEST = 14
"""Moves before the car is handed over. judged: Airproof authors, beyond a dozen failed repairs it would
be."""

HOPELESS = 0.4
"""A move that saves less than this share of its cost by making the end less likely is not made, nor any after
it. judged: Airproof authors; at 1 it would not pay for itself, below it something later would have to pay for
both."""

TINY = 1e-12
"""Keeps the rate of a move that costs nothing finite."""


class Sequences:
    """Follows the sequence from many beliefs at once; made once for a set of choices."""

    def __init__(self, choices: Choices) -> None:
        c = choices
        tested = c.pairs_test >= 0
        repair_first = np.where(tested, c.pairs_test, c.pairs_repair)
        ones = np.ones_like(c.cures[c.pairs_repair])
        self._worth = c.worth
        self._end = c.uses[c.ending]
        self._cost_end = float(self._end @ c.worth)
        self._test, self._repair, self._tested = c.pairs_test, c.pairs_repair, tested
        self._fires = np.where(tested[:, None], c.positive[c.pairs_test], ones)
        self._cures = self._fires * c.cures[c.pairs_repair]
        self._uses_first = c.uses[repair_first]
        self._uses_then = np.where(tested[:, None], c.uses[c.pairs_repair], 0.0)
        self._needs = c.before[c.pairs_repair].copy()
        self._needs[tested, c.pairs_test[tested]] = False
        self._marks = self._needs.copy()
        self._marks[np.arange(c.pairs_repair.size), c.pairs_repair] = True
        self._marks[tested, c.pairs_test[tested]] = True
        self._uses = c.uses
        self._cost_needs = (self._needs * c.cost).T
        self._cost_first = self._uses_first @ c.worth
        self._cost_then = self._uses_then @ c.worth

    def totals(self, beliefs: Floats, done: Flags) -> Floats:
        """What the sequence is expected to use up (L, E), from beliefs (L, n) and steps done (L, S)."""
        weight = beliefs.sum(axis=1)
        ending = weight[:, None] * self._end
        spent, endings = [], [ending]
        for _ in range(LONGEST):
            if self._repair.size == 0:
                break
            move, rate = self._best_moves(beliefs, done, weight)
            going = rate * self._cost_end > HOPELESS
            if not going.any():
                break
            fired = np.einsum("ln,ln->l", beliefs, self._fires[move])
            undone = self._needs[move] & ~done
            used = weight[:, None] * (self._uses_first[move] + undone @ self._uses)
            used += fired[:, None] * self._uses_then[move]
            spent.append((going, used))
            beliefs = beliefs * (1.0 - self._cures[move])
            done = done | self._marks[move]
            weight = beliefs.sum(axis=1)
            endings.append(weight[:, None] * self._end)
        total = endings[-1]
        for (going, used), ending in zip(reversed(spent), reversed(endings[:-1]), strict=True):
            going_on = used + total
            cheaper = going & (going_on @ self._worth < ending @ self._worth)
            total = np.where(cheaper[:, None], going_on, ending)
        return np.asarray(total)

    def _best_moves(self, beliefs: Floats, done: Flags, weight: Floats) -> tuple[NDArray[np.intp], Floats]:
        """The move of the highest rate, and that rate: probability cured per unit of cost."""
        cured = beliefs @ self._cures.T
        fired = beliefs @ self._fires.T
        first = self._cost_first + (~done).astype(np.float64) @ self._cost_needs
        cost = weight[:, None] * first + fired * self._cost_then
        gone = done[:, self._repair] | (self._tested & done[:, self._test])
        rate = np.where(gone, 0.0, cured / np.maximum(cost, TINY))
        move = np.argmax(rate, axis=1)
        return move, rate[np.arange(move.size), move]
