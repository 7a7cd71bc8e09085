"""Exhaust back pressure at full load, where the car measures it; elsewhere the breathing at load has to tell."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from airproof.diagnosis.case import Case
from airproof.diagnosis.level import Level, Measured
from airproof.diagnosis.testimony import Testimony
from airproof.recording.regimes import Regime

FEWEST_SAMPLES = 5


def _measure(case: Case) -> Measured | None:
    values = case.in_regime("exhaust_pressure", Regime.FULL_LOAD)
    if values.size < FEWEST_SAMPLES or case.profile.induction == "turbocharged":
        return None  # before a turbine the pressure follows boost, not the catalyst
    over = float(np.quantile(values, 0.8)) - case.barometer.kpa
    return Measured(over, case.barometer.sd_kpa, case.regimes.intervals(Regime.FULL_LOAD))


LEVEL = Level(
    id="exhaust-back-pressure",
    expectation="exhaust-back-pressure",
    measure=_measure,
    words=lambda value, band: (
        f"at full load the exhaust stands {value:.0f} kPa over the barometer (healthy: up to {band[1]:.0f})"
    ),
)


def check(case: Case) -> Sequence[Testimony]:
    """One testimony where exhaust pressure was recorded at full load."""
    return LEVEL.testify(case)
