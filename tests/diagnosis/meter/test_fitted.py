"""The line through readings, against SciPy, and which published line it is."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import curve_fit
from scipy.stats import chi2
from sessions import KPA_PER_INCH, line, out, session

from airproof.diagnosis.meter.fitted import chance_beyond, fitted_line, recognised, reports
from airproof.diagnosis.meter.pressures import rows_at_plug, supply_of
from airproof.diagnosis.weighing import Barometer
from airproof.knowledge.load import knowledge

sys.path.append(str(Path(__file__).resolve().parents[3] / "benchmarks"))
import bench_meter

SENSORS = knowledge().sensors
DAY = Barometer(98.0, 0.4, "stated")
KNOWN_LINES = [name for name, entry in SENSORS.items() if entry.known]


@pytest.mark.parametrize("freedom", [1, 2, 3, 4, 5, 9, 10, 40])
@pytest.mark.parametrize("value", [0.0, 0.1, 3.0, 20.0, 300.0])
def test_chance_beyond_as_scipy_has_it(value: float, freedom: int) -> None:
    assert chance_beyond(value, freedom) == pytest.approx(float(chi2.sf(value, freedom)), rel=1e-9, abs=1e-15)


def test_the_fit_is_scipys() -> None:
    measured = session(offset=4.0, gain=0.03)
    rows = rows_at_plug(measured)
    assert rows is not None
    exact = Barometer(98.0, 0.0, "exact")
    no_gauge = rows_at_plug(session(offset=4.0, gain=0.03, gauge_kpa=0.0))
    assert no_gauge is not None
    fitted = fitted_line(no_gauge, line(), exact, 20.0, 5.02, "V")
    assert fitted is not None
    expected, uncertain = curve_fit(
        lambda x, a, b: a + b * x, fitted.pressures, no_gauge.reading, p0=[0.0, 0.004], sigma=no_gauge.covariance,
        absolute_sigma=True, xtol=1e-14, ftol=1e-14, gtol=1e-14,
    )  # fmt: skip
    assert fitted.fit.intercept == pytest.approx(expected[0], rel=1e-5)
    assert fitted.fit.slope == pytest.approx(expected[1], rel=1e-6)
    assert fitted.fit.covariance == pytest.approx(uncertain, rel=1e-4)


@settings(max_examples=40, deadline=None)
@given(st.floats(-10.0, 10.0), st.floats(-0.12, 0.12), st.floats(85.0, 103.0), st.floats(4.7, 5.3))
def test_offset_and_gain_come_back(offset: float, gain: float, day: float, supply: float) -> None:
    # Down to 12 inHg only, so that the sensor stays within its span.
    measured = session(offset=offset, gain=gain, day=day, supply=supply, inches=(0, 4, 8, 12))
    barometer = Barometer(day, 0.4, "stated")
    rows = rows_at_plug(measured)
    assert rows is not None
    fitted = fitted_line(rows, line(), barometer, 20.0, supply_of(measured).volts, "V")
    assert fitted is not None
    assert fitted.offset_kpa is not None
    assert fitted.gain_percent is not None
    for (value, low, high), true in ((fitted.offset_kpa, offset), (fitted.gain_percent, 100.0 * gain)):
        assert low <= true <= high
        assert value == pytest.approx(true, abs=1.0)
    for one in fitted.errors:
        assert one.error[0] == pytest.approx(offset + gain * one.kpa, abs=0.3)


def test_one_pressure_makes_no_line() -> None:
    rows = rows_at_plug(session(what=("supply", "signal")))
    assert rows is not None
    assert fitted_line(rows, line(), DAY, 20.0, 5.02, "V") is None


@pytest.mark.parametrize("name", KNOWN_LINES)
def test_every_published_line_is_recognised_by_its_own_sensor(name: str) -> None:
    true = line(name)
    pressures = (0.0, 25.0, 50.0, 80.0) if true.difference else ()
    measured = session(true=true, expected=true, pressures=pressures)
    rows = rows_at_plug(measured)
    assert rows is not None
    found = recognised(rows, true, DAY, SENSORS, 20.0)
    assert found.expected is not None
    assert found.expected.fitting
    assert found.wrong_part is None
    assert name in [one.line.id for one in found.candidates if one.fitting]


def test_the_trap_of_one_family_is_seen() -> None:
    # The car expects the absolute part; fitted is the one of the same family that measures a difference. Swept upwards.
    measured = session(true=line("difference-250-kpa"), pressures=(0.0, 20.0, 40.0, 60.0, 80.0))
    rows = rows_at_plug(measured)
    assert rows is not None
    found = recognised(rows, line(), DAY, SENSORS, 20.0)
    assert found.wrong_part is not None
    assert found.wrong_part.line.id == "difference-250-kpa"
    assert found.decibans > 0.0
    # By hand: at its zero 0.04 of the supply, which the absolute line takes for (0.04 + 0.04) / 0.004 = 20 kPa
    shown = {where: kpa for where, _, kpa in found.reports}
    assert shown["with the engine off"] == pytest.approx(20.0, abs=0.1)
    assert found.offset_kpa == pytest.approx(20.0, abs=0.1)
    assert found.gain_percent == pytest.approx(100.0 * (0.00369 / 0.004 - 1.0))


@pytest.mark.parametrize(
    ("fitted", "expected"), [("absolute-300-kpa", "absolute-250-kpa"), ("absolute-115-kpa", "absolute-250-kpa")]
)
def test_a_part_of_another_range_is_seen(fitted: str, expected: str) -> None:
    rows = rows_at_plug(session(true=line(fitted), expected=line(expected)))
    assert rows is not None
    found = recognised(rows, line(expected), DAY, SENSORS, 20.0)
    assert found.wrong_part is not None
    assert found.wrong_part.line.id == fitted
    own, other = line(expected), line(fitted)
    by_hand = (other.offset + other.slope * 98.0 - own.offset) / own.slope
    assert found.reports[0][2] == pytest.approx(by_hand, abs=1e-6)


def test_a_faulty_right_part_is_no_wrong_part() -> None:
    rows = rows_at_plug(session(offset=9.0))
    assert rows is not None
    found = recognised(rows, line(), DAY, SENSORS, 20.0)
    assert found.expected is not None
    assert not found.expected.fitting
    assert found.wrong_part is None or found.decibans < 0.0


def test_one_reading_accuses_no_part() -> None:
    rows = rows_at_plug(session(true=line("absolute-300-kpa"), what=("supply", "signal")))
    assert rows is not None
    assert recognised(rows, line(), DAY, SENSORS, 20.0).wrong_part is None


def test_reports_of_the_right_part_are_the_truth() -> None:
    for _, true, shown in reports(line(), line(), 98.0):
        assert shown == pytest.approx(true)


def test_a_learned_line_is_the_sensors_own() -> None:
    measured = session(true=line("car-boost-18-mv"), supply=4.97)
    rows = rows_at_plug(measured)
    assert rows is not None
    fitted = fitted_line(rows, None, DAY, 20.0, supply_of(measured).volts, "V")
    assert fitted is not None
    assert fitted.learned.slope == pytest.approx(line("car-boost-18-mv").slope, rel=5e-3)
    assert fitted.offset_kpa is None
    assert not fitted.crooked


def test_points_off_any_line_are_said_to_be() -> None:
    from dataclasses import replace

    from sessions import volts

    measured = session()
    sweep = measured.first("sweep")
    assert sweep is not None
    points = list(sweep.points)
    bent = out(line(), 98.0 - 10.0 * KPA_PER_INCH, 98.0, 5.02) + 0.25
    points[2] = replace(points[2], taken=volts(bent))
    items = tuple(replace(one, points=tuple(points)) if one.what == "sweep" else one for one in measured.items)
    rows = rows_at_plug(replace(measured, items=items))
    assert rows is not None
    fitted = fitted_line(rows, line(), DAY, 20.0, 5.02, "V")
    assert fitted is not None
    assert fitted.crooked


def held(own: float, seed: int, tries: int) -> float:
    """How often the 90 % interval held a span error of 5 %, with a meter of 0.5 % + 2 digits."""
    return float(np.mean(list(bench_meter.tries(bench_meter.Setting(own, 0.001, True, "right"), seed, tries))))


@pytest.mark.parametrize("seed", [1, 2])
def test_the_interval_holds_a_gain_fault_as_often_as_it_says(seed: int) -> None:
    # Half of the meter's bound alike in all readings, half each reading's own; 1000 tries, wanted 85 to 95 in 100.
    assert 0.85 <= held(0.5, seed, 1000) <= 0.95


def test_how_far_it_falls_short_where_all_error_is_each_readings_own() -> None:
    # Measured: 81 to 86 in 100 (docs/meter.md); a guard against its getting worse, and no more.
    assert 0.77 <= held(1.0, 4, 500) <= 0.95
