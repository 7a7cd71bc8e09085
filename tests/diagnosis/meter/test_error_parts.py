"""What is alike in all readings and what is each reading's own: the points say it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from sessions import GOOD_METER, line, session, volts

from airproof.diagnosis.meter.error_parts import OWN_SHARES, ErrorParts, settled
from airproof.diagnosis.meter.measured import Measured, Measurements
from airproof.diagnosis.meter.pressures import rows_at_plug, rows_shown, supply_of
from airproof.diagnosis.meter.typed_values import Point, Taken

KPA = np.array([98.0, 81.0, 64.0, 47.0, 30.0])


def parts(scale: float = 0.003, digits: float = 0.0005) -> ErrorParts:
    share = 0.004 * KPA - 0.04
    none = np.zeros(5)
    return ErrorParts(
        scale * share, np.full(5, digits), 1e-9 * np.eye(5), none, False, np.full(5, 1.0), (KPA - 98.0) / 68.0
    )


def test_all_own_is_a_diagonal_and_all_alike_is_not() -> None:
    own, alike = parts().of_reading(1.0), parts().of_reading(0.0)
    assert np.count_nonzero(own - np.diag(np.diag(own))) == 0
    assert np.diag(own) == pytest.approx(np.diag(alike))
    assert np.linalg.matrix_rank(alike - 1e-9 * np.eye(5), tol=1e-10) == 2


def test_points_on_a_line_leave_little_that_is_their_own() -> None:
    straight = 0.004 * KPA - 0.04
    exact_gauge = replace(parts(), gauge=np.zeros(5))
    scattered = straight + np.array([1e-3, -1e-3, 1e-3, -1e-3, 1e-3])
    on_line, _ = settled(exact_gauge, straight, KPA, np.zeros(5))
    off_line, _ = settled(exact_gauge, scattered, KPA, np.zeros(5))
    # What one reading has of its own is what is left of it when all others are known.
    assert np.linalg.inv(on_line)[2, 2] > 1.5 * np.linalg.inv(off_line)[2, 2]


def test_few_points_leave_the_judged_middle() -> None:
    none, one = np.zeros(2), np.ones(2)
    few = ErrorParts(0.003 * one, 5e-4 * one, 1e-9 * np.eye(2), none, False, one, np.array([0.0, -1.0]))
    middle, _ = settled(few, np.array([0.352, 0.08]), np.array([98.0, 30.0]), np.zeros(2))
    expected = np.mean([few.of_reading(own) for own in OWN_SHARES], axis=0)
    assert middle == pytest.approx(expected)


def test_the_meters_scale_falls_out_where_it_read_the_supply_too() -> None:
    with_supply, without = (rows_at_plug(session(what=what)) for what in (("supply", "sweep"), ("sweep",)))
    assert with_supply is not None
    assert without is not None
    # The supply is then known to its digits instead of to 1 %.
    assert np.sqrt(with_supply.covariance[0, 0]) < 0.6 * np.sqrt(without.covariance[0, 0])


def test_a_ratio_does_not_mind_the_meters_scale() -> None:
    true = session(offset=3.0)
    wrong = session(offset=3.0, supply=5.02)
    scaled = tuple(
        replace(one, value=None if one.value is None else volts(1.004 * one.value.value, 5),
                points=tuple(replace(p, taken=volts(1.004 * p.taken.value, 5)) for p in one.points))
        for one in wrong.items
    )  # fmt: skip
    one, other = rows_at_plug(true), rows_at_plug(replace(wrong, items=scaled))
    assert one is not None
    assert other is not None
    assert other.reading == pytest.approx(one.reading, abs=2e-5)


def test_readings_against_the_batterys_minus_lose_the_grounds_drop() -> None:
    lifted = session(what=("supply", "ground", "signal"))

    def counted_from_the_battery(one: Measured) -> Measured:
        assert one.value is not None
        return replace(one, against="battery minus", value=volts(one.value.value + 0.02))

    items = tuple(one if one.what == "ground" else counted_from_the_battery(one) for one in lifted.items)
    one, other = rows_at_plug(lifted), rows_at_plug(replace(lifted, items=items))
    assert one is not None
    assert other is not None
    assert other.reading == pytest.approx(one.reading, abs=2e-4)
    assert supply_of(Measurements(items, GOOD_METER)).volts == pytest.approx(5.02)


def test_open_to_the_air_the_gauge_plays_no_part() -> None:
    rows = rows_at_plug(session(gauge_kpa=2.0))
    assert rows is not None
    assert rows.given_covariance[0, 0] == 0.0  # the signal
    assert rows.given_covariance[1, 1] == 0.0  # the sweep's first point
    assert rows.given_covariance[-1, -1] > 0.5


def test_a_meter_that_loads_the_output_is_allowed_for() -> None:
    # 400 kohm of a pointer meter on 20 V against a source of 10 kohm: 0.9756 (arithmetic)
    light = session(what=("supply", "signal"))
    meter = replace(GOOD_METER, input_ohm=400e3)
    loaded = replace(light, meter=meter, sensor=replace(light.sensor, output_ohm=10e3))
    one, other = rows_at_plug(light), rows_at_plug(loaded)
    assert one is not None
    assert other is not None
    assert one.reading[0] / other.reading[0] == pytest.approx(0.9756, abs=5e-5)


def test_what_live_data_shows_is_in_kilopascals() -> None:
    measured = session()
    sweep = measured.first("sweep")
    assert sweep is not None
    points = tuple(Point(p.kpa, True, "", Taken(98.0 + p.kpa, 1.0, "kPa", "")) for p in sweep.points)
    items = (replace(sweep, points=points),)
    rows = rows_shown(replace(measured, items=items))
    assert rows is not None
    assert rows_at_plug(replace(measured, items=items)) is None
    assert rows.reading == pytest.approx(rows.pressures(98.0))
    assert line().reading(98.0) == pytest.approx(0.352)


def test_a_supply_that_is_none_is_no_share_of_anything() -> None:
    items = (
        Measured("supply", 1, value=volts(1.0), against="battery minus"), Measured("ground", 2, value=volts(1.0)),
        Measured("signal", 3, value=volts(0.5)),
    )  # fmt: skip
    supply = supply_of(Measurements(items, GOOD_METER))
    assert (supply.volts, supply.measured) == (5.0, False)
