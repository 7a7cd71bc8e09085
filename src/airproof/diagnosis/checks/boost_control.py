"""Boost: does the pressure follow its target, and does it reach what the engine is rated for?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.case import Case
from airproof.diagnosis.checks.relations import merged
from airproof.diagnosis.level import Level, Measured
from airproof.diagnosis.testimony import Testimony
from airproof.recording.recording import Recording, Signal
from airproof.recording.regimes import Regime

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

WISHED = 1.10  # target over barometer from which boost is really asked for; judged: Airproof authors
FEWEST_SAMPLES = 5
DEAD_KPA = 5.0  # a charge pressure that low is a wire, not a pressure
TARGET_HELD_KPA = 6.0
SPOOLING_S = 2.0  # a turbo needs 1 to 2 s to come up; judged: Airproof authors


def _filled_side(recording: Recording) -> Signal | None:
    """Pressure on the side the compressor fills: the charge sensor, else the manifold."""
    for name in ("charge_pressure", "manifold_pressure"):
        signal = recording.get(name)
        if signal is not None and len(signal) and np.median(signal.values) > DEAD_KPA:
            return signal
    return None


def _error(case: Case) -> Measured | None:
    """Pressure less target where boost has been asked for long enough to be there."""
    target, pressure = case.recording.get("charge_pressure_target"), _filled_side(case.recording)
    if not case.profile.boosted or target is None or pressure is None or len(target) < FEWEST_SAMPLES:
        return None
    asked = target.values > WISHED * case.barometer.kpa
    before, after = (target.at(target.time + shift, "linear") for shift in (-1.0, 0.5))
    with np.errstate(invalid="ignore"):
        held = (np.abs(before - target.values) < TARGET_HELD_KPA) & (np.abs(after - target.values) < TARGET_HELD_KPA)
    settled = asked & held & (_seconds_since_false(target.time, asked) > SPOOLING_S)
    error = pressure.at(target.time, "linear", 2.0)[settled] - target.values[settled]
    error = error[np.isfinite(error)]
    if error.size < FEWEST_SAMPLES:
        return None
    times = target.time[settled]
    return Measured(
        float(np.median(error)),
        float(np.std(error) / np.sqrt(error.size / 4.0) + 1.0),
        merged(times, times + 0.5),
    )


def _seconds_since_false(time: Floats, mask: Bools) -> Floats:
    """For each sample, how long the mask has been true without a break, s."""
    last_false = np.maximum.accumulate(np.where(mask, time[0], time))
    return np.asarray(np.where(mask, time - last_false, 0.0))


def _reached(case: Case) -> Measured | None:
    """Highest settled pressure over the barometer at full load, less the rated boost."""
    rated, pressure = case.profile.rated_boost_kpa, _filled_side(case.recording)
    if not case.profile.boosted or rated is None or pressure is None:
        return None
    spooled = [(start + SPOOLING_S, end) for start, end in case.regimes.intervals(Regime.FULL_LOAD)]
    settled = np.any([(pressure.time >= start) & (pressure.time <= end) for start, end in spooled], axis=0)
    values = pressure.values[settled] if spooled else np.empty(0)
    if values.size < FEWEST_SAMPLES:
        return None
    best = float(np.quantile(values, 0.9)) - case.barometer.kpa
    return Measured(best - rated, 5.0, case.regimes.intervals(Regime.FULL_LOAD))


ERROR = Level(
    id="boost-error",
    expectation="boost-error",
    measure=_error,
    words=lambda value, band: (
        f"boost settles {abs(value):.0f} kPa {'above' if value > 0 else 'below'} its target "
        f"(healthy: {band[0]:.0f} to {band[1]:+.0f})"
    ),
)
REACHED = Level(
    id="boost-reached",
    expectation="boost-reached",
    measure=_reached,
    words=lambda value, band: (
        f"boost at full load is {abs(value):.0f} kPa {'above' if value > 0 else 'below'} the rated value "
        f"(healthy: {band[0]:.0f} to {band[1]:+.0f})"
    ),
)


def check(case: Case) -> Sequence[Testimony]:
    """Testimonies about boost; the rated value only speaks where no target was recorded."""
    error = ERROR.testify(case)
    return error or REACHED.testify(case)
