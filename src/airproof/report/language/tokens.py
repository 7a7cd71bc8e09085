"""Numbers and codes of a sentence taken out, so that one translation serves for all of them.

A token is a number with its unit, a moment of a recording ("7:05"), a code, or an id in square brackets. It is written
as one character of Unicode's private use area, which stands in no sentence of ours; "{1}" in a catalogue stands for
one.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from airproof.quantities.wishes import Wish, places_in
from airproof.quantities.wishes_in_sentences import certain, counted, from_the_air, numbers_in

FIRST = 0xE000
MOST = 500  # numbers in one text; no sentence of ours has a tenth of them
SLOT = re.compile("[\ue000-\uf8ff]")
_CODE = re.compile(r"\b[PCBU][0-3][0-9A-F]{3}\b|(?<![\w.])\d+:\d\d\b|\[[a-z0-9]+(?:-[a-z0-9]+)+\]")
_NAMED = re.compile(
    r"[ \N{NO-BREAK SPACE}](?P<unit>kPa absolute|kPa gauge|kPa|degC|K|%/s|%|mm|V|mV|g/s|s|ms|min|h|1/min|1/s|km/h|km"
    r"|m2/m3|degrees|deg|m|ohm|kohm|Mohm|Hz|kHz|inHg|mmHg|psi|hPa|mbar|bar)(?![\w/^*])"
)


@dataclass(frozen=True)
class Token:
    """What stood there: `text` as it was; a number has its value, decimals, sign as written, and unit as named.

    `highest` is the highest absolute pressure beside it, kPa, where these may be counted from the air outside.
    """

    text: str
    value: float | None = None
    places: int = 0
    signed: bool = False
    named: str = ""
    kind: str = ""
    highest: float | None = None


def taken_apart(text: str) -> tuple[str, tuple[Token, ...]]:
    """The text with one character for each token, and the tokens in their order."""
    found: list[tuple[int, int, Token]] = [(m.start(), m.end(), Token(m[0])) for m in _CODE.finditer(text)]
    numbers = numbers_in(text)
    sure = certain(text, numbers)
    highest = from_the_air(text, numbers) if sure else None
    for one in numbers:
        start, end = one.match.span()
        if any(a < end and start < b for a, b, _ in found):
            continue
        named = _NAMED.match(text, end)
        end = named.end() if named else end
        kind = one.unit if sure else "other"
        signed = one.match["sign"] == "+"
        unit = named["unit"] if named else ""
        found.append((start, end, Token(text[start:end], one.value, one.places, signed, unit, kind, highest)))
    if len(found) > MOST or SLOT.search(text):
        return text, ()
    pieces, at = [], 0
    tokens: list[Token] = []
    for start, end, token in sorted(found, key=lambda each: each[0]):
        pieces += [text[at:start], chr(FIRST + len(tokens))]
        tokens.append(token)
        at = end
    return "".join([*pieces, text[at:]]), tuple(tokens)


def put_together(marked: str, tokens: Sequence[Token], written: Callable[[Token], str]) -> str:
    """The text again, each token as it is to be written."""

    def one(mark: re.Match[str]) -> str:
        place = ord(mark[0]) - FIRST
        return written(tokens[place]) if place < len(tokens) else mark[0]  # a sign that somebody typed

    return SLOT.sub(one, marked)


def wished(token: Token, wish: Wish) -> tuple[float, int, str]:
    """Value, decimals and unit of a number in the units wished for."""
    assert token.value is not None
    if token.kind in ("other", ""):
        return token.value, token.places, token.named
    value, unit = counted(token.value, token.kind, wish, token.highest)
    return value, places_in(token.places, token.kind, wish), unit if token.named else ""


def as_written(token: Token) -> str:
    """The token as it was."""
    return token.text
