"""Are the simulated cars plausible cars? Their pressures, boost and idle against what is met in practice."""

from __future__ import annotations

import numpy as np
import pytest
from simulated_cars import CARS, at_full_load, at_idle, driven, engine_off

IN_HG = 3.386389  # kPa
BAROMETER = 100.13  # kPa at 100 m (ISO 2533)


@pytest.mark.parametrize("car", CARS)
def test_engine_off_every_pressure_is_the_barometer(car: str) -> None:
    # tolerances of the sensors: 0.5 kPa each, cut at 2.5 deviations
    rehearsal = driven(car)
    for name in ("manifold_pressure", "barometric_pressure", "charge_pressure"):
        if name in rehearsal.trace.items:
            assert engine_off(rehearsal, name) == pytest.approx(BAROMETER, abs=1.6)


@pytest.mark.parametrize("car", CARS)
def test_idle_pressure_is_what_a_gauge_shows(car: str) -> None:
    # 15 to 22 inHg below the barometer, steady (Lincoln Nautilus service text)
    rehearsal = driven(car)
    assert 15 * IN_HG < BAROMETER - at_idle(rehearsal, "manifold_pressure", true=True) < 22 * IN_HG
    assert at_idle(rehearsal, "engine_speed") == pytest.approx(750.0, abs=15.0)


@pytest.mark.parametrize("car", CARS)
def test_overrun_pulls_deeper_than_idle(car: str) -> None:
    # closed-throttle deceleration about 25 inHg (US Army course OD1001), with fuel cut
    items = driven(car).trace.items
    overrun = (items["lambda"] > 1.9) & (items["engine_speed"] > 2000.0) & (items["pedal"] < 15.0)
    below = BAROMETER - np.median(items["manifold_pressure"][overrun])
    assert 21 * IN_HG < below < 26 * IN_HG


def test_wide_open_without_a_compressor_is_nearly_the_barometer() -> None:
    # within 2 to 7 kPa of it (common practice)
    for car in ("breathing, air flow", "breathing, speed-density"):
        assert 1.0 < BAROMETER - at_full_load(driven(car), "manifold_pressure", true=True) < 7.0


@pytest.mark.parametrize(
    ("car", "boost"), [("turbo, air flow", 110.0), ("turbo, both", 110.0), ("blown, air flow", 50.0)]
)
def test_full_load_boost_follows_its_target(car: str, boost: float) -> None:
    rehearsal = driven(car)
    assert at_full_load(rehearsal, "charge_pressure") == pytest.approx(BAROMETER + boost, abs=8.0)
    assert at_full_load(rehearsal, "charge_pressure_target") > BAROMETER + 0.85 * boost


def test_suction_falls_with_altitude() -> None:
    # gauge vacuum falls about 1 inHg per 1000 ft, at 5000 ft about 5 inHg (US Army course OD1001): 1624 m is 5328 ft
    low, high = driven("breathing, air flow"), driven("breathing, air flow", altitude_m=1624.0)
    below = [100.13 - at_idle(low, "manifold_pressure"), 83.3 - at_idle(high, "manifold_pressure")]
    assert (below[0] - below[1]) / IN_HG == pytest.approx(5.0, abs=1.0)


def test_air_at_full_power_is_what_the_displacement_can_take() -> None:
    # volumetric efficiency 0.70 to 1.0 at full load (published ranges), by the true air and the true state
    truth, items = driven("breathing, air flow").trace.truth, driven("breathing, air flow").trace.items
    full = (items["pedal"] > 80.0) & (items["engine_speed"] > 3300.0)
    p, T = truth["manifold_pressure"][full] * 1e3, truth["manifold_temperature"][full] + 273.15
    most = p * 2.0e-3 * items["engine_speed"][full] / 120.0 / (287.05 * T)
    efficiency = np.median(truth["cylinder_air"][full] * 1e-3 / most)
    assert 0.70 < efficiency < 1.0


@pytest.mark.parametrize("car", CARS)
def test_the_mixture_is_held_while_the_loop_is_closed(car: str) -> None:
    items = driven(car).trace.items
    closed = items["fuel_system_status"] == 2.0
    assert np.median(items["lambda"][closed]) == pytest.approx(1.0, abs=0.01)
    assert np.mean(np.abs(items["lambda"][closed] - 1.0) < 0.1) > 0.9


@pytest.mark.parametrize("car", CARS)
def test_nothing_that_is_told_is_missing_or_wild(car: str) -> None:
    trace = driven(car).trace
    for name, values in (*trace.items.items(), *trace.truth.items()):
        assert np.isfinite(values).all(), name
    assert trace.time.size == next(iter(trace.items.values())).size
    assert trace.items["engine_speed"].max() < 7000.0
    assert trace.truth["manifold_pressure"].min() > 8.0
