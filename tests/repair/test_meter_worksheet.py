"""The worksheet: every kind of sensor, numbers for here and today, and never a step that does harm."""

from __future__ import annotations

from dataclasses import replace

import pytest

from airproof.diagnosis.conditions import barometer_of
from airproof.diagnosis.meter.lines import published
from airproof.diagnosis.meter.measured import Meter
from airproof.diagnosis.meter.pressures import Supply
from airproof.knowledge.load import knowledge
from airproof.quantities.meter_accuracy import Accuracy
from airproof.repair.meter_work.worksheet import STEPS_OF_UNIT, Task, Wanted, worksheet

KNOWN = knowledge()
HERE = barometer_of(barometer_kpa=98.2)
METER = Meter(Accuracy(0.005, 2.0), stated=True)


def wanted(sensor: str = "absolute-250-kpa", **more: object) -> Wanted:
    entry = KNOWN.sensors[sensor]
    line = published(entry) if entry.known else None
    plain = Wanted(KNOWN.sensor_kinds[entry.kind], line, None, HERE, Supply(5.02, 0.003, measured=True), METER)
    return replace(plain, **more)  # type: ignore[arg-type]


def task(asked: Wanted, name: str) -> Task:
    return next(one for one in worksheet(asked, KNOWN).tasks if one.task.id == name)


def test_the_signal_of_a_sound_sensor_here() -> None:
    # V = Vs (0.004 P - 0.04), by hand: 5.02 x (0.004 x 98.2 - 0.04)
    row = task(wanted(), "signal").rows[0]
    assert row.expected.value == pytest.approx(5.02 * (0.004 * 98.2 - 0.04))
    assert row.expected.low < row.expected.value < row.expected.high
    assert set(row.expected.parts) == {"sensor", "meter", "supply", "barometer", "gauge", "line"}


def test_the_sweep_in_inches_by_hand() -> None:
    rows = task(wanted(gauge_kpa=1.0), "sweep").rows
    assert len(rows) == 5
    for k, row in enumerate(rows):
        kpa = 98.2 - 5.0 * k * 3.386389
        assert row.expected.value == pytest.approx(5.02 * (0.004 * kpa - 0.04), abs=1e-6)
    assert "20 inHg of vacuum" in rows[-1].label


@pytest.mark.parametrize("unit", STEPS_OF_UNIT)
@pytest.mark.parametrize("pump", ["vacuum", "pressure"])
@pytest.mark.parametrize("sensor", [name for name, entry in KNOWN.sensors.items() if entry.known])
@pytest.mark.parametrize("altitude", [0.0, 1600.0, 4000.0])
def test_no_step_leaves_the_sensors_span_or_the_limits(unit: str, pump: str, sensor: str, altitude: float) -> None:
    day = barometer_of(altitude_m=altitude)
    asked = wanted(sensor, gauge_unit=unit, pump=pump, barometer=day)
    for row in task(asked, "sweep").rows:
        if row.label.startswith("open"):
            continue
        kpa = float(row.label.split(", ")[1].split()[0])
        # 20 inHg of vacuum is 67.7 kPa; beyond it some sensors are damaged
        assert kpa >= day.kpa - 67.8
        assert kpa <= day.kpa + 100.1
        line = published(KNOWN.sensors[sensor])
        seen = kpa - day.kpa if line.difference else kpa
        assert line.low_kpa - 0.2 <= seen <= line.high_kpa + 0.2
        assert 0.0 < row.expected.value < asked.supply.volts


def test_a_difference_sensor_is_not_swept_by_vacuum() -> None:
    assert task(wanted("difference-250-kpa"), "sweep").rows == ()
    assert len(task(wanted("difference-250-kpa", pump="pressure"), "sweep").rows) > 2


@pytest.mark.parametrize("kind", KNOWN.sensor_kinds)
def test_every_kind_has_a_whole_worksheet(kind: str) -> None:
    asked = Wanted(KNOWN.sensor_kinds[kind], None, None, HERE, Supply(5.0, 0.05, measured=False))
    sheet = worksheet(asked, KNOWN)
    assert [one.task.id for one in sheet.tasks] == list(KNOWN.sensor_kinds[kind].tasks)
    for one in sheet.tasks:
        assert one.task.probes
        assert one.task.key
        assert one.task.plug
        assert one.task.outcomes["right"]


def test_without_a_line_all_published_ones_are_listed() -> None:
    asked = Wanted(KNOWN.sensor_kinds["three-wire"], None, None, HERE, Supply(5.0, 0.05, measured=False))
    rows = task(asked, "signal").rows
    assert {row.label.split("[")[1].rstrip("]") for row in rows} == {
        name for name, entry in KNOWN.sensors.items() if entry.known
    }


def test_the_thermistor_at_todays_temperature() -> None:
    table = KNOWN.thermistors["ntc-2440-ohm-in-map"]
    asked = Wanted(
        KNOWN.sensor_kinds["four-wire"], None, table, HERE, Supply(5.0, 0.05, measured=False), ambient_c=20.0
    )
    band = task(asked, "thermistor").rows[0].expected
    # 2.31 to 2.57 kohm at 20 degC (Hyundai Venue); the thermometer's 1.5 K widens it by some 7 % either way
    assert band.low < 2310.0 < 2570.0 < band.high
    assert band.low == pytest.approx(2310.0, rel=0.08)
    assert task(replace(asked, ambient_c=100.0), "thermistor").notes


def test_a_digital_signal_by_its_average() -> None:
    asked = Wanted(KNOWN.sensor_kinds["sent"], None, None, HERE, Supply(5.0, 0.05, measured=False))
    band = task(asked, "digital").rows[0].expected
    # frames of 152 to 272 ticks with nine pulses of five low ticks: 107/152 and 227/272 of 5 V
    assert (band.low, band.high) == (pytest.approx(3.52, abs=5e-3), pytest.approx(4.17, abs=5e-3))
    swept = task(asked, "live-sweep").rows
    assert swept[1].expected.value == pytest.approx(98.2 - 16.93, abs=0.01)


def test_what_a_ground_drop_would_do() -> None:
    # 0.1 V at 20.08 mV/kPa (5.02 V x 0.004) is 5.0 kPa
    assert "5.0 kPa" in " ".join(task(wanted(), "ground").notes)
