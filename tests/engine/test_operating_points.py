"""Operating points: found where the engine stood still, in SI units, and only what was recorded."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest
from numpy.typing import NDArray

from airproof.engine.operating_points import OperatingPoints, find_operating_points
from airproof.recording.recording import Recording, Signal
from airproof.recording.regimes import find_regimes
from airproof.recording.signals import signal_kind

Floats = NDArray[np.float64]


def recorded(seconds: float, hertz: float | Mapping[str, float], **values: object) -> Recording:
    """Signals from numbers or functions of time, each at its own rate."""
    signals = {}
    for name, value in values.items():
        rate = hertz if isinstance(hertz, (int, float)) else hertz.get(name, 5.0)
        time = np.arange(0.0, seconds, 1.0 / rate)
        level = value(time) if callable(value) else np.full(time.size, float(value))  # type: ignore[arg-type]
        signals[name] = Signal(name, signal_kind(name).unit, time, np.asarray(level, dtype=np.float64))
    return Recording(signals)


def points_of(recording: Recording) -> OperatingPoints:
    return find_operating_points(recording, find_regimes(recording))


CRUISE = {
    "engine_speed": 2100.0,
    "manifold_pressure": 52.0,
    "air_flow": 14.4,
    "throttle": 18.0,
    "intake_temperature": 27.0,
    "ambient_temperature": 15.0,
    "coolant_temperature": 90.0,
    "barometric_pressure": 97.0,
    "charge_pressure": 98.0,
    "charge_pressure_target": 99.0,
    "fuel_rate": 0.98,
    "wastegate": 40.0,
    "short_trim_1": 3.0,
    "long_trim_1": -5.0,
    "vehicle_speed": 60.0,
}


def test_a_steady_drive_in_si_units() -> None:
    points = points_of(recorded(60.0, 5.0, **CRUISE))
    assert len(points) >= 55
    wanted = {
        "speed": 35.0,
        "manifold": 52e3,
        "charge": 98e3,
        "charge_target": 99e3,
        "barometer": 97e3,
        "air_flow": 14.4e-3,
        "intake_temperature": 300.15,
        "ambient_temperature": 288.15,
        "coolant_temperature": 363.15,
        "throttle": 0.18,
        "fuel_rate": 0.98e-3,
        "wastegate": 0.40,
        "trim": 1.03 * 0.95,
    }
    for name, value in wanted.items():
        np.testing.assert_allclose(getattr(points, name), value, rtol=1e-12, err_msg=name)
    assert (points.end_s - points.start_s >= 1.0 - 1e-9).all()
    assert (np.diff(points.start_s) > 0).all()


def test_a_missing_signal_is_unknown_and_the_rest_stays() -> None:
    points = points_of(recorded(30.0, 5.0, engine_speed=2000.0, manifold_pressure=50.0))
    assert len(points) > 20
    assert points.has("speed", "manifold").all()
    for name in ("air_flow", "charge", "barometer", "throttle", "trim", "intake_temperature", "fuel_rate"):
        assert not points.has(name).any(), name
    assert not points.has("manifold", "air_flow").any()


@pytest.mark.parametrize("names", [(), ("manifold_pressure",), ("vehicle_speed", "throttle")])
def test_without_engine_speed_there_are_no_points(names: tuple[str, ...]) -> None:
    assert len(points_of(recorded(30.0, 5.0, **{name: CRUISE[name] for name in names}))) == 0


def test_nothing_turns_with_the_engine_off() -> None:
    assert len(points_of(recorded(30.0, 5.0, engine_speed=0.0, manifold_pressure=97.0))) == 0


@pytest.mark.parametrize(
    ("name", "swing", "still"),
    # just inside and well outside of what the module says may move
    [("engine_speed", 400.0, 60.0), ("manifold_pressure", 10.0, 1.5), ("throttle", 4.0, 0.4), ("air_flow", 6.0, 0.6)],
)
def test_what_swings_within_a_second_is_no_steady_point(name: str, swing: float, still: float) -> None:
    def around(size: float) -> Recording:
        wave = {name: lambda t: CRUISE[name] + size * np.sin(2 * np.pi * t)}
        return recorded(60.0, 10.0, **{**CRUISE, **wave})

    quiet, restless = points_of(around(still)), points_of(around(swing))
    assert len(quiet) > 50
    if name == "engine_speed":  # at the top of the pressures seen, speed may run away as in a pull
        assert len(restless) < 0.2 * len(quiet)
    else:
        assert len(restless) == 0


def test_a_pull_may_gain_speed_while_the_manifold_is_full() -> None:
    def speed(t: Floats) -> Floats:
        return np.where(t < 40, 2000.0, 2000.0 + 250.0 * (t - 40.0))

    def pressure(t: Floats) -> Floats:
        return np.where(t < 40, 45.0, 96.0)

    points = points_of(recorded(50.0, 10.0, engine_speed=speed, manifold_pressure=pressure))
    assert np.count_nonzero(points.start_s > 41.0) >= 7
    # the same race with the throttle nearly shut is not steady
    points = points_of(
        recorded(50.0, 10.0, engine_speed=speed, manifold_pressure=lambda t: np.where(t < 40, 96.0, 45.0))
    )
    assert np.count_nonzero((points.start_s > 41.0) & (points.start_s < 45.0)) == 0


def test_a_step_between_two_steady_stretches_is_left_out() -> None:
    points = points_of(
        recorded(60.0, 10.0, engine_speed=2000.0, manifold_pressure=lambda t: np.where(t < 30.5, 40.0, 70.0))
    )
    np.testing.assert_allclose(np.unique(points.manifold), [40e3, 70e3])
    assert not ((points.start_s < 30.5) & (points.end_s > 30.5)).any()


def test_signals_at_unequal_rates_meet() -> None:
    rates = {"engine_speed": 10.0, "manifold_pressure": 2.5, "air_flow": 5.0, "coolant_temperature": 0.05,
             "intake_temperature": 0.2, "barometric_pressure": 1 / 30}  # fmt: skip
    wanted = {name: CRUISE[name] for name in rates}
    points = points_of(recorded(120.0, rates, **wanted))
    assert len(points) > 60
    assert points.end_s[0] - points.start_s[0] == pytest.approx(3 / 2.5)  # three samples of the slowest that matters
    # slow items are held, the way a control unit holds them
    late = points.where(points.start_s > 2.0)
    np.testing.assert_allclose(late.coolant_temperature, 363.15)
    np.testing.assert_allclose(late.barometer, 97e3)


def test_a_value_is_not_held_for_ever() -> None:
    recording = recorded(200.0, 5.0, engine_speed=2000.0, manifold_pressure=50.0)
    seldom = Signal("intake_temperature", "degC", np.array([0.0, 10.0, 20.0]), np.array([27.0, 27.0, 27.0]))
    points = points_of(Recording({**recording.signals, "intake_temperature": seldom}))
    assert points.has("intake_temperature")[points.start_s < 70.0].mean() > 0.9
    assert not points.has("intake_temperature")[points.start_s > 85.0].any()


def test_a_fast_signal_that_ends_is_unknown_from_then_on() -> None:
    recording = recorded(60.0, 5.0, engine_speed=2000.0, manifold_pressure=50.0, air_flow=14.0)
    cut = Recording({**recording.signals, "air_flow": recording["air_flow"].between(0.0, 30.0)})
    points = points_of(cut)
    assert points.has("air_flow")[points.start_s < 29.0].all()
    assert not points.has("air_flow")[points.start_s > 30.0].any()


def test_a_lost_pressure_is_unknown_not_a_vacuum() -> None:
    points = points_of(recorded(30.0, 5.0, **{**CRUISE, "manifold_pressure": 0.0, "charge_pressure": 0.5}))
    assert not points.has("manifold").any()
    assert not points.has("charge").any()


class TestTrims:
    def trim(self, **values: float) -> Floats:
        return points_of(recorded(30.0, 5.0, engine_speed=2000.0, manifold_pressure=50.0, **values)).trim

    def test_short_and_long_multiply(self) -> None:
        np.testing.assert_allclose(self.trim(short_trim_1=10.0, long_trim_1=10.0), 1.21)
        np.testing.assert_allclose(self.trim(long_trim_1=-8.0), 0.92)

    def test_two_banks_are_averaged(self) -> None:
        np.testing.assert_allclose(self.trim(long_trim_1=10.0, long_trim_2=-4.0), 1.03)

    def test_what_the_mixture_still_lacks_counts(self) -> None:
        # lambda 1.1 at a trim of +5 %: the right trim would have been 1.05 x 1.1
        np.testing.assert_allclose(self.trim(short_trim_1=5.0, **{"lambda": 1.1}), 1.155)
        np.testing.assert_allclose(self.trim(short_trim_1=5.0, **{"lambda": 0.9, "lambda_target": 0.9}), 1.05)

    def test_a_trim_at_its_stop_hides_how_much_was_needed(self) -> None:
        assert np.isnan(self.trim(long_trim_1=25.0)).all()
        np.testing.assert_allclose(self.trim(long_trim_1=25.0, **{"lambda": 1.08}), 1.25 * 1.08)

    def test_no_trims(self) -> None:
        assert np.isnan(self.trim()).all()


def idle_then(drive: Mapping[str, float]) -> dict[str, object]:
    """A minute of idle and a minute of that drive."""
    idle = {**drive, "engine_speed": 800.0, "manifold_pressure": 32.0, "air_flow": 3.0, "throttle": 12.0, "pedal": 15.0,
            "vehicle_speed": 0.0}  # fmt: skip
    after = {"pedal": 25.0, **drive}

    def both(before: float, then: float) -> object:
        return lambda t: np.where(t < 60.0, before, then)

    return {name: both(idle[name], after[name]) for name in idle}


class TestClosedLoop:
    def test_as_the_car_says(self) -> None:
        # SAE J1979 item 03 (from memory of it): 1 open, cold; 2 closed; 4 open, load; 8 open, fault; 16 closed, fault
        for status, closed in ((1, False), (2, True), (4, False), (8, False), (16, True)):
            points = points_of(recorded(30.0, 5.0, **CRUISE, fuel_system_status=float(status)))
            assert points.closed_loop.all() == closed, status
            assert points.closed_loop.any() == closed, status

    def test_else_where_it_is_usual(self) -> None:
        warm = points_of(recorded(120.0, 5.0, **idle_then(CRUISE)))
        assert len(warm) > 100
        assert warm.closed_loop.all()
        cold = points_of(recorded(120.0, 5.0, **idle_then({**CRUISE, "coolant_temperature": 20.0})))
        assert len(cold) > 100
        assert not cold.closed_loop.any()


def test_area_over_idle_is_one_at_idle_and_grows_with_the_throttle() -> None:
    drive = {**CRUISE, "manifold_pressure": 48.0, "air_flow": 15.0}
    points = points_of(recorded(120.0, 5.0, **idle_then(drive)))
    idle, later = points.start_s < 55, points.start_s > 65
    np.testing.assert_allclose(np.median(points.area_over_idle[idle]), 1.0)
    # both choked, so five times the flow is five times the area
    np.testing.assert_allclose(points.area_over_idle[later], 5.0, rtol=1e-9)


@pytest.mark.parametrize("seconds", [0.1, 0.5, 2.0])
def test_a_very_short_recording(seconds: float) -> None:
    points = points_of(recorded(seconds, 10.0, engine_speed=2000.0, manifold_pressure=50.0))
    assert len(points) <= 2
