"""What signals there are: names, units, titles, possible ranges, and the heading words that mean them.

All of it is data (data/signals.toml, data/headings_elsewhere.toml); this module loads and checks it once.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any

import tomli

from airproof.errors import BrokenKnowledge


@dataclass(frozen=True)
class UnitGuess:
    """A unit a bare column may be in.

    Its 1 % and 99 % quantiles must lie inside `within`, its median inside `median`; both in `unit`.
    """

    unit: str
    within: tuple[float, float]
    median: tuple[float, float]


@dataclass(frozen=True)
class SignalKind:
    """One signal: its name and unit throughout Airproof, and how files call it.

    `possible` is the lowest and highest value a working data line can carry, in `unit`; `working` what a working
    control unit reports in it, where that is less; `guesses` are the units its range alone may tell, `kin_guesses`
    those that only other columns of the file can; `headings` are groups of words that mean this signal, `also` the
    words that may stand beside a group; `texts` gives the number a word in a cell stands for ("closed loop" -> 2).
    """

    name: str
    unit: str
    title: str
    possible: tuple[float, float]
    headings: tuple[frozenset[str], ...]
    also: frozenset[str]
    guesses: tuple[UnitGuess, ...]
    kin_guesses: tuple[UnitGuess, ...]
    texts: Mapping[str, float]
    source: str
    working: tuple[float, float] | None = None

    @property
    def has_no_unit(self) -> bool:
        """Whether it is a state or a count, which no file could state in any unit."""
        return {guess.unit for guess in self.guesses} == {"1"}

    @property
    def is_absolute_pressure(self) -> bool:
        """Whether the signal is a pressure that must be absolute, so that a gauge reading needs a barometer."""
        return self.unit == "kPa" and self.name != "fuel_rail_pressure"


@dataclass(frozen=True)
class Glossary:
    """All signals by name, the one spelling of each heading word, and the words that never matter.

    `elsewhere` has the word groups of German, French and Spanish headings by signal, `beside` the words that may stand
    beside these.
    """

    signals: Mapping[str, SignalKind]
    spelling: Mapping[str, str]
    filler: frozenset[str]
    elsewhere: Mapping[str, tuple[frozenset[str], ...]]
    beside: frozenset[str]


def _pair(value: list[float]) -> tuple[float, float]:
    low, high = value
    return float(low), float(high)


def _guesses(entries: Iterable[Mapping[str, Any]]) -> tuple[UnitGuess, ...]:
    return tuple(UnitGuess(one["unit"], _pair(one["within"]), _pair(one["median"])) for one in entries)


def _kind(entry: Mapping[str, Any]) -> SignalKind:
    return SignalKind(
        name=entry["name"],
        unit=entry["unit"],
        title=entry["title"],
        possible=_pair(entry["possible"]),
        headings=tuple(frozenset(group.split()) for group in entry["headings"]),
        also=frozenset(entry["also"]),
        guesses=_guesses(entry["guess"]),
        kin_guesses=_guesses(entry.get("guess_by_kin", ())),
        texts=MappingProxyType({text: float(number) for text, number in entry.get("texts", {}).items()}),
        source=entry["source"],
        working=_pair(entry["working"]) if "working" in entry else None,
    )


@cache
def glossary() -> Glossary:
    """The signals and heading words of data/signals.toml.

    Raises BrokenKnowledge where an entry lacks a part (its source included), a range is empty, or a heading group
    uses a spelling that [words] replaces, so that it could never match.
    """
    where = "recording/data/signals.toml"
    raw = tomli.loads((files("airproof.recording") / "data" / "signals.toml").read_text(encoding="utf-8"))
    spelling = {other: word for word, others in raw["words"].items() for other in others}
    signals: dict[str, SignalKind] = {}
    for entry in raw["signal"]:
        try:
            kind = _kind(entry)
        except (KeyError, ValueError, TypeError, AttributeError) as error:
            raise BrokenKnowledge(
                f"entry {entry.get('name', '?')!r} lacks or misstates {error}",
                "name, unit, title, possible, headings, also, guess and source",
                "Complete the entry.",
                where=where,
            ) from error
        ranges = [kind.possible] + [
            pair for guess in (*kind.guesses, *kind.kin_guesses) for pair in (guess.within, guess.median)
        ]
        dead = sorted({word for group in (*kind.headings, kind.also) for word in group if word in spelling})
        if not kind.source or dead or kind.name in signals or any(low > high for low, high in ranges):
            raise BrokenKnowledge(
                f"entry {kind.name!r} has no source, is there twice, has an empty range or replaced spellings {dead}",
                "one entry a signal, with a source, in the spelling of [words]",
                "Correct the entry.",
                where=where,
            )
        signals[kind.name] = kind
    return Glossary(
        signals=MappingProxyType(signals),
        spelling=MappingProxyType(spelling),
        filler=frozenset(raw["filler"]["words"]),
        **_elsewhere(signals),
    )


def _elsewhere(signals: Mapping[str, SignalKind]) -> dict[str, Any]:
    """The headings of other languages; BrokenKnowledge for a signal that is none, and for a group that two claim."""
    where = "recording/data/headings_elsewhere.toml"
    text = (files("airproof.recording") / "data" / "headings_elsewhere.toml").read_text(encoding="utf-8")
    raw = tomli.loads(text)
    groups = {name: tuple(frozenset(group.split()) for group in said) for name, said in raw["signals"].items()}
    beside = frozenset(raw["beside"]["words"])
    strange = sorted(groups.keys() - signals.keys())
    twice = sorted({" ".join(sorted(group)) for name, said in groups.items() for group in said
                    if any(group in others for other, others in groups.items() if other != name)})  # fmt: skip
    if strange or twice or not raw.get("source"):
        raise BrokenKnowledge(
            f"signals {strange}, groups of two signals {twice}, or no source",
            "groups of words of one signal each, with a source",
            "Correct the entry.",
            where=where,
        )
    return {"elsewhere": MappingProxyType(groups), "beside": beside}


def signal_kind(name: str) -> SignalKind:
    """The signal of that name; KeyError where there is none."""
    return glossary().signals[name]
