"""Our own sentences in the units that the reader likes: "reads 8.1 kPa high (7.2 to 9.0)" with inHg, psi, bar or mmHg.

Checks, plans and captions make English sentences with kPa and degC in them. Turning the numbers afterwards is sound
only where it is plain what each number is; so a sentence is turned as a whole, or left as a whole in kPa, which is
always right:

- A number belongs to the unit behind it; through "to", "and" or "+-" to the one behind the next ("7 to 9 kPa").
- A number without anything behind it, after "(", ",", "up to", "instead of", "between", "healthy:" and the like,
  belongs to what the number before it belongs to ("40 kPa instead of 28 (+12)").
- Any other number without a unit next to a pressure or a temperature, or "kPa" without a number (a formula, "mV/kPa"),
  leaves the sentence as it is.

Where a vacuum is wished for and the barometer is known, "kPa absolute" is counted from the air outside, the whole
sentence one way: as a vacuum, or as a gauge pressure where any of it lies above the air (`from_the_air`). It stays
absolute where that would say nothing or mislead: where a sentence is about the air itself (a barometer, the day, the
engine off), and where it is not plain of each of its pressures whether it is a level or a difference. Differences stay
differences.

`sentence_in_units` keeps the digits that a number had, as wishes.places_in says.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from airproof.quantities.wishes import Wish, in_units, places_in

_SIGNS = "+\\-\N{MINUS SIGN}\N{PLUS-MINUS SIGN}"
_NUMBER = re.compile(rf"(?<![\w.,:/])(?P<sign>[{_SIGNS}]?)(?P<digits>\d+(?:\.\d+)?)(?![\d:]|[.,]\d)")
_TURNED = ("kPa absolute", "kPa gauge", "kPa", "degC", "K")
_UNIT = re.compile(r"[ \N{NO-BREAK SPACE}](?P<unit>kPa absolute|kPa gauge|kPa|degC|K)(?![\w/^*])")
_OTHER = re.compile(r"[ \N{NO-BREAK SPACE}]?(?:[^\W\d_]|%|1/|/|°)")
_JOINED = re.compile(rf" (?:to|and|\+-|\N{{PLUS-MINUS SIGN}}) (?=[{_SIGNS}]?\d)")
_LEADS = re.compile(
    r"(?:[(,]|\b(?:healthy:|stands at|up to|instead of|between|give or take|to|and|over)|\+-|\N{PLUS-MINUS SIGN}) ?$"
)
_AIR = re.compile(
    r"\b(?:barometers?|barometric|the day|today|engine off|engine at rest|key on|outside|weather|altitude|sea level)\b",
    re.IGNORECASE,
)
_ABSOLUTE = re.compile(r"(?: (?:to|and) \d+(?:\.\d+)?)?[ \N{NO-BREAK SPACE}]kPa absolute\b")
_APART = re.compile(r"[ \N{NO-BREAK SPACE}]kPa (?:above|below|high|low|too|over|under|off|more|less|of boost)\b")
_LONE = re.compile(r"(?<!\d )(?<!\d)(?<!\d\N{NO-BREAK SPACE})\b(?:kPa|degC)\b|/(?:kPa|degC)\b")


@dataclass
class NumberIn:
    """A number in a sentence, and what it is of: a unit of ours, "other", or "" where it is not plain."""

    match: re.Match[str]
    unit: str = ""

    @property
    def places(self) -> int:
        """How many decimals it has."""
        return len(self.match["digits"].partition(".")[2])

    @property
    def value(self) -> float:
        """The number with its sign."""
        size = float(self.match["digits"])
        return -size if self.match["sign"] in ("-", "\N{MINUS SIGN}") else size


def sentence_in_units(text: str, wish: Wish) -> str:
    """The text with its pressures and temperatures as wished, or as it was where that would be a guess."""
    if wish.plain:
        return text
    numbers = numbers_in(text)
    if not certain(text, numbers):
        return text
    highest = from_the_air(text, numbers)
    pieces, at = [], 0
    for one in numbers:
        if one.unit not in _TURNED:
            continue
        start, end = one.match.span()
        value, unit = counted(one.value, one.unit, wish, highest)
        sign = one.match["sign"] if value * one.value >= 0.0 else "-" if value < 0.0 else ""
        pieces += [text[at:start], sign, f"{abs(value):.{places_in(one.places, one.unit, wish)}f}"]
        at = end
        named = _UNIT.match(text, end)
        if named:
            pieces += [text[end : end + 1], unit]
            at = named.end()
    return "".join([*pieces, text[at:]])


def counted(value: float, unit: str, wish: Wish, highest: float | None) -> tuple[float, str]:
    """A number of a sentence and its unit as wished; `highest` is what `from_the_air` says of the sentence."""
    if unit == "kPa absolute" and highest is not None and wish.vacuum and wish.barometer_kpa is not None:
        both, other = in_units(np.array([value, highest]), unit, wish)
        return float(np.ravel(both)[0]), other
    there, other = in_units(value, unit, Wish(wish.pressure, wish.temperature))
    return float(there), other


def from_the_air(text: str, numbers: Sequence[NumberIn]) -> float | None:
    """The highest absolute pressure of a sentence that may be counted from the air outside, kPa; None if it may not."""
    absolute = [one for one in numbers if one.unit == "kPa absolute"]
    named = all(_ABSOLUTE.match(text, one.match.end()) and not one.match["sign"] for one in absolute)
    others = (one for one in numbers if one.unit in ("kPa", "kPa gauge") and not _is_apart(text, one))
    if not absolute or not named or _AIR.search(text) or any(others):
        return None
    return max(one.value for one in absolute)


def _is_apart(text: str, one: NumberIn) -> bool:
    """Whether a number is said to be a difference: "+12 kPa", "8 kPa high"."""
    return bool(one.match["sign"]) or _APART.match(text, one.match.end()) is not None


def numbers_in(text: str) -> list[NumberIn]:
    """All numbers of a sentence in their order, with what they are of."""
    numbers = [NumberIn(match) for match in _NUMBER.finditer(text)]
    for one in numbers:
        named = _UNIT.match(text, one.match.end())
        if named:
            one.unit = named["unit"]
        elif _OTHER.match(text, one.match.end()) and not _joined(text, one):
            one.unit = "other"
    for one, after in zip(reversed(numbers[:-1]), reversed(numbers[1:]), strict=True):
        if not one.unit and _follows(text, one, after):
            one.unit = after.unit
    before = "other"
    for one in numbers:
        if not one.unit and (before not in _TURNED or _LEADS.search(text, 0, one.match.start())):
            one.unit = before
        before = one.unit or before
    return numbers


def certain(text: str, numbers: list[NumberIn]) -> bool:
    """Whether it is plain of each number whether it is a pressure or a temperature, and no unit stands without one."""
    return all(one.unit for one in numbers) and not _LONE.search(text)


def _joined(text: str, one: NumberIn) -> bool:
    return _JOINED.match(text, one.match.end()) is not None


def _follows(text: str, one: NumberIn, after: NumberIn) -> bool:
    joined = _JOINED.match(text, one.match.end())
    return joined is not None and joined.end() == after.match.start()
