"""Which signal claims each heading of a file, before any value is looked at."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

from airproof.errors import NoTimeColumn, UnknownHeadings
from airproof.recording.headings import recognise
from airproof.recording.signals import SignalKind, glossary
from airproof.recording.units_stated import StatedUnit, stated_unit

if TYPE_CHECKING:
    from airproof.recording.mapping import SignalMap

SAY_WHICH = (
    "Say which signal a heading is, and its unit. In the terminal, name them in a MAP.toml and give it with --signals."
)


@dataclass(frozen=True)
class Claim:
    """A signal's claim on a heading; `unit` where heading or map states one, `closeness` to rank rivals."""

    heading: str
    signal: SignalKind
    unit: StatedUnit | None
    how: Literal["recognised", "mapped"]
    closeness: tuple[int, int] = (0, 0)


def claims(headings: Sequence[str], mapping: SignalMap | None, where: str) -> list[Claim | None]:
    """The claim on each heading, None where no signal claims it; what a map names comes before what is recognised."""
    if mapping is None:
        return list(_recognised(tuple(headings)))
    mapped = mapping.columns(headings, where)
    taken = set(mapped.values())
    found: list[Claim | None] = []
    for index, heading in enumerate(headings):
        seen = recognise(heading) if heading else None
        if index in mapped:
            kind = glossary().signals[mapped[index]]
            said = mapping.signals[kind.name].unit
            unit = stated_unit(said) if said is not None else (seen.unit if seen is not None else None)
            found.append(Claim(heading, kind, unit, "mapped", (99, 0)))
        elif seen is None or seen.signal.name in taken:
            found.append(None)
        else:
            found.append(Claim(heading, seen.signal, seen.unit, "recognised", seen.closeness))
    return found


@lru_cache(maxsize=64)
def _recognised(headings: tuple[str, ...]) -> tuple[Claim | None, ...]:
    """The claims on the headings of a file as recognised; files of one make share theirs."""
    seen = [recognise(heading) if heading else None for heading in headings]
    return tuple(
        None if found is None else Claim(heading, found.signal, found.unit, "recognised", found.closeness)
        for heading, found in zip(headings, seen, strict=True)
    )


def first_time(times: Sequence[Claim]) -> Claim:
    """The time column to go by: mapped first, a plain clock before engine run time."""

    def rank(claim: Claim) -> tuple[bool, bool]:
        return claim.how == "mapped", not is_run_time(claim.heading)

    return max(times, key=rank)


def is_run_time(heading: str) -> bool:
    """Whether a time heading means run time since engine start, which stands still with the engine off."""
    return "run" in heading.lower() or "engine" in heading.lower()


def refuse_nothing_known(kept: Sequence[Claim], unread: Sequence[str], source: str) -> None:
    """Raise UnusableFile where no heading but time is known."""
    if any(claim.signal.name != "time" for claim in kept):
        return
    named = ", ".join(unread[:8]) or "none"
    raise UnknownHeadings(
        f"no heading means anything to Airproof (found: {named})",
        "at least one known signal, such as engine speed or manifold pressure",
        SAY_WHICH,
        where=source,
        headings=tuple(dict.fromkeys([*(claim.heading for claim in kept), *unread])),
    )


def refuse_without_time(headings: Sequence[str], source: str) -> NoTimeColumn:
    """The error for a file without a time column."""
    return NoTimeColumn(
        f"there is no time column among the headings ({', '.join(headings[:8])})",
        "a column of time stamps: elapsed s, ms or min, time of day, or date and time",
        'Say which it is. In the terminal, name it in a MAP.toml (time = {heading = "...", unit = "s"}) or state there '
        "the rate (rate_hz = 10).",
        where=source,
        headings=tuple(dict.fromkeys(headings)),
    )
