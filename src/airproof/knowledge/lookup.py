"""From what a mechanic types to what is known: codes in any spelling, symptoms in any words."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TypeVar

from airproof.errors import UnusableRequest
from airproof.knowledge.model import Code, Knowledge, Noticed, Symptom

Entry = TypeVar("Entry", bound=Noticed)

_SPELT = re.compile(r"([PCBU][0-3][0-9A-F]{3})(?:[-:]?[0-9A-F]{2})?")
NAMED = 3
_IGNORED = re.compile(r"[\s.,;_]+")
_PARTS = re.compile(r"[\s,;/+&]+")


@dataclass(frozen=True)
class UnlistedCode:
    """A well-formed code that is not in the lists: all that can be said is what its structure says.

    `standard` is True for a meaning fixed by the standard, False for one that only the car's maker knows.
    """

    id: str
    area: str
    standard: bool
    says: str


def code_in(text: str) -> str | None:
    """The code as the standard writes it, "P0106", from "p0106 ", "P 0106", "PO106" or "P0106-00"; None for no code."""
    letters = _IGNORED.sub("", text).upper()
    letters = letters[:1] + letters[1:].replace("O", "0")
    found = _SPELT.fullmatch(letters)
    return None if found is None else found[1]


def normal_code(text: str, known: Knowledge) -> str:
    """The code as the standard writes it.

    Raises UnusableRequest for what cannot be a code, naming what is spelled alike.
    """
    code = code_in(text)
    if code is None:
        if any(code_in(part) for part in _PARTS.split(text)):
            raise UnusableRequest(
                f"{text!r} is more than a code",
                "one code, such as P0106",
                "Say each code by itself, its status apart from it, and values stored with it in its freeze frame.",
            )
        raise UnusableRequest(
            f"{text!r} is not a code", "a letter and four digits, such as P0106", near(text.upper(), known.codes)
        )
    return code


def near(word: str, names: Iterable[str]) -> str:
    """A way out that names what is spelled alike, if anything is."""
    close = spelled_alike(word, names)
    return f"Near: {', '.join(close)}." if close else "Look at what was typed, or leave it out."


def spelled_alike(word: str, names: Iterable[str]) -> list[str]:
    """The names that are spelled most like a word, at most three."""
    return difflib.get_close_matches(word, list(names), 3, 0.6)


def explain_code(text: str, known: Knowledge) -> Code | UnlistedCode:
    """What is known of a code, or else what its structure says.

    Raises UnusableRequest for what cannot be a code.
    """
    code = normal_code(text, known)
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


def noticed_called(text: str, entries: Mapping[str, Entry]) -> Entry | None:
    """The entry by its id, title or one of its other names, in any case and with any marks between words."""
    found = _names(entries).get(_plain(text))
    return None if found is None else entries[found]


def find_noticed(text: str, entries: Mapping[str, Entry], what: str, listed: str) -> Entry:
    """The entry of that name; `what` says what it should be, `listed` where all are listed.

    Raises UnusableRequest for an unknown one, naming the nearest.
    """
    found = noticed_called(text, entries)
    if found is not None:
        return found
    names, wanted = _names(entries), _plain(text)
    close = dict.fromkeys(names[name] for name in difflib.get_close_matches(wanted, names, n=5, cutoff=0.6))
    close.update(dict.fromkeys(names[name] for name in names if wanted and _shares_word(wanted, name)))
    few = ", ".join([*entries][:NAMED])
    way_out = f"Did you mean {' or '.join(close)}?" if close else listed
    raise UnusableRequest(
        f"{text!r} is not a {what} that is known here", f"one of {few} and {len(entries) - NAMED} more", way_out
    )


def find_symptom(text: str, known: Knowledge) -> Symptom:
    """The symptom of that name.

    Raises UnusableRequest for an unknown one, naming the nearest.
    """
    return find_noticed(text, known.symptoms, "symptom", '"airproof weigh --help" lists them all.')


def _names(entries: Mapping[str, Entry]) -> dict[str, str]:
    """Ids and titles go before other names, so that no entry takes another one's own."""
    ways = [(name, one.id) for one in entries.values() for name in one.also_called]
    ways += [(name, one.id) for one in entries.values() for name in (one.title, one.id)]
    return {_plain(name): entry for name, entry in ways}


def _plain(text: str) -> str:
    return " ".join(re.findall(r"[a-z0-9]+", text.lower()))


def _shares_word(one: str, other: str) -> bool:
    return any(len(word) > 3 and word in other.split() for word in one.split())
