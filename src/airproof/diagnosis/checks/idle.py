"""Idle: pressure for this altitude, speed, and how steadily it runs."""

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

FEWEST_SAMPLES = 8
TURNING = 300.0  # 1/min; no engine idles slower, so the item is dead
WARM_C = 60.0  # below it the idle is raised on purpose; judged: Airproof authors
STATED_IDLE_SD = 40.0  # 1/min around the idle speed the profile states; judged: load, charging, air conditioning


def _warm(case: Case, name: str) -> Floats:
    """Samples at idle with a warm engine; all of idle where the coolant is not recorded."""
    signal = case.recording.get(name)
    if signal is None:
        return np.empty(0)
    inside = case.regimes.mask(signal.time, Regime.IDLE)
    coolant = case.recording.get("coolant_temperature")
    if coolant is not None and len(coolant):
        with np.errstate(invalid="ignore"):
            inside &= ~(coolant.at(signal.time) < WARM_C)
    return signal.values[inside]


def _pressure(case: Case) -> Measured | None:
    values = _warm(case, "manifold_pressure")
    if values.size < FEWEST_SAMPLES:
        return None
    share = 100.0 * np.median(values) / case.barometer.kpa
    return Measured(float(share), 1.0, case.regimes.intervals(Regime.IDLE))


def _pressure_undone(case: Case, cause: str, sizes: Floats) -> Floats | None:
    measured = _pressure(case) if lies(cause, "manifold_pressure") else None
    if measured is None:
        return None
    percent = 100.0 / case.barometer.kpa
    return percent * undone("manifold_pressure", measured.value / percent, cause, sizes)


def _speed(case: Case) -> Measured | None:
    values = _warm(case, "engine_speed")
    if values.size < FEWEST_SAMPLES or np.median(values) < TURNING:
        return None
    return Measured(float(np.median(values)), 10.0, case.regimes.intervals(Regime.IDLE))


def _stated_speed(case: Case) -> tuple[float, float] | None:
    stated = case.profile.idle_rpm
    return None if stated is None else (stated, STATED_IDLE_SD)


def _unsteadiness(case: Case) -> Measured | None:
    """Spread of speed from sample to sample at warm idle, slow drift taken out."""
    values = _warm(case, "engine_speed")
    if values.size < 4 * FEWEST_SAMPLES or np.median(values) < TURNING:
        return None
    steps = np.diff(values)
    spread = 1.4826 * float(np.median(np.abs(steps - np.median(steps)))) / np.sqrt(2.0)
    return Measured(100.0 * spread / float(np.median(values)), 0.3, case.regimes.intervals(Regime.IDLE))


def _noise(case: Case) -> Measured | None:
    """Spread of pressure from sample to sample at warm idle, what its rounding explains taken out."""
    values = _warm(case, "manifold_pressure")
    signal = case.recording.get("manifold_pressure")
    if signal is None or values.size < 4 * FEWEST_SAMPLES:
        return None
    steps = np.diff(values)
    spread = float(np.std(steps[np.abs(steps) <= np.quantile(np.abs(steps), 0.95)])) / np.sqrt(2.0)
    rounding = (signal.resolution or 0.0) / np.sqrt(12.0)
    noise = float(np.sqrt(max(spread**2 - rounding**2, 0.0)))
    return Measured(noise, 0.2 + rounding, case.regimes.intervals(Regime.IDLE))


PRESSURE = Level(
    id="idle-pressure",
    expectation="idle-pressure",
    measure=_pressure,
    undone=_pressure_undone,
    words=lambda value, band: (
        f"at warm idle the manifold pressure is {value:.0f} % of the barometer "
        f"(healthy: {band[0]:.0f} to {band[1]:.0f} %)"
    ),
)
SPEED = Level(
    id="idle-speed",
    expectation="idle-speed",
    measure=_speed,
    known_mean=_stated_speed,
    words=lambda value, band: f"warm idle runs at {value:.0f} 1/min (healthy: {band[0]:.0f} to {band[1]:.0f})",
)
UNSTEADINESS = Level(
    id="idle-unsteadiness",
    expectation="idle-unsteadiness",
    measure=_unsteadiness,
    words=lambda value, band: (
        f"idle speed wanders by {value:.1f} % from sample to sample (healthy: up to {band[1]:.1f} %)"
    ),
)


NOISE = Level(
    id="idle-pressure-noise",
    expectation="idle-pressure-noise",
    measure=_noise,
    words=lambda value, band: (
        f"at warm idle the pressure wanders by {value:.1f} kPa from sample to sample (healthy: up to {band[1]:.1f})"
    ),
)


def check(case: Case) -> Sequence[Testimony]:
    """Testimonies of idle."""
    return [*PRESSURE.testify(case), *SPEED.testify(case), *UNSTEADINESS.testify(case), *NOISE.testify(case)]
