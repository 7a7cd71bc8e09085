"""Trims against the outside: signs and sizes that a workshop knows, and their arithmetic.

CHECK_VALUES of the project's references: cases named here are common practice; the numbers follow from orifice flow and
from ratios (leak / (total - leak), 1 / (1 - share)).
"""

from __future__ import annotations

import numpy as np
import pytest
from simulated_cars import at_idle, driven, trims_at, trims_at_idle

from airproof.engine.rehearsal.rehearse import Rehearsal
from airproof.quantities.gas_flow import hole_area, orifice_flow


def test_a_healthy_car_trims_little() -> None:
    # idle normal within 5 to 10 % (common practice)
    for car in ("turbo, air flow", "breathing, speed-density", "breathing, air flow", "blown, air flow"):
        assert abs(trims_at_idle(driven(car))) < 5.0


def test_a_leak_on_an_air_flow_engine_is_large_at_idle_and_small_at_load() -> None:
    # trim = leak / (total - leak); 2 mm hole choked: 0.601 g/s at Cd 0.8, so 0.526 g/s at Cd 0.7 (orifice flow)
    healthy, leaking = driven("breathing, air flow"), driven("breathing, air flow", "vacuum-leak=2mm")
    leak = 1e3 * orifice_flow(hole_area(2e-3), 100e3, 30e3, 291.15)
    air = at_idle(leaking, "cylinder_air", true=True)
    expected = 100.0 * leak / (air - leak)
    assert trims_at_idle(leaking) - trims_at_idle(healthy) == pytest.approx(expected, abs=1.5)
    at_load = trims_at(leaking, 15.0, 30.0) - trims_at(healthy, 15.0, 30.0)
    assert 0.0 < at_load < 5.0


def test_the_same_leak_on_a_speed_density_engine_hardly_moves_the_trims() -> None:
    healthy, leaking = driven("breathing, speed-density"), driven("breathing, speed-density", "vacuum-leak=2mm")
    assert trims_at_idle(leaking) == pytest.approx(trims_at_idle(healthy), abs=1.5)
    assert at_idle(leaking, "throttle") < at_idle(healthy, "throttle") - 0.2
    large = driven("breathing, speed-density", "vacuum-leak=6mm")
    assert at_idle(large, "manifold_pressure") > at_idle(healthy, "manifold_pressure") + 5.0
    assert at_idle(large, "engine_speed") > at_idle(healthy, "engine_speed") + 200.0


@pytest.mark.parametrize(("low", "expected"), [(-10, 11.1), (-15, 17.6)])
def test_an_air_flow_sensor_that_reads_low_makes_trims_high_at_all_loads(low: int, expected: float) -> None:
    # 1 / 0.90 and 1 / 0.85: +11.1 and +17.6 %
    healthy, lying = driven("breathing, air flow"), driven("breathing, air flow", f"maf-scale={low}%")
    assert trims_at_idle(lying) - trims_at_idle(healthy) == pytest.approx(expected, abs=1.0)
    assert trims_at(lying, 12.0, 30.0) - trims_at(healthy, 12.0, 30.0) == pytest.approx(expected, abs=2.5)


def test_a_pressure_sensor_that_reads_low_makes_trims_high_where_pressure_is_low() -> None:
    # the real case T10: 29.5 kPa by gauge, 24 by the sensor, so 29.5 / 24 = +22.9 % at idle and little at load;
    # burned gas left behind, which the control unit counts too large as well, adds to it
    healthy, lying = driven("breathing, speed-density"), driven("breathing, speed-density", "map-offset=-5kPa")
    shown, true = at_idle(lying, "manifold_pressure"), at_idle(lying, "manifold_pressure", true=True)
    by_ratio = 100.0 * (true / shown - 1.0)
    moved = trims_at_idle(lying) - trims_at_idle(healthy)
    assert by_ratio < moved < 1.6 * by_ratio
    assert trims_at(lying, 12.0, 25.0) - trims_at(healthy, 12.0, 25.0) < 0.6 * moved


def test_fuel_delivered_short_is_trimmed_by_its_ratio_everywhere() -> None:
    healthy, weak = driven("turbo, air flow"), driven("turbo, air flow", "fuel-delivery=-12%")
    assert trims_at_idle(weak) - trims_at_idle(healthy) == pytest.approx(100.0 / 0.88 - 100.0, abs=1.5)


def trims_under_boost(rehearsal: Rehearsal) -> float:
    """Median total trim, %, where the loop is closed under 15 kPa of boost or more."""
    items, truth = rehearsal.trace.items, rehearsal.trace.truth
    boosted = (items["fuel_system_status"] == 2.0) & (truth["charge_pressure"] > items["barometric_pressure"] + 15.0)
    return float(np.median((items["short_trim_1"] + items["long_trim_1"])[boosted]))


def test_a_boost_leak_makes_the_mixture_rich_under_boost_only() -> None:
    # air metered and lost: rich, trims negative under boost (common practice; sign only)
    healthy, leaking = driven("turbo, air flow"), driven("turbo, air flow", "boost-leak=10mm")
    assert trims_at_idle(leaking) == pytest.approx(trims_at_idle(healthy), abs=1.0)
    assert trims_under_boost(leaking) < trims_under_boost(healthy) - 3.0


def test_intake_air_believed_warmer_is_believed_thinner() -> None:
    # speed-density: air goes with 1 / T, so +20 K at about 305 K is lean by 20 / 305
    healthy, lying = driven("turbo, speed-density"), driven("turbo, speed-density", "iat-offset=20K")
    kelvin = at_idle(healthy, "intake_temperature") + 273.15
    assert trims_at_idle(lying) - trims_at_idle(healthy) == pytest.approx(100.0 * 20.0 / kelvin, abs=1.5)


def test_misfire_looks_lean() -> None:
    healthy, missing = driven("breathing, air flow"), driven("breathing, air flow", "ignition=8")
    assert trims_at_idle(missing) > trims_at_idle(healthy) + 4.0
    speed = {name: r.trace.items["engine_speed"][4000:7000] for name, r in (("well", healthy), ("ill", missing))}
    assert np.std(speed["ill"]) > 2.0 * np.std(speed["well"])
