"""A healthy and a faulty rehearsal side by side, in plain words and as a table: what moves, and what stays."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from airproof.engine.rehearsal.compare import COMPARED, Comparison, Move, Still, noticeable
from airproof.knowledge.load import knowledge
from airproof.knowledge.lookup import UnlistedCode, explain_code
from airproof.quantities.wishes import AS_IT_IS, Wish, in_units, places_in
from airproof.recording.regimes import Regime
from airproof.recording.signals import glossary
from airproof.report.in_words import Part
from airproof.report.wording import number, sentence

MOST_LINES = 6  # of one regime told in sentences; the table has them all

_HEADINGS = {
    Regime.KEY_ON: "Key on, engine off",
    Regime.IDLE: "At idle",
    Regime.SNAP: "In a snap of the throttle",
    Regime.CRUISE: "Cruising",
    Regime.FULL_LOAD: "At full load",
    Regime.OVERRUN: "On the overrun",
}
WHERE = {
    Regime.KEY_ON: "with the engine off",
    Regime.IDLE: "at idle",
    Regime.SNAP: "in a snap",
    Regime.CRUISE: "while cruising",
    Regime.FULL_LOAD: "at full load",
    Regime.OVERRUN: "on the overrun",
}
"""The regimes within a sentence."""

STAYS_WORTH_SAYING = ("total_trim_1", "manifold_pressure", "air_flow")  # that one of these stays belongs to the point
_OF_A_KIND = {"highest": ", highest", "swing": ", swing in 3 s", "delay": ", behind the foot"}


def compared_in_words(
    comparison: Comparison,
    codes_healthy: Sequence[str],
    codes_faulty: Sequence[str],
    title: str,
    wish: Wish = AS_IT_IS,
) -> list[Part]:
    """The comparison as parts in reading order: the point, each regime in which something moves, what stays, the codes.

    `title` says what is compared, `codes_*` are the codes each car has stored. Parts with nothing to say are left out.
    What a signal shows is in the units wished for, with the barometer of the drive; sizes of moves are so as well.
    Raises UnusableRequest for what cannot be a code.
    """
    parts = [Part("answer", "", (sentence(title), sentence(the_point(comparison, wish))))]
    parts += [Part(f"at-{regime}", _HEADINGS[regime], _in_regime(comparison, regime, wish)) for regime in COMPARED]
    parts += [
        Part("still", "What stays as it was", _what_stays(comparison)),
        Part("codes", "Codes", _codes(codes_healthy, codes_faulty)),
    ]
    return [part for part in parts if part.lines]


def the_point(comparison: Comparison, wish: Wish = AS_IT_IS) -> str:
    """The clearest move, and what one would have expected to move with it, in one clause without a full stop.

    "At idle, manifold pressure shows 40 kPa instead of 28 (+12), while total fuel trim stays as it was"
    """
    if not comparison.stretches:
        return "The two recordings have nothing in common that could be compared"
    shown = told(comparison.moves)
    if not shown:
        return "Nothing moves that a person with a scan tool would notice"
    where, still = WHERE[shown[0].regime], {one.signal for one in comparison.still}
    stays = next(
        (f", while {noticeable()[name].words} stays as it was" for name in STAYS_WORTH_SAYING if name in still), ""
    )
    return f"{where[:1].upper()}{where[1:]}, {said(shown[0], wish)}{stays}"


def said(move: Move, wish: Wish = AS_IT_IS) -> str:
    """One move as a clause: "manifold pressure shows 40 kPa instead of 28 (+12)"."""
    seen = noticeable()[move.signal]
    if move.kind == "state":
        return f"{seen.words} says {_state(move, move.faulty)} instead of {_state(move, move.healthy)}"
    was, now, change, unit = _numbers(move, wish)
    if move.kind == "swing" and float(now) == 0.0:
        return f"{seen.words} stands still instead of swinging by {was}{_unit(unit)} within three seconds"
    values = f"{now}{_unit(unit)} instead of {was} ({change})"
    match move.kind:
        case "highest":
            return f"{seen.words} goes up to {values}"
        case "swing":
            return f"{seen.words} swings by {values} within three seconds"
        case "delay":
            return f"{seen.words} follows the lifted foot after {values}"
    return f"{seen.words} shows {values}"


def change_in_words(move: Move, wish: Wish = AS_IT_IS) -> str:
    """The change with its unit: "+12 kPa"; of a state the new one."""
    if move.kind == "state":
        return _state(move, move.faulty)
    _, _, change, unit = _numbers(move, wish)
    return f"{change}{_unit(unit.partition(' ')[0])}"


def compared_as_rows(comparison: Comparison, wish: Wish = AS_IT_IS) -> list[tuple[str, str, str, str, str]]:
    """All moves as rows below a row of titles, by regime, clearest first."""
    rows = [("regime", "signal", "healthy", "faulty", "change")]
    for regime in COMPARED:
        for move in comparison.in_regime(regime):
            what = noticeable()[move.signal].words + _OF_A_KIND.get(move.kind, "")
            was, now, _, unit = _numbers(move, wish)
            if " " in unit:  # absolute, vacuum or gauge
                what += f", {unit}"
            rows.append((str(regime), what, was, now, change_in_words(move, wish)))
    return rows


def compared_as_table(comparison: Comparison) -> str:
    """All moves in aligned columns, by regime, clearest first; nothing where nothing moves."""
    rows = compared_as_rows(comparison)
    if len(rows) == 1:
        return ""
    widths = [max(len(row[column]) for row in rows) for column in range(5)]
    lines = (
        "  ".join(
            cell.ljust(width) if column < 2 else cell.rjust(width)
            for column, (cell, width) in enumerate(zip(row, widths, strict=True))
        )
        for row in rows
    )
    return "".join(f"{line.rstrip()}\n" for line in lines)


def _in_regime(comparison: Comparison, regime: Regime, wish: Wish) -> tuple[str, ...]:
    if regime in comparison.apart:
        return ("The two cars never did the same here, so that nothing can be compared.",)
    shown = told(comparison.in_regime(regime))
    lines = [sentence(said(move, wish)) for move in shown[:MOST_LINES]]
    if len(shown) > MOST_LINES:
        lines.append(f"And {len(shown) - MOST_LINES} more; the table has them all.")
    return tuple(lines)


def told(moves: Sequence[Move]) -> list[Move]:
    """The moves worth telling: without what only goes with another signal, such as the throttle's target."""
    there = {(move.signal, move.kind, move.regime) for move in moves}
    return [move for move in moves if (noticeable()[move.signal].goes_with, move.kind, move.regime) not in there]


def _what_stays(comparison: Comparison) -> tuple[str, ...]:
    there = {one.signal for one in comparison.still}
    lines = [_within(one) for one in comparison.still if noticeable()[one.signal].goes_with not in there]
    quiet = [WHERE[regime] for regime in comparison.stretches if not comparison.in_regime(regime)]
    if quiet and comparison.moves:
        lines.append(f"Nothing moves {' or '.join(filter(None, (', '.join(quiet[:-1]), quiet[-1])))}.")
    return tuple(lines)


def _within(one: Still) -> str:
    seen = noticeable()[one.signal]
    most = round(one.most, seen.decimals)
    settles = f"within {number(most)}{_unit(one.unit)} of where it was" if most else "where it was"
    return sentence(f"{seen.words} settles {settles}")


def _codes(healthy: Sequence[str], faulty: Sequence[str]) -> tuple[str, ...]:
    lines = [f"Set by the fault: {_code(code)}." for code in faulty if code not in healthy]
    lines += [f"Stored in both: {_code(code)}." for code in faulty if code in healthy]
    lines += [f"Only in the healthy car: {_code(code)}." for code in healthy if code not in faulty]
    return tuple(lines) or ("No code is stored, with the fault or without.",)


def _code(code: str) -> str:
    entry = explain_code(code, knowledge())
    return f"{entry.id} {f'concerns {entry.area}' if isinstance(entry, UnlistedCode) else entry.title}"


def _numbers(move: Move, wish: Wish = AS_IT_IS) -> tuple[str, str, str, str]:
    """Healthy, faulty, change and unit, to two digits of the change and no more than the signal is worth; they add up.

    A vacuum that becomes less shows a change below zero, as its numbers do.
    """
    most = 2 if move.kind == "delay" else noticeable()[move.signal].decimals
    size = abs(move.change)
    places = min(max(1 - math.floor(math.log10(size)), 0), most) if size else 0
    both, unit = np.array([move.healthy, move.faulty]), move.unit
    if not wish.plain:
        own = _own_unit(move)
        both, unit = in_units(both, own, wish)
        places = places_in(places, own, wish)
    was, now = (round(float(value), places) + 0.0 for value in np.ravel(both))
    return f"{was:.{places}f}", f"{now:.{places}f}", f"{now - was:+.{places}f}", unit


def _own_unit(move: Move) -> str:
    """The unit of a move's numbers, which says whether they are levels or the size of a swing."""
    kind, level = glossary().signals.get(move.signal), move.kind in ("level", "highest")
    if move.unit == "degC" and not level:
        return "K"
    return "kPa absolute" if kind is not None and kind.is_absolute_pressure and level else move.unit


def _unit(unit: str) -> str:
    return "" if unit == "1" else f" {unit}"


def _state(move: Move, code: float) -> str:
    return noticeable()[move.signal].states.get(f"{code:.0f}", f"{code:.0f}")
