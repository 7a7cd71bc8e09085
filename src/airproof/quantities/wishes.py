"""Units as the user likes them, on the way out: kPa, inHg, psi, bar or mmHg; degC or degF; absolute or vacuum.

Inside the program and in every file a pressure is kPa and a temperature degC. Whoever shows one to a person goes
through here:

    wish = wish_of("inHg")
    in_units(8.1, "kPa", wish)                (2.392, "inHg")       a size, a difference, a gauge pressure
    in_units(98.2, "kPa absolute", wish)      (29.0, "inHg absolute")
    shown(98.2, "kPa absolute", wish, 1)      "29.00 inHg absolute"

What a pressure is counted from is never guessed. Only "kPa absolute" may be shown as a vacuum (below the barometer) or
a gauge pressure (above it), and only where the wish asks for it and holds a barometer; a plain "kPa" may be a
difference, and is scaled and no more. "K" is a difference of temperatures, "degC" a temperature. Sentences that have
their numbers in them already: wishes_in_sentences.py.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, TypeVar, get_args

import numpy as np

from airproof.errors import UnusableRequest
from airproof.quantities.formula import Result, Value
from airproof.quantities.unit_table import UNITS, canonical

Pressure = Literal["kPa", "inHg", "psi", "bar", "mmHg"]
Temperature = Literal["degC", "degF"]
PRESSURES: tuple[Pressure, ...] = get_args(Pressure)
TEMPERATURES: tuple[Temperature, ...] = get_args(Temperature)
GOES_WITH: Mapping[Pressure, Temperature] = {"inHg": "degF", "psi": "degF"}
"""Where only the pressure is wished for: who reads inches of mercury or pounds reads Fahrenheit (common practice, no
source)."""

Name = TypeVar("Name", bound=str)


@dataclass(frozen=True)
class Wish:
    """How somebody likes to read: `vacuum` shows absolute pressures from the air outside, `barometer_kpa` absolute."""

    pressure: Pressure = "kPa"
    temperature: Temperature = "degC"
    vacuum: bool = False
    barometer_kpa: float | None = None

    @property
    def plain(self) -> bool:
        """Whether everything is wished for as it is."""
        return self.pressure == "kPa" and self.temperature == "degC" and not self.vacuum


AS_IT_IS = Wish()


def wish_of(
    pressure: str = "", temperature: str = "", *, vacuum: bool = False, barometer_kpa: float | None = None
) -> Wish:
    """The wish as typed, in any spelling of the units; what is empty is kPa, and degC or degF as goes with it.

    UnusableRequest for any other unit.
    """
    if not pressure.strip():
        of_pressure: Pressure = "kPa"
    else:
        of_pressure = _one_of(pressure, PRESSURES)
    if not temperature.strip():
        return Wish(of_pressure, GOES_WITH.get(of_pressure, "degC"), vacuum, barometer_kpa)
    return Wish(of_pressure, _one_of(temperature, TEMPERATURES), vacuum, barometer_kpa)


def _one_of(typed: str, wanted: tuple[Name, ...]) -> Name:
    unit = canonical(typed)
    found = None if unit is None or unit.reference is not None else unit.name
    for name in wanted:
        if name == found:
            return name
    raise UnusableRequest(f"the unit {typed.strip()[:40]!r}", f"one of {', '.join(wanted)}", "Choose one of them.")


def in_units(value: Value, unit: str, wish: Wish) -> tuple[Result, str]:
    """A number or array in kPa, "kPa absolute", "kPa gauge", degC or K, and its unit, as wished; others as they are.

    A vacuum is positive, counted downwards from the barometer; an array that goes above the barometer is shown as a
    gauge pressure, negative below it.
    """
    match unit:
        case "kPa absolute" if wish.vacuum and wish.barometer_kpa is not None:
            apart = np.subtract(value, wish.barometer_kpa)
            vacuum = bool(np.all(apart <= 0.0))
            factor = -_factor(wish) if vacuum else _factor(wish)
            return _plain(factor * apart + 0.0), f"{wish.pressure} {'vacuum' if vacuum else 'gauge'}"
        case "kPa" | "kPa absolute" | "kPa gauge":
            if wish.pressure == "kPa":
                return value, unit
            return _plain(np.multiply(value, _factor(wish))), unit.replace("kPa", wish.pressure)
        case "degC" if wish.temperature == "degF":
            return _plain(np.multiply(value, 1.8) + 32.0), "degF"
        case "K" if wish.temperature == "degF":
            return _plain(np.multiply(value, 1.8)), "degF"
    return value, unit


def places_in(places: int, unit: str, wish: Wish) -> int:
    """Decimals that keep what so many decimals in the old unit told, and hardly more: 8.1 kPa is 2.39 inHg."""
    step, other = in_units(1.0, "K" if unit == "degC" else unit.partition(" ")[0], wish)
    if other == unit or step == 1.0:
        return places
    return max(places + math.ceil(-math.log10(step) - 1e-9), 0)


def shown(value: float, unit: str, wish: Wish, places: int) -> str:
    """The value with its unit as text, given to so many decimals in its own unit: "29.00 inHg absolute"."""
    there, other = in_units(value, unit, wish)
    if not math.isfinite(there):
        return "unknown"
    digits = places_in(places, unit, wish)
    return f"{round(float(there), digits) + 0.0:.{digits}f} {other}"


def _factor(wish: Wish) -> float:
    return UNITS["kPa"].factor / UNITS[wish.pressure].factor


def _plain(value: Result) -> Result:
    """A number where one was given."""
    return float(value) if np.ndim(value) == 0 else value
