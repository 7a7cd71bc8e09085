"""What could be wrong: every cause that this engine can have, each with a grid of sizes and its prior.

A cause is one hypothesis for each size on its grid. Nothing here looks at evidence.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airproof.engine.profile import EngineProfile
from airproof.knowledge.model import NONE, Cause, Knowledge

Floats = NDArray[np.float64]

SIZES_A_SIDE = 60
TYPICAL_SHARE = 0.5
"""Half of a size prior is spread evenly in the logarithm from low to high, half gathers round the typical size."""

WIDTHS_A_RANGE = 5.0
"""Standard deviations of that gathering from the low to the high end, in the logarithm; judged, as is the half:
Airproof authors."""

OWN_GRIDS = {"valve-timing": np.geomspace(4.0, 30.0, 24), "map-stuck": np.linspace(8.0, 250.0, 122)}
"""Causes whose sizes are no logarithmic spread round a typical one: air lost to wrong cam timing, % (never reported),
and the pressure a stuck sensor shows, kPa absolute, any of them alike. judged: Airproof authors."""


@dataclass(frozen=True)
class Hypotheses:
    """Causes in a fixed order, `none` among them; `sizes[c]` (S_c,) in the cause's unit, `log_prior[c]` (S_c,).

    All priors together sum to 1. A cause without a size has the one size 0, or strengths that are never reported.
    """

    causes: Mapping[str, Cause]
    sizes: Mapping[str, Floats]
    log_prior: Mapping[str, Floats]

    def reported(self, cause: str) -> bool:
        """Whether the cause has a size to report."""
        return self.causes[cause].size is not None


def hypotheses_for(
    knowledge: Knowledge, profile: EngineProfile, signals: frozenset[str], *, healthy_share: float
) -> Hypotheses:
    """All causes this engine can have; `healthy_share` is the prior probability of `none`.

    A cause that needs equipment (a charge pressure sensor, exhaust recirculation) counts in full only where a signal
    shows that equipment; where nothing shows it, its prior is halved, since most recordings do not hold every signal.
    """
    causes = {c.id: c for c in knowledge.causes.values() if applies(c, profile)}
    weights = {}
    for cause in causes.values():
        shown = all(signals & set(knowledge.equipment[need].shown_by) for need in cause.applies.needs)
        weight = cause.weight * cause.by_fuel.get(profile.fuel, 1.0)
        weights[cause.id] = weight if shown else 0.5 * weight
    faulty = sum(weight for name, weight in weights.items() if name != NONE)
    sizes = {name: _sizes(cause) for name, cause in causes.items()}
    log_prior = {}
    for name, cause in causes.items():
        share = healthy_share if name == NONE else (1.0 - healthy_share) * weights[name] / faulty
        log_prior[name] = np.log(share) + np.log(_spread(cause, sizes[name]))
    return Hypotheses(causes, sizes, log_prior)


def applies(cause: Cause, profile: EngineProfile) -> bool:
    """Whether the cause can be on such an engine."""
    return cause.applies.to(profile.induction, profile.air_metering, profile.fuel)


def _sizes(cause: Cause) -> Floats:
    if cause.id in OWN_GRIDS:
        return OWN_GRIDS[cause.id]
    if cause.size is None:
        return np.zeros(1)
    grid = np.geomspace(cause.size.low, cause.size.high, SIZES_A_SIDE)
    return np.concatenate([-grid[::-1], grid]) if cause.size.signed else grid


def _spread(cause: Cause, sizes: Floats) -> Floats:
    """Prior of each size on the grid, summing to 1."""
    even = np.full(sizes.size, 1.0 / sizes.size)
    if cause.size is None or cause.id in OWN_GRIDS:
        return even
    width = np.log(cause.size.high / cause.size.low) / WIDTHS_A_RANGE
    near = np.exp(-0.5 * np.square(np.log(np.abs(sizes) / cause.size.typical) / width))
    return np.asarray((1.0 - TYPICAL_SHARE) * even + TYPICAL_SHARE * near / near.sum())
