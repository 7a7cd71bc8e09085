"""Boost: does the pressure follow its target, and does it reach what the engine is rated for?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.case import Case
from airproof.diagnosis.checks.relations import merged
from airproof.diagnosis.level import Level, Measured
from airproof.diagnosis.testimony import Testimony
from airproof.recording.regimes import Regime

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

WISHED = 1.10  # target over barometer from which boost is really asked for; judged: Airproof authors
FEWEST_POINTS = 2
FULL_LOAD_SHARE = 0.8


def _charge(case: Case) -> Floats:
    """Pressure on the side the compressor fills: the charge sensor, else the manifold on open throttle."""
    return np.where(np.isfinite(case.points.charge), case.points.charge, case.points.manifold)


def _asked(case: Case) -> Bools:
    with np.errstate(invalid="ignore"):
        return (case.points.charge_target > WISHED * case.barometer_pa) & np.isfinite(_charge(case))


def _error(case: Case) -> Measured | None:
    if not case.profile.boosted:
        return None
    asked = _asked(case)
    if np.count_nonzero(asked) < FEWEST_POINTS:
        return None
    error = (_charge(case) - case.points.charge_target)[asked] * 1e-3
    sd = float(np.std(error) / np.sqrt(error.size) + 1.0)
    return Measured(float(np.median(error)), sd, merged(case.points.start_s[asked], case.points.end_s[asked]))


def _reached(case: Case) -> Measured | None:
    """Highest settled pressure over the barometer at full load, less the rated boost."""
    rated = case.profile.rated_boost_kpa
    if not case.profile.boosted or rated is None:
        return None
    full = (case.points.regime == Regime.FULL_LOAD.value) & np.isfinite(_charge(case))
    if np.count_nonzero(full) < FEWEST_POINTS:
        return None
    gauge = (_charge(case)[full] - case.barometer_pa) * 1e-3
    best = float(np.quantile(gauge, 0.9))
    return Measured(best - rated, 5.0, merged(case.points.start_s[full], case.points.end_s[full]))


ERROR = Level(
    id="boost-error",
    expectation="boost-error",
    measure=_error,
    words=lambda value, band: f"boost settles {abs(value):.0f} kPa {'above' if value > 0 else 'below'} its target "
    f"(healthy: {band[0]:.0f} to {band[1]:+.0f})",
)
REACHED = Level(
    id="boost-reached",
    expectation="boost-reached",
    measure=_reached,
    words=lambda value, band: f"boost at full load is {abs(value):.0f} kPa {'above' if value > 0 else 'below'} the rated value "
    f"(healthy: {band[0]:.0f} to {band[1]:+.0f})",
)


def check(case: Case) -> Sequence[Testimony]:
    """Testimonies about boost; the rated value only speaks where no target was recorded."""
    error = ERROR.testify(case)
    return error or REACHED.testify(case)
