"""Whole rehearsals: deterministic, honest about what is wrong, healthy ones silent, faulty ones heard."""

from __future__ import annotations

import numpy as np
import pytest
from simulated_cars import CARS, TURBO, WITH_EGR, at_full_load, at_idle, driven, engine_off

from airproof.engine.rehearsal.faults import CAUSES, Fault, why_impossible
from airproof.engine.rehearsal.rehearse import Request, Scene, rehearse, strays
from airproof.engine.rehearsal.road.drives import named_drive, of_stretches
from airproof.engine.rehearsal.spread import draw

SHORT = of_stretches("short", [(4.0, "off", 0.0), (1.6, "crank", 0.0), (12.0, "idle", 0.0), (14.0, "drive", 50.0)])


def stored(car: str, *causes: str) -> set[str]:
    codes = driven(car, *causes).codes
    return codes.confirmed | codes.pending


def test_the_same_request_gives_the_same_rehearsal() -> None:
    request = Request(TURBO, WITH_EGR, (Fault("map-intermittent", 0.5),), drive=SHORT, seed=11, earlier_drives=0)
    one, other = rehearse(request).trace, rehearse(request).trace
    for name in one.items:
        np.testing.assert_array_equal(one.items[name], other.items[name])


def test_another_seed_is_another_car_of_the_type() -> None:
    assert strays(1) != strays(2)
    assert max(abs(value) for seed in range(50) for value in strays(seed).values()) <= 2.5


def test_a_sensor_that_nobody_listens_to_changes_nothing_but_its_own_reading() -> None:
    # noise falls alike for every fault of one seed: an ambient reading of a car that meters by air flow, with its own
    # barometer far too low to open the throttle further, stays out of the loops until the pull
    healthy, lying = (
        rehearse(Request(TURBO, drive=SHORT, faults=faults, seed=5, earlier_drives=0)).trace.items
        for faults in ((), (Fault("iat-offset", 6.0),))
    )
    np.testing.assert_array_equal(healthy["manifold_pressure"][:400], lying["manifold_pressure"][:400])
    np.testing.assert_allclose(lying["intake_temperature"][:400] - healthy["intake_temperature"][:400], 6.0, atol=1e-9)


@pytest.mark.parametrize("car", CARS)
@pytest.mark.parametrize("cause", CAUSES)
def test_every_cause_can_be_driven_with_on_every_car_that_can_have_it(car: str, cause: str) -> None:
    if why_impossible(cause, CARS[car], WITH_EGR) is not None:
        pytest.skip(f"{car} cannot have {cause}")
    trace = driven(car, cause).trace
    assert trace.duration_s > 300.0
    for name, values in trace.items.items():
        assert np.isfinite(values).all(), name


@pytest.mark.parametrize("place", range(24))
def test_healthy_cars_of_all_kinds_set_no_code(place: int) -> None:
    # 24 of the spread here; 200 by benchmarks/rehearsed_codes.py
    codes = rehearse(draw(20261125, place, faults=()).request).codes
    assert codes.pending | codes.confirmed == set()
    assert not codes.lamp


@pytest.mark.parametrize(
    ("car", "cause", "code"),
    [
        ("turbo, air flow", "map-offset=12kPa", "P0106"),
        ("breathing, speed-density", "map-offset=12kPa", "P0069"),
        ("breathing, speed-density", "map-offset=-12kPa", "P0171"),
        ("turbo, air flow", "map-stuck=100kPa", "P0106"),
        ("turbo, both", "map-circuit=1", "P0107"),
        ("breathing, air flow", "map-circuit=2", "P0108"),
        ("turbo, speed-density", "supply-reference=-0.6V", "P0642"),
        ("turbo, air flow", "boost-sensor-scale=12%", "P0236"),
        ("turbo, air flow", "baro-sensor=12kPa", "P2227"),
        ("turbo, both", "iat-offset=45K", "P0111"),
        ("breathing, air flow", "maf-scale=-20%", "P0171"),
        ("breathing, air flow", "vacuum-leak=4mm", "P0171"),
        ("breathing, speed-density", "vacuum-leak=6mm", "P0507"),
        ("turbo, air flow", "wastegate-stuck-open=60%", "P0299"),
        ("turbo, air flow", "wastegate-stuck-closed=5%", "P0234"),
        ("turbo, air flow", "egr-stuck-open=6mm", "P0402"),
        ("turbo, speed-density", "fuel-delivery=-25%", "P0171"),
        ("turbo, speed-density", "fuel-delivery=25%", "P0172"),
        ("breathing, air flow", "ignition=8", "P0300"),
        ("turbo, both", "valve-timing=22", "P0016"),
    ],
)
def test_a_fault_that_a_driver_notices_sets_the_code_a_real_car_would(car: str, cause: str, code: str) -> None:
    assert code in stored(car, cause)


def test_a_pressure_sensor_too_high_shows_what_it_adds_and_the_truth_stays() -> None:
    healthy, lying = driven("turbo, air flow"), driven("turbo, air flow", "map-offset=12kPa")
    for read in (engine_off, at_idle):
        moved = read(lying, "manifold_pressure") - read(healthy, "manifold_pressure")
        assert moved == pytest.approx(12.0, abs=0.3)
    assert at_idle(lying, "manifold_pressure", true=True) == pytest.approx(
        at_idle(healthy, "manifold_pressure", true=True), abs=0.3
    )


def test_a_boost_sensor_too_high_is_made_to_look_right() -> None:
    # the controller holds what it is told: the reading follows its target, and true boost is short by the share
    lying = driven("turbo, air flow", "boost-sensor-scale=9%")
    shown, target = at_full_load(lying, "charge_pressure"), at_full_load(lying, "charge_pressure_target")
    assert shown == pytest.approx(target, abs=8.0)
    assert at_full_load(lying, "charge_pressure", true=True) == pytest.approx(shown / 1.09, rel=0.01)


def test_a_slow_sensor_trails_and_settles() -> None:
    slow, trace = driven("turbo, air flow", "map-slow=0.5s"), driven("turbo, air flow").trace
    behind = np.abs(slow.trace.items["manifold_pressure"] - slow.trace.truth["manifold_pressure"])
    usual = np.abs(trace.items["manifold_pressure"] - trace.truth["manifold_pressure"])
    assert np.quantile(behind, 0.99) > 3.0 * np.quantile(usual, 0.99)
    assert at_idle(slow, "manifold_pressure") == pytest.approx(
        at_idle(driven("turbo, air flow"), "manifold_pressure"), abs=0.5
    )


def test_a_car_that_copies_its_barometer_from_the_manifold_sensor_copies_its_lie() -> None:
    details = WITH_EGR.model_copy(update={"barometer": "key-on manifold pressure"})
    faults = (Fault("map-offset", 9.0),)
    items = rehearse(Request(TURBO, details, faults, drive=SHORT, seed=3, earlier_drives=0)).trace.items
    assert items["barometric_pressure"][300] == pytest.approx(items["manifold_pressure"][300], abs=0.6)
    assert items["barometric_pressure"][300] > 100.13 + 7.0


def test_two_at_once_do_what_each_does() -> None:
    both = driven("turbo, air flow", "map-offset=10kPa", "fuel-delivery=-12%")
    healthy = driven("turbo, air flow")
    assert engine_off(both, "manifold_pressure") - engine_off(healthy, "manifold_pressure") == pytest.approx(
        10.0, abs=0.3
    )
    assert at_idle(both, "long_trim_1") + at_idle(both, "short_trim_1") > 10.0


def test_a_fault_that_begins_in_the_drive_has_not_been_learnt() -> None:
    fault = Fault("fuel-delivery", -12.0, from_s=60.0)
    trace = rehearse(Request(TURBO, faults=(fault,), seed=3)).trace
    trims = trace.items["short_trim_1"] + trace.items["long_trim_1"]
    assert np.abs(np.median(trims[3000:5500])) < 5.0
    assert np.median(trims[6600:7300]) > 9.0


def test_freeze_frames_hold_the_moment() -> None:
    frames = driven("breathing, speed-density", "vacuum-leak=6mm").codes.frames
    assert frames["P0507"]["engine_speed"] > 950.0
    assert frames["P0507"]["vehicle_speed"] == 0.0


def test_the_place_decides_the_barometer() -> None:
    scene = Scene(altitude_m=1609.344, weather_kpa=0.5)
    assert scene.barometer_kpa == pytest.approx(83.4318 + 0.5, abs=1e-3)  # ISO 2533, one mile
    items = rehearse(Request(TURBO, drive=SHORT, scene=scene, earlier_drives=0)).trace.items
    assert np.median(items["manifold_pressure"][:300]) == pytest.approx(83.9, abs=1.5)


def test_the_mixed_drive_reaches_the_speeds_it_asks_for() -> None:
    plan = named_drive("mixed")
    road = rehearse(Request(TURBO, drive=plan, earlier_drives=0)).trace
    ends = np.cumsum(plan.seconds)
    asked = np.interp(road.time, ends, 3.6 * plan.targets)
    driving = np.isin(plan.kinds[np.searchsorted(ends, road.time).clip(max=plan.kinds.size - 1)], [4.0])
    assert np.quantile(np.abs(road.items["vehicle_speed"] - asked)[driving], 0.9) < 9.0
