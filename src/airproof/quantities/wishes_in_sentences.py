"""Our own sentences in the units that the reader likes: "reads 8.1 kPa high (7.2 to 9.0)" with inHg, psi, bar or mmHg.

Checks, plans and captions make English sentences with kPa and degC in them. Turning the numbers afterwards is sound
only where it is plain what each number is; so a sentence is turned as a whole, or left as a whole in kPa, which is
always right:

- A number belongs to the unit behind it; through "to", "and" or "+-" to the one behind the next ("7 to 9 kPa").
- A number without anything behind it, after "(", ",", "up to", "instead of", "between", "healthy:" and the like,
  belongs to what the number before it belongs to ("40 kPa instead of 28 (+12)").
- Any other number without a unit next to a pressure or a temperature, or "kPa" without a number (a formula, "mV/kPa"),
  leaves the sentence as it is.

Absolute pressures stay absolute. `sentence_in_units` keeps the digits that a number had, as wishes.places_in says.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

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
    if wish.pressure == "kPa" and wish.temperature == "degC":
        return text
    numbers = numbers_in(text)
    if not certain(text, numbers):
        return text
    pieces, at = [], 0
    for one in numbers:
        if one.unit not in _TURNED:
            continue
        start, end = one.match.span()
        pieces += [text[at:start], one.match["sign"], _turned(one, wish)]
        at = end
        named = _UNIT.match(text, end)
        if named:
            pieces += [text[end : end + 1], in_units(0.0, named["unit"], _absolute(wish))[1]]
            at = named.end()
    return "".join([*pieces, text[at:]])


def _absolute(wish: Wish) -> Wish:
    return Wish(wish.pressure, wish.temperature)


def _turned(one: NumberIn, wish: Wish) -> str:
    value = float(in_units(one.value, one.unit, _absolute(wish))[0])
    return f"{abs(value):.{places_in(one.places, one.unit, wish)}f}"


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
