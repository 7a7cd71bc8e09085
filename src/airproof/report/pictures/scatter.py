"""Points against the band of a healthy engine, with the medians that carry the pattern."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.weighing import Weighing
from airproof.report.pictures.sheet import (
    INK,
    MARK,
    SOFT,
    Drawing,
    healthy_band,
    legend_on_top,
    new_figure,
    plain_log_ticks,
    signed_ticks,
)
from airproof.report.pictures.thinning import medians, thin
from airproof.report.wording import number as in_digits

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

STRANGE = 0.25  # of the points outside the band from which they are no strays; judged: Airproof authors


@dataclass(frozen=True)
class Pattern:
    """Points y (n,) in percent over x (n,) with the healthy band, and their medians (m,) in stretches of x."""

    x: Floats
    y: Floats
    middle_x: Floats
    middle_y: Floats
    low: Floats
    high: Floats
    strange: float
    log_x: bool

    @property
    def out(self) -> Bools:
        """Which medians lie outside the band: they are drawn as diamonds, and the title must say so."""
        return np.asarray((self.middle_y < self.low) | (self.middle_y > self.high))

    @property
    def worst(self) -> int:
        """The median farthest outside the band, or nearest to its edge."""
        return int(np.argmax(np.maximum(self.low - self.middle_y, self.middle_y - self.high)))


def pattern_of(x: Floats, y: Floats, band: tuple[Floats, Floats], *, log_x: bool) -> Pattern:
    """The medians of at least one point; along ln x where `log_x`."""
    across = np.log(x) if log_x else x
    middle_x, middle_y, low, high = medians(across, y, *band)
    if middle_x.size == 0:
        middle_x, middle_y, low, high = (np.atleast_1d(np.median(c)) for c in (across, y, *band))
    strange = float(np.mean((y < band[0]) | (y > band[1])))
    return Pattern(x, y, np.exp(middle_x) if log_x else middle_x, middle_y, low, high, strange, log_x)


def draw_scatter(
    weighing: Weighing,
    number: int,
    title: str,
    caption: str,
    seen: Pattern,
    *,
    what: str,
    over: str,
    x_unit: str,
    x_label: str,
    y_label: str,
) -> Drawing:
    """One sheet: points as dots, medians as a line, diamonds where they leave the grey band.

    `what` over `over` is said aloud to who cannot see it.
    """
    figure = new_figure(number, title, weighing.recording.label)
    axes = figure.add_subplot()
    edges = np.concatenate([[seen.x.min()], seen.middle_x, [seen.x.max()]])
    low, high = (np.concatenate([c[:1], c, c[-1:]]) for c in (seen.low, seen.high))
    healthy_band(axes, edges, low, high)
    axes.axhline(0.0, color=SOFT, linewidth=0.9, zorder=2)
    shown = thin(seen.x.size)
    axes.plot(
        seen.x[shown], seen.y[shown], ".", color=SOFT, alpha=0.55, markersize=3.5, zorder=3, label="steady points"
    )
    axes.plot(seen.middle_x, seen.middle_y, color=INK, linewidth=2.0, zorder=4, label="median")
    out = seen.out
    axes.plot(seen.middle_x[~out], seen.middle_y[~out], "o", color=INK, markersize=6, zorder=5)
    if out.any():
        diamonds = seen.middle_x[out], seen.middle_y[out]
        axes.plot(*diamonds, "D", color=MARK, markersize=7, zorder=5, label="median, outside")
    # A few stray points must not flatten the picture; those beyond the frame are counted in words.
    few, many = np.quantile(seen.y, (0.01, 0.99))
    bottom, top = min(few, low.min(), 0.0), max(many, high.max(), 0.0)
    room = 0.12 * (top - bottom)
    axes.set_ylim(bottom - room, top + room)
    beyond = int(np.count_nonzero((seen.y < bottom - room) | (seen.y > top + room)))
    if seen.log_x:
        plain_log_ticks(axes, float(edges[0]) / 1.1, float(edges[-1]) * 1.1)
    signed_ticks(axes)
    axes.set_xlabel(x_label)
    axes.set_ylabel(y_label)
    legend_on_top(axes, 2)
    stray = f"; beyond the frame lie {beyond} more" if beyond else ""
    told = sorted({0, seen.worst, seen.middle_x.size - 1})
    medians_aloud = ", ".join(
        f"{_aloud(seen.middle_y[k])} at {in_digits(float(seen.middle_x[k]))} {x_unit}" for k in told
    )
    k = seen.worst
    alt = (
        f"{what}, over {over}: the median is {medians_aloud}; a healthy engine lies between "
        f"{_aloud(seen.low[k])} and {_aloud(seen.high[k])}. {title}."
    )
    return Drawing(title, f"{caption}{stray}.", alt, figure)


def _aloud(percent: float) -> str:
    """A signed share as a voice reads it, for a sign alone is skipped."""
    whole = round(percent)
    return f"{'minus' if whole < 0 else 'plus'} {abs(whole)} %" if whole else "0 %"
