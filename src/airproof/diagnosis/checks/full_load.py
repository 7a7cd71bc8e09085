"""Full load: behind an open throttle the manifold has nearly the pressure before it.

Without boost that is the barometer's; with boost it is the charge sensor's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.case import Case
from airproof.diagnosis.checks.relations import merged
from airproof.diagnosis.expectations import expected
from airproof.diagnosis.level import Level, Measured
from airproof.diagnosis.lying_sensors import lies, undone
from airproof.diagnosis.testimony import Testimony
from airproof.recording.regimes import Regime

Floats = NDArray[np.float64]

BOOSTING = 1.15  # charge pressure over barometer that needs a wide-open throttle; judged: Airproof authors
FEWEST_SAMPLES = 6
PLATEAU = 0.7  # quantile of the ratio that a wide-open throttle holds; judged: Airproof authors


def _natural(case: Case) -> Measured | None:
    if case.profile.boosted:
        return None
    values = case.in_regime("manifold_pressure", Regime.FULL_LOAD)
    if values.size < FEWEST_SAMPLES:
        return None
    apart = np.median(values) - case.barometer.kpa
    spread = float(np.hypot(case.barometer.sd_kpa, np.std(values) / np.sqrt(values.size)))
    return Measured(float(apart), spread, case.regimes.intervals(Regime.FULL_LOAD))


def _natural_undone(case: Case, cause: str, sizes: Floats) -> Floats | None:
    measured = _natural(case)
    if measured is None:
        return None
    if lies(cause, "manifold_pressure"):
        day = case.barometer.kpa
        return undone("manifold_pressure", measured.value + day, cause, sizes) - day
    match cause:
        case "baro-sensor":
            return measured.value + sizes * case.barometer.own_share
        case "intake-restriction":  # its size is the drop over the normal one: at 1 nothing is restricted
            return measured.value - expected(NATURAL.expectation).moves[cause] * (sizes - 1.0)
        case _:
            return None


@dataclass(frozen=True)
class _Boosting:
    """Samples on boost with the throttle in the upper half of its travel there; kPa absolute."""

    time: Floats
    manifold: Floats
    charge: Floats

    def ratio(self, manifold: Floats, charge: Floats) -> Floats:
        """Upper part of 100 ln(manifold / charge) over the samples (last axis): a throttle still opening lies lower."""
        return np.asarray(np.quantile(100.0 * np.log(manifold / charge), PLATEAU, axis=-1))


def _boosting(case: Case) -> _Boosting | None:
    manifold, charge = case.recording.get("manifold_pressure"), case.recording.get("charge_pressure")
    if not case.profile.boosted or manifold is None or charge is None:
        return None
    before = charge.values
    inside = manifold.at(charge.time, "linear", 1.0)
    with np.errstate(invalid="ignore"):
        chosen = (before > BOOSTING * case.barometer.kpa) & (inside > 0)
    throttle = case.recording.get("throttle")
    if throttle is not None and chosen.any():
        opening = throttle.at(charge.time)
        with np.errstate(invalid="ignore"):
            chosen &= ~(opening < np.nanmedian(opening[chosen]))
    if np.count_nonzero(chosen) < FEWEST_SAMPLES:
        return None
    return _Boosting(charge.time[chosen], inside[chosen], before[chosen])


def _boosted(case: Case) -> Measured | None:
    boosting = _boosting(case)
    if boosting is None:
        return None
    ratio = float(boosting.ratio(boosting.manifold, boosting.charge))
    scatter = float(np.std(np.log(boosting.manifold / boosting.charge))) * 100.0
    sd = scatter / np.sqrt(boosting.time.size / 4.0) + 0.4
    return Measured(ratio, sd, merged(boosting.time, boosting.time + 0.5))


def _boosted_undone(case: Case, cause: str, sizes: Floats) -> Floats | None:
    if not any(lies(cause, signal) for signal in ("manifold_pressure", "charge_pressure")):
        return None
    boosting = _boosting(case)
    if boosting is None:
        return None
    manifold = undone("manifold_pressure", boosting.manifold, cause, sizes[:, None])
    charge = undone("charge_pressure", boosting.charge, cause, sizes[:, None])
    return boosting.ratio(np.maximum(manifold, 1.0), charge)


NATURAL = Level(
    id="full-load-baro",
    expectation="full-load-natural",
    measure=_natural,
    undone=_natural_undone,
    words=lambda value, band: (
        f"at full load the manifold pressure is {abs(value):.0f} kPa "
        f"{'above' if value > 0 else 'below'} the barometer (healthy: {band[0]:.0f} to {band[1]:+.0f})"
    ),
)
BOOSTED = Level(
    id="full-load-charge",
    expectation="full-load-boosted",
    measure=_boosted,
    undone=_boosted_undone,
    words=lambda value, band: (
        f"on boost with the throttle open the manifold reads {abs(value):.1f} % "
        f"{'above' if value > 0 else 'below'} the charge pressure (healthy: {band[0]:.1f} to {band[1]:+.1f} %)"
    ),
)


def check(case: Case) -> Sequence[Testimony]:
    """The level that fits the engine."""
    return [*NATURAL.testify(case), *BOOSTED.testify(case)]
