"""Intake temperature: against ambient while driving, and against the coolant after a soak."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from airproof.diagnosis.case import Case
from airproof.diagnosis.level import Level, Measured
from airproof.diagnosis.testimony import Testimony
from airproof.recording.regimes import Regime

SOAKED_COOLANT_C = 35.0  # a start below it counts as cold; judged: Airproof authors
FEWEST_SAMPLES = 5


def _driving(case: Case) -> Measured | None:
    air = case.in_regime("intake_temperature", Regime.CRUISE)
    ambient = case.recording.get("ambient_temperature")
    if air.size < FEWEST_SAMPLES:
        return None
    if ambient is not None and len(ambient):
        outside, sd = float(np.median(ambient.values)), 2.0
    elif case.ambient_c is not None:
        outside, sd = case.ambient_c, 3.0
    else:
        return None
    return Measured(float(np.quantile(air, 0.25)) - outside, sd, case.regimes.intervals(Regime.CRUISE))


def _cold(case: Case) -> Measured | None:
    """Intake air less coolant in the first half minute, where the engine had soaked to the day's temperature."""
    start = case.recording.between(case.recording.start_s, case.recording.start_s + 30.0)
    air, coolant = start.get("intake_temperature"), start.get("coolant_temperature")
    if air is None or coolant is None or not len(air) or not len(coolant):
        return None
    outside = start.get("ambient_temperature")
    day = float(outside.values[0]) if outside is not None and len(outside) else case.ambient_c
    if float(coolant.values[0]) > (SOAKED_COOLANT_C if day is None else day + 4.0):
        return None
    apart = float(air.values[0] - coolant.values[0])
    return Measured(apart, 1.0, ((start.start_s, start.end_s),))


DRIVING = Level(
    id="air-temperature",
    expectation="air-temperature",
    measure=_driving,
    words=lambda value, band: (
        f"intake air is {abs(value):.0f} K {'above' if value > 0 else 'below'} the outside air while driving "
        f"(healthy: {band[0]:.0f} to {band[1]:+.0f})"
    ),
)
COLD = Level(
    id="cold-agreement",
    expectation="cold-agreement",
    measure=_cold,
    repeats=False,
    words=lambda value, band: (
        f"after a soak the intake air reads {abs(value):.0f} K {'above' if value > 0 else 'below'} the coolant "
        f"(healthy: {band[0]:.0f} to {band[1]:+.0f})"
    ),
)


def check(case: Case) -> Sequence[Testimony]:
    """Testimonies of temperature."""
    return [*DRIVING.testify(case), *COLD.testify(case)]
