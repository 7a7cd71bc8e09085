"""What it costs to find out which of two faults it is: sums, over pairs of faults, of functions of their two weights.

A function f may be part of a bound if, for each step, what it loses by it is covered by charges on either fault:

    f(v, w) - sum over outcomes f(v P, w Q) <= p v + q w, whatever the weights v and w,

P and Q the chances of an outcome under the two faults. Two kinds serve. The root B sqrt(v w) loses the share 1 - R, R
the sum over outcomes of sqrt(P Q) (their Bhattacharyya coefficient), and is covered if B (1 - R) <= 2 sqrt(p q): a
second-order cone. A hinge C min(r v, w) has one kink, at w = r v; between the kinks of several hinges of a pair what
they lose together is convex in w / v, as all that is concave is in their own kinks, so that it is enough to cover it
there: linear inequalities. Roots fit noisy tests, hinges what settles a question at once.

Strengths (B, C) and charges come from a solver; `covered` makes the charges large enough for the strengths, as cheaply
as it goes at today's belief.
"""

from __future__ import annotations

from typing import Protocol

import clarabel
import numpy as np
from numpy.typing import NDArray

from airproof.repair.bound.between import Between, HingeSum, RootSum
from airproof.repair.bound.sparse import Columns, Rows
from airproof.repair.choices import Choices, Floats

Numbers = NDArray[np.intp]

PAIRS_WITH_HINGES = 20
"""So many pairs, those of the most probable faults, have hinges. judged: Airproof authors: with twice as many it takes
half as long again for a bound that is 0.1 % higher."""

KINKS = np.exp(np.arange(-6.0, 7.0))
"""Where the hinges of a pair have their kinks, in today's ratio of its weights. judged: Airproof authors: with half as
many the bound is 0.3 % lower."""

SMALL = 1e-9
"""Below it a fall is none, and a charge is not divided by."""


class Kind(Protocol):
    """Functions of some kind, in the programme; a triple is a pair of faults and a step by which it loses.

    `steps`, `firsts`, `seconds` (X,): the triples, by the number of the step among those that count, and the faults;
    `strengths`, `p`, `q`: where their columns begin.
    """

    steps: Numbers
    firsts: Numbers
    seconds: Numbers
    strengths: int
    p: int
    q: int

    def today(self) -> Floats:
        """What each strength adds at today's belief."""
        ...

    def cover(self, rows: Rows) -> list[object]:
        """Add what covers the losses; the cones of those rows."""
        ...

    def covered(self, x: Floats) -> tuple[Between, Floats, Floats]:
        """The functions of a solution, and charges (X,) on either fault that are large enough for them."""
        ...


class Roots:
    """The roots of all pairs of some faults."""

    def __init__(self, choices: Choices, counts: Numbers, belief: Floats, faults: Numbers, columns: Columns) -> None:
        self._belief = belief
        self._first, self._second = (faults[side] for side in np.triu_indices(faults.size, 1))
        yes, no = chances(choices)
        alike = [np.sqrt(of[counts][:, self._first] * of[counts][:, self._second]) for of in (yes, no)]
        falls = 1.0 - alike[0] - alike[1]
        self.steps, self._pair = np.nonzero(falls > SMALL)
        self._fall = falls[self.steps, self._pair]
        self.firsts, self.seconds = self._first[self._pair], self._second[self._pair]
        self.strengths = columns.new(self._first.size)
        self.p, self.q = columns.new(self._pair.size), columns.new(self._pair.size)

    def today(self) -> Floats:
        """What each strength adds at today's belief."""
        return np.sqrt(self._belief[self._first] * self._belief[self._second])

    def cover(self, rows: Rows) -> list[object]:
        """(p + q, p - q, fall) in a second-order cone: the fall at most 2 sqrt(p q)."""
        triples = np.arange(self._pair.size)
        at = rows.new(np.zeros(3 * triples.size)) + 3 * triples
        for line, sign in ((0, -1.0), (1, 1.0)):
            rows.put(at + line, self.p + triples, -1.0)
            rows.put(at + line, self.q + triples, sign)
        rows.put(at + 2, self.strengths + self._pair, -self._fall)
        return [clarabel.SecondOrderConeT(3)] * triples.size

    def covered(self, x: Floats) -> tuple[RootSum, Floats, Floats]:
        """The roots of a solution, and charges (X,) on either fault that are large enough for them."""
        strengths = np.maximum(x[self.strengths : self.strengths + self._first.size], 0.0)
        p, q = _charges(self, x)
        product = np.square(self._fall * strengths[self._pair] / 2.0)
        v, w = (np.maximum(self._belief[side], SMALL) for side in (self.firsts, self.seconds))
        p = np.clip(np.sqrt(product * w / v), p, np.maximum(p, product / q))
        q = np.maximum(q, product / p)
        whole = np.zeros((self._belief.size, self._belief.size))
        whole[self._first, self._second] = whole[self._second, self._first] = strengths / 2.0
        return RootSum(whole), p, q


class Hinges:
    """The hinges of the pairs of the most probable faults."""

    def __init__(self, choices: Choices, counts: Numbers, belief: Floats, faults: Numbers, columns: Columns) -> None:
        self._belief = belief
        first, second = (faults[side] for side in np.triu_indices(faults.size, 1))
        both = belief[first] * belief[second]
        top = np.argsort(-both, kind="stable")[: min(PAIRS_WITH_HINGES, np.count_nonzero(both))]
        self._first, self._second = first[top], second[top]
        self._ratios = (belief[self._second] / belief[self._first])[:, None] * KINKS
        yes, no = chances(choices)
        told_apart = [of[counts][:, self._first] != of[counts][:, self._second] for of in (yes, no)]
        loses = told_apart[0] | told_apart[1] | (yes + no < 1.0)[counts][:, self._first]
        self.steps, self._pair = np.nonzero(loses)
        self.firsts, self.seconds = self._first[self._pair], self._second[self._pair]
        at, kink = self._ratios[self._pair][:, :, None], self._ratios[self._pair][:, None, :]
        self._fall = np.minimum(at, kink)
        for of in (yes, no):
            v, w = (of[counts[self.steps], side][:, None, None] for side in (self.firsts, self.seconds))
            self._fall = self._fall - np.minimum(at * w, kink * v)
        self._fall = np.maximum(self._fall, 0.0)
        self.strengths = columns.new(self._ratios.size)
        self.p, self.q = columns.new(self._pair.size), columns.new(self._pair.size)

    def today(self) -> Floats:
        """What each strength adds at today's belief."""
        v, w = self._belief[self._first][:, None], self._belief[self._second][:, None]
        return np.asarray(np.minimum(self._ratios * v, w).ravel())

    def cover(self, rows: Rows) -> list[object]:
        """p + q w / v at least what a pair loses where w / v is at a kink."""
        at = np.arange(self._pair.size * KINKS.size).reshape(-1, KINKS.size)
        at = at + rows.new(np.zeros(at.size))
        triples, ratios = np.arange(self._pair.size)[:, None], self._ratios[self._pair]
        size = 1.0 / np.maximum(1.0, ratios)  # numbers of like size in all rows suit the solver
        rows.put(at, self.p + triples, -size)
        rows.put(at, self.q + triples, -size * ratios)
        hinges = self._pair[:, None, None] * KINKS.size + np.arange(KINKS.size)
        rows.put(at[:, :, None], self.strengths + hinges, size[:, :, None] * self._fall)
        return [clarabel.NonnegativeConeT(at.size)] if at.size else []

    def covered(self, x: Floats) -> tuple[HingeSum, Floats, Floats]:
        """The hinges of a solution, and charges (X,) on either fault that are large enough for them."""
        strengths = np.maximum(x[self.strengths : self.strengths + self._ratios.size], 0.0).reshape(self._ratios.shape)
        p, q = _charges(self, x)
        lost, ratios = np.einsum("xtk,xk->xt", self._fall, strengths[self._pair]), self._ratios[self._pair]
        more_p = np.maximum(p, (lost - q[:, None] * ratios).max(axis=1, initial=0.0))
        more_q = np.maximum(q, ((lost - p[:, None]) / ratios).max(axis=1, initial=0.0))
        first = self._belief[self.firsts] * (more_p - p) <= self._belief[self.seconds] * (more_q - q)
        p, q = np.where(first, more_p, p), np.where(first, q, more_q)
        pair, kink = np.nonzero(strengths > SMALL)
        hinges = HingeSum(self._first[pair], self._second[pair], self._ratios[pair, kink], strengths[pair, kink])
        return hinges, p, q


def _charges(kind: Kind, x: Floats) -> tuple[Floats, Floats]:
    """p and q (X,) of a solution, above 0."""
    p, q = (np.maximum(x[at : at + kind.steps.size], SMALL) for at in (kind.p, kind.q))
    return p, q


def chances(choices: Choices) -> tuple[Floats, Floats]:
    """The chances (S, n), after each step, of being at work still: with a positive outcome, or after a repair that
    failed; and with a negative one.
    """
    tells = np.array([bool(step.tells) for step in choices.steps], dtype=np.bool_)[:, None]
    yes = np.where(tells, choices.positive, choices.stays)
    no = np.where(tells, 1.0 - choices.positive, 0.0)
    yes[choices.ending] = 0.0
    return yes, no
