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
    one `branch`, in which each has its `place`, by how large it is.
    """

    cause: NDArray[np.str_]
    size: Floats
    branch: Ints
    place: Ints
    moves: Floats


def some_sizes(case: Case, causes: Collection[str] | None) -> list[tuple[str, Floats]]:
    """A few sizes of every cause that has several, of each sign in turn, evenly from its grid, small ones first."""
    chosen = []
    for cause, sizes in case.sizes.items():
        if causes is not None and cause not in causes:
            continue
        grid = AS_IF[cause][1] if cause in AS_IF else sizes
        if cause in SHOWS_ITSELF:
            grid = grid[LEAST_OF_IT * np.abs(grid) <= _largest_jump(case, SHOWS_ITSELF[cause])]
        for its in (grid[grid > 0.0], grid[grid < 0.0][::-1]) if grid.size > 1 else ():
            if its.size:
                some = np.unique(np.linspace(0, its.size - 1, min(SIZES_A_SIDE, its.size)).round().astype(int))
                chosen.append((cause, its[some]))
    return chosen


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
        place=np.concatenate([np.empty(0, np.intp), *(np.arange(number) for number in many)]),
        moves=np.concatenate([np.empty((0, sum(one.window.size for one in parts))), *(moves for _, _, moves in felt)]),
    )
