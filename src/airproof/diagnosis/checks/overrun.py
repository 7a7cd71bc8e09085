"""Overrun: with the throttle shut at speed the manifold is pumped down to a floor."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.case import Case
from airproof.diagnosis.level import Level, Measured
from airproof.diagnosis.lying_sensors import lies, undone
from airproof.diagnosis.testimony import Testimony
from airproof.recording.regimes import Regime

Floats = NDArray[np.float64]

FEWEST_SAMPLES = 10


def _floor(case: Case) -> Measured | None:
    values = case.in_regime("manifold_pressure", Regime.OVERRUN)
    if values.size < FEWEST_SAMPLES:
        return None
    return Measured(
        float(100.0 * np.quantile(values, 0.2) / case.barometer.kpa),
        1.0,
        case.regimes.intervals(Regime.OVERRUN),
    )


def _undone(case: Case, cause: str, sizes: Floats) -> Floats | None:
    measured = _floor(case) if lies(cause, "manifold_pressure") else None
    if measured is None:
        return None
    percent = 100.0 / case.barometer.kpa
    return percent * undone("manifold_pressure", measured.value / percent, cause, sizes)


LEVEL = Level(
    id="overrun-floor",
    expectation="overrun-floor",
    measure=_floor,
    undone=_undone,
    words=lambda value, band: (
        f"on the overrun the manifold is drawn down to {value:.0f} % of the barometer "
        f"(healthy: {band[0]:.0f} to {band[1]:.0f} %)"
    ),
)


def check(case: Case) -> Sequence[Testimony]:
    """One testimony where the recording has overrun."""
    return LEVEL.testify(case)
