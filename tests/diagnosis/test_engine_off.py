"""Key on, engine off: every pressure sensor against the day, and the copied barometer."""

from __future__ import annotations

import numpy as np
import pytest
from small_cases import DAY, NATURAL, TURBO, Floats, case_of, changed, without, workshop_round

from airproof.diagnosis.case import Case
from airproof.diagnosis.checks import engine_off
from airproof.diagnosis.conditions import UNKNOWN_PLACE, barometer_of
from airproof.diagnosis.expectations import expected
from airproof.diagnosis.weighing import Barometer
from airproof.engine.profile import EngineProfile
from airproof.recording.recording import Recording


def gain(case: Case, cause: str, size: float, finding: str | None = None) -> float:
    """Decibans that the check (or one finding of it) gives that size of a cause over `none`."""
    total = 0.0
    for one in engine_off.check(case):
        if finding in (None, one.finding.id):
            at = int(np.argmin(np.abs(case.sizes[cause] - size)))
            total += float(one.log_likelihood[cause][at] - one.log_likelihood["none"][0])
    return 10.0 / np.log(10.0) * total


def lying(profile: EngineProfile = TURBO, weather: Barometer | None = None, **kpa: float) -> Case:
    recording = workshop_round(profile)
    for name, off in kpa.items():
        recording = changed(recording, name, lambda v, off=off: v + off)
    return case_of(recording, profile, weather=weather)


def test_a_healthy_car_shows_the_day_three_times() -> None:
    told = engine_off.check(lying())
    assert [one.finding.id for one in told] == ["key-on-baro", "key-on-charge", "barometer"]
    for one in told:
        assert one.finding.value == pytest.approx(0.0, abs=1e-9)
        assert not one.finding.unexpected
        assert one.finding.unit == "kPa"
        for start, end in one.finding.intervals:
            assert end <= 13.0 or start > 100.0  # only while the engine stood


@pytest.mark.parametrize("off", [-9.0, 8.0])
def test_a_sensor_that_is_off_shows_by_how_much(off: float) -> None:
    case = lying(manifold_pressure=off)
    finding = engine_off.check(case)[0].finding
    assert finding.value == pytest.approx(off)
    assert finding.unexpected
    assert ("above" if off > 0 else "below") in finding.says
    assert gain(case, "map-offset", off) > 10.0
    assert gain(case, "map-offset", -off) < -5.0
    assert gain(case, "map-gain", 100.0 * off / DAY) > 10.0  # here the two cannot be told apart
    assert gain(case, "map-offset", off) == pytest.approx(gain(case, "map-gain", 100.0 * off / DAY), abs=1.5)


def test_each_sensor_accuses_its_own_cause() -> None:
    charge = lying(charge_pressure=9.0)
    assert gain(charge, "boost-sensor-scale", 100.0 * 9.0 / DAY) > 8.0
    assert gain(charge, "map-offset", 9.0) < 0.0
    barometer = lying(barometric_pressure=-8.0)
    assert gain(barometer, "baro-sensor", -8.0) > 5.0
    assert gain(barometer, "map-offset", 8.0) < gain(barometer, "baro-sensor", -8.0) - 5.0


def test_a_supply_moves_manifold_and_charge_together() -> None:
    volts = 0.4
    case = lying(manifold_pressure=DAY * volts / 5.0, charge_pressure=DAY * volts / 5.0)
    assert gain(case, "supply-reference", volts) > 10.0
    assert gain(case, "supply-reference", volts) > gain(case, "map-offset", DAY * volts / 5.0) + 5.0


@pytest.mark.parametrize("off", [-8.0, 8.0])
def test_a_copied_barometer_hides_the_lie_and_altitude_finds_it(off: float) -> None:
    """Manifold and barometric reading off by the same: two honest witnesses of a strange day, or one lie told twice."""
    off_both = {"manifold_pressure": off, "barometric_pressure": off}
    known = lying(NATURAL, barometer_of(altitude_m=279.0), **off_both)  # 98.0 kPa by the standard atmosphere
    unknown = lying(NATURAL, UNKNOWN_PLACE, **off_both)
    assert gain(known, "map-offset", off) > 5.0
    assert abs(gain(unknown, "map-offset", off)) < 5.0
    # if readings that agree could never be copies, the barometric reading would clear the sensor
    once = lying(NATURAL, UNKNOWN_PLACE, manifold_pressure=off)
    assert gain(once, "map-offset", off) > gain(unknown, "map-offset", off) + 3.0


def test_the_pressure_of_the_day_is_shared_and_counted_once() -> None:
    """All three 4 kPa low in unknown weather: a low day, not three broken sensors."""
    low = {"manifold_pressure": -4.0, "charge_pressure": -4.0, "barometric_pressure": -4.0}
    case = lying(TURBO, UNKNOWN_PLACE, **low)
    assert gain(case, "map-offset", -4.0) < 0.0
    told = engine_off.check(case)
    assert not told[1].finding.unexpected
    width = told[0].finding.expected[1]
    assert width == pytest.approx(1.645 * np.hypot(UNKNOWN_PLACE.sd_kpa, expected("sensor-tolerance").sd), rel=0.01)


def test_without_an_engine_off_interval_only_the_barometric_reading_speaks() -> None:
    recording = workshop_round(TURBO)
    running = recording.between(15.0, 250.0)
    assert [one.finding.id for one in engine_off.check(case_of(running, TURBO))] == ["barometer"]
    assert engine_off.check(case_of(without(running, "barometric_pressure"), TURBO)) == []


def test_a_reading_by_hand_stands_in(monkeypatch: pytest.MonkeyPatch) -> None:
    from dataclasses import replace

    running = without(workshop_round(TURBO).between(15.0, 250.0), "barometric_pressure")
    case = replace(case_of(running, TURBO), engine_off_kpa={"manifold_pressure": DAY + 8.0})
    (one,) = engine_off.check(case)
    assert one.finding.value == pytest.approx(8.0)
    assert gain(case, "map-offset", 8.0) > 8.0
    # what was read on purpose goes before what was recorded
    recorded = replace(case_of(workshop_round(TURBO), TURBO), engine_off_kpa={"manifold_pressure": DAY + 8.0})
    assert engine_off.check(recorded)[0].finding.value == pytest.approx(8.0)


def test_a_moving_pressure_is_no_pressure_at_rest() -> None:
    """A recording whose engine speed reads 0 throughout while the engine plainly runs and is never held steady."""

    def restless(v: Floats) -> Floats:
        return v * (1.0 + 0.2 * np.sin(2.0 * np.arange(v.size)))

    recording = changed(
        changed(workshop_round(NATURAL), "engine_speed", lambda v: 0.0 * v), "manifold_pressure", restless
    )
    assert "key-on-baro" not in [one.finding.id for one in engine_off.check(case_of(recording, NATURAL))]


def test_a_moving_car_has_no_engine_off_pressure() -> None:
    case = case_of(changed(workshop_round(NATURAL), "engine_speed", lambda v: 0.0 * v), NATURAL)
    assert "key-on-baro" not in [one.finding.id for one in engine_off.check(case)]


def test_no_pressures_no_testimony() -> None:
    recording: Recording = without(workshop_round(TURBO), "manifold_pressure", "charge_pressure", "barometric_pressure")
    assert engine_off.check(case_of(recording, TURBO)) == []
