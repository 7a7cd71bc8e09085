"""Numbers as they are written in a file of measurements: what was read, and at what pressure."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal

from airproof.errors import UnusableQuantity
from airproof.quantities.meter_accuracy import last_place
from airproof.quantities.units import canonical, parse, parse_number

ReadAs = Literal["V", "Hz", "kPa", "ohm", "degC"]
"""Volts, frequency, the pressure or temperature that live data shows, or a resistance."""

Counted = Literal["vacuum", "gauge", "absolute"]

_KINDS: dict[str, tuple[ReadAs, float]] = {
    "voltage": ("V", 1.0),
    "rotation": ("Hz", 1.0),
    "pressure": ("kPa", 1e-3),
    "resistance": ("ohm", 1.0),
}
_FREQUENCIES = {"1/s": "Hz"}  # what the table of units calls by the other name
_EXAMPLES = {"V": "1.86 V", "Hz": "122 Hz", "kPa": "98 kPa", "ohm": "2.31 kohm"}
_LIMITS: dict[ReadAs, tuple[float, float]] = {
    "V": (-1.0, 30.0),
    "Hz": (0.0, 1e5),
    "kPa": (0.0, 700.0),
    "ohm": (0.0, 1e9),
}
ENDLESS = re.compile(r"(?:endless|open|ol|o\.l\.?|infinite|inf)", re.IGNORECASE)
ENDLESS_OHM = 1e9
_UNIT = re.compile(r"[^\d.,]*[\d.,' ]*\d(?:[eE][+-]?\d+)?\s*(?P<unit>.*)", re.DOTALL)


@dataclass(frozen=True)
class Taken:
    """One reading in V, Hz, kPa absolute, ohm or degC; `digit` the worth of its last place; `typed` as written."""

    value: float
    digit: float
    read_as: ReadAs
    typed: str

    @property
    def said(self) -> str:
        """The reading as our sentences say it, in the unit it was typed in: "1,89V" is "1.89 V"."""
        if self.value >= ENDLESS_OHM and self.read_as == "ohm":
            return "endless"
        kind = kind_of(self.typed)
        if not kind:
            return self.typed
        quantity = parse(self.typed, kind)
        decimals = max(0, round(-math.log10(last_place(self.typed, kind) / quantity.unit.factor)))
        unit = _FREQUENCIES.get(quantity.unit.name, quantity.unit.written)
        return f"{quantity.value:.{decimals}f} {unit}"


@dataclass(frozen=True)
class Point:
    """A reading at a pressure: `kpa` counted from the air outside (`from_air`), or absolute."""

    kpa: float
    from_air: bool
    typed: str
    taken: Taken


def kind_of(text: str) -> str:
    """The kind of the unit that ends a text, or nothing."""
    match = _UNIT.fullmatch(text.strip())
    unit = canonical(match["unit"]) if match else None
    return "" if unit is None else unit.kind


def taken(text: str, *allowed: ReadAs) -> Taken:
    """A reading in one of the units that `allowed` names; an endless resistance may be written "endless"."""
    if "ohm" in allowed and ENDLESS.fullmatch(text.strip()):
        return Taken(ENDLESS_OHM, 0.0, "ohm", text.strip())
    kind = kind_of(text)
    read_as, factor = _KINDS.get(kind, (allowed[0], 1.0))
    if read_as not in allowed:
        examples = " or ".join(f'"{_EXAMPLES[one]}"' for one in allowed)
        raise UnusableQuantity(f'"{text.strip()}"', f"a number with its unit, as {examples}", "Check the unit.")
    kind = kind or next(k for k, (r, _) in _KINDS.items() if r == read_as)
    value = factor * float(parse(text, kind).si)
    low, high = _LIMITS[read_as]
    if not low <= value <= high:
        raise UnusableQuantity(f'"{text.strip()}"', f"{low:g} to {high:g} {read_as}", "Check the number and its unit.")
    return Taken(value, factor * last_place(text, kind), read_as, text.strip())


def applied_pressure(text: str, counted: Counted | None) -> tuple[float, bool]:
    """The pressure of a point in kPa, and whether it is counted from the air outside.

    The text says what it is counted from ("20 inHg vacuum", "15 kPa gauge", "60 kPa abs"), or `counted` does for all.
    """
    said = text.strip()
    unit = _UNIT.fullmatch(said)
    found = canonical(unit["unit"]) if unit else None
    reference = found.reference if found is not None else None
    if reference is None and found is not None and counted is not None:
        said, reference = f"{said} {counted}", counted
    if found is not None and found.kind == "pressure" and reference is None:
        raise UnusableQuantity(
            f'"{text.strip()}"',
            "a pressure that says what it is counted from",
            'Write "5 inHg vacuum", "20 kPa gauge" or "60 kPa abs", or counted = "vacuum" once.',
        )
    from_air = reference != "absolute"
    kpa = 1e-3 * float(parse(said, "gauge pressure" if from_air else "pressure").si)
    low, high = (-105.0, 600.0) if from_air else (0.0, 700.0)
    if not low <= kpa <= high:
        raise UnusableQuantity(f'"{text.strip()}"', f"{low:g} to {high:g} kPa", "Check the number and its unit.")
    if reference == "vacuum" and kpa > 0.0:
        raise UnusableQuantity(
            f'"{text.strip()}", a vacuum below zero',
            "a vacuum, counted downwards",
            "Leave out the minus, or say gauge.",
        )
    return kpa + 0.0, from_air  # no minus before a zero


def gauge_limit(text: str) -> float:
    """How far the pump's gauge may be off, kPa: "2.5 kPa", or "2 % of 30 inHg"."""
    share = re.fullmatch(r"\s*(?P<percent>[\d.,]+)\s*%\s*of\s+(?P<full>.+)", text)
    if share is not None:
        percent = parse_number(share["percent"])
        full = parse(share["full"], "pressure difference").si
        limit = 1e-5 * percent * full
    else:
        limit = 1e-3 * parse(text, "pressure difference").si
    if not 0.0 <= limit <= 50.0:
        raise UnusableQuantity(f'"{text.strip()}"', "0 to 50 kPa", 'Write it as "2.5 kPa", or "2 % of 30 inHg".')
    return float(limit)
