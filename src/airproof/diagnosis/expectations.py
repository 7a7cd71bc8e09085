"""What a healthy engine shows in each check, read from data; every entry has a source."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib import resources

import tomli

from airproof.errors import BrokenKnowledge


@dataclass(frozen=True)
class Expectation:
    """Mean and standard deviation over healthy cars, and of one healthy car from day to day, in `unit`.

    Where no formula says it better, and all judged by the authors: `moves[cause]`, how far one unit of the cause's size
    moves the value; `jumps[cause]`, how far it moves at any size; `blur[cause]`, how much less certain it then is;
    `made_up_for`, causes whose effect the control unit mostly makes up for. `least` is the least the value can be.
    """

    unit: str
    mean: float
    sd: float
    day_sd: float
    source: str
    made_up_for: tuple[str, ...] = ()
    least: float = -math.inf
    moves: Mapping[str, float] = field(default_factory=dict)
    jumps: Mapping[str, float] = field(default_factory=dict)
    blur: Mapping[str, float] = field(default_factory=dict)


@cache
def expectations() -> dict[str, Expectation]:
    """All expectations by name.

    Raises BrokenKnowledge where an entry lacks a number or its source.
    """
    text = (resources.files("airproof.diagnosis") / "data" / "expectations.toml").read_text(encoding="utf-8")
    found = {}
    for name, entry in tomli.loads(text).items():
        try:
            one = Expectation(**entry)
        except TypeError as cause:
            raise BrokenKnowledge(
                f"expectation {name}: {cause}",
                "unit, mean, sd, day_sd and source",
                "This is a fault of ours: please report it.",
            ) from cause
        if not one.source.strip():
            raise BrokenKnowledge(
                f"expectation {name} has no source",
                "where the number comes from",
                "This is a fault of ours: please report it.",
            )
        found[name] = one
    return found


def expected(name: str) -> Expectation:
    """The expectation of that name."""
    return expectations()[name]
