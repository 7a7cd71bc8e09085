"""Where and on what day it was: altitude, barometer and air temperature as they are typed."""

from __future__ import annotations

from airproof.diagnosis.conditions import barometer_of
from airproof.diagnosis.weighing import Barometer
from airproof.errors import UnusableQuantity
from airproof.quantities.constants import ZERO_CELSIUS
from airproof.quantities.units import parse_quantity

LONGEST_VALUE = 40  # letters of a number with its unit
COLDEST_C, HOTTEST_C = -60.0, 60.0  # where anyone drives


def the_barometer(altitude: str | None, barometer: str | None) -> Barometer | None:
    """The pressure of the day from what was typed, or None where nothing was."""
    if altitude is None and barometer is None:
        return None
    pascals = quantity_of("--barometer", barometer, "pressure", "98.2kPa")
    return barometer_of(
        altitude_m=quantity_of("--altitude", altitude, "length", "350m"),
        barometer_kpa=None if pascals is None else pascals * 1e-3,
    )


def the_ambient_c(text: str | None) -> float | None:
    """The air outside, degC, or None where it was not given."""
    kelvin = quantity_of("--ambient", text, "temperature", "18C")
    if kelvin is None:
        return None
    celsius = kelvin - ZERO_CELSIUS
    if not COLDEST_C <= celsius <= HOTTEST_C:
        raise UnusableQuantity(
            f"air of {celsius:.0f} degC",
            f"{COLDEST_C:g} to {HOTTEST_C:g} degC",
            "Check the unit: C or F.",
            where="--ambient",
        )
    return celsius


def quantity_of(option: str, text: str | None, kind: str, example: str) -> float | None:
    """The SI value of an option, or None where it was not given."""
    if text is None:
        return None
    if len(text) > LONGEST_VALUE:
        raise UnusableQuantity(
            f"{len(text)} letters", "a number with its unit", f"For example: {option} {example}", where=option
        )
    if "." in text and "," in text:
        raise UnusableQuantity(
            f"{text!r} has both a point and a comma",
            "a number with one mark, for the decimals",
            f"Leave out the one that parts the thousands. For example: {option} {example}",
            where=option,
        )
    try:
        return float(parse_quantity(text, kind))
    except UnusableQuantity as fault:
        raise UnusableQuantity(
            fault.given, fault.wanted, f"{fault.way_out} For example: {option} {example}", where=option
        ) from fault
