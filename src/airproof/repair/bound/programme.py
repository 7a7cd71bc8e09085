"""The greatest form at today's belief: a cone programme over what lies between faults, charges and shares of set-ups.

Whatever the solver returns is made sound afterwards: what is below 0 is cut off, the charges are made just large
enough, the shares add up to no more than setting up takes, and the known jobs are tabled at those costs. So an inexact
solution gives a lower bound, never a wrong one.
"""

from __future__ import annotations

import clarabel
import numpy as np
from scipy.sparse import csc_matrix

from airproof.repair.bound.form import Form, at_most_the_end, sound
from airproof.repair.bound.known import Known
from airproof.repair.bound.pairs import SMALL, Hinges, Kind, Roots
from airproof.repair.bound.sparse import Columns, Rows
from airproof.repair.choices import Choices, Floats
from airproof.repair.places import Place

IN_EARNEST = 20
"""So many of the most probable faults are held against each other; of the others the cost, known, counts. judged:
Airproof authors: all 24 take half as long again for a bound that is 0.1 % higher."""

EXACT_ENOUGH = 1e-6
"""Of the solver; a thousand times that takes up to a third off the bound when it is made sound."""


def best_form(choices: Choices, place: Place) -> Form:
    """The form that is all but the greatest at a place."""
    return _Programme(choices, place).solve()


class _Programme:
    """Variables are those of what lies between faults; for each step and fault an overcharge, beyond what the step
    costs, and what is paid for it in the job of the fault, known; for each step, set-up of it and fault a share, and
    one for all steps that clear the set-up; what each known job gains by all overcharges, and what it costs from each
    place on.
    """

    def __init__(self, choices: Choices, place: Place) -> None:
        c = self._choices = choices
        self._place, self._known = place, Known(c, place.done)
        self._counts = np.flatnonzero(self._known.counts)
        self._own, self._taking = at_most_the_end(c, c.uses @ c.worth), at_most_the_end(c, c.setting_up @ c.worth)
        self._faults = n = len(c.faults)
        self._uses, self._setup = np.nonzero(c.set_up[self._counts])
        earnest = np.argsort(-place.belief, kind="stable")[:IN_EARNEST]
        self._columns = columns = Columns()
        self._kinds: tuple[Kind, ...] = tuple(
            kind(c, self._counts, place.belief, earnest, columns) for kind in (Roots, Hinges)
        )
        self._over, self._paid = columns.new(self._counts.size * n), columns.new(self._counts.size * n)
        self._share, self._once = columns.new(self._uses.size * n), columns.new(self._taking.size * n)
        self._gained = columns.new(n)
        self._job = [columns.new(job.places) for job in self._known.jobs]

    def solve(self) -> Form:
        """The form, made sound."""
        rows = Rows()
        self._charges_and_shares(rows)
        self._known_jobs(rows)
        # Nothing is below 0 but what known jobs cost.
        positive = np.arange(self._job[0])
        rows.put(rows.new(np.zeros(positive.size)) + positive, positive, -1.0)
        cones: list[object] = [clarabel.NonnegativeConeT(rows.count)]
        for kind in self._kinds:
            cones += kind.cover(rows)
        settings = clarabel.DefaultSettings()
        settings.verbose = False
        settings.tol_gap_rel = settings.tol_gap_abs = settings.tol_feas = EXACT_ENOUGH
        nothing = csc_matrix((self._columns.count, self._columns.count))
        solver = clarabel.DefaultSolver(nothing, self._aim(), rows.matrix(self._columns), rows.right(), cones, settings)
        x = np.asarray(solver.solve().x)
        return self._made_sound(x if np.isfinite(x).all() else np.zeros_like(x))

    def _aim(self) -> Floats:
        """What is made least: less L at today's belief."""
        w, standing = self._place.belief, self._place.standing
        aim = np.zeros(self._columns.count)
        for kind in self._kinds:
            aim[kind.strengths : kind.p] = -kind.today()
        aim[self._over : self._paid] = np.tile(w, self._counts.size)
        aim[self._job] = -w
        serves = standing[self._setup] & ~self._choices.clears[self._counts[self._uses], self._setup]
        aim[self._share : self._once] = np.outer(serves, w).ravel()
        aim[self._once : self._gained] = np.outer(standing, w).ravel()
        return aim

    def _charges_and_shares(self, rows: Rows) -> None:
        """Charges, and what is paid, at most the cost of a step with its overcharge; shares at most what setting up
        takes.
        """
        n, faults, every = self._faults, np.arange(self._faults), np.arange(self._counts.size * self._faults)
        at = rows.new(np.repeat(self._own[self._counts], n))
        for kind in self._kinds:
            for start, whose in ((kind.p, kind.firsts), (kind.q, kind.seconds)):
                rows.put(at + kind.steps * n + whose, start + np.arange(whose.size), 1.0)
        rows.put(at + every, self._over + every, -1.0)
        rows.put(at + every, self._paid + every, 1.0)
        uses, setups = np.arange(self._uses.size)[:, None], np.arange(self._taking.size)[:, None]
        rows.put(at + self._uses[:, None] * n + faults, self._share + uses * n + faults, -1.0)
        at = rows.new(np.repeat(self._taking, n))
        rows.put(at + setups * n + faults, self._once + setups * n + faults, 1.0)
        clears = self._choices.clears[self._counts[self._uses], self._setup]
        stay, go = np.flatnonzero(~clears)[:, None], np.flatnonzero(clears)[:, None]
        rows.put(at + self._setup[stay] * n + faults, self._share + stay * n + faults, 1.0)
        at = rows.new(np.zeros(go.size * n))
        each = np.arange(go.size)[:, None]
        rows.put(at + each * n + faults, self._share + go * n + faults, 1.0)
        rows.put(at + each * n + faults, self._once + self._setup[go] * n + faults, -1.0)

    def _known_jobs(self, rows: Rows) -> None:
        """What a known job costs from a place on is at most what any step there takes, and what follows."""
        n, every = self._faults, np.arange(self._counts.size * self._faults)
        number = np.zeros(len(self._choices.steps), dtype=np.intp)
        number[self._counts] = np.arange(self._counts.size)
        for fault, (job, start) in enumerate(zip(self._known.jobs, self._job, strict=True)):
            lefts = self._known.lefts(fault)
            everywhere = np.arange(job.places)
            for step in (self._choices.ending, *job.sure):
                at = rows.new(np.zeros(job.places)) + everywhere
                rows.put(at, start + everywhere, 1.0)
                rows.put(at, self._paid + number[step] * n + fault, -1.0)
                for _, left, _ in lefts if step != self._choices.ending else ():
                    rows.put(at, self._gained + left, 1.0)
            places, steps = job.ways.T
            at = rows.new(np.zeros(places.size)) + np.arange(places.size)
            rows.put(at, start + places, 1.0)
            rows.put(at, self._paid + number[job.steps[steps]] * n + fault, -1.0)
            rows.put(at, start + job.after, -job.fails[steps])
            for half, left, there in lefts:
                rows.put(at, self._job[left] + there[job.after], -half[steps])
                rows.put(at, self._gained + left, half[steps])
        first = rows.new(np.zeros(n))
        rows.put(first + every % n, self._over + every, 1.0)
        rows.put(first + np.arange(n), self._gained + np.arange(n), -1.0)

    def _made_sound(self, x: Floats) -> Form:
        c, n = self._choices, self._faults
        charged, between = np.zeros((len(c.steps), n)), []
        for kind in self._kinds:
            found, p, q = kind.covered(x)
            between.append(found)
            np.add.at(charged, (self._counts[kind.steps], kind.firsts), p)
            np.add.at(charged, (self._counts[kind.steps], kind.seconds), q)
        shares = np.zeros((len(c.steps), self._taking.size, n))
        shares[self._counts[self._uses], self._setup] = np.maximum(x[self._share : self._once].reshape(-1, n), 0.0)
        for setup, clears in enumerate(c.clears.T):
            total = shares[~clears, setup].sum(axis=0) + shares[clears, setup].max(axis=0, initial=0.0)
            shares[:, setup] *= np.minimum(1.0, self._taking[setup] / np.maximum(total, SMALL))
        return sound(c, self._known, tuple(between), charged, shares)
