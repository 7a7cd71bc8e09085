"""One language: its words for our own texts, and numbers, money and days as Babel writes them.

    german = language("de")
    german.say("How we know")                              "Woher wir das wissen"
    german.words("Manifold pressure reads 105.0 kPa absolute with the engine off", INHG)
                                                           Words("Der Saugrohrdruck zeigt ...", "de")

What nobody has translated yet stays English and says so: `Words.language` is then "en".
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal, localcontext
from functools import cache

from babel import Locale
from babel.dates import format_date
from babel.numbers import format_currency, format_decimal, get_decimal_symbol, is_currency

from airproof.errors import UnusableRequest
from airproof.quantities.wishes import AS_IT_IS, Wish, in_units, places_in
from airproof.quantities.wishes_in_sentences import sentence_in_units
from airproof.report.language.catalogue import catalogue, said_in
from airproof.report.language.tokens import Token, put_together, wished
from airproof.report.wording import glued

LANGUAGES = ("en", "de", "fr", "es")
ENGLISH = "en"
_HIGH = re.compile(r" (?=[:;!?%»])|(?<=«) ")
_MINUS = "\N{MINUS SIGN}"
_ANY_FLOAT = 400  # digits: the largest float has 309 before its point
_WRITTEN = {
    "degC": "\N{DEGREE SIGN}C",
    "degF": "\N{DEGREE SIGN}F",
    "deg": "\N{DEGREE SIGN}",
    "degrees": "\N{DEGREE SIGN}",
    "ohm": "\N{GREEK CAPITAL LETTER OMEGA}",
    "kohm": "k\N{GREEK CAPITAL LETTER OMEGA}",
    "Mohm": "M\N{GREEK CAPITAL LETTER OMEGA}",
}


@dataclass(frozen=True)
class Words:
    """A text, and the language it is in; "" where nobody knows, as with what somebody typed."""

    text: str
    language: str


@dataclass(frozen=True)
class Language:
    """A language by its code (ISO 639-1)."""

    code: str
    locale: Locale

    @property
    def name(self) -> str:
        """Its own name for itself."""
        return str(self.locale.get_display_name(self.locale) or self.code)

    def say(self, english: str, **values: str) -> str:
        """A text of the program's own, as this language says it; {names} in it are filled."""
        said = english if self.code == ENGLISH else catalogue(self.code).messages.get(english, english)
        return self._spaced(said.format(**values) if values else said)

    def own(self, english: str, **values: str) -> Words:
        """What `say` says, with the language it is in."""
        there = self.code == ENGLISH or english in catalogue(self.code).messages
        return Words(self.say(english, **values), self.code if there else ENGLISH)

    def words(self, english: str, wish: Wish = AS_IT_IS) -> Words:
        """A sentence of ours in this language, in the units wished for; English where no one has translated it."""
        if self.code != ENGLISH:
            found = said_in(self.code, english)
            if found is not None:
                marked, tokens = found
                text = put_together(marked, tokens, lambda token: self._token(token, wish))
                return Words(self._spaced(_signs(text)), self.code)
        return Words(glued(_signs(sentence_in_units(english, wish))), ENGLISH)

    def number(self, value: float, places: int, *, signed: bool = False) -> str:
        """A number with so many decimals."""
        value = round(value, places) + 0.0
        with localcontext(prec=_ANY_FLOAT):
            text = format_decimal(Decimal(f"{abs(value):.{places}f}"), "#,##0." + "0" * places, locale=self.locale)
        sign = _MINUS if value < 0.0 else "+" if signed and value > 0.0 else ""
        return sign + text.rstrip(".")

    def quantity(self, value: float, unit: str, places: int, wish: Wish = AS_IT_IS, *, signed: bool = False) -> str:
        """A value with its unit, as wished; `places` decimals are what it has in its own unit."""
        there, other = in_units(value, unit, wish)
        return f"{self.number(float(there), places_in(places, unit, wish), signed=signed)}{self._unit(other)}"

    def money(self, amount: float, currency: str) -> str:
        """An amount of money; cents only where there are any."""
        places = 0 if abs(amount - round(amount)) < 0.005 else 2
        if is_currency(currency.upper()):
            pattern = self.locale.currency_formats["standard"].pattern.replace("0.00", "0" if places == 0 else "0.00")
            return str(format_currency(amount, currency.upper(), pattern, locale=self.locale, currency_digits=False))
        return f"{self.number(amount, places)}\N{NO-BREAK SPACE}{currency}".rstrip()

    def day(self, at: datetime) -> str:
        """The day in full."""
        return str(format_date(at, "long", locale=self.locale))

    def moment(self, at: datetime) -> str:
        """Day and time, UTC, as ISO 8601 has it, which no country reads in another order."""
        return f"{at.astimezone(UTC):%Y-%m-%d %H:%M}\N{NO-BREAK SPACE}UTC"

    def _spaced(self, text: str) -> str:
        """In French the blank before a colon and its like does not break the line."""
        return _HIGH.sub("\N{NO-BREAK SPACE}", text) if self.code == "fr" else text

    @property
    def decimal(self) -> str:
        """The sign between whole and decimals."""
        return str(get_decimal_symbol(self.locale))

    def unit(self, unit: str) -> str:
        """A unit alone, as this language writes it."""
        return self._unit(unit).strip()

    def _token(self, token: Token, wish: Wish) -> str:
        if token.value is None:
            return token.text
        value, places, unit = wished(token, wish)
        return f"{self.number(value, places, signed=token.signed)}{self._unit(unit)}"

    def _unit(self, unit: str) -> str:
        """The unit behind a number, with the blank before it."""
        if not unit or unit == "1":
            return ""
        name, _, counted = unit.partition(" ")
        said = _WRITTEN.get(name, name)
        blank = "" if name in ("deg", "degrees") else "\N{NO-BREAK SPACE}"
        return f"{blank}{said}" + (f" {self.say(counted)}" if counted else "")


def _signs(text: str) -> str:
    """With the signs that a console may lack."""
    text = text.replace(" +- ", " \N{PLUS-MINUS SIGN} ")
    return text.replace(" degC", "\N{NO-BREAK SPACE}\N{DEGREE SIGN}C").replace(
        " degF", "\N{NO-BREAK SPACE}\N{DEGREE SIGN}F"
    )


@cache
def language(code: str) -> Language:
    """The language of that code; UnusableRequest where there is none."""
    plain = code.strip().lower().partition("-")[0].partition("_")[0]
    if plain not in LANGUAGES:
        raise UnusableRequest(f"the language {code.strip()[:20]!r}", f"one of {', '.join(LANGUAGES)}", "Choose one.")
    return Language(plain, Locale.parse("en_GB" if plain == ENGLISH else plain))
