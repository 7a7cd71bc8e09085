"""Putting apart what cannot be true: broken clocks, frozen rows, impossible values. Counted and said, never fatal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from airproof.recording.recording import Bools, Floats

NDArrayInt = NDArray[np.intp]

PART_GAP_S = 60.0
"""Put between the parts of a recording whose clock was restarted (judged: Airproof authors, because it is long enough
that no regime or filling can reach across it)."""

_LONGEST_GAP_S = 6 * 3600.0
_RESOLUTION_SAMPLE = 2000


def ordered(time: Floats) -> tuple[Floats, NDArrayInt | slice, list[str]]:
    """Time that never falls, the rows to keep in their new order, and what was done.

    Stray stamps are set aside; a clock that starts again gives parts, laid one after the other PART_GAP_S apart;
    rows in reverse or in no order are sorted.
    """
    steps = np.diff(time)
    finite = bool(np.isfinite(time[0] + time[-1]) and np.isfinite(steps).all()) if time.size else True
    if finite and (not steps.size or (steps.min() >= 0 and steps.max() < _LONGEST_GAP_S)):
        return time, slice(None), []
    remarks: list[str] = []
    rows = np.flatnonzero(np.isfinite(time))
    if rows.size < time.size:
        unread = time.size - rows.size
        remarks.append(f"{unread} row{'s' * (unread != 1)} without a readable stamp set aside")
    stamps = time[rows]
    steps = np.diff(stamps)
    falls = np.flatnonzero(steps < 0) + 1
    if falls.size and falls.size > 0.2 * stamps.size:
        if falls.size > 0.9 * stamps.size:
            remarks.append("the rows run backwards in time: they were turned round")
            rows, stamps = rows[::-1], stamps[::-1]
        order = np.argsort(stamps, kind="stable")
        if not np.all(np.diff(stamps) >= 0):
            remarks.append(
                f"the rows are in no order of time ({falls.size} steps back): they were sorted by their stamps"
            )
        rows, stamps = rows[order], stamps[order]
    elif falls.size:
        keep, says = _without_strays(stamps, falls)
        if says:
            remarks.append(says)
        rows, stamps = rows[keep], stamps[keep]
        stamps, said = _parts_laid_on(stamps)
        remarks.extend(said)
    stamps, said = _long_gaps_closed(stamps)
    return stamps, rows, remarks + said


def _without_strays(stamps: Floats, falls: NDArrayInt) -> tuple[NDArrayInt, str]:
    """Rows without the stray stamps: short stretches between steps back whose neighbours agree without them."""
    edges = np.concatenate(([0], falls, [stamps.size]))
    stretches = [(int(a), int(b)) for a, b in pairwise(edges.tolist())]
    longest_stray = 5
    kept: list[NDArrayInt] = []
    last = -np.inf
    strays = 0
    for number, (start, end) in enumerate(stretches):
        piece = np.arange(start, end)
        following = stamps[stretches[number + 1][0]] if number + 1 < len(stretches) else np.inf
        # Stamps at the end of a stretch that run ahead of everything after them are strays, not the rest.
        ahead = piece[(stamps[piece] > following)]
        if 0 < ahead.size <= longest_stray and ahead.size < piece.size and following >= stamps[piece[-ahead.size - 1]]:
            strays += int(ahead.size)
            piece = piece[: -ahead.size]
        late = piece[stamps[piece] < last]
        if 0 < late.size <= longest_stray and end - start <= longest_stray and number + 1 < len(stretches):
            strays += int(late.size)
            piece = piece[stamps[piece] >= last]
        elif 0 < late.size <= longest_stray and late.size < piece.size:
            strays += int(late.size)
            piece = piece[late.size :]
        if piece.size:
            kept.append(piece)
            last = float(stamps[piece[-1]])
    rows = "1 row has a stamp that jumps" if strays == 1 else f"{strays} rows have a stamp that jumps"
    says = f"{rows} out of order: set aside" if strays else ""
    return np.concatenate(kept), says


def _parts_laid_on(stamps: Floats) -> tuple[Floats, list[str]]:
    """The parts of a recording whose clock was restarted, one after the other."""
    falls = np.flatnonzero(np.diff(stamps) < 0) + 1
    if not falls.size:
        return stamps, []
    out = stamps.copy()
    for start in falls:
        out[start:] += out[start - 1] + PART_GAP_S - out[start]
    starts = ", ".join(f"{out[start]:.0f} s" for start in falls[:5])
    return out, [
        f"the clock starts again {falls.size} time(s): the {falls.size + 1} parts follow {PART_GAP_S:g} s apart "
        f"(the later ones from {starts} on)"
    ]


def _long_gaps_closed(stamps: Floats) -> tuple[Floats, list[str]]:
    """Pauses of more than six hours shortened: a clock set right, or two sessions in one file."""
    steps = np.diff(stamps)
    jumps = np.flatnonzero(steps > _LONGEST_GAP_S) + 1
    if not jumps.size:
        return stamps, []
    out = stamps.copy()
    for start in jumps:
        out[start:] -= out[start] - out[start - 1] - PART_GAP_S
    return out, [
        f"the clock jumps ahead by more than 6 h {jumps.size} time(s): each jump was shortened to {PART_GAP_S:g} s"
    ]


class Moves:
    """Which rows of each column but the first differ from the row before; found when asked for, and kept."""

    def __init__(self, columns: Sequence[Floats]) -> None:
        self._columns = columns
        self._found: dict[int, tuple[Bools, Bools]] = {}

    def __len__(self) -> int:
        return len(self._columns)

    def __getitem__(self, index: int) -> Bools:
        """The moves of one column; two missing values in a row are none."""
        return self._of(index)[0]

    def __iter__(self) -> Iterator[Bools]:
        return (self[index] for index in range(len(self)))

    def into_values(self, index: int) -> Bools:
        """The moves of one column that lead to a value, not to a missing one."""
        return self._of(index)[1]

    def _of(self, index: int) -> tuple[Bools, Bools]:
        found = self._found.get(index)
        if found is None:
            values = self._columns[index]
            moved: Bools = values[1:] != values[:-1]
            missing = np.isnan(values)
            found = moved, moved
            if missing.any():
                found = moved & ~(missing[1:] & missing[:-1]), moved & ~missing[1:]
            self._found[index] = found
        return found


def frozen_rows(time: Floats, moves: Moves, turning: Floats | None) -> Bools:
    """Rows of a stretch in which every column stands still although the engine turns: the link was lost.

    Such a stretch must last 5 s and ten times as long as nearly all (99 %) others (judged: Airproof authors, because
    even a steady idle moves some rounded value every few seconds), with at least four columns that do move elsewhere.
    """
    none = np.zeros(time.size, dtype=bool)
    if turning is None or time.size < 50 or len(moves) < 4:
        return none
    any_moved = np.zeros(time.size - 1, dtype=bool)
    moving = 0
    for index in range(len(moves)):
        moved = moves.into_values(index)
        moving += bool(moved.any())
        any_moved |= moved
        if any_moved.all():
            return none
    if moving < 4:
        return none
    changes = np.flatnonzero(any_moved) + 1
    begins = np.concatenate(([0], changes))
    ends = np.concatenate((changes, [time.size]))
    lasted = time[ends - 1] - time[begins]
    least = 5.0
    if lasted.max() <= least:
        return none
    limit = max(least, 10 * float(np.quantile(lasted, 0.99)))
    for begin, end in zip(begins[lasted > limit].tolist(), ends[lasted > limit].tolist(), strict=True):
        if turning[begin] > 0:
            none[begin + 1 : end] = True
    return none


def doubled_rows(time: Floats, columns: list[Floats]) -> tuple[Bools, int]:
    """Rows that repeat the row before them, stamp and all; and how many only share its stamp."""
    doubled = np.zeros(time.size, dtype=bool)
    same_stamp = np.flatnonzero(time[1:] == time[:-1]) + 1
    if not same_stamp.size:
        return doubled, 0
    same = np.ones(same_stamp.size, dtype=bool)
    for values in columns:
        now, before = values[same_stamp], values[same_stamp - 1]
        same &= (now == before) | (np.isnan(now) & np.isnan(before))
    doubled[same_stamp[same]] = True
    return doubled, int(np.count_nonzero(~same))


@dataclass(frozen=True)
class Hold:
    """How values are held between updates.

    `cycle` is the usual number of rows between two updates of a column; `together` are the rows in which columns
    are updated where all are updated in the same rows, None where they take turns.
    """

    cycle: int
    together: NDArrayInt | None


def hold_of(columns: Sequence[Floats] | Moves) -> Hold | None:
    """How the columns are held; None where they change freely from row to row.

    Held where the columns that change often (50 times or more, two columns at least) hardly ever (2 %) change again
    in the very next row. Judged: Airproof authors, because free values of two moving signals change in neighbouring
    rows far more often. They take turns where changes of any columns follow one another within half the shortest
    cycle more often than that: two columns that are updated in different rows of a cycle leave such a gap in it.
    """
    cycles: list[int] = []
    changed: list[Bools] = []
    for moved in columns if isinstance(columns, Moves) else Moves(columns):
        count = int(np.count_nonzero(moved))
        if count > 0.6 * (moved.size + 1):
            return None
        changed.append(moved)
        if count >= 50:
            places = np.flatnonzero(moved)
            gaps = places[1:] - places[:-1]
            if np.count_nonzero(gaps == 1) > 0.02 * gaps.size:
                return None
            cycles.append(int(np.argmax(np.bincount(gaps))))
    if len(cycles) < 2:
        return None
    cycle = int(np.median(cycles))
    any_moved = np.logical_or.reduce(changed)
    gaps = np.diff(np.flatnonzero(any_moved))
    # Measured by the cycle, not by neighbouring rows: the turns of a slow round, or of a table whose rows are all
    # there twice, leave rows between them in which nothing changes.
    if np.count_nonzero(gaps <= max(1, min(cycles) // 2)) <= 0.02 * gaps.size:
        return Hold(cycle, _at_least_every(any_moved, cycle))
    return Hold(cycle, None)


def refreshed(columns: Sequence[Floats] | Moves, hold: Hold) -> list[NDArrayInt]:
    """The rows of each held column that bring a new value: each change, and one row a cycle after it."""
    moves = columns if isinstance(columns, Moves) else Moves(columns)
    if hold.together is not None:
        return [hold.together] * len(moves)
    height = moves[0].size + 1
    fresh = _at_least_every(np.stack(list(moves)), hold.cycle)
    ends = np.searchsorted(fresh, height * np.arange(len(moves) + 1)).tolist()
    return [fresh[a:b] - n * height for n, (a, b) in enumerate(pairwise(ends))]


def _at_least_every(moved: Bools, cycle: int) -> NDArrayInt:
    """The first row, those that moved from the row before, and every `cycle`-th row after one until the next.

    Of several columns (moved[column, row]) each goes on where the one before it ends.
    """
    table = moved.reshape(-1, moved.shape[-1])
    brings = np.ones((table.shape[0], table.shape[1] + 1), dtype=bool)
    brings[:, 1:] = table
    begins = np.append(np.flatnonzero(brings), brings.size)
    counts = (begins[1:] - begins[:-1] - 1) // cycle + 1
    firsts = begins[:-1] - cycle * (counts.cumsum() - counts)
    return np.asarray(firsts.repeat(counts) + cycle * np.arange(counts.sum()), dtype=np.intp)


def resolution_of(values: Floats) -> float | None:
    """The step that values are rounded to, where one can be seen: differences are multiples of it within a quarter."""
    if values.size < 8:
        return None
    sample = np.sort(values[:: max(1, values.size // _RESOLUTION_SAMPLE)])
    gaps = sample[1:] - sample[:-1]
    gaps = gaps[gaps > 0]
    if gaps.size < 2 or gaps.size > 0.5 * sample.size + 2:
        return None
    gaps.sort()
    ratios = gaps / gaps[gaps.size // 20]
    multiples = np.rint(ratios)
    fitting = (multiples >= 1) & (np.abs(ratios - multiples) < 0.25)
    if np.count_nonzero(fitting) < 0.9 * fitting.size:
        return None
    return float(f"{gaps[fitting].sum() / multiples[fitting].sum():.4g}")
