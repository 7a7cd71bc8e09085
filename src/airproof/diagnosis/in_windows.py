"""The relations of the air path in short windows, and what undoing a cause would move in each."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.case import Case
from airproof.diagnosis.checks.relations import asked_of
from airproof.engine.air_path import CHARGE_AT_REST, OnePath, Relation

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

WINDOW_FLOOR, AT_REST_FLOOR = 0.010, 0.020
"""What a relation may be off in one window by itself, and the charge at rest, where a compressor that still turns adds
what it likes; judged: Airproof authors."""

SIZES_A_SIDE = 8  # of each cause and sign
FINER = 7  # from the smaller neighbour of the likeliest to the larger, those asked already among them
MOVES_NOTHING = 1e-9
AS_IF = {"ignition": ("fuel-delivery", np.array([-3.0, -6.0, -10.0, -15.0]))}
"""Causes that a relation sees as it sees another: what burns not is taken for fuel that did not come."""

SHOWS_ITSELF, LEAST_OF_IT = {"iat-offset": "intake_temperature", "baro-sensor": "barometric_pressure"}, 0.6
"""Readings of what cannot change within a second: a lie that comes and goes is a jump of so much of its size, some of
which a slow logger may miss; judged: Airproof authors."""


@dataclass(frozen=True)
class Seen:
    """Means over windows, n of them: what is off as seen, how it moves with the engine's unknowns (n, K), its sd, its
    window and its relation.
    """

    off: Floats
    weights: Floats
    sd: Floats
    window: Ints
    relation: Ints


@dataclass(frozen=True)
class Supposed:
    """C hypotheses: cause, size, and how undoing it there moves what is seen (C, n). Those of one cause and sign are
    one `branch`.
    """

    cause: NDArray[np.str_]
    size: Floats
    branch: Ints
    moves: Floats

    def __len__(self) -> int:
        return self.size.size

    def only(self, these: Ints) -> Supposed:
        """Some of them."""
        return Supposed(self.cause[these], self.size[these], self.branch[these], self.moves[these])

    def and_also(self, others: Supposed) -> Supposed:
        """These and others, whose branches are not theirs."""
        branch = others.branch + self.branch.max(initial=-1) + 1
        mine, theirs = (
            (self.cause, self.size, self.branch, self.moves),
            (others.cause, others.size, branch, others.moves),
        )
        return Supposed(*(np.concatenate(pair) for pair in zip(mine, theirs, strict=True)))


SomeSizes = Sequence[tuple[str, Floats]]
"""Sizes of causes, those of one sign at a time, small ones first."""


def some_sizes(case: Case, causes: Collection[str] | None) -> SomeSizes:
    """A few sizes of every cause that has several, evenly from its grid."""
    chosen = []
    for cause in case.sizes:
        if causes is not None and cause not in causes:
            continue
        for grid in _grids(case, cause):
            some = np.unique(np.linspace(0, grid.size - 1, min(SIZES_A_SIDE, grid.size)).round().astype(int))
            chosen.append((cause, grid[some]))
    return chosen


def finer_sizes(case: Case, supposed: Supposed, nepers: Floats, least: float) -> SomeSizes:
    """Sizes between the likeliest of each branch and its neighbours, where it has more than `least` nepers."""
    chosen = []
    for best in foremost_of_branches(supposed, nepers):
        cause, size = str(supposed.cause[best]), supposed.size[best]
        grid = next(grid for grid in _grids(case, cause) if size in grid)
        asked = np.flatnonzero(np.isin(grid, supposed.size[supposed.branch == supposed.branch[best]]))
        here = np.searchsorted(asked, np.flatnonzero(grid == size)[0])
        first, last = asked[max(here - 1, 0)], asked[min(here + 1, asked.size - 1)]
        between = np.setdiff1d(np.linspace(first, last, FINER).round().astype(int), asked)
        if nepers[best] > least and between.size:
            chosen.append((cause, grid[between]))
    return chosen


def shares_of_sizes(case: Case, supposed: Supposed) -> Floats:
    """The share of its cause's sizes (C,) that each stands for: those of its grid that lie nearest."""
    share = np.zeros(len(supposed))
    for cause in np.unique(supposed.cause):
        for grid in _grids(case, str(cause)):
            its = np.flatnonzero((supposed.cause == cause) & np.isin(supposed.size, grid))
            if its.size:
                place = np.searchsorted(np.abs(grid), np.abs(supposed.size[its]))
                order = np.argsort(place)
                edges = np.concatenate([[-0.5], (place[order][1:] + place[order][:-1]) / 2.0, [grid.size - 0.5]])
                share[its[order]] = np.diff(edges)
        share[supposed.cause == cause] /= share[supposed.cause == cause].sum()
    return share


def foremost_of_branches(supposed: Supposed, nepers: Floats) -> Ints:
    """The likeliest hypothesis of each branch, in the order of the branches."""
    branches = [np.flatnonzero(supposed.branch == one) for one in np.unique(supposed.branch)]
    return np.array([its[np.argmax(nepers[its])] for its in branches], dtype=np.intp)


def _grids(case: Case, cause: str) -> list[Floats]:
    """All sizes of a cause that are asked, of each sign in turn, small ones first; none where it has but one."""
    grid = AS_IF[cause][1] if cause in AS_IF else case.sizes[cause]
    if cause in SHOWS_ITSELF:
        grid = grid[LEAST_OF_IT * np.abs(grid) <= _largest_jump(case, SHOWS_ITSELF[cause])]
    both = (grid[grid > 0.0], grid[grid < 0.0][::-1]) if grid.size > 1 else ()
    return [its[np.argsort(np.abs(its))] for its in both if its.size]


def _largest_jump(case: Case, name: str) -> float:
    """The largest step from one sample of a signal to the next, in its unit."""
    signal = case.recording.get(name)
    return float(np.max(np.abs(np.diff(signal.values)))) if signal is not None and len(signal) > 1 else 0.0


@dataclass(frozen=True)
class Windows:
    """The points of one relation, and which windows (s wide) they fall into."""

    relation: Relation
    path: OnePath
    order: Ints
    window: Ints
    first: Ints
    points: Ints

    @classmethod
    def of(cls, case: Case, relation: Relation, width: float, count: int) -> Windows:
        """All points at which the relation can be asked."""
        path = case.path.only(asked_of(case, relation))
        middle = (path.points.start_s + path.points.end_s) / 2
        window = np.clip(((middle - case.recording.start_s) / width).astype(np.intp), 0, count - 1)
        order = np.argsort(window, kind="stable")
        return cls(relation, path, order, *np.unique(window[order], return_index=True, return_counts=True))

    def mean(self, values: Floats) -> Floats:
        """Means over the windows, along the last axis."""
        return np.asarray(np.add.reduceat(values[..., self.order], self.first, axis=-1) / self.points)

    def moves(self, cause: str, sizes: Floats) -> Floats:
        """How undoing a cause with each of its sizes moves the means."""
        like = AS_IF[cause][0] if cause in AS_IF else cause
        undone = self.relation.residual(self.path, self.path.without(like, sizes))
        moved = undone - self.relation.residual(self.path, self.path.seen)
        return self.mean(np.broadcast_to(moved, (sizes.size, len(self.path.points))))


def together(parts: Sequence[Windows]) -> Seen:
    """All relations in all windows."""

    def sd(one: Windows) -> Floats:
        floor = AT_REST_FLOOR if one.relation is CHARGE_AT_REST else WINDOW_FLOOR
        return np.sqrt(one.mean(np.square(one.relation.sd(one.path))) / one.points + floor**2)

    return Seen(
        off=np.concatenate([one.mean(one.relation.residual(one.path, one.path.seen)) for one in parts]),
        weights=np.concatenate([one.mean(one.relation.weights(one.path).T).T for one in parts]),
        sd=np.concatenate([sd(one) for one in parts]),
        window=np.concatenate([one.window for one in parts]),
        relation=np.repeat(np.arange(len(parts)), [one.window.size for one in parts]),
    )


def suppose(parts: Sequence[Windows], sizes: Sequence[tuple[str, Floats]]) -> Supposed:
    """Every cause at its sizes, where undoing it moves anything at all."""
    moved = [np.concatenate([one.moves(cause, these) for one in parts], axis=1) for cause, these in sizes]
    felt = [(*branch, moves) for branch, moves in zip(sizes, moved, strict=True) if np.abs(moves).max() > MOVES_NOTHING]
    many = [these.size for _, these, _ in felt]
    return Supposed(
        cause=np.repeat([cause for cause, _, _ in felt], many),
        size=np.concatenate([np.empty(0), *(these for _, these, _ in felt)]),
        branch=np.repeat(np.arange(len(felt)), many),
        moves=np.concatenate([np.empty((0, sum(one.window.size for one in parts))), *(moves for _, _, moves in felt)]),
    )
