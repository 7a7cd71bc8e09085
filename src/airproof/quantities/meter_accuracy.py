"""How far off a meter may be: "0.5 % + 2 digits", as every meter's sheet prints it.

The limit is a bound that the maker holds, so the error is taken as spread evenly within it: its standard deviation
is the limit over the square root of three [GUM 4.3.7].

Source
[GUM] JCGM 100:2008, Evaluation of measurement data, 4.3.7; from memory of it.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np

from airproof.errors import UnusableQuantity
from airproof.quantities.formula import Result, Value, formula
from airproof.quantities.units import parse, parse_number

EVEN = 1.0 / math.sqrt(3.0)
"""Standard deviation of an error spread evenly within plus or minus one [GUM]."""


_ACCURACY = re.compile(
    r"\s*(?:\+/-|\+-|±)?\s*(?P<percent>\d+(?:[.,]\d+)?)\s*%\s*(?:of\s+)?(?:the\s+)?(?:reading|rdg\.?)?"
    r"\s*(?:(?:\+|and|plus)\s*(?P<digits>\d+(?:[.,]\d+)?)\s*(?:digits?|dgts?\.?|counts?|d)\.?)?\s*",
    re.IGNORECASE,
)
MOST_PERCENT, MOST_DIGITS = 20.0, 100.0


@dataclass(frozen=True)
class Accuracy:
    """A share of the reading (0.005 for 0.5 %) and a number of digits of the last place."""

    share: float
    digits: float

    def limit(self, reading: Value, digit: Value) -> Result:
        """The farthest that a reading may be off, in its own unit; `digit` is the worth of its last place."""
        return _limit(reading, digit, self.share, self.digits)

    @property
    def scale_sd(self) -> float:
        """Standard deviation of the share of the reading."""
        return EVEN * self.share

    def digits_sd(self, digit: Value) -> Result:
        """Standard deviation of the digits, in the unit of `digit`."""
        return _product(EVEN * self.digits, digit)

    def last_places_sd(self, digit: float) -> float:
        """Standard deviation of the digits and of rounding to the last place, in the unit of `digit`."""
        return EVEN * math.hypot(self.digits * digit, 0.5 * digit)

    def sd(self, reading: float, digit: float) -> float:
        """Standard deviation of one reading, everything together, in its own unit."""
        return math.hypot(self.scale_sd * reading, self.last_places_sd(digit))

    def __str__(self) -> str:
        text = f"{100.0 * self.share:g} %"
        return text if not self.digits else f"{text} + {self.digits:g} digit{'s' if self.digits != 1 else ''}"


@formula
def _product(a: Value, b: Value) -> Result:
    return a * b


@formula
def _limit(reading: Value, digit: Value, share: Value, digits: Value) -> Result:
    return share * np.abs(reading) + digits * digit


def parse_accuracy(text: str) -> Accuracy:
    """The accuracy from a text like "0.5 % + 2 digits" or "1 %"; UnusableQuantity for anything else."""
    match = _ACCURACY.fullmatch(text)
    if match is None:
        raise UnusableQuantity(
            f'"{text.strip()}"', "a meter's accuracy", 'Write it as its sheet does: "0.5 % + 2 digits".'
        )
    percent, digits = parse_number(match["percent"]), parse_number(match["digits"] or "0")
    if percent > MOST_PERCENT or digits > MOST_DIGITS or percent + digits == 0.0:
        raise UnusableQuantity(
            f'"{text.strip()}"',
            f"up to {MOST_PERCENT:g} % and {MOST_DIGITS:g} digits, and not nothing",
            'Write it as the meter\'s sheet does: "0.5 % + 2 digits".',
        )
    return Accuracy(percent / 100.0, digits)


def last_place(text: str, kind: str) -> float:
    """The worth of the last digit somebody typed, in SI: 0.01 for "1.86 V", 0.001 for "1860 mV", 10 for "2.31 kohm"."""
    quantity = parse(text, kind)
    number = re.match(r"[^\d]*(?P<digits>[\d.,' ]*\d)", text)
    digits = number["digits"] if number else ""
    mark = max(digits.rfind("."), digits.rfind(","))
    decimals = 0 if mark < 0 or re.search(r"[.,]\d{3}[.,]\d", digits[: mark + 2]) else len(digits) - mark - 1
    return float(quantity.unit.factor) * 10.0**-decimals
