"""Sensors that jump together: what chance makes of it, over any length of recording."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import poisson

from airproof.diagnosis.checks import shared_supply
from airproof.diagnosis.examine import examine
from airproof.diagnosis.expectations import expected
from airproof.engine.profile import EngineProfile
from airproof.recording.recording import Recording, Signal

TURBO = EngineProfile(displacement_l=2.0, cylinders=4, induction="turbocharged", air_metering="air-flow sensor")


def idling(minutes: float, blips: int) -> Recording:
    """An engine at idle whose manifold and charge sensors lose half their reading together, so many times."""
    time = np.arange(0.0, 60.0 * minutes, 0.5)
    lost = np.ones(time.size)
    lost[np.linspace(20, time.size - 20, blips).astype(int)] = 0.5
    signals = {
        "engine_speed": np.full(time.size, 800.0),
        "manifold_pressure": 35.0 * lost,
        "charge_pressure": 100.0 * lost,
        "throttle": np.full(time.size, 3.0),
    }
    units = {"engine_speed": "1/min", "throttle": "%"}
    return Recording({name: Signal(name, units.get(name, "kPa"), time, values) for name, values in signals.items()})


@pytest.mark.parametrize("minutes", [5.0, 30.0, 120.0])
@pytest.mark.parametrize("blips", [0, 1, 2, 6])
def test_what_happens_by_chance_is_at_least_two_of_a_poisson_count(minutes: float, blips: int) -> None:
    case = examine([idling(minutes, blips)], TURBO).case
    (told,) = shared_supply.check(case)
    by_chance = float(poisson.sf(1, expected("joint-jumps").mean * case.recording.duration_s / 60.0))
    twice = shared_supply.MISLED + (1.0 - shared_supply.MISLED) * by_chance
    others = np.log(twice if blips >= 2 else 1.0 - twice)
    supply = np.log(shared_supply.SEEN_AT_ALL if blips >= 2 else 1.0 - shared_supply.SEEN_AT_ALL)
    np.testing.assert_allclose(told.log_likelihood["none"], others, atol=1e-12)
    np.testing.assert_allclose(told.log_likelihood["supply-reference"], supply, atol=1e-12)
