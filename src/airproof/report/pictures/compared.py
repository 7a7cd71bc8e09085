"""The teaching picture: what moves most clearly between a healthy and a faulty drive, and what one would expect to.

Each row is one signal over time, the healthy drive a broad grey line, the faulty one a thin line in ink upon it; the
stretches in which the number beside it was read are shaded.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TypeGuard

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator

from airproof.engine.rehearsal.compare import STEADY, Comparison, Move, noticeable, with_totals
from airproof.errors import UnusableRequest
from airproof.recording.recording import Interval, Recording
from airproof.recording.regimes import Regime
from airproof.report.pictures.sheet import (
    BAND,
    INK,
    MARK,
    SOFT,
    Drawing,
    NotDrawn,
    as_png,
    as_svg,
    clock_ticks,
    new_figure,
    style,
)
from airproof.report.pictures.thinning import envelope
from airproof.report.rehearsal_in_words import WHERE, change_in_words, told
from airproof.report.whole_file import put_whole
from airproof.report.wording import clock

MOST_ROWS, FEWEST_ROWS = 5, 3
ROW_IN, ROWS_IN = 0.98, 4.0  # a row at least, all rows at least
SMALLEST = 0.1  # of a row's height: a move at rest is drawn no smaller, and what goes further is cut off
LONGEST_S = 600.0  # what a page shows of a drive
BRIEF = (Regime.SNAP, Regime.FULL_LOAD)  # too short to be seen in a whole drive: shown close up
AROUND_S = (4.0, 8.0)  # before and after
HEALTHY = "#8a949e"
NUMBER = 1
FOOT = "Rehearsed, not measured: one car, one drive; pressures absolute"


@dataclass(frozen=True)
class Row:
    """One signal and the move it is shown for; none where it stays as it was."""

    signal: str
    move: Move | None


def draw_compared(comparison: Comparison, healthy: Recording, faulty: Recording, title: str, path: Path) -> None:
    """Draw the comparison into a file, SVG or PNG by its ending, put in place whole; `title` is its point.

    Raises UnusableRequest for another ending, or where no signal could be compared; UnusableFile where the file cannot
    be written.
    """
    path = Path(path)
    formed = {".svg": as_svg, ".png": as_png}.get(path.suffix.lower())
    if formed is None:
        raise UnusableRequest(f'"{path.suffix}"', ".svg or .png", "Name the picture so.", where=str(path))
    with style():
        drawing = picture(comparison, healthy, faulty, title)
        if isinstance(drawing, NotDrawn):
            wanted = "two recordings of one car and one drive, with a signal in common"
            raise UnusableRequest(drawing.because, wanted, "Compare others.", where=str(path))
        content = formed(drawing)
    put_whole(path, content)


def picture(comparison: Comparison, healthy: Recording, faulty: Recording, title: str) -> Drawing | NotDrawn:
    """The drawing itself; to be called and saved within sheet.style()."""
    one, other = with_totals(healthy), with_totals(faulty)
    window = window_of(comparison, one)
    rows = _rows(comparison, window)
    if not rows:
        return NotDrawn("no signal could be compared")
    figure = new_figure(NUMBER, title, "", height_in=1.5 + max(ROW_IN * len(rows), ROWS_IN))
    figure.supxlabel(FOOT, x=0.015, ha="left", fontsize=8.5, color=SOFT)
    all_axes: list[Axes] = list(figure.subplots(len(rows), 1, sharex=True, squeeze=False)[:, 0])
    for axes, row in zip(all_axes, rows, strict=True):
        draw_row(axes, row, one, other, comparison, window)
    for axes in all_axes[:-1]:
        axes.tick_params(labelbottom=False)
    clock_ticks(all_axes[-1], window[1] - window[0])
    all_axes[-1].set_xlim(window)
    all_axes[-1].set_xlabel("time, min:s")
    key_above(all_axes[0])
    said = "; ".join(f"{words(row.signal)} {beside(row.move)}" for row in rows)
    caption = f"From {clock(window[0])} to {clock(window[1])} of the drive: {said}."
    alt = f"One row for each signal over time, the healthy drive under the faulty one: {said}. {title}."
    return Drawing(title, caption, alt, figure)


def words(signal: str) -> str:
    """What a mechanic calls the signal."""
    return noticeable()[signal].words


def window_of(comparison: Comparison, recording: Recording, move: Move | None = None) -> Interval:
    """The whole drive, or close up where the move happens in a moment; of a long drive the part that tells.

    Where no move is given it is the clearest one's.
    """
    first, last = recording.start_s, recording.end_s
    drawn = _drawable(comparison) if move is None else [move]
    if not drawn:
        return first, min(last, first + LONGEST_S)
    regime = drawn[0].regime
    start, end = max(comparison.stretches[regime], key=lambda span: span[1] - span[0])
    if regime in BRIEF:
        return max(first, start - AROUND_S[0]), min(last, end + AROUND_S[1])
    if last - first <= LONGEST_S:
        return first, last
    begin = min(max(first, start - AROUND_S[0]), last - LONGEST_S)
    return begin, begin + LONGEST_S


def _drawable(comparison: Comparison) -> list[Move]:
    """Moves of values, in the order of clearness; a state is a word and has no curve."""
    return [move for move in told(comparison.moves) if move.kind != "state"]


def _rows(comparison: Comparison, window: Interval) -> list[Row]:
    """The signals that move most clearly within the window, each for its clearest move, then some that stay."""
    moves = _drawable(comparison)
    close_up = bool(moves) and moves[0].regime in BRIEF
    chosen: dict[str, Move] = {}
    for move in moves:
        seen = any(a < window[1] and b > window[0] for a, b in comparison.stretches[move.regime])
        if seen and (close_up or move.regime != Regime.SNAP):
            chosen.setdefault(move.signal, move)
    rows = [Row(signal, move) for signal, move in chosen.items()][:MOST_ROWS]
    still = [one.signal for one in comparison.still]
    quiet = [Row(signal, None) for signal in still if noticeable()[signal].goes_with not in still]
    quiet.sort(key=lambda row: not row.signal.startswith("total_trim"))  # everybody looks at the trims first
    return rows + quiet[: max(FEWEST_ROWS - len(rows), 1 if len(rows) < MOST_ROWS else 0)]


def draw_row(
    axes: Axes, row: Row, healthy: Recording, faulty: Recording, comparison: Comparison, window: Interval
) -> None:
    """One signal of both drives over time; a window is from and to, s."""
    seen, edges = noticeable()[row.signal], []
    for recording, colour, width in ((healthy, HEALTHY, 2.6), (faulty, INK, 1.2)):
        part = recording[row.signal].between(*window)
        time, values = envelope(part.time, part.values, 400)
        axes.plot(time, values, color=colour, linewidth=width, solid_joinstyle="round", zorder=3)
        edges += [float(values.min()), float(values.max())] if values.size else []
    if edges:
        # What hardly moves is not blown up until it seems to.
        margin = max(0.08 * (max(edges) - min(edges)), 2.0 * seen.least(max(edges), None))
        axes.set_ylim(_view(min(edges) - margin, max(edges) + margin, row.move))
    unit = "" if seen.unit == "1" else f", {seen.unit}"
    axes.set_title(f"{seen.words}{unit}", loc="left", fontsize=10.5, pad=3.0)
    colour = SOFT if row.move is None else MARK
    weight = "normal" if row.move is None else "bold"
    axes.set_title(beside(row.move), loc="right", fontsize=10.5, pad=3.0, color=colour, fontweight=weight)
    axes.yaxis.set_major_locator(MaxNLocator(3, min_n_ticks=2))
    if row.move is not None:
        spans = [(max(a, window[0]), min(b, window[1])) for a, b in comparison.stretches[row.move.regime]]
        spans = [(a, b) for a, b in spans if b > a]
        for a, b in spans:
            axes.axvspan(a, b, facecolor=BAND, edgecolor="none", zorder=1)
        if _held(row.move):
            middle = np.mean(max(spans, key=lambda span: span[1] - span[0]))
            axes.plot([middle] * 2, [row.move.healthy, row.move.faulty], color=MARK, linewidth=2.4, zorder=5)


def _held(move: Move | None) -> TypeGuard[Move]:
    """Whether it is the level of something held, so that an upright can stand for it anywhere."""
    return move is not None and move.kind == "level" and move.regime in STEADY


def _view(low: float, high: float, move: Move | None) -> tuple[float, float]:
    """From where to where a row reaches: all of it, or so much that a move of its level is large enough to be seen."""
    if not _held(move) or abs(move.change) >= SMALLEST * (high - low):
        return low, high
    middle, height = 0.5 * (move.healthy + move.faulty), abs(move.change) / SMALLEST
    below = min(max((middle - low) / (high - low), 0.25), 0.75) * height
    return middle - below, middle - below + height


def beside(move: Move | None) -> str:
    """The size of a move in a few words."""
    if move is None:
        return "no lasting change"
    change, where = change_in_words(move).replace("-", "\N{MINUS SIGN}"), WHERE[move.regime]
    match move.kind:
        case "swing":
            return f"swing {change} {where}"
        case "delay":
            return f"{change} later {where}"
    return f"{change} {where}"


def key_above(axes: Axes) -> None:
    """What is what, above the first row and its heading."""
    axes.legend(
        handles=[
            Line2D([], [], color=HEALTHY, linewidth=2.6, label="healthy"),
            Line2D([], [], color=INK, linewidth=1.2, label="faulty"),
            Patch(facecolor=BAND, label="where the number was read"),
        ],
        loc="lower center",
        bbox_to_anchor=(0.42, 1.0),
        ncols=3,
        fontsize=9.5,
        columnspacing=1.4,
        handlelength=1.6,
        borderaxespad=2.0,
    )
