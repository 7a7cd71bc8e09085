"""Numbers with units at the border: read once, then plain SI floats inside.

    parse_quantity("98,2 kPa", "pressure")        98200.0
    parse_quantity("20 inHg vacuum", "gauge pressure")   -67727.8
    convert(1.013, "bar", "hPa")                  1013.0

Kinds: those of unit_table (pressure, temperature, mass flow, ...), and three more for the same units: "gauge
pressure" (from the air outside), "pressure difference" and "temperature difference" (no offset). "pressure"
alone is absolute: a gauge value is refused and never turned into an absolute one behind the user's back. SI
here means Pa, K, kg/s, m3/s, kg, m3, m2, m, m/s, revolutions (or events) per second, V, A, ohm, 1 (so 25 % is
0.25), rad, s, Nm, W, kg/m3.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from typing import NoReturn

from airproof.errors import UnusableQuantity
from airproof.quantities.formula import Result, Value, formula
from airproof.quantities.unit_table import UNITS, Reference, Unit, canonical, units_of

__all__ = [
    "UNITS",
    "Quantity",
    "Unit",
    "canonical",
    "convert",
    "from_unit",
    "parse",
    "parse_number",
    "parse_quantity",
    "to_unit",
]

_UNITS_OF_KIND = {
    "gauge pressure": "pressure",
    "pressure difference": "pressure",
    "temperature difference": "temperature",
}
KINDS = frozenset({unit.kind for unit in UNITS.values()} | set(_UNITS_OF_KIND))
_NEVER_NEGATIVE = {"pressure": "absolute pressure", "temperature": "temperature above absolute zero"}

_MINUS = str.maketrans(
    {
        "\N{MINUS SIGN}": "-",
        "\N{EN DASH}": "-",
        "\N{HYPHEN}": "-",
        "\N{NON-BREAKING HYPHEN}": "-",
        "\N{SMALL HYPHEN-MINUS}": "-",
        "\N{FULLWIDTH HYPHEN-MINUS}": "-",
        "\N{FULLWIDTH PLUS SIGN}": "+",
        "\N{RIGHT SINGLE QUOTATION MARK}": "'",
        "\N{NO-BREAK SPACE}": " ",
        "\N{NARROW NO-BREAK SPACE}": " ",
        "\N{THIN SPACE}": " ",
    }
)
_NUMBER = re.compile(
    r"""(?P<sign>[+-]?)\s*
    (?P<digits> \d{1,3}(?:[ ]\d{3})+(?:[.,]\d+)?(?!\d) | \d[\d.,']*\d | \d | [.,]\d+)
    (?P<exponent>(?:[eE][+-]?\d+)?)""",
    re.VERBOSE | re.ASCII,
)


@dataclass(frozen=True)
class Quantity:
    """A number with its unit as it was written, and its value in SI.

    `reference` says what a pressure is counted from where the text said so; a "vacuum" is given in `si` as a
    negative gauge pressure.
    """

    value: float
    unit: Unit
    si: float

    @property
    def reference(self) -> Reference | None:
        """absolute, gauge, vacuum, or None where the text did not say."""
        return self.unit.reference


def parse_number(text: str) -> float:
    """A number as people write it: decimal point or comma, any minus sign, an exponent, groups where they are
    plain.

    "1,013" may be a thousand or a little over one and is refused; "0,350", "1,5", "1013,25", "1 013,25" and
    "1,013.25" are clear. UnusableQuantity for everything else.
    """
    match = _NUMBER.fullmatch(text.translate(_MINUS).strip())
    if match is None:
        raise UnusableQuantity(f'"{text.strip()}"', "a number", 'Write it like "98.2" or "98,2".')
    number = float(match["sign"] + _plain_digits(match["digits"], text.strip()) + match["exponent"])
    if not math.isfinite(number):
        raise UnusableQuantity(f'"{text.strip()}"', "a number that is not endless", "Check its exponent.")
    return number


_ONE_DECIMAL_SIGN = re.compile(r"\d*[.,]?\d+", re.ASCII)
_GROUPED = re.compile(r"[1-9]\d{0,2}(?P<group>[ '.,])\d{3}(?:(?P=group)\d{3})*(?P<decimals>[.,]\d+)?", re.ASCII)


def _plain_digits(digits: str, text: str) -> str:
    """Digits with a point for the decimals and no groups; refused where two readings are possible."""
    if re.fullmatch(r"[1-9]\d{0,2},\d{3}", digits):
        whole, rest = digits.split(",")
        raise UnusableQuantity(
            f'"{text}"',
            "a number that can be read in one way only",
            f'Write "{whole}.{rest}" if the comma marks decimals, "{whole}{rest}" if it parts thousands.',
        )
    if _ONE_DECIMAL_SIGN.fullmatch(digits):
        return digits.replace(",", ".")
    grouped = _GROUPED.fullmatch(digits)
    if grouped is not None and not (grouped["decimals"] or "").startswith(grouped["group"]):
        decimals = (grouped["decimals"] or "").replace(",", ".")
        return re.sub(r"\D", "", digits[: grouped.end() - len(decimals)]) + decimals
    raise UnusableQuantity(
        f'"{text}"', "one decimal sign, and groups of three digits if any", 'Write it like "1013.25".'
    )


def parse(text: str, kind: str) -> Quantity:
    """A number with its unit, of this kind; UnusableQuantity names the text, what was wanted and the units
    accepted.
    """
    if kind not in KINDS:
        raise UnusableQuantity(f'a quantity of the kind "{kind}"', f"one of {', '.join(sorted(KINDS))}", "")
    plain = text.translate(_MINUS).strip()
    match = _NUMBER.match(plain)
    if match is None:
        _refuse(text, kind, "no number in it")
    unit_text = plain[match.end() :].strip()
    unit = canonical(unit_text)
    if unit is None:
        _refuse(text, kind, f'the unit "{unit_text}" is not known' if unit_text else "it has no unit")
    if unit.kind != _UNITS_OF_KIND.get(kind, kind):
        _refuse(text, kind, f"{unit.name} measures {unit.kind}")
    _check_reference(text, kind, unit)
    value = parse_number(plain[: match.end()])
    offset = 0.0 if kind == "temperature difference" else unit.offset
    si = value * unit.factor + offset
    if unit.reference == "vacuum":
        si = -si
    if kind in _NEVER_NEGATIVE and si < 0.0:
        _refuse(
            text,
            kind,
            f"there is no {_NEVER_NEGATIVE[kind]} below zero" if kind == "pressure" else "that is below absolute zero",
        )
    return Quantity(value, unit, si)


def _check_reference(text: str, kind: str, unit: Unit) -> None:
    said = unit.reference
    if kind == "pressure" and said in ("gauge", "vacuum"):
        raise UnusableQuantity(
            f'"{text.strip()}", counted from the air outside',
            "an absolute pressure",
            "Add the barometer to it (take it off for a vacuum) and write it with abs.",
        )
    if kind in ("gauge pressure", "pressure difference") and said == "absolute":
        raise UnusableQuantity(
            f'"{text.strip()}", an absolute pressure',
            "a gauge pressure, counted from the air outside" if kind == "gauge pressure" else "a pressure difference",
            "Take the barometer off it and write it with gauge.",
        )
    if kind == "pressure difference" and said is not None:
        raise UnusableQuantity(f'"{text.strip()}"', "a pressure difference", f"Leave out the word {said}.")


def _refuse(text: str, kind: str, why: str) -> NoReturn:
    accepted = ", ".join(unit.name for unit in units_of(_UNITS_OF_KIND.get(kind, kind)))
    example = {"temperature": "18 degC", "rotation": "720 rpm"}.get(kind, "")
    way_out = f"Write a number and one of these units: {accepted}" + (f', for example "{example}".' if example else ".")
    raise UnusableQuantity(f'"{text.strip()}" ({why})', f"a {kind}", way_out)


def parse_quantity(text: str, kind: str) -> float:
    """The SI value of a text like "98,2 kPa"; see parse."""
    return parse(text, kind).si


def _unit(given: str | Unit) -> Unit:
    unit = given if isinstance(given, Unit) else canonical(given)
    if unit is None:
        raise UnusableQuantity(f'the unit "{given}"', f"one of {', '.join(UNITS)}", "Spell it like one of these.")
    return unit


@formula
def _scaled(value: Value, factor: Value, offset: Value) -> Result:
    return value * factor + offset


@formula
def _unscaled(si: Value, factor: Value, offset: Value) -> Result:
    return (si - offset) / factor


def from_unit(value: Value, unit: str | Unit) -> Result:
    """SI value of a number or array in a unit. A vacuum becomes a negative gauge pressure."""
    u = _unit(unit)
    sign = -1.0 if u.reference == "vacuum" else 1.0
    return _scaled(value, sign * u.factor, u.offset)


def to_unit(si: Value, unit: str | Unit) -> Result:
    """A number or array in SI expressed in a unit: the inverse of from_unit."""
    u = _unit(unit)
    sign = -1.0 if u.reference == "vacuum" else 1.0
    return _unscaled(si, sign * u.factor, u.offset)


def convert(value: Value, from_: str | Unit, to: str | Unit) -> Result:
    """A number or array from one unit to another of the same kind.

    UnusableQuantity for an unknown unit, for two kinds, and between an absolute pressure and a gauge one.
    """
    source, target = _unit(from_), _unit(to)
    if source.kind != target.kind:
        raise UnusableQuantity(
            f"{source.name} ({source.kind}) to be turned into {target.name} ({target.kind})",
            "two units of one kind",
            f"Units of {source.kind}: {', '.join(u.name for u in units_of(source.kind))}.",
        )
    absolutes = {unit.reference == "absolute" for unit in (source, target) if unit.reference is not None}
    if len(absolutes) == 2:
        raise UnusableQuantity(
            f"{source.written} to be turned into {target.written}",
            "both absolute, or both counted from the air outside",
            "Add or take off the barometer first.",
        )
    if source.reference == "vacuum" and target.reference is None:
        target = replace(target, reference="gauge")
    if (source.factor, source.offset, source.reference) == (target.factor, target.offset, target.reference):
        return _scaled(value, 1.0, 0.0)
    return to_unit(from_unit(value, source), target)
