"""A cost below which no plan can stay, at any place of a job.

    L(w, done) = sum over faults f of k_f(done) w_f + what it costs to find out, over pairs of faults

w are the weights of the faults, k_f is what the rest of the job costs whoever knows the fault, each step at its cost
less a charge, and the second part is as `pairs` has it. L stays below the cost of every plan if no step lowers it by
more than the step costs: by the tables of `known` the first part falls by the step's cost less its charges at most, and
the charges cover what the second part loses.

What setting up takes is shared out among the steps it can serve while it stands, for each fault in its own way; what
stands already is taken off again by the shares of the steps that are yet to be taken.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airproof.repair.bound.between import Between
from airproof.repair.bound.known import Known
from airproof.repair.choices import Choices, Flags, Floats


@dataclass(frozen=True)
class Form:
    """L with all it takes: what lies `between` faults; `tables` (n, 2^m) and `gains` (S, n) of the known jobs at the
    charged costs, `bits` (S, n) into the tables; `shares` (S, K, n) of the set-ups.
    """

    choices: Choices
    between: tuple[Between, ...]
    tables: Floats
    gains: Floats
    bits: NDArray[np.intp]
    shares: Floats

    def at(self, beliefs: Floats, done: Flags, standing: Flags) -> Floats:
        """L (M,) at places: beliefs (M, n), steps done (M, S), set-ups standing (M, K)."""
        ahead = (~done).astype(np.float64)
        known = self.tables[np.arange(self.tables.shape[0]), done @ self.bits] + ahead @ self.gains
        for setup in np.flatnonzero(standing.any(axis=0)):
            clears = self.choices.clears[:, setup]
            once = self.shares[clears, setup].max(axis=0, initial=0.0)
            known -= standing[:, setup, None] * (ahead[:, ~clears] @ self.shares[~clears, setup] + once)
        least = (known * beliefs).sum(axis=1) + sum(between.at(beliefs) for between in self.between)
        return np.asarray(np.maximum(least, 0.0))


def at_most_the_end(choices: Choices, cost: Floats) -> Floats:
    """Costs, none above that of handing the car over, which one would rather do: numbers of like size suit a solver."""
    return np.minimum(cost, float(choices.uses[choices.ending] @ choices.worth))


def sound(choices: Choices, known: Known, between: tuple[Between, ...], charges: Floats, shares: Floats) -> Form:
    """The form for what lies between faults, the charges (S, n) that cover what it loses, and shares of set-ups."""
    own = at_most_the_end(choices, choices.uses @ choices.worth)
    tables, gains = known.values(own[:, None] + shares.sum(axis=1) - charges)
    return Form(choices, between, tables, gains, known.bits, shares)
