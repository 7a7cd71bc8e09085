"""A catalogue of one language, and the grammar in it: sentences with slots for numbers and for other sentences.

A message of a catalogue is plain text, or a pattern: {1}, {2} stand for numbers with their units and for codes, {a},
{b} for anything that is itself in the catalogue. So "{a} (healthy: {1} to {2})" needs no entry for each thing that can
be healthy. A sentence is translated as a whole or not at all: a part that is not known leaves all of it in English.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib import resources

from babel.messages.pofile import read_po

from airproof.report.language.tokens import SLOT, Token, as_written, put_together, taken_apart

SLOTS = re.compile(r"\{([a-z]|\d+)\}")
BARE = 4  # letters of a pattern that is hardly more than a bracket
_LETTERS = re.compile(r"[^\W\d_]")
DEPTH = 9  # patterns within patterns
LISTED, OR = "; ", " or "
MOST_CUTS = 4
LOWERED = {
    "de": frozenset(("der", "die", "das", "den", "dem", "ein", "eine", "einen", "einem", "kein", "keine", "im", "in"))
    | frozenset(("am", "an", "auf", "bei", "ohne", "mit", "von", "vor", "nach", "zu", "über", "unter", "es", "sie"))
    | frozenset(("alle", "nichts", "etwas", "zwischen", "durch", "ist", "sind"))
}
"""Words that a language writes small within a sentence where it would not write every word small."""


@dataclass(frozen=True)
class _Pattern:
    """An English pattern as an expression, what is said for it, how many letters of its own it has.

    `brackets`: whether it ends in a bracket.
    """

    english: re.Pattern[str]
    says: str
    letters: int
    brackets: bool


@dataclass(frozen=True)
class Catalogue:
    """The messages of one language."""

    code: str
    messages: Mapping[str, str]
    patterns: Sequence[_Pattern]

    def said(self, english: str) -> tuple[str, tuple[Token, ...]] | None:
        """The text in this language, its numbers still as one character each, and these numbers; None if unknown."""
        marked, tokens = taken_apart(english)
        said = _Reading(self, tokens, {}).said(marked, DEPTH)
        return None if said is None else (said, tokens)


@dataclass(frozen=True)
class _Reading:
    """One sentence being said; `tried` keeps what was tried, since lists can be cut in many ways."""

    catalogue: Catalogue
    tokens: Sequence[Token]
    tried: dict[tuple[str, int], str | None]

    def said(self, marked: str, depth: int) -> str | None:
        """A part of the sentence, as many patterns deep at most."""
        key = (marked, depth)
        if key not in self.tried:
            self.tried[key] = self._said(marked, depth)
        return self.tried[key]

    def _said(self, marked: str, depth: int) -> str | None:
        raw = put_together(marked, self.tokens, as_written)
        messages = self.catalogue.messages
        for form in _forms(raw):
            if form in messages:
                return self._as(raw, form, messages[form])
        if not _LETTERS.search(SLOT.sub("", marked)):
            return marked  # numbers, units and brackets only
        if depth == 0:
            return None
        forms = tuple(_forms(marked))
        for pattern in self.catalogue.patterns:
            for form in forms:
                match = pattern.english.fullmatch(form)
                said = None if match is None else self._filled(pattern, match, depth)
                if said is not None:
                    return self._as(marked, form, said)
        return self._listed(marked, depth) or self._either(marked, depth)

    def _listed(self, marked: str, depth: int) -> str | None:
        """A list all at once: cut in two again and again, a long one lies deeper than DEPTH."""
        parts = [self.said(part, depth - 1) for part in marked.split(LISTED)]
        if len(parts) < 3:
            return None
        said = [part for part in parts if part is not None]
        between = self.catalogue.messages.get(f"{{a}}{LISTED}{{b}}", LISTED)
        return SLOTS.sub("", between).join(said) if len(said) == len(parts) else None

    def _either(self, marked: str, depth: int) -> str | None:
        """One or the other, where each may hold an "or" of its own: the cuts between the first and the last."""
        says = self.catalogue.messages.get(f"{{a}}{OR}{{b}}")
        cuts = [cut.start() for cut in re.finditer(re.escape(OR), marked)][1:-1]
        for cut in cuts[:MOST_CUTS] if says else ():
            one, other = self.said(marked[:cut], depth - 1), self.said(marked[cut + len(OR) :], depth - 1)
            if says and one is not None and other is not None:
                return says.replace("{a}", one).replace("{b}", other)
        return None

    def _filled(self, pattern: _Pattern, match: re.Match[str], depth: int) -> str | None:
        parts: dict[str, str] = {}
        for name, part in match.groupdict().items():
            said = part if SLOT.fullmatch(part) else self.said(part, depth - 1)
            if said is None:
                return None
            parts[name.removeprefix("number")] = said
        return SLOTS.sub(lambda slot: parts[slot[1]], pattern.says)

    def _as(self, asked: str, form: str, said: str) -> str:
        """What is said for a form, with the first letter and the full stop of what was asked."""
        if asked[:1].isupper():
            said = said[:1].upper() + said[1:]
        elif asked[:1] != form[:1] and self._small_within(said):
            said = said[:1].lower() + said[1:]
        return said if asked[-1:] != "." or said[-1:] in ".!?" else said + "."

    def _small_within(self, said: str) -> bool:
        words = LOWERED.get(self.catalogue.code)
        return said[1:2].islower() if words is None else said.split(" ", 1)[0].lower() in words


def _forms(text: str) -> Iterator[str]:
    """The text, and without its full stop, each with its first letter large and small."""
    for one in (text, text[:-1]) if text.endswith(".") else (text,):
        yield one
        if one[:1].isalpha():
            yield (one[0].lower() if one[0].isupper() else one[0].upper()) + one[1:]


@lru_cache(maxsize=4096)
def said_in(code: str, english: str) -> tuple[str, tuple[Token, ...]] | None:
    """catalogue(code).said(english), remembered: a write-up says many things twice."""
    return catalogue(code).said(english)


@cache
def catalogue(code: str) -> Catalogue:
    """The catalogue of a language, read from its .po file once; that of English is empty."""
    if code == "en":
        return Catalogue("en", {}, ())
    text = resources.files("airproof.report.language") / "catalogues" / f"{code}.po"
    with text.open("rb") as file:
        found = read_po(file, locale=code)
    said = {str(one.id): str(one.string) for one in found if one.id and one.string and not one.fuzzy}
    # "A or B" may hold an "or" within A: where the first cut leads nowhere, the last is tried.
    patterns = [
        _pattern(english, there, cut)
        for cut in ("first", "last")
        for english, there in said.items()
        if len(re.findall(r"\{[a-z]\}", english)) > 1 or (cut == "first" and SLOTS.search(english))
    ]
    return Catalogue(code, said, tuple(sorted(patterns, key=_before)))


def _before(pattern: _Pattern) -> tuple[bool, int]:
    """What ends in a bracket of its own comes first, so that no slot swallows the bracket; then what says most."""
    return not (pattern.brackets and pattern.letters > BARE), -pattern.letters


def _pattern(english: str, says: str, cut: str) -> _Pattern:
    pieces, at = [], 0
    for slot in SLOTS.finditer(english):
        pieces.append(re.escape(english[at : slot.start()]))
        name = slot[1]
        pieces.append(
            f"(?P<number{name}>{SLOT.pattern})" if name.isdigit() else f"(?P<{name}>.+{'?' if cut == 'first' else ''})"
        )
        at = slot.end()
    pieces.append(re.escape(english[at:]))
    return _Pattern(re.compile("".join(pieces), re.DOTALL), says, len(SLOTS.sub("", english)), english.endswith(")"))
