"""Sensor lines and thermistor tables: as published, and what the loader refuses."""

from __future__ import annotations

import tomllib
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from airproof.knowledge.load import knowledge
from airproof.knowledge.sensors import MeterTask, SensorLine, ThermistorTable

KNOWN = knowledge()
DATA = files("airproof.knowledge") / "data"

# V = Vs (a P + b), P in kPa: id, a, b, Vs, points at Vs as the data sheets have them, error from 0 to 85 degC
SHEETS = [
    ("absolute-115-kpa", 0.009, -0.095, 5.1, {15: 0.2040, 50: 1.8105, 101.325: 4.1663, 115: 4.7940}, 1.5),
    ("absolute-250-kpa", 0.004, -0.04, 5.1, {20: 0.2040, 100: 1.8360, 101.325: 1.8630, 250: 4.8960}, 3.45),
    ("difference-250-kpa", 0.00369, 0.04, 5.1, {0: 0.204, 250: 4.9087}, 3.5),
    ("absolute-300-kpa", 0.00318, -0.00353, 5.1, {20: 0.306, 304: 4.912}, 4.26),
    ("absolute-400-kpa", 0.002421, -0.00842, 5.0, {20: 0.2000, 100: 1.1684, 200: 2.3789, 400: 4.7999}, 5.7),
]


@pytest.mark.parametrize(("name", "a", "b", "supply", "points", "error"), SHEETS)
def test_lines_of_data_sheets(
    name: str, a: float, b: float, supply: float, points: dict[float, float], error: float
) -> None:
    entry = KNOWN.sensors[name]
    assert (entry.slope_per_kpa, entry.offset, entry.supply_v) == (a, b, supply)
    line = entry.line()
    for kpa, volts in points.items():
        assert line.volts(1e3 * kpa) == pytest.approx(volts, abs=6e-4)
    assert line.error_band_pa() == pytest.approx(1e3 * error)


# V = m P + c by least squares through the printed points of makers' service texts and one article, computed outside
CARS = [
    ("car-uncharged-40-mv", 0.039480, -0.0006), ("car-boost-18-mv", 0.018496, 0.0280),
    ("car-uncharged-50-mv", 0.0500, -0.401), ("generic-uncharged-53-mv", 0.0535, -0.660),
]  # fmt: skip


@pytest.mark.parametrize(("name", "slope", "zero"), CARS)
def test_lines_of_cars(name: str, slope: float, zero: float) -> None:
    entry = KNOWN.sensors[name]
    line = entry.line()
    assert 1e3 * line.sensitivity() == pytest.approx(slope, abs=6e-7)
    assert line.volts(0.0) == pytest.approx(zero, abs=6e-5)


def test_the_trap_of_one_family() -> None:
    # The same volts are some 20 kPa apart in two parts of 250 kPa.
    absolute, difference = (KNOWN.sensors[name].line() for name in ("absolute-250-kpa", "difference-250-kpa"))
    assert absolute.pressure_pa(0.204) - difference.pressure_pa(0.204) == pytest.approx(20e3, abs=10)
    assert KNOWN.sensors["difference-250-kpa"].measures == "difference"


def test_rows_that_cannot_be_right_are_kept_apart() -> None:
    entry = KNOWN.sensors["car-uncharged-50-mv"]
    assert [one.point for one in entry.left_out] == [(0.39, 4.9), (3.34, 4.6)]
    line = entry.line()
    for (inches, volts), why in ((one.point, one.why) for one in entry.left_out):
        off = volts - line.volts(101325.0 - 3386.389 * inches)
        # One lies 0.3 V below the line, the other 0.1 V above it: neither is rounding.
        assert abs(off) > 0.05
        assert "misprint" in why


def test_a_line_that_was_not_read_is_not_made_up() -> None:
    entry = KNOWN.sensors["absolute-130-kpa"]
    assert not entry.known
    assert (entry.low_kpa, entry.high_kpa) == (15, 130)


# degC: ohm, printed nominal (Jeep 2020); least and most (Hyundai Venue; Mazda 2006)
def test_thermistor_tables_as_printed() -> None:
    jeep = {
        -40: 48805.0, -20: 15971.0, 0: 5975.0, 20: 2502.0, 25: 2044.0, 40: 1152.0, 60: 575.8, 80: 308.6, 100: 175.7,
        120: 105.4,
    }  # fmt: skip
    assert {row[0]: (row[1], row[2]) for row in KNOWN.thermistors["ntc-2500-ohm"].rows} == {
        celsius: (ohm, ohm) for celsius, ohm in jeep.items()
    }
    venue = {
        -40: (40.93, 48.35), -20: (13.89, 16.03), 0: (5.38, 6.09), 20: (2.31, 2.57), 25: (1.90, 2.10), 40: (1.08, 1.21),
        60: (0.54, 0.62), 80: (0.29, 0.34),
    }  # fmt: skip
    rows = {row[0]: (row[1] / 1e3, row[2] / 1e3) for row in KNOWN.thermistors["ntc-2440-ohm-in-map"].rows}
    assert rows == venue
    mazda = {-20: (14.04, 17.33), 20: (2.31, 2.72), 60: (0.572, 0.655)}
    assert {row[0]: (row[1] / 1e3, row[2] / 1e3) for row in KNOWN.thermistors["ntc-2500-ohm-boost"].rows} == mazda


def test_the_printed_divider() -> None:
    # Saab: 5 V through 2.74 kohm; 2.5 kohm is 2.385 V (computed), about 2.4 V and 0.54 V are printed
    entry = KNOWN.thermistors["ntc-2470-ohm-divider"]
    assert (entry.pull_up_ohm, entry.supply_v) == (2740.0, 5.0)
    assert entry.volts == ((20.0, 2.4), (80.0, 0.54))


def raw(table: str, name: str, file: str) -> dict[str, Any]:
    return {"id": name} | tomllib.loads((DATA / file).read_text(encoding="utf-8"))[table][name]


BAD_LINES = {
    "a point off the line": ({"points": [[20, 0.2040], [100, 1.9360]]}, "lies"),
    "half a line": ({"offset": None}, "belong together"),
    "no slope": ({"slope_per_kpa": 0.0, "points": []}, "measures nothing"),
    "a span upside down": ({"low_kpa": 300}, "low_kpa < high_kpa"),
    "a supply outside its range": ({"supply_low_v": 5.2}, "supply_low_v"),
    "no source": ({"source": []}, "source"),
    "an unknown key": ({"colour": "black"}, "colour"),
}


@pytest.mark.parametrize("name", BAD_LINES)
def test_a_line_that_cannot_be_is_refused(name: str) -> None:
    change, says = BAD_LINES[name]
    with pytest.raises(ValidationError, match=says):
        SensorLine.model_validate(raw("sensors", "absolute-250-kpa", "sensors.toml") | change)


BAD_TABLES = {
    "resistance that rises": ({"rows": [[20, 2100, 2900], [80, 2950, 3650]]}, "does not fall"),
    "least above most": ({"rows": [[20, 2900, 2100], [80, 295, 365]]}, "least"),
    "half a divider": ({"pull_up_ohm": None}, "belong together"),
    "volts that the divider does not give": ({"volts": [[20, 3.4]]}, "divider"),
}


@pytest.mark.parametrize("name", BAD_TABLES)
def test_a_table_that_cannot_be_is_refused(name: str) -> None:
    change, says = BAD_TABLES[name]
    with pytest.raises(ValidationError, match=says):
        ThermistorTable.model_validate(raw("thermistors", "ntc-2470-ohm-divider", "thermistors.toml") | change)


def test_every_kind_says_what_a_meter_can_and_cannot_tell() -> None:
    assert set(KNOWN.sensor_kinds) == {"three-wire", "four-wire", "frequency", "sent"}
    for kind in KNOWN.sensor_kinds.values():
        assert kind.can_tell
        assert kind.cannot_tell
        assert {"supply", "ground", "wire"} <= set(kind.tasks)
    assert "thermistor" in KNOWN.sensor_kinds["four-wire"].tasks
    assert "signal" not in KNOWN.sensor_kinds["sent"].tasks


def test_the_pump_is_never_drawn_too_far() -> None:
    for task in ("sweep", "live-sweep"):
        assert any("20 inHg" in caution for caution in KNOWN.meter_tasks[task].cautions)


def test_a_task_without_a_sound_outcome_is_refused() -> None:
    entry = raw("meter_tasks", "ground", "meter_work.toml")
    with pytest.raises(ValidationError, match="right"):
        MeterTask.model_validate(entry | {"outcomes": {"high": "too high"}})
    with pytest.raises(ValidationError, match="otherwise"):
        MeterTask.model_validate(entry | {"tells": {"map-circuit": 0.5}})


def test_no_maker_is_named_outside_the_sources() -> None:
    for file in ("sensors.toml", "thermistors.toml", "meter_work.toml"):
        tables = tomllib.loads(Path(str(DATA / file)).read_text(encoding="utf-8"))
        tables.pop("sources", None)
        for maker in ("Motorola", "NXP", "MPX", "Hyundai", "Chrysler", "Toyota", "Jeep", "Mazda", "Saab", "Nissan"):
            assert maker not in str(tables)
