"""What part of the errors of meter and gauge is alike in all readings, and what part is each reading's own.

A sheet only bounds an error. How much of "0.5 % + 2 digits" is the meter's scale and zero, the same at every point,
and how much differs from point to point (ranges, linearity, flicker of the last place) it does not say, and the slope
of a line depends on nothing so much: what is alike everywhere moves no slope, or moves it for sure. But the points
tell: if they lie closer to a straight line than the bound allows, little of it can be each reading's own. So the
covariance is averaged over shares, each weighted by the residual likelihood of the points (that of their distances from
a line, whatever the line [PT1971]); two or three points leave the judged middle.

Source
[PT1971] H. D. Patterson, R. Thompson, Recovery of inter-block information when block sizes are unequal, Biometrika 58
         (1971) 545; from memory of it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

OWN_SHARES = (0.15, 1.0)
"""Shares of the variance of an error that may be each reading's own: mostly alike, or all its own, alike probable
before. judged: Airproof authors, since no sheet says it; of several such pairs the one whose intervals hold most evenly
over the ways a meter may err (benchmarks/bench_meter.py)."""

FEWEST_ROWS = 4
"""From so many points on they say something of it."""

TYPICAL_DAY_KPA, DAY_SD_KPA = 97.0, 3.0
"""For weighing shares only: where gauge points are taken to lie, kPa absolute, and how well."""


@dataclass(frozen=True)
class ErrorParts:
    """Standard deviations (n,) of n readings: the meter's scale and digits in the reading's unit, the gauge's, kPa.

    `fixed` (n, n) is what no share changes (rounding, a nominal supply, loading). Where the supply was read with the
    same meter `supply_scale` (n,) is what the supply's own error of scale does, and a scale alike in all falls out.
    `gauge_pattern` (n,) is how a wrong scale of the gauge spreads over the points, 1 at the farthest.
    """

    scale: Floats
    digits: Floats
    fixed: Floats
    supply_scale: Floats
    scale_falls_out: bool
    gauge: Floats
    gauge_pattern: Floats

    def of_reading(self, own: float) -> Floats:
        """Covariance (n, n) of the readings, with that share each one's own."""
        alike = np.outer(self.digits, self.digits)
        if not self.scale_falls_out:
            alike = alike + np.outer(self.scale, self.scale)
        each = np.diag(self.scale**2 + self.digits**2) + np.outer(self.supply_scale, self.supply_scale)
        return np.asarray((1.0 - own) * alike + own * each + self.fixed)

    def of_gauge(self, own: float) -> Floats:
        """Covariance (n, n) of the pressures by the gauge, kPa squared."""
        alike = self.gauge * self.gauge_pattern
        return np.asarray((1.0 - own) * np.outer(alike, alike) + own * np.diag(self.gauge**2))


def settled(parts: ErrorParts, reading: Floats, given: Floats, day: Floats) -> tuple[Floats, Floats]:
    """Covariances (n, n) of readings and of gauge pressures, averaged over shares by what the points say of them.

    `given` (n,) kPa and `day` (n,): the pressure is given + day x barometer.
    """
    kpa = given + day * TYPICAL_DAY_KPA
    ways = list(product(OWN_SHARES, OWN_SHARES))
    reads = {own: parts.of_reading(own) for own in OWN_SHARES}
    gauges = {own: parts.of_gauge(own) for own in OWN_SHARES}
    logs = np.zeros(len(ways))
    if reading.size >= FEWEST_ROWS and float(np.ptp(kpa)) > 1.0:
        design = np.column_stack([np.ones_like(kpa), (kpa - kpa.mean()) / np.ptp(kpa)])
        slope = float(np.linalg.lstsq(design, reading, rcond=None)[0][1]) / float(np.ptp(kpa))
        unsure_day = (slope * DAY_SD_KPA) ** 2 * np.outer(day, day)
        logs = np.array([
            _residual_likelihood(reads[meter] + slope**2 * gauges[gauge] + unsure_day, design, reading)
            for meter, gauge in ways
        ])  # fmt: skip
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    pairs = list(zip(weights, ways, strict=True))
    of_reading = np.sum([weight * reads[meter] for weight, (meter, _) in pairs], axis=0)
    of_gauge = np.sum([weight * gauges[gauge] for weight, (_, gauge) in pairs], axis=0)
    return np.asarray(of_reading), np.asarray(of_gauge)


def _residual_likelihood(covariance: Floats, design: Floats, reading: Floats) -> float:
    """Log likelihood of the distances from a line, whatever the line [PT1971]."""
    solved = np.linalg.solve(covariance, np.column_stack([design, reading]))
    information = design.T @ solved[:, :2]
    line = np.linalg.solve(information, design.T @ solved[:, 2])
    off = reading - design @ line
    size = np.linalg.slogdet(covariance)[1] + np.linalg.slogdet(information)[1]
    return float(-0.5 * (size + off @ np.linalg.solve(covariance, off)))
