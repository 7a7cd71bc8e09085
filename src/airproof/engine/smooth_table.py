"""Properties of one engine that are smooth over its operating range, known only as Gaussians.

Before anything is learned a table holds what engines of this kind share; every known-good recording narrows it, in
closed form. Linear interpolation between knots keeps the whole thing linear in its unknowns, so that they can be
integrated out exactly wherever a table is used. All tables of an engine are one joint Gaussian, since a relation may
use two of them at once and learn only their difference.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


MOST_ROUNDS, SETTLED = 20, 0.002
"""Rounds of reweighting, and the change of a weight that counts as none."""


@dataclass(frozen=True)
class Smoothness:
    """How far a table may be off: as a whole (level), and in shape (bend) over a distance of `reach` along each axis.

    `bend_sd` is one number, or one for each knot of the first axis.
    """

    level_sd: float
    bend_sd: float | Floats
    reach: tuple[float, ...]


@dataclass(frozen=True)
class Grid:
    """Knots along one or two axes; constant beyond the outermost."""

    axes: tuple[Floats, ...]

    @property
    def size(self) -> int:
        """Number of knots."""
        return int(np.prod([axis.size for axis in self.axes]))

    def at(self, values: Floats, *places: Floats) -> Floats:
        """Interpolate `values` (size,) at places, which broadcast against each other."""
        total = np.zeros(np.broadcast_shapes(*(np.shape(p) for p in places)))
        for index, weight in self._corners(places):
            total = total + weight * values[index]
        return total

    def weights(self, *places: Floats) -> Floats:
        """Interpolation weights, shape (n, size), of n places."""
        rows = np.arange(np.size(places[0]))
        out = np.zeros((rows.size, self.size))
        for index, weight in self._corners(places):
            np.add.at(out, (rows, np.ravel(index)), np.ravel(weight))
        return out

    def covariance(self, smoothness: Smoothness) -> Floats:
        """Covariance (size, size) of the values at the knots."""
        grids = np.meshgrid(*self.axes, indexing="ij")
        distance = np.zeros((self.size, self.size))
        for grid, reach in zip(grids, smoothness.reach, strict=True):
            flat = grid.ravel()
            distance += np.square((flat[:, None] - flat[None, :]) / reach)
        bend = np.broadcast_to(smoothness.bend_sd, (self.axes[0].size,))
        each = np.repeat(bend, self.size // self.axes[0].size)
        shape = np.outer(each, each) * np.exp(-0.5 * distance)
        return np.asarray(smoothness.level_sd**2 + shape + 1e-9 * np.eye(self.size))

    def _corners(self, places: tuple[Floats, ...]) -> list[tuple[NDArray[np.intp], Floats]]:
        corners: list[tuple[NDArray[np.intp], Floats]] = [(np.zeros((), dtype=np.intp), np.ones(()))]
        for axis, place in zip(self.axes, places, strict=True):
            inside = np.fmin(np.fmax(place, axis[0]), axis[-1])  # what is not known lies on the first knot
            # Knots are few: to count those passed takes a tenth of the time of a search for each place.
            passed = np.zeros(np.shape(inside), dtype=np.int8)
            for knot in axis[1:-1]:
                passed += inside >= knot
            below = passed.astype(np.intp)
            share = (inside - axis[below]) / np.diff(axis)[below]
            corners = [
                (index * axis.size + below + step, weight * (share if step else 1.0 - share))
                for index, weight in corners
                for step in (0, 1)
            ]
        return corners


@dataclass(frozen=True)
class EngineBelief:
    """All tables of one engine as one Gaussian: mean (K,) and covariance (K, K) over the knots of all grids in turn."""

    grids: Mapping[str, Grid]
    mean: Floats
    covariance: Floats

    @classmethod
    def of(cls, tables: Mapping[str, tuple[Grid, Floats, Smoothness]]) -> EngineBelief:
        """From each table's grid, prior mean at its knots, and smoothness; the tables independent of each other."""
        grids = {name: grid for name, (grid, _, _) in tables.items()}
        mean = np.concatenate([np.ravel(values) for _, values, _ in tables.values()])
        belief = cls(grids, np.asarray(mean, dtype=np.float64), np.zeros((mean.size, mean.size)))
        return belief.loosened({name: smoothness for name, (_, _, smoothness) in tables.items()})

    def part(self, name: str) -> slice:
        """Where the knots of that table stand in the joint vector."""
        start = 0
        for other, grid in self.grids.items():
            if other == name:
                return slice(start, start + grid.size)
            start += grid.size
        raise KeyError(name)

    def at(self, name: str, *places: Floats) -> Floats:
        """Mean of one table at places that broadcast against each other."""
        return self.grids[name].at(self.mean[self.part(name)], *places)

    def weights(self, name: str, *places: Floats) -> Floats:
        """Weights (n, K) with which the joint unknowns enter that table at n places."""
        out = np.zeros((np.size(places[0]), self.mean.size))
        out[:, self.part(name)] = self.grids[name].weights(*places)
        return out

    def variance(self, weights: Floats) -> Floats:
        """Variance (n,) of n quantities that take the unknowns with these weights (n, K)."""
        touched = np.flatnonzero(np.any(weights != 0.0, axis=0))
        seen = weights[:, touched]
        return np.asarray(np.sum(seen @ self.covariance[np.ix_(touched, touched)] * seen, axis=1))

    def loosened(self, by: Mapping[str, Smoothness]) -> EngineBelief:
        """The same belief, less sure: an engine differs from itself from day to day, and from its sister."""
        covariance = self.covariance.copy()
        for name, smoothness in by.items():
            part = self.part(name)
            covariance[part, part] += self.grids[name].covariance(smoothness)
        return replace(self, covariance=covariance)

    def through(self, one: EngineBelief, learnt: EngineBelief) -> EngineBelief:
        """What is believed of a type after one engine of it was learnt: `one` before, `learnt` after.

        `one` is this belief, loosened by how far engines of a type differ. What was learnt of the one engine is handed
        up as far as the two have in common (both Gaussian: the type's regression on the engine).
        """
        gain = np.linalg.solve(one.covariance, self.covariance).T
        mean = self.mean + gain @ (learnt.mean - one.mean)
        covariance = self.covariance - gain @ (one.covariance - learnt.covariance) @ gain.T
        return replace(self, mean=mean, covariance=(covariance + covariance.T) / 2.0)

    def learn(self, weights: Floats, residuals: Floats, sd: Floats) -> EngineBelief:
        """Condition on n residuals against the present mean, each +- sd, with weights (n, K).

        Far-off residuals are given less say (Huber, 2 sd). They count as independent: whoever calls widens sd for
        what repeats itself in time.
        """
        if not residuals.size:
            return self
        # On the side of the knots that these points touch (Woodbury): neither the number of points nor the other
        # tables make it slower.
        touched = np.flatnonzero(np.any(weights != 0.0, axis=0))
        seen = weights[:, touched]
        across = self.covariance[:, touched]
        among = across[touched]
        trust = np.ones(residuals.size)
        shift, gain = np.zeros_like(self.mean), np.zeros_like(among)
        for _ in range(MOST_ROUNDS):
            precision = trust / np.square(sd)
            information = (seen * precision[:, None]).T @ seen
            gain = np.asarray(np.linalg.solve(np.eye(touched.size) + information @ among, information))
            pull = seen.T @ (precision * residuals)
            shift = across @ (pull - gain @ (among @ pull))
            off = np.abs(residuals - seen @ shift[touched]) / sd
            before, trust = trust, np.minimum(1.0, 2.0 / np.maximum(off, 1e-9))
            if np.max(np.abs(trust - before)) < SETTLED:
                break
        covariance = self.covariance - across @ gain @ across.T
        return replace(self, mean=self.mean + shift, covariance=(covariance + covariance.T) / 2)
