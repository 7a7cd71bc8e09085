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

LONGEST = 10
"""Moves before the car is handed over. judged: Airproof authors, beyond that many failed repairs it would
be."""

HOPELESS = 0.4
"""A move that saves less than this share of its cost by making the end less likely is not made, nor any after
it. judged: Airproof authors; at 1 it would not pay for itself, below it something later would have to pay for
both."""

AT_ONCE = 512
"""Beliefs followed together: so many that what is reckoned of them stays in the processor's cache."""

TINY = 1e-12
"""Keeps the rate of a move that costs nothing finite."""

NEVER = 1e7
"""Cost of a move that was made already, in the currency: above all others by far, so that it is not made again."""


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
        self._uses_first = uses[repair_first]
        self._set_up_first = c.set_up[repair_first]
        self._uses_then = np.where(tested[:, None], uses[c.pairs_repair], 0.0)
        self._needs = c.before[c.pairs_repair].copy()
        self._needs[tested, c.pairs_test[tested]] = False
        self._marks = self._needs.copy()
        self._marks[np.arange(c.pairs_repair.size), c.pairs_repair] = True
        self._marks[tested, c.pairs_test[tested]] = True
        self._uses = uses
        self._rates = self._weights_of_rates()

    def _weights_of_rates(self) -> NDArray[np.float32]:
        """What each move cures and costs, (n + 1 + S, 2 M) on belief, weight, and weight of steps done: both are linear
        in these. In half the digits, since they choose a move and are in no sum.
        """
        c, moves = self._choices, np.arange(self._repair.size)
        cures = self._fires * (1.0 - c.stays[self._repair])
        then = self._fires * (self._uses_then @ c.worth)[:, None]
        needs = self._needs * c.cost
        done = -needs
        done[moves, self._repair] = NEVER
        done[moves[self._tested], self._test[self._tested]] = NEVER
        first = self._uses_first @ c.worth + needs.sum(axis=1)
        costs = np.concatenate([then, first[:, None], done], axis=1)
        nothing = np.zeros((moves.size, 1 + done.shape[1]))
        return np.concatenate([np.concatenate([cures, nothing], axis=1), costs]).T.astype(np.float32)

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
        known = np.concatenate([beliefs, weight[:, None], weight[:, None] * done], axis=1, dtype=np.float32)
        cured, cost = np.split(known @ self._rates, 2, axis=1)
        rate = cured / np.maximum(cost, TINY, out=cost)
        move = np.argmax(rate, axis=1)
        return move, rate[np.arange(move.size), move].astype(np.float64)
