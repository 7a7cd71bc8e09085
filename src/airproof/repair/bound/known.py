"""What the rest of a job costs whoever knows the fault, from whatever has been done.

Only repairs of the fault and what these need first count there, a handful of steps; so the cost is tabled over all
subsets of them. A step that costs less than nothing, as charges may have it, is taken once, whatever the fault.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from airproof.repair.choices import Choices, Flags, Floats

STEPS_AT_MOST = 8
"""With more repairs and forerunners for one fault, the dearest repairs are taken to cure for certain and to need
nothing first; judged: Airproof authors, a table of 256 places is still a small part of the programme."""


class Known:
    """The known jobs of all faults of some choices, from where `done` (S,) is done."""

    def __init__(self, choices: Choices, done: Flags) -> None:
        self._choices = choices
        self.singles = len(choices.faults) - choices.left.shape[1]
        tells = np.array([bool(step.tells) for step in choices.steps], dtype=np.bool_)
        self.fails = np.where(tells[:, None], 1.0, choices.stays)
        self.halves = np.where(tells[:, None], 0.0, choices.halves)
        """Chances (S, n) that a step leaves a fault as it is, and (2, S, m) that it cures one of two causes."""
        self.counts: Flags = ~done & (tells | (choices.stays < 1.0).any(axis=1) | choices.before.any(axis=0))
        """Steps (S,) that can still be taken and are of any use."""
        self.counts[choices.ending] = True
        self.jobs = [Job(choices, done, self.fails[:, fault]) for fault in range(len(choices.faults))]
        self.bits = np.zeros(self.fails.shape, dtype=np.intp)
        """(S, n): what each step done adds to the place in each fault's table."""
        for fault, job in enumerate(self.jobs):
            self.bits[job.steps, fault] = 1 << np.arange(job.steps.size)

    def values(self, cost: Floats) -> tuple[Floats, Floats]:
        """Tables (n, 2^m) of what is yet to be paid, by what has been done, and what is gained (S, n), at most 0, by
        each step that is yet to be taken. `cost` (S, n) may be negative.
        """
        pays, gains = np.maximum(cost, 0.0), np.where(self.counts[:, None], np.minimum(cost, 0.0), 0.0)
        tables: list[Floats] = []
        for fault, job in enumerate(self.jobs):
            # When one of two causes is left, no more can be gained than all there is.
            rest = [
                (half, job.blind_to(self.jobs[left], tables[left])[there] + gains[:, left].sum())
                for half, left, there in self.lefts(fault)
            ]
            lost = sum(gains[:, left].sum() for _, left, _ in self.lefts(fault))
            tables.append(job.table(pays[:, fault], self._choices.ending, rest, float(lost)))
        wide = np.zeros((len(tables), max(table.size for table in tables)))
        for fault, table in enumerate(tables):
            wide[fault, : table.size] = table
        return wide, gains

    def lefts(self, fault: int) -> list[tuple[Floats, int, NDArray[np.intp]]]:
        """What may be left of two causes: the chance after each step of the job (m,), the fault, and where the places
        of the job stand in its table (2^m,); nothing for a single cause.
        """
        if fault < self.singles:
            return []
        job, pair = self.jobs[fault], fault - self.singles
        lefts = [int(left) for left in self._choices.left[:, pair]]
        return [
            (self.halves[which, job.steps, pair], left, job.seen_from(self.jobs[left]))
            for which, left in enumerate(lefts)
        ]


class Job:
    """The job of one fault: `steps` (m,) count, with `fails` (m,); the `sure` ones are taken to cure for certain.

    `ways` (L, 2): each place and the step (its number among the m) that can be taken there; `after` (L,) where it leads
    to. Places are subsets, bit by bit.
    """

    def __init__(self, choices: Choices, done: Flags, fails: Floats) -> None:
        repairs = (fails < 1.0) & ~done
        repairs[choices.ending] = False
        rate = (choices.cost + choices.before @ choices.cost) / np.maximum(1.0 - fails, 1e-12)
        by_rate = sorted(np.flatnonzero(repairs), key=lambda r: float(rate[r]))
        counted = np.zeros(done.size, dtype=np.bool_)
        sure = []
        for repair in by_rate:
            more = counted | choices.before[repair] & ~done
            more[repair] = True
            if more.sum() <= STEPS_AT_MOST:
                counted = more
            elif not counted[repair]:
                sure.append(repair)
        self.steps, self.sure = np.flatnonzero(counted), np.array(sure, dtype=np.intp)
        self.fails = fails[self.steps]
        self.places = 1 << self.steps.size
        subsets, bits = np.arange(self.places), 1 << np.arange(self.steps.size)
        needs = (choices.before[np.ix_(self.steps, self.steps)] * bits).sum(axis=1).astype(np.intp)
        can = ((subsets[:, None] & bits) == 0) & ((needs & ~subsets[:, None]) == 0)
        # Fullest places first, so that a table can be reckoned from the end backwards.
        sizes = ((subsets[:, None] & bits) > 0).sum(axis=1)
        self.ways = np.argwhere(can)
        self.ways = self.ways[np.argsort(-sizes[self.ways[:, 0]], kind="stable")]
        self.after = self.ways[:, 0] | bits[self.ways[:, 1]] if self.ways.size else np.zeros(0, dtype=np.intp)
        at = sizes[self.ways[:, 0]]
        self._levels = [np.flatnonzero(at == size) for size in range(self.steps.size - 1, -1, -1)]

    def table(self, pays: Floats, ending: int, rest: list[tuple[Floats, Floats]], lost: float) -> Floats:
        """What is yet to be paid (2^m,). `rest`: for what may be left of two causes its chance after each step (m,) and
        what it costs then (2^m,); `lost`: what it costs at least, at most 0.
        """
        costs = np.full(self.places, min([pays[ending], *(pays[self.sure] + lost)]))
        for level in self._levels:
            places, steps = self.ways[level].T
            after = self.after[level]
            each = pays[self.steps[steps]] + self.fails[steps] * costs[after]
            for half, then in rest:
                each += half[steps] * then[after]
            np.minimum.at(costs, places, each)
        return costs

    def seen_from(self, other: Job) -> NDArray[np.intp]:
        """Where the places here (2^m,) stand in another job's table, as far as they tell."""
        there = {int(step): 1 << bit for bit, step in enumerate(other.steps)}
        bits = np.array([there.get(int(step), 0) for step in self.steps], dtype=np.intp)
        return np.asarray(((np.arange(self.places)[:, None] >> np.arange(self.steps.size)) & 1) @ bits)

    def blind_to(self, other: Job, table: Floats) -> Floats:
        """Another job's table at the least it can be, whichever of the steps that do not count here have been done."""
        places = np.arange(table.size)
        for bit, step in enumerate(other.steps):
            if step not in self.steps:
                table = np.minimum(table, table[places ^ (1 << bit)])
        return table
