"""Writing in one language and for one wish of units: what each part of a write-up says its texts with."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from airproof.diagnosis.verdict import CauseVerdict, Size
from airproof.knowledge.model import Cause, Knowledge, Step, Witness
from airproof.quantities.wishes import Wish
from airproof.report.in_words import said_of
from airproof.report.language.language import Language, Words
from airproof.report.language.tokens import taken_apart, wished
from airproof.report.wording import in_hundred, with_interval
from airproof.report.write_up.case import Case
from airproof.report.write_up.content import Labels

NOTHING = Words("", "")
_BREAK = "\N{ZERO WIDTH SPACE}"
_FROM_AIR = "kPa absolute"


@dataclass(frozen=True)
class Writer:
    """The language, the units, and what of the case must not be shown."""

    language: Language
    wish: Wish
    case: Case

    def own(self, english: str, **values: str) -> Words:
        """A text of the write-up itself."""
        return self.language.own(english, **values)

    def heads(self, *english: str) -> tuple[Words, ...]:
        """Heads of a table."""
        return tuple(map(self.own, english))

    def ours(self, sentence: str) -> Words:
        """A sentence that another part of the program has made, in English."""
        said = self.language.words(sentence, self.wish)
        text = said.text
        for label, shown in self.case.labels.items():
            text = text.replace(label, shown)
        return Words(text, said.language)

    def typed(self, text: str) -> Words:
        """What somebody typed, or the name of a file, in whatever language."""
        plain = " ".join("".join(sign if sign.isprintable() or sign == _BREAK else " " for sign in text).split())
        private = self.case.private
        return Words(plain if private is None else private.text(plain), "")

    def as_typed(self, text: str) -> Words:
        """A value with its unit as somebody typed it ("36 kPa"), in the units wished for; else as it is."""
        marked, tokens = taken_apart(text.strip())
        if len(tokens) != 1 or len(marked) != 1 or tokens[0].value is None:
            return self.typed(text)
        value, places, unit = wished(replace(tokens[0], highest=None), self.wish)  # it may be of the air itself
        return Words(self.language.quantity(value, unit or "1", places), self.language.code)

    def absolute(self, text: str) -> Words:
        """An absolute pressure as typed, from the air outside where that is wished for."""
        _, tokens = taken_apart(text.strip())
        if len(tokens) == 1 and tokens[0].kind in ("kPa", _FROM_AIR) and tokens[0].value is not None:
            said = self.language.quantity(tokens[0].value, _FROM_AIR, tokens[0].places, self.wish)
            return Words(said, self.language.code)
        return self.as_typed(text)

    def number(self, value: float, places: int, *, signed: bool = False) -> Words:
        """A number alone."""
        return Words(self.language.number(value, places, signed=signed), self.language.code)

    def moment(self, at: datetime) -> Words:
        """Day and time."""
        return Words(self.language.moment(at), self.language.code)

    def money(self, amount: float | None) -> Words:
        """An amount in the currency of the case; nothing where nobody said."""
        if amount is None:
            return NOTHING
        return Words(self.language.money(amount, self.case.currency), self.language.code)

    def chance(self, probability: float) -> str:
        """A probability as a count of a hundred."""
        return self.language.words(in_hundred(probability)).text

    def cause(self, cause: CauseVerdict) -> Words:
        """A cause with its size in one sentence."""
        return self.ours(said_of(cause))

    def size(self, size: Size | None) -> Words:
        """A size with its interval: "8 kPa (6 to 10)"."""
        if size is None or not size.told:
            return NOTHING
        value, low, high = with_interval(size.value, size.low, size.high)
        if size.beyond:
            near = low if size.value > 0.0 else high
            return Words(self.language.words(f"{near} {size.unit} or more", self.wish).text, self.language.code)
        there = self.language.words(f"{value} {size.unit} ({low} to {high})", self.wish)
        return Words(there.text, self.language.code)

    def title_of(self, kind: str, id_: str) -> Words:
        """The title of something that is known by its id; the id where it is not known here."""
        known: Knowledge = self.case.known
        entries: Mapping[str, Mapping[str, Cause | Step | Witness]] = {
            "cause": known.causes,
            "step": known.steps,
            "code": known.codes,
            "symptom": known.symptoms,
            "look": known.looks,
            "history": known.history,
            "condition": known.conditions,
        }
        found = entries[kind].get(id_)
        return self.typed(id_) if found is None else self.ours(found.title)


def labels_of(language: Language) -> Labels:
    """The few words that the page itself needs."""
    return Labels(language.say("Exhibit"), language.say("Page"), language.say("of"))


def joined(parts: Sequence[Words], between: str = " ") -> Words:
    """Several texts as one; its language is theirs if they agree, else nobody's."""
    there = [part for part in parts if part.text]
    languages = {part.language for part in there}
    return Words(between.join(part.text for part in there), languages.pop() if len(languages) == 1 else "")
