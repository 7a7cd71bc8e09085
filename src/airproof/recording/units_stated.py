"""Units as files state them: recognised, told apart as absolute or gauge, and converted to a signal's own unit."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from airproof.quantities.mixture import PETROL
from airproof.quantities.unit_table import UNITS, Reference, canonical
from airproof.recording.recording import Floats
from airproof.recording.signals import SignalKind

STOICHIOMETRIC_SCALE = 14.7
"""Air-fuel ratio that displays show at lambda 1, whatever the fuel (common practice, no source)."""

_AIR_FUEL_RATIO = frozenset(("afr", ":1", "kg/kg", "a/f"))
_NO_UNIT = frozenset(("1", "-", "none", "unitless", "ratio"))


@dataclass(frozen=True)
class StatedUnit:
    """A unit as a file states it; `reference` says what a pressure is counted from, None where it is not said."""

    unit: str
    reference: Reference | None = None

    def fits(self, kind: SignalKind) -> bool:
        """Whether values in this unit can be turned into the signal's own."""
        return _scale(self.unit, kind.name, kind.unit) is not None


def mended(text: str) -> str:
    """The text with UTF-8 that was taken for cp1252, once or more, put right ("Â°C" -> "°C")."""
    for _ in range(3):
        if text.isascii():
            break
        try:
            text = text.encode("cp1252").decode("utf-8")
        except UnicodeError:
            break
    return text


@lru_cache(maxsize=1024)
def stated_unit(text: str) -> StatedUnit | None:
    """The unit a text states, or None where it states none: "kPa", "psig", "bar (abs)", "°C", "min-1"."""
    text = mended(text).strip().strip("[]()").strip()
    if not text or len(text) > 32:
        return None
    if text.lower() in _AIR_FUEL_RATIO:
        return StatedUnit("AFR")
    if text.lower() in _NO_UNIT:
        return StatedUnit("1")
    found = canonical(text)
    return None if found is None else StatedUnit(found.name, found.reference)


@lru_cache(maxsize=1024)
def _scale(unit: str, name: str, own_unit: str) -> tuple[float, float] | None:
    """(scale, offset) from a unit to the signal's own, or None where they are different things."""
    if unit == own_unit:
        return 1.0, 0.0
    if unit == "AFR":
        return (1 / STOICHIOMETRIC_SCALE, 0.0) if name in ("lambda", "lambda_target") else None
    if unit == "deg" and own_unit == "degC":  # a degree sign whose C got lost
        return 1.0, 0.0
    given, own = UNITS[unit], UNITS[own_unit]
    if name == "fuel_rate" and given.kind == "volume flow":
        return given.factor * 1e6 * PETROL.density_kg_l, 0.0
    if given.kind != own.kind:
        return None
    return given.factor / own.factor, (given.offset - own.offset) / own.factor


def in_other_unit(value: float, given: StatedUnit, wanted: StatedUnit, kind: SignalKind) -> float | None:
    """A value of that signal in another unit; None where one of them does not fit, or gauge and absolute meet."""
    if given == wanted:
        return value
    first, second = (_scale(unit.unit, kind.name, kind.unit) for unit in (given, wanted))
    if first is None or second is None or given.reference != wanted.reference:
        return None
    return (value * first[0] + first[1] - second[1]) / second[0]


def in_signal_unit(values: Floats, unit: str, kind: SignalKind) -> Floats:
    """Values in `unit` turned into the signal's own unit; the same array where nothing changes.

    Only for units that fit the signal (StatedUnit.fits).
    """
    found = _scale(unit, kind.name, kind.unit)
    if found is None:
        raise ValueError(f"{unit} does not fit {kind.name}")
    scale, offset = found
    if scale != 1.0:
        values = values * scale
    return values + offset if offset else values
