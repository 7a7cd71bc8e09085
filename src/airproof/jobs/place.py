"""Where and on what day, from what was typed."""

from __future__ import annotations

from airproof.diagnosis.conditions import barometer_of
from airproof.diagnosis.weighing import Barometer
from airproof.errors import UnusableQuantity
from airproof.jobs.kinds import Place
from airproof.quantities.constants import ZERO_CELSIUS
from airproof.quantities.units import parse_quantity

COLDEST_C, HOTTEST_C = -60.0, 60.0  # where anyone drives


def barometer_at(place: Place) -> Barometer | None:
    """The pressure of the day, or None where neither altitude nor barometer was said; raises as `barometer_of`."""
    if place.altitude is None and place.barometer is None:
        return None
    pascals = _si("barometer", place.barometer, "pressure")
    return barometer_of(
        altitude_m=_si("altitude", place.altitude, "length"),
        barometer_kpa=None if pascals is None else pascals * 1e-3,
    )


def ambient_c_at(place: Place) -> float | None:
    """The air outside, degC, or None where it was not said."""
    kelvin = _si("ambient", place.ambient, "temperature")
    if kelvin is None:
        return None
    celsius = kelvin - ZERO_CELSIUS
    if not COLDEST_C <= celsius <= HOTTEST_C:
        raise UnusableQuantity(
            f"air of {celsius:.0f} degC",
            f"{COLDEST_C:g} to {HOTTEST_C:g} degC",
            "Check the unit: C or F.",
            where="ambient",
        )
    return celsius


def _si(what: str, text: str | None, kind: str) -> float | None:
    if text is None:
        return None
    try:
        return float(parse_quantity(text, kind))
    except UnusableQuantity as fault:
        raise UnusableQuantity(fault.given, fault.wanted, fault.way_out, where=what) from fault
