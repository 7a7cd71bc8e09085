"""Numbers with units at the border. Factors: definitions (SI brochure, 1959 yard and pound); reference
library: Pint."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airproof.errors import UnusableQuantity
from airproof.quantities.unit_table import EXACT_CASE, UNITS, Unit, canonical, units_of
from airproof.quantities.units import (
    KINDS,
    convert,
    from_unit,
    parse,
    parse_number,
    parse_quantity,
    to_unit,
)

# unit, SI value of one, tolerance set by the printed digits
PRINTED_FACTORS = [
    ("inHg", 3386.389, 5e-4),
    ("mmHg", 133.322387, 6e-7),
    ("torr", 133.322368, 6e-7),
    ("psi", 6894.757, 5e-4),
    ("bar", 100000.0, 1e-9),
    ("atm", 101325.0, 1e-9),
    ("inH2O", 249.089, 5e-4),
]


@pytest.mark.parametrize(("unit", "pascals", "tolerance"), PRINTED_FACTORS)
def test_pressure_units_as_printed(unit: str, pascals: float, tolerance: float) -> None:
    assert convert(1.0, unit, "Pa") == pytest.approx(pascals, abs=tolerance)


def test_one_atmosphere_in_other_units() -> None:
    assert convert(1.0, "atm", "inHg") == pytest.approx(29.9213, abs=5e-5)
    assert convert(1.0, "atm", "torr") == pytest.approx(760.0, abs=1e-9)
    assert convert(1.0, "atm", "psi") == pytest.approx(14.6959, abs=5e-5)


def test_twenty_inches_of_vacuum() -> None:
    # 33.597 kPa absolute at 101.325 kPa, subtraction; other rows: a workshop's idle figures as absolute, kPa
    gauge = parse_quantity("20 inHg vacuum", "gauge pressure")
    assert (101325.0 + gauge) / 1e3 == pytest.approx(33.597, abs=6e-4)
    for inches, absolute in ((15, 50.5), (22, 26.8), (25, 16.7), (2, 94.6)):
        gauge = parse_quantity(f"{inches} inHg vac", "gauge pressure")
        assert (101325.0 + gauge) / 1e3 == pytest.approx(absolute, abs=0.06)


# our unit name: Pint's expression
PINT = {
    "Pa": "pascal", "hPa": "hectopascal", "kPa": "kilopascal", "MPa": "megapascal", "mbar": "millibar",
    "bar": "bar",
    "psi": "psi", "inHg": "inch_Hg", "mmHg": "mmHg", "cmHg": "cm_Hg", "torr": "torr", "atm": "atm",
    "kg/s": "kg/s", "g/s": "g/s", "mg/s": "mg/s", "kg/h": "kg/hour", "g/min": "g/minute",
    "kg/min": "kg/minute",
    "lb/min": "lb/minute", "lb/h": "lb/hour", "m3/s": "m**3/s", "m3/h": "m**3/hour", "L/s": "liter/s",
    "L/min": "liter/minute", "L/h": "liter/hour", "kg": "kg", "g": "g", "mg": "mg", "m3": "m**3",
    "L": "liter",
    "mL": "milliliter", "cc": "cm**3", "m2": "m**2", "cm2": "cm**2", "mm2": "mm**2", "m": "m", "cm": "cm",
    "mm": "mm",
    "km": "km", "in": "inch", "ft": "foot", "mi": "mile", "m/s": "m/s", "km/h": "km/hour", "mph": "mile/hour",
    "1/s": "1/s", "1/min": "1/minute", "kHz": "1/ms", "V": "volt", "mV": "millivolt", "A": "ampere",
    "mA": "milliampere", "ohm": "ohm", "kohm": "kiloohm", "Mohm": "megaohm", "mohm": "milliohm", "%": "0.01",
    "1": "1",
    "rad": "radian", "deg": "degree", "s": "s", "ms": "ms", "us": "us", "min": "minute", "h": "hour",
    "Nm": "N*m",
    "lb ft": "force_pound*foot", "W": "W", "kW": "kW", "kg/m3": "kg/m**3", "g/L": "g/liter",
    "kg/L": "kg/liter",
}  # fmt: skip
NOT_IN_PINT = {
    "inH2O": "Pint's water is at 39 or 60 degF",
    "mmH2O": "the same",
    "rad/s": "Pint gives radians per second and not revolutions",
    "K": "has an offset in others, tested by value",
    "degC": "offset, tested by value",
    "degF": "offset, tested by value",
}


def test_every_factor_against_pint() -> None:
    import pint

    registry = pint.UnitRegistry()
    assert set(PINT) | set(NOT_IN_PINT) == set(UNITS)
    for name, expression in PINT.items():
        reference = registry.Quantity(expression).to_base_units()
        factor = reference.magnitude
        if UNITS[name].kind == "mass" or "g" in str(reference.units):  # the base unit of mass there may be the gram
            factor = registry.Quantity(expression).to_root_units().to_base_units().magnitude
        assert UNITS[name].factor == pytest.approx(factor, rel=1e-6), name


def test_water_and_rotation_against_pint() -> None:
    import pint

    registry = pint.UnitRegistry()
    column = (registry.Quantity("1 inch * 1000 kg/m**3") * registry.Quantity("standard_gravity")).to("Pa").magnitude
    assert convert(1.0, "inH2O", "Pa") == pytest.approx(column, rel=1e-12)
    turns = registry.Quantity(100.0, "radian/second").to("revolution/minute").magnitude
    assert convert(100.0, "rad/s", "rpm") == pytest.approx(turns, rel=1e-12)


def test_temperatures_against_pint() -> None:
    import pint

    registry = pint.UnitRegistry()
    for celsius in (-40.0, 0.0, 20.0, 100.0):
        reference = registry.Quantity(celsius, "degC")
        assert convert(celsius, "degC", "K") == pytest.approx(reference.to("kelvin").magnitude, abs=1e-9)
        assert convert(celsius, "degC", "degF") == pytest.approx(reference.to("degF").magnitude, abs=1e-9)
    assert convert(-40.0, "degF", "degC") == pytest.approx(-40.0, abs=1e-9)


SPELLINGS = {
    "degC": [
        "°C",
        "Â°C",
        "deg C",
        "degC",
        "C",
        "c",
        "º C",
        "˚C",
        "℃",
        "° C",
        "DEG C",
        "Celsius",
        "\ufffdC",
        "[°C]",
    ],
    "degF": ["°F", "deg F", "F", "Fahrenheit", "℉"],
    "1/min": ["rpm", "1/min", "min-1", "RPM", "r/min", "min⁻¹", "min^-1", "/min", "U/min", "(rpm)"],
    "kPa": ["kPa", "KPA", "kpa", "(kPa)", " kPa "],
    "%": ["%", "percent", "pct"],
    "g/s": ["g/s", "gps", "grams/sec", "G/S", "g/sec"],
    "km/h": ["km/h", "kmh", "kph", "KM/H"],
    "mph": ["mph", "MPH", "mi/h"],
    "inHg": ["in.Hg", "inHg", "in. Hg", "IN HG", '"Hg', "inches of mercury"],
    "lb/min": ["lb/min", "lbs/min"],
    "psi": ["psi", "PSI"],
    "mbar": ["mbar", "mb", "MB", "millibar"],
    "V": ["V", "volts"],
    "mV": ["mV", "MV"],
    "s": ["s", "sec", "S"],
    "ms": ["ms", "msec"],
    "Nm": ["Nm", "N·m", "N.m", "N m"],
    "deg": ["°", "deg", "degrees", "° BTDC"],
    "ohm": ["ohm", "Ω", "\u2126"],
    "kohm": ["kΩ", "kOhm", "kohm"],
    "inH2O": ["inH2O", "in H2O"],
    "m3": ["m3", "m³", "m^3"],
    "us": ["µs", "μs", "us"],
    "MPa": ["MPa", "MPA"],
    "m": ["m", "metres"],
}


@pytest.mark.parametrize("name", SPELLINGS)
def test_spellings(name: str) -> None:
    assert [canonical(text) for text in SPELLINGS[name]] == [UNITS[name]] * len(SPELLINGS[name])


@pytest.mark.parametrize("name", UNITS)
def test_every_unit_is_found_by_its_own_name(name: str) -> None:
    assert canonical(name) == UNITS[name]
    assert UNITS[name] in units_of(UNITS[name].kind)
    assert UNITS[name].kind in KINDS


@pytest.mark.parametrize(
    ("text", "name", "reference"),
    [
        ("psig", "psi", "gauge"),
        ("psia", "psi", "absolute"),
        ("kPa abs", "kPa", "absolute"),
        ("kPa (abs.)", "kPa", "absolute"),
        ("kPa(a)", "kPa", "absolute"),
        ("kPa [abs]", "kPa", "absolute"),
        ("kPa gauge", "kPa", "gauge"),
        ("bar(g)", "bar", "gauge"),
        ("barg", "bar", "gauge"),
        ("mbara", "mbar", "absolute"),
        ("hPa absolute", "hPa", "absolute"),
        ("inHg vac", "inHg", "vacuum"),
        ("inHg vacuum", "inHg", "vacuum"),
        ("kPa", "kPa", None),
    ],
)
def test_reference_of_a_pressure_is_kept_apart(text: str, name: str, reference: str | None) -> None:
    unit = canonical(text)
    assert unit is not None
    assert (unit.name, unit.reference) == (name, reference)
    assert unit.written == (f"{name} {reference}" if reference else name)


def test_what_is_no_unit() -> None:
    for text in (
        "",
        " ",
        "furlong",
        "mPa",
        "M",
        "k",
        "kP",
        "degK C",
        "V abs",
        "abs",
        "g abs",
        "()",
        "[]",
        "n/a",
        "-",
        "kPa/s",
    ):
        assert canonical(text) is None, text


def test_trap_mb_is_a_millibar_and_mpa_is_not_guessed() -> None:
    assert parse_quantity("1013.25 mb", "pressure") == pytest.approx(101325.0)
    with pytest.raises(UnusableQuantity, match="mPa"):
        parse_quantity("1 mPa", "pressure")
    assert {"MPa", "m", "K"} <= EXACT_CASE


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("98.2", 98.2), ("98,2", 98.2), ("1,5", 1.5), ("1013,25", 1013.25), ("1,0132", 1.0132),
        ("0,350", 0.350),
        (",5", 0.5), (".5", 0.5), ("1 013,25", 1013.25), ("1\u202f013.25", 1013.25), ("12\u00a0345", 12345.0),
        ("1,013.25", 1013.25), ("1.013,25", 1013.25), ("1,013,250", 1013250.0), ("1.013.250", 1013250.0),
        ("1'013.25", 1013.25), ("1.013", 1.013), ("-40", -40.0), ("\u221240", -40.0), ("\u2013 40", -40.0),
        ("+3", 3.0),
        ("1e3", 1000.0), ("1,5E-3", 0.0015), ("007", 7.0), (" 5 ", 5.0),
    ],
)  # fmt: skip
def test_numbers_as_people_write_them(text: str, number: float) -> None:
    assert parse_number(text) == number


def test_ambiguous_thousands_are_never_guessed() -> None:
    for text in ("1,013", "101,325", "-1,500", "12,000"):
        with pytest.raises(UnusableQuantity, match="one way only") as refused:
            parse_number(text)
        plain = text.replace(",", "").lstrip("-")
        assert plain in str(refused.value)
        assert text.replace(",", ".").lstrip("-") in str(refused.value)
    with pytest.raises(UnusableQuantity, match=r'"1,013"'):
        parse_quantity("1,013 bar", "pressure")


@pytest.mark.parametrize(
    "text",
    [
        "",
        "abc",
        "nan",
        "inf",
        "1e999",
        "5,",
        "5.",
        "1.2.3",
        "1,2,3",
        "1,01,3.2",
        "--5",
        "1e",
        "0x10",
        "12,34.5",
        "5'6",
        "²",
    ],
)
def test_what_is_no_number(text: str) -> None:
    with pytest.raises(UnusableQuantity):
        parse_number(text)


@pytest.mark.parametrize(
    ("text", "kind", "si"),
    [
        ("98,2 kPa", "pressure", 98200.0), ("98.2kPa", "pressure", 98200.0), ("29.92 inHg",
        "pressure", 101320.76),
        ("14.7 psia", "pressure", 101352.93), ("1 013,25 mbar", "pressure", 101325.0),
        ("110 kPa gauge", "gauge pressure", 110e3), ("-0.3 bar", "gauge pressure", -30e3),
        ("3 psi", "pressure difference", 20684.27), ("18C", "temperature", 291.15), ("\u221240 °C",
        "temperature", 233.15),
        ("68 °F", "temperature", 293.15), ("5 °C", "temperature difference", 5.0), ("9 °F",
        "temperature difference", 5.0),
        ("350m", "length", 350.0), ("1 mi", "length", 1609.344), ("6 mm", "length", 0.006),
        ("1984 cc", "volume", 1.984e-3), ("1.984 L", "volume", 1.984e-3),
        ("720 rpm", "rotation", 12.0), ("720 1/min", "rotation", 12.0), ("0.2 1/s", "rotation", 0.2),
        ("10 lb/min", "mass flow", 0.0755987), ("25 %", "ratio", 0.25), ("1.02 lambda", "ratio", 1.02),
        ("2,5 kΩ", "resistance", 2500.0), ("180 deg", "angle", math.pi), ("90 km/h", "speed", 25.0),
        ("0.1 V", "voltage", 0.1), ("1.5 h", "time", 5400.0), ('5"', "length", 0.127), ("250 Nm",
        "torque", 250.0),
    ],
)  # fmt: skip
def test_quantities(text: str, kind: str, si: float) -> None:
    assert parse_quantity(text, kind) == pytest.approx(si, rel=1e-6)


@pytest.mark.parametrize(
    ("text", "kind", "says"),
    [
        ("12 furlongs", "length", r'"12 furlongs" .*"furlongs" is not known.*a length.*ft, mi'),
        ("18", "temperature", r'"18" \(it has no unit\).*a temperature.*degC'),
        ("18 kPa", "temperature", r"kPa measures pressure.*a temperature"),
        ("kPa", "pressure", r'"kPa" \(no number in it\).*a pressure'),
        ("", "pressure", r'"" \(no number'),
        ("25", "ratio", r"it has no unit"),
        ("-5 kPa", "pressure", r"below zero"),
        ("-300 degC", "temperature", r"below absolute zero"),
        (
            "50 kPa gauge",
            "pressure",
            r"counted from the air outside.*an absolute pressure.*Add the barometer",
        ),
        ("20 inHg vacuum", "pressure", r"counted from the air outside.*take it off for a vacuum"),
        ("150 kPa abs", "gauge pressure", r"an absolute pressure.*Take the barometer off"),
        ("3 psig", "pressure difference", r"Leave out the word gauge"),
        ("5 kPa", "brightness", r'kind "brightness".*one of'),
    ],
)
def test_refusals_say_what_was_given_wanted_and_the_way_out(text: str, kind: str, says: str) -> None:
    with pytest.raises(UnusableQuantity, match=says):
        parse_quantity(text, kind)


def test_parse_keeps_what_was_written() -> None:
    quantity = parse("20 inHg vacuum", "gauge pressure")
    assert (quantity.value, quantity.unit.name, quantity.reference) == (20.0, "inHg", "vacuum")
    assert quantity.si == pytest.approx(-67727.8, abs=0.1)
    assert parse("98 kPa", "pressure").reference is None


@pytest.mark.parametrize("name", UNITS)
@given(value=st.floats(-1e6, 1e6))
def test_conversion_round_trip(name: str, value: float) -> None:
    unit = UNITS[name]
    assert to_unit(from_unit(value, unit), unit) == pytest.approx(value, rel=1e-12, abs=1e-9)
    for other in units_of(unit.kind):
        assert convert(convert(value, unit, other), other, unit) == pytest.approx(value, rel=1e-9, abs=1e-6)


@given(st.sampled_from(sorted(UNITS)), st.floats(0.001, 99999.0))
def test_written_quantities_come_back(name: str, value: float) -> None:
    unit = UNITS[name]
    written = f"{value:.4f} {name}"
    texts = [written, written.replace(".", ",", 1), f" + {written} "]
    if not name[0].isdigit():
        texts.append(written.replace(" ", "", 1))
    for text in texts:
        assert parse_quantity(text, unit.kind) == pytest.approx(from_unit(round(value, 4), unit), rel=1e-12)


def number_or_clear_refusal(text: str, kind: str) -> bool:
    try:
        return math.isfinite(parse_quantity(text, kind))
    except UnusableQuantity as refused:
        return "wanted" in str(refused)


@given(st.text(max_size=12), st.sampled_from(sorted(KINDS)))
def test_any_text_gives_a_number_or_a_clear_refusal(text: str, kind: str) -> None:
    assert number_or_clear_refusal(text, kind)


@given(st.text(alphabet="0123456789.,'eE+-\u2212 kPabrdegC°/%mMinHg\u00a0()", max_size=14))
def test_text_that_looks_like_a_quantity_gives_a_number_or_a_clear_refusal(text: str) -> None:
    for kind in ("pressure", "temperature", "ratio"):
        assert number_or_clear_refusal(text, kind)


@given(st.text(max_size=12))
def test_any_heading_is_a_unit_or_none(text: str) -> None:
    assert canonical(text) is None or isinstance(canonical(text), Unit)


def test_convert_arrays_and_nan() -> None:
    values = np.array([1.0, math.nan, 2.0])
    bars = convert(values, "bar", "kPa")
    assert bars[[0, 2]] == pytest.approx([100.0, 200.0])
    assert math.isnan(bars[1])
    assert math.isnan(convert(math.nan, "degC", "K"))


def test_convert_refuses_other_kinds_and_references() -> None:
    with pytest.raises(UnusableQuantity, match=r"kPa \(pressure\) to be turned into g/s \(mass flow\)"):
        convert(1.0, "kPa", "g/s")
    with pytest.raises(UnusableQuantity, match='the unit "furlong"'):
        convert(1.0, "furlong", "m")
    with pytest.raises(UnusableQuantity, match="barometer"):
        convert(1.0, "psig", "kPa abs")
    assert convert(20.0, "inHg vacuum", "kPa gauge") == pytest.approx(-67.7278, abs=1e-4)
    assert convert(20.0, "inHg vac", "kPa") == convert(20.0, "inHg vac", "kPa gauge")
    assert convert(-0.5, "bar gauge", "kPa vac") == pytest.approx(50.0)
    assert convert(1.0, "psia", "kPa abs") == convert(1.0, "psi", "kPa")
