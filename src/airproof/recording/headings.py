"""Which signal a column heading means, and the unit it states.

Headings are compared word by word: order, case, brackets, underscores and common abbreviations do not matter. A
heading with a word left over that could change its meaning is not recognised: better left out than misread. What means
nothing in English is asked for among the trade words of German, French and Spanish, accents or none.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache

from airproof.recording.signals import SignalKind, glossary
from airproof.recording.units_stated import StatedUnit, mended, stated_unit

_BRACKETED = re.compile(r"[\[(<{]([^\[\](){}<>]*)[\])>}]")
_CAMEL = re.compile(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])")
_WORD = re.compile(r"[a-z]+[0-9]*|[0-9]+", re.IGNORECASE)
_BANK = re.compile(r"\b(bank|b|sensor|s)[ _#]*([12])(?![0-9])", re.IGNORECASE)
_BANK_AND_SENSOR = re.compile(r"\bb([12])[ _]?s([1-4])\b", re.IGNORECASE)


@dataclass(frozen=True)
class Recognition:
    """What a heading was taken for.

    `closeness` ranks rival headings of one signal: first how many words matched, then how few were left over.
    """

    signal: SignalKind
    unit: StatedUnit | None
    closeness: tuple[int, int]


def _words(text: str) -> list[str]:
    """The heading's words in lower case and one spelling each; "Bank 1" is one word."""
    text = _BANK_AND_SENSOR.sub(r" bank\1 sensor\2 ", text.replace("_", " "))
    text = _BANK.sub(lambda m: f" {'bank' if m[1].lower().startswith('b') else 'sensor'}{m[2]} ", text)
    if not text.isupper():
        text = _CAMEL.sub(" ", text)
    spelling = glossary().spelling
    found = [word.lower() for word in _WORD.findall(text)]
    return [spelling.get(word, word) for word in found]


def _best(words: frozenset[str]) -> tuple[SignalKind, tuple[int, int]] | None:
    """The signal that explains the most of the words with none left over, if there is one."""
    best: tuple[SignalKind, tuple[int, int]] | None = None
    book = glossary()
    for kind in book.signals.values():
        allowed = kind.also | book.filler
        for group in kind.headings:
            if group <= words and (words - group) <= allowed:
                rank = (len(group), -len((words - group) - book.filler))
                if best is None or rank > best[1]:
                    best = (kind, rank)
    return best


_ELISION = re.compile(r"\b[dl]['\N{RIGHT SINGLE QUOTATION MARK}]", re.IGNORECASE)


def _plain_words(text: str) -> frozenset[str]:
    """The words of a heading in another language: small letters, no accents, "Bank 1" as one word."""
    text = _ELISION.sub(" ", text.replace("_", " ").replace("\N{LATIN SMALL LETTER SHARP S}", "ss"))
    if not text.isupper():
        text = _CAMEL.sub(" ", text)
    folded = unicodedata.normalize("NFKD", text)
    folded = "".join(sign for sign in folded if not unicodedata.combining(sign))
    folded = _BANK.sub(lambda m: f" bank{m[2]} " if m[1].lower().startswith("b") else m[0], folded)
    return frozenset(word.lower() for word in _WORD.findall(folded))


def _elsewhere(text: str) -> tuple[SignalKind, tuple[int, int]] | None:
    """The signal that a heading means in German, French or Spanish, if there is one."""
    book, words = glossary(), _plain_words(text)
    best: tuple[SignalKind, tuple[int, int]] | None = None
    for name, groups in book.elsewhere.items():
        for group in groups:
            left = words - group - book.filler
            if group <= words and left <= book.beside and (best is None or (len(group), -len(left)) > best[1]):
                best = (book.signals[name], (len(group), -len(left)))
    return best


def without_unit(heading: str) -> tuple[str, str]:
    """The heading without what stands in its last brackets, and that; no brackets, no unit."""
    found = _BRACKETED.findall(heading)
    return _BRACKETED.sub("", heading).strip(), found[-1].strip() if found else ""


@lru_cache(maxsize=4096)
def recognise(heading: str) -> Recognition | None:
    """The signal a heading means and the unit it states, or None.

    The unit is looked for in brackets, after the last comma, and in the last one or two words.
    """
    text = mended(heading).strip().strip('"').strip()
    unit: StatedUnit | None = None
    for inside in _BRACKETED.findall(text):
        unit = stated_unit(inside) or unit
        if stated_unit(inside) is not None or not inside.strip():
            text = re.sub(r"[\[(<{]\s*" + re.escape(inside) + r"\s*[\])>}]", " ", text, count=1)
    if unit is None and "," in text:
        before, _, after = text.rpartition(",")
        unit = stated_unit(after)
        if unit is not None:
            text = before
    words = _words(text)
    if unit is None:
        found = _unit_in_last_words(text, words)
        if found is not None:
            return found
    match = _best(frozenset(words)) or _elsewhere(text)
    if match is None:
        return None
    return Recognition(match[0], unit, match[1])


def _unit_in_last_words(text: str, words: list[str]) -> Recognition | None:
    """The heading read as words with a unit at their end ("MAP_kPa", "speed_km_h"), where that makes sense."""
    plain = [part for part in re.split(r"[\s_]+", text.strip()) if part]
    for count in (2, 1):
        if len(plain) <= count:
            continue
        unit = stated_unit("/".join(plain[-count:])) or stated_unit(" ".join(plain[-count:]))
        if unit is None or unit.unit == "1":  # "ratio" and "lambda" are words of the heading
            continue
        bare = " ".join(plain[:-count])
        match = _best(frozenset(_words(bare))) or _elsewhere(bare)
        if match is not None and unit.fits(match[0]):
            return Recognition(match[0], unit, match[1])
    if words and words[-1] == "rpm":
        match = _best(frozenset(words))
        if match is not None and match[0].unit == "1/min":
            return Recognition(match[0], stated_unit("1/min"), match[1])
    return None
