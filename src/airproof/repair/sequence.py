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

AT_ONCE = 512
"""Beliefs followed together: so many that what is reckoned of them stays in the processor's cache."""

TINY = 1e-12
"""Keeps the rate of a move that costs nothing finite."""


class Sequences:
    """Follows the sequence from many beliefs at once; made once for a set of choices."""

    def __init__(self, choices: Choices) -> None:
        c = choices
        tested = c.pairs_test >= 0
        repair_first = np.where(tested, c.pairs_test, c.pairs_repair)
        ones = np.ones_like(c.stays[c.pairs_repair])
        uses = c.from_scratch
        self._choices = c
        self._worth = c.worth
        self._end = uses[c.ending]
        self._cost_end = float(self._end @ c.worth)
        self._test, self._repair, self._tested = c.pairs_test, c.pairs_repair, tested
        self._fires = np.where(tested[:, None], c.positive[c.pairs_test], ones)
        self._cures_and_fires = np.concatenate([self._fires * (1.0 - c.stays[c.pairs_repair]), self._fires]).T
        self._uses_first = uses[repair_first]
        self._set_up_first = c.set_up[repair_first]
        self._uses_then = np.where(tested[:, None], uses[c.pairs_repair], 0.0)
        self._needs = c.before[c.pairs_repair].copy()
        self._needs[tested, c.pairs_test[tested]] = False
        self._marks = self._needs.copy()
        self._marks[np.arange(c.pairs_repair.size), c.pairs_repair] = True
        self._marks[tested, c.pairs_test[tested]] = True
        self._uses = uses
        self._needy = self._needs.any(axis=1)
        self._cost_needs = (self._needs[self._needy] * c.cost).T
        self._cost_first = self._uses_first @ c.worth
        self._cost_then = self._uses_then @ c.worth

    def totals(self, beliefs: Floats, done: Flags, standing: Flags | None = None) -> Floats:
        """What the sequence is expected to use up (L, E), from beliefs (L, n), steps done (L, S), set-ups standing
        (L, K), of which the first move makes use.
        """
        some = (slice(first, first + AT_ONCE) for first in range(0, max(len(beliefs), 1), AT_ONCE))
        return np.concatenate(
            [self._totals(beliefs[k], done[k], None if standing is None else standing[k]) for k in some]
        )

    def _totals(self, beliefs: Floats, done: Flags, standing: Flags | None) -> Floats:
        weight = beliefs.sum(axis=1)
        total: Floats = weight[:, None] * self._end
        rows = np.arange(weight.size)
        made = []
        for number in range(LONGEST if self._repair.size else 0):
            move, rate = self._best_moves(beliefs, done, weight)
            going = np.flatnonzero(rate * self._cost_end > HOPELESS)
            if going.size == 0:
                break
            rows, move, beliefs, done, weight = rows[going], move[going], beliefs[going], done[going], weight[going]
            fired = np.einsum("ln,ln->l", beliefs, self._fires[move])
            undone = self._needs[move] & ~done
            used = weight[:, None] * (self._uses_first[move] + undone @ self._uses)
            used += fired[:, None] * self._uses_then[move]
            if number == 0 and standing is not None:
                ready = standing[going] & self._set_up_first[move] & ~undone.any(axis=1, keepdims=True)
                used -= weight[:, None] * (ready @ self._choices.setting_up)
            made.append((rows, used, weight[:, None] * self._end))
            beliefs = self._choices.not_cured(beliefs, self._repair[move], self._fires[move])
            done = done | self._marks[move]
            weight = beliefs.sum(axis=1)
            total[rows] = weight[:, None] * self._end
        for rows, used, ending in reversed(made):
            going_on = used + total[rows]
            cheaper = going_on @ self._worth < ending @ self._worth
            total[rows] = np.where(cheaper[:, None], going_on, ending)
        return total

    def _best_moves(self, beliefs: Floats, done: Flags, weight: Floats) -> tuple[NDArray[np.intp], Floats]:
        """The move of the highest rate, and that rate: probability cured per unit of cost."""
        cured, fired = np.split(beliefs @ self._cures_and_fires, 2, axis=1)
        cost = fired * self._cost_then
        cost += weight[:, None] * self._cost_first
        cost[:, self._needy] += weight[:, None] * ((~done).astype(np.float64) @ self._cost_needs)
        rate = cured / np.maximum(cost, TINY, out=cost)
        gone = np.take(done, self._repair, axis=1)
        gone |= np.take(done, self._test, axis=1) & self._tested
        rate[gone] = 0.0
        move = np.argmax(rate, axis=1)
        return move, rate[np.arange(move.size), move]
