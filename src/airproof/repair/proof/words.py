"""Numbers in the sentences of a proof, to the digits that their uncertainty leaves meaning to, and titles in them."""

from __future__ import annotations

import math

from airproof.repair.proof.proof import Amount

NINETY = 1.645


def with_sign(value: float, sd: float) -> str:
    """A number with its sign, to the digit of its standard deviation."""
    places = _places(sd)
    return f"{round(value, places) + 0.0:+.{places}f}"


def amount_in_words(amount: Amount, unit: str, signed: bool) -> str:
    """A size with its interval: "+8.1 kPa (7.2 to 9.0)", "4.0 mm (3.6 to 4.4)", "none (less than 0.9 mm)"."""
    if amount.low is None:
        assert amount.high is not None
        return f"none that shows (less than {plain(amount.high, amount.high / 3.0)} {unit})"
    assert amount.high is not None
    half = (amount.high - amount.low) / 2.0
    sd = half / NINETY
    low, high = plain(amount.low, sd), plain(amount.high, sd)
    value = with_sign(amount.value, sd) if signed else plain(amount.value, sd)
    return f"{value} {unit} ({low} to {high})"


def plus_minus(amount: Amount, signed: bool) -> str:
    """A size with half the width of its 90 % interval: "+0.2 +- 0.6"."""
    assert amount.low is not None
    assert amount.high is not None
    half = (amount.high - amount.low) / 2.0
    sd = half / NINETY
    value = with_sign(amount.value, sd) if signed else plain(amount.value, sd)
    return f"{value} +- {plain(half, sd)}"


def plain(value: float, sd: float) -> str:
    """A number without a plus sign, to the digit of its standard deviation."""
    places = _places(sd)
    return f"{round(value, places) + 0.0:.{places}f}"


def _places(sd: float) -> int:
    """Decimal places that the first digit of the standard deviation is worth."""
    if not (math.isfinite(sd) and sd > 0.0):
        return 1
    return max(0, -math.floor(math.log10(sd)))


def in_hundred(probability: float) -> str:
    """A probability as a count: never 0 or 100, since nothing is certain."""
    if probability > 0.995:
        return "more than 99 in 100"
    if probability < 0.005:
        return "less than 1 in 100"
    return f"{100.0 * probability:.0f} in 100"


def in_small(title: str) -> str:
    """A title as it stands within a sentence: beginning small."""
    return title[:1].lower() + title[1:]
