"""The closed table of units that the border understands, with exact factors, and the spellings of each.

Closed on purpose: a few spellings are accepted and the rest refused by name, so that `mb` is a millibar here
and can never become an area, and no prefix is ever guessed. Pint serves as the outside reference in the tests
and not at run time: importing it and building its registry takes about 0.3 s, a noticeable share of the
second that a whole command may take, where this table takes 0.01 s.

SI value = value x factor + offset. Definitions: SI brochure (9th edition, 2019) for what is exact there; the
pound 0.45359237 kg, inch 25.4 mm and mile 1609.344 m of the 1959 agreement; conventional mercury 13595.1
kg/m3 and water 1000 kg/m3 at standard gravity (ISO 80000-4 annex, from memory of it).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from typing import Literal

from airproof.quantities.constants import STANDARD_GRAVITY, STANDARD_PRESSURE, ZERO_CELSIUS

Reference = Literal["absolute", "gauge", "vacuum"]
"""What a pressure is counted from: empty space, the air outside, or downwards from the air outside."""


@dataclass(frozen=True)
class Unit:
    """A unit of one kind of quantity: SI value = value x factor + offset.

    `reference` is set only where the spelling said it (psig, "kPa abs"); None means that nothing was said.
    """

    name: str
    kind: str
    factor: float
    offset: float = 0.0
    reference: Reference | None = None

    @property
    def written(self) -> str:
        """The name with its reference, as a report shows it: "kPa gauge"."""
        return f"{self.name} {self.reference}" if self.reference else self.name


POUND, INCH, MILE = 0.45359237, 0.0254, 1609.344
PSI = POUND * STANDARD_GRAVITY / INCH**2
INCH_MERCURY = INCH * 13595.1 * STANDARD_GRAVITY
MILLIMETRE_MERCURY = 1e-3 * 13595.1 * STANDARD_GRAVITY

# kind | name | factor | offset | spellings, separated by commas; the name itself is one. Upper and lower case
# do not matter unless the spelling is listed in EXACT_CASE below.
_ROWS: tuple[tuple[str, str, float, float, str], ...] = (
    ("pressure", "Pa", 1.0, 0.0, "pascal, pascals"),
    ("pressure", "hPa", 100.0, 0.0, "hectopascal"),
    ("pressure", "kPa", 1e3, 0.0, "kilopascal, kilopascals"),
    ("pressure", "MPa", 1e6, 0.0, "MPA, Mpa, megapascal"),
    ("pressure", "mbar", 100.0, 0.0, "mb, millibar, millibars"),
    ("pressure", "bar", 1e5, 0.0, "bars"),
    ("pressure", "psi", PSI, 0.0, "lbf/in2, lb/in2, lbs/in2, pounds per square inch"),
    ("pressure", "inHg", INCH_MERCURY, 0.0, "in hg, in.hg, in. hg, inches hg, inch hg,"
     " inches of mercury, \"hg"),
    ("pressure", "mmHg", MILLIMETRE_MERCURY, 0.0, "mm hg, mm.hg, mm of mercury"),
    ("pressure", "cmHg", 10.0 * MILLIMETRE_MERCURY, 0.0, "cm hg"),
    ("pressure", "torr", STANDARD_PRESSURE / 760.0, 0.0, ""),
    ("pressure", "inH2O", INCH * 1000.0 * STANDARD_GRAVITY, 0.0, "in h2o, in.h2o, in. h2o, inches h2o,"
     " inches of water"),
    ("pressure", "mmH2O", STANDARD_GRAVITY, 0.0, "mm h2o"),
    ("pressure", "atm", STANDARD_PRESSURE, 0.0, "atmosphere, atmospheres"),
    ("temperature", "K", 1.0, 0.0, "kelvin, degK, deg K"),
    ("temperature", "degC", 1.0, ZERO_CELSIUS, "C, degrees C, celsius, deg celsius, degrees celsius,"
     " centigrade"),
    ("temperature", "degF", 5.0 / 9.0, ZERO_CELSIUS - 32.0 * 5.0 / 9.0, "F, degrees F, fahrenheit,"
     " degrees fahrenheit"),
    ("mass flow", "kg/s", 1.0, 0.0, "kg/sec, kg s-1, kilograms per second"),
    ("mass flow", "g/s", 1e-3, 0.0, "gps, g/sec, gm/s, gm/sec, grams/s, grams/sec, gram/sec,"
     " grams/second, g s-1, grams per second"),
    ("mass flow", "mg/s", 1e-6, 0.0, "mg/sec"),
    ("mass flow", "kg/h", 1.0 / 3600.0, 0.0, "kg/hr, kg/hour, kgph, kilograms per hour"),
    ("mass flow", "g/min", 1e-3 / 60.0, 0.0, ""),
    ("mass flow", "kg/min", 1.0 / 60.0, 0.0, ""),
    ("mass flow", "lb/min", POUND / 60.0, 0.0, "lbs/min, lbm/min, pounds/min, pounds per minute"),
    ("mass flow", "lb/h", POUND / 3600.0, 0.0, "lb/hr, lbs/hr, lbs/h"),
    ("volume flow", "m3/s", 1.0, 0.0, ""),
    ("volume flow", "m3/h", 1.0 / 3600.0, 0.0, "m3/hr"),
    ("volume flow", "L/s", 1e-3, 0.0, ""),
    ("volume flow", "L/min", 1e-3 / 60.0, 0.0, "lpm"),
    ("volume flow", "L/h", 1e-3 / 3600.0, 0.0, "L/hr, l/hour, lph"),
    ("mass", "kg", 1.0, 0.0, "kilogram, kilograms"),
    ("mass", "g", 1e-3, 0.0, "gram, grams"),
    ("mass", "mg", 1e-6, 0.0, "mg/stk, mg/stroke, mg/str"),
    ("volume", "m3", 1.0, 0.0, ""),
    ("volume", "L", 1e-3, 0.0, "litre, litres, liter, liters, ltr, dm3"),
    ("volume", "mL", 1e-6, 0.0, "millilitre, milliliter"),
    ("volume", "cc", 1e-6, 0.0, "cm3, ccm, cubic centimetres, cubic centimeters"),
    ("area", "m2", 1.0, 0.0, ""),
    ("area", "cm2", 1e-4, 0.0, ""),
    ("area", "mm2", 1e-6, 0.0, ""),
    ("length", "m", 1.0, 0.0, "metre, metres, meter, meters"),
    ("length", "cm", 1e-2, 0.0, ""),
    ("length", "mm", 1e-3, 0.0, "millimetre, millimetres, millimeter, millimeters"),
    ("length", "km", 1e3, 0.0, "kilometre, kilometres, kilometer, kilometers"),
    ("length", "in", INCH, 0.0, "inch, inches, \""),
    ("length", "ft", 12.0 * INCH, 0.0, "foot, feet, '"),
    ("length", "mi", MILE, 0.0, "mile, miles"),
    ("speed", "m/s", 1.0, 0.0, "m/sec, mps, m s-1, metres per second, meters per second"),
    ("speed", "km/h", 1.0 / 3.6, 0.0, "kmh, km/hr, kph, kmph, km h-1"),
    ("speed", "mph", MILE / 3600.0, 0.0, "mi/h, miles/h, miles/hr, miles per hour"),
    ("rotation", "1/s", 1.0, 0.0, "s-1, rev/s, rps, r/s, Hz, hertz, per second"),
    ("rotation", "1/min", 1.0 / 60.0, 0.0, "rpm, min-1, r/min, rev/min, revs/min, u/min, tr/min, /min,"
     " revolutions per minute, per minute"),
    ("rotation", "rad/s", 0.5 / math.pi, 0.0, "rad/sec, rad s-1"),
    ("rotation", "kHz", 1e3, 0.0, ""),
    ("voltage", "V", 1.0, 0.0, "volt, volts, vdc, v dc"),
    ("voltage", "mV", 1e-3, 0.0, "millivolt, millivolts"),
    ("current", "A", 1.0, 0.0, "amp, amps, ampere, amperes"),
    ("current", "mA", 1e-3, 0.0, "milliamp, milliamps"),
    ("resistance", "ohm", 1.0, 0.0, "ohms"),
    ("resistance", "kohm", 1e3, 0.0, "k ohm, kohms, kiloohm, kilo-ohm, kilohm"),
    ("resistance", "Mohm", 1e6, 0.0, "MOhm, megohm, megaohm"),
    ("resistance", "mohm", 1e-3, 0.0, "mOhm, milliohm"),
    ("ratio", "%", 1e-2, 0.0, "percent, per cent, pct"),
    ("ratio", "1", 1.0, 0.0, "lambda, ratio"),
    ("angle", "rad", 1.0, 0.0, "radian, radians"),
    ("angle", "deg", math.pi / 180.0, 0.0, "degree, degrees, deg btdc, deg ca, deg crk, degrees btdc"),
    ("time", "s", 1.0, 0.0, "sec, secs, second, seconds"),
    ("time", "ms", 1e-3, 0.0, "msec, millisecond, milliseconds"),
    ("time", "us", 1e-6, 0.0, "usec, microsecond, microseconds"),
    ("time", "min", 60.0, 0.0, "mins, minute, minutes"),
    ("time", "h", 3600.0, 0.0, "hr, hrs, hour, hours"),
    ("torque", "Nm", 1.0, 0.0, "N.m, N m, N*m, newton metre, newton metres, newton meters"),
    ("torque", "lb ft", POUND * STANDARD_GRAVITY * 12.0 * INCH, 0.0, "lb-ft, ft-lb, ft lb, lbf ft,"
     " ft lbf, lbft, ftlb"),
    ("power", "W", 1.0, 0.0, "watt, watts"),
    ("power", "kW", 1e3, 0.0, "kilowatt, kilowatts"),
    ("density", "kg/m3", 1.0, 0.0, ""),
    ("density", "g/L", 1.0, 0.0, ""),
    ("density", "kg/L", 1e3, 0.0, "g/cm3"),
)  # fmt: skip

# Here the case of a letter changes the meaning: mPa is not MPa, M is not m. These match as written or not at
# all.
EXACT_CASE = frozenset({"MPa", "MPA", "Mpa", "Mohm", "MOhm", "mohm", "mOhm", "m", "K", "A", "1"})

UNITS: dict[str, Unit] = {name: Unit(name, kind, factor, offset) for kind, name, factor, offset, _ in _ROWS}
"""Every unit by its name."""

_EXACT: dict[str, Unit] = {}
_ANY_CASE: dict[str, Unit] = {}


def _key(spelling: str) -> str:
    """What is compared: no spaces, dots or hyphens save in exponents, so that "in. Hg" and "inHg" are one."""
    return re.sub(r"[\s.*]|-(?!1\b)", "", spelling)


def _enter(spelling: str, unit: Unit) -> None:
    exact = spelling in EXACT_CASE
    table, key = (_EXACT, _key(spelling)) if exact else (_ANY_CASE, _key(spelling).casefold())
    if table.setdefault(key, unit) is not unit:
        raise AssertionError(f"the spelling {spelling!r} stands for two units")


for _name, _spellings in ((row[1], row[4]) for row in _ROWS):
    for _spelling in (_name, *_spellings.split(",")):
        if _spelling.strip():
            _enter(_spelling.strip(), UNITS[_name])

# What the same sign looks like in files and on keyboards: the left is read as the right.
_LOOKALIKES = str.maketrans(
    {
        "Â": "",  # what is left of a degree sign or a micro sign read in the wrong encoding
        "\N{MASCULINE ORDINAL INDICATOR}": "°",
        "\N{RING ABOVE}": "°",
        "\N{RING OPERATOR}": "°",
        "\N{DEGREE CELSIUS}": "°C",
        "\N{DEGREE FAHRENHEIT}": "°F",
        "\N{SUPERSCRIPT ONE}": "1",
        "\N{SUPERSCRIPT TWO}": "2",
        "\N{SUPERSCRIPT THREE}": "3",
        "\N{SUPERSCRIPT MINUS}": "-",
        "\N{MINUS SIGN}": "-",
        "\N{EN DASH}": "-",
        "\N{MIDDLE DOT}": ".",
        "\N{DOT OPERATOR}": ".",
        "\N{MICRO SIGN}": "u",
        "\N{GREEK SMALL LETTER MU}": "u",
        "\N{GREEK CAPITAL LETTER OMEGA}": "ohm",
        "\N{OHM SIGN}": "ohm",
        "\N{GREEK SMALL LETTER LAMDA}": "lambda",
        "\N{DOUBLE PRIME}": '"',
        "\N{RIGHT DOUBLE QUOTATION MARK}": '"',
        "\N{PRIME}": "'",
        "\N{RIGHT SINGLE QUOTATION MARK}": "'",
        "\N{FULLWIDTH PERCENT SIGN}": "%",
        "^": "",
        "\N{NO-BREAK SPACE}": " ",
        "\N{NARROW NO-BREAK SPACE}": " ",
        "\N{THIN SPACE}": " ",
    }
)
_LOST_DEGREE = re.compile("\N{REPLACEMENT CHARACTER}(?=[CFcf]$)")  # a degree sign that a decoder gave up on

_SUFFIXES: tuple[tuple[str, Reference], ...] = (
    (r"absolute|abs|a", "absolute"),
    (r"gauge|gage|ga|g|rel|relative", "gauge"),
    (r"vacuum|vac", "vacuum"),
)


def canonical(unit_text: str) -> Unit | None:
    """The unit that a text stands for, or None: any listed spelling, any case where that is safe, any degree
    sign.

    Brackets around it and the debris of a wrongly read encoding are taken off; "psig", "bar(a)", "kPa abs"
    and "inHg vac" carry their reference. An empty text is None, and so is one that merely begins like a unit.
    """
    text = _LOST_DEGREE.sub("°", unit_text.strip()).translate(_LOOKALIKES).strip()
    while len(text) > 1 and (text[0], text[-1]) in (("[", "]"), ("(", ")"), ("{", "}"), ("<", ">")):
        text = text[1:-1].strip()
    if not text:
        return None
    text = re.sub(r"\s*°\s*", "deg ", text).strip()
    found = _plain(text)
    if found is not None:
        return found
    for pattern, reference in _SUFFIXES:
        suffix = rf"(?:[(\[]\s*(?:{pattern})\.?\s*[)\]]|(?:{pattern})\.?)"
        match = re.fullmatch(rf"(?P<unit>.+?)[\s.,_-]*{suffix}", text, re.IGNORECASE)
        unit = _plain(match["unit"]) if match else None
        if unit is not None and unit.kind == "pressure":
            return replace(unit, reference=reference)
    return None


def _plain(text: str) -> Unit | None:
    key = _key(text)
    return _EXACT.get(key) or _ANY_CASE.get(key.casefold())


def units_of(kind: str) -> tuple[Unit, ...]:
    """All units of one kind, in the order of the table."""
    return tuple(unit for unit in UNITS.values() if unit.kind == kind)
