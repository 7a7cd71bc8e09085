"""From what a mechanic types to what is known: codes in any spelling, symptoms in any words.

Also what several stored codes say together: those of one family look at one thing and count as one witness.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from airproof.errors import UnusableRequest
from airproof.knowledge.model import Code, Knowledge, Symptom

_SPELT = re.compile(r"([PCBU][0-3][0-9A-F]{3})(?:[-:]?[0-9A-F]{2})?")
_IGNORED = re.compile(r"[\s.,;_]+")


@dataclass(frozen=True)
class UnlistedCode:
    """A well-formed code that is not in the lists: all that can be said is what its structure says.

    `standard` is True for a meaning fixed by the standard, False for one that only the car's maker knows.
    """

    id: str
    area: str
    standard: bool
    says: str


@dataclass(frozen=True)
class Together:
    """The codes of one family, taken as one witness.

    They are taken to come together if at all, so the rarest of them decides: P(all | c) = min P(each | c).
    """

    family: str
    codes: tuple[str, ...]
    sets: Mapping[str, float]
    by_chance: float

    def given(self, cause: str) -> float:
        """Probability that these codes are stored, given that cause."""
        return self.sets.get(cause, self.by_chance)


def normal_code(text: str) -> str:
    """The code as the standard writes it, "P0106", from "p0106 ", "P 0106", "PO106" or "P0106-00".

    Raises UnusableRequest for what cannot be a code.
    """
    letters = _IGNORED.sub("", text).upper()
    letters = letters[:1] + letters[1:].replace("O", "0")
    found = _SPELT.fullmatch(letters)
    if found is None:
        raise UnusableRequest(
            f"{text!r} is not a code",
            "a letter P, C, B or U, a digit 0 to 3, and three digits or letters A to F, such as P0106",
            "Type the code as the reader shows it.",
        )
    return found[1]


def explain_code(text: str, known: Knowledge) -> Code | UnlistedCode:
    """What is known of a code, or else what its structure says.

    Raises UnusableRequest for what cannot be a code.
    """
    code = normal_code(text)
    return known.codes.get(code) or _by_structure(code, known)


def _by_structure(code: str, known: Knowledge) -> UnlistedCode:
    fitting = sorted(
        ((len(prefix), area) for area in known.areas.values() for prefix in area.prefixes if code.startswith(prefix)),
        key=lambda pair: -pair[0],
    )
    part = next((area.title for _, area in fitting if area.standard is None), "a part of the car not in the lists")
    standard = next((area.standard for _, area in fitting if area.standard is not None), False)
    whose = (
        "its meaning is fixed by the standard, but it is not in these lists: see the maker's service data"
        if standard
        else "its meaning is the maker's own: only the maker's service data can say"
    )
    return UnlistedCode(code, part, standard, f"{code} concerns {part}; {whose}. It does not count as evidence.")


def stored_together(codes: Iterable[Code]) -> tuple[Together, ...]:
    """The stored codes by family, each family one witness, in the order in which they first appear."""
    families: dict[str, dict[str, Code]] = {}
    for code in codes:
        families.setdefault(code.family, {})[code.id] = code
    return tuple(_together(family, list(members.values())) for family, members in families.items())


def _together(family: str, members: list[Code]) -> Together:
    named = {cause for code in members for cause in code.sets}
    return Together(
        family=family,
        codes=tuple(code.id for code in members),
        sets={cause: min(code.given(cause) for code in members) for cause in sorted(named)},
        by_chance=min(code.by_chance for code in members),
    )


def silent_family(family: str, known: Knowledge) -> Together:
    """The witness of a family of which no code is stored, all codes having been read.

    Its codes come together if at all, so that P(none | c) = 1 - max P(each | c).
    """
    members = [code for code in known.codes.values() if code.family == family]
    named = {cause for code in members for cause in code.sets}
    return Together(
        family=family,
        codes=(),
        sets={cause: 1.0 - max(code.given(cause) for code in members) for cause in sorted(named)},
        by_chance=1.0 - max(code.by_chance for code in members),
    )


def find_symptom(text: str, known: Knowledge) -> Symptom:
    """The symptom by its id, title or one of its other names.

    Raises UnusableRequest for an unknown one, naming the nearest.
    """
    names = _symptom_names(known)
    wanted = _plain(text)
    if wanted in names:
        return known.symptoms[names[wanted]]
    near = dict.fromkeys(names[name] for name in difflib.get_close_matches(wanted, names, n=5, cutoff=0.6))
    near.update(dict.fromkeys(names[name] for name in names if wanted and _shares_word(wanted, name)))
    way_out = f"Did you mean {' or '.join(near)}?" if near else f"Known are {', '.join(known.symptoms)}."
    raise UnusableRequest(f"unknown symptom {text!r}", "one of the symptoms' names", way_out)


def _symptom_names(known: Knowledge) -> dict[str, str]:
    return {
        _plain(name): symptom.id
        for symptom in known.symptoms.values()
        for name in (symptom.id, symptom.title, *symptom.also_called)
    }


def _plain(text: str) -> str:
    return " ".join(re.findall(r"[a-z0-9]+", text.lower()))


def _shares_word(one: str, other: str) -> bool:
    return any(len(word) > 3 and word in other.split() for word in one.split())
