"""Fewer points, same picture: what a page can show of a long recording."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

POINTS_A_PAGE_SHOWS = 700
FEWEST_FOR_A_MEDIAN = 4


def thin(count: int, most: int = POINTS_A_PAGE_SHOWS) -> NDArray[np.intp]:
    """Indices of at most `most` of `count` points, evenly spread, first and last kept."""
    if count <= most:
        return np.arange(count)
    return np.unique(np.linspace(0, count - 1, most).round().astype(np.intp))


def envelope(time: Floats, values: Floats, columns: int = POINTS_A_PAGE_SHOWS) -> tuple[Floats, Floats]:
    """A curve through the lowest and highest value of each of `columns` equal stretches: no peak is lost."""
    if time.size <= 2 * columns:
        return time, values
    width = (time[-1] - time[0]) / columns
    if width <= 0.0:
        return time[:1], values[:1]
    column = np.minimum(((time - time[0]) / width).astype(np.intp), columns - 1)
    order = np.lexsort((values, column))
    first = np.flatnonzero(np.diff(column[order], prepend=-1))
    last = np.append(first[1:], column.size) - 1
    kept = np.unique(np.concatenate([order[first], order[last]]))
    return time[kept], values[kept]


def medians(x: Floats, *curves: Floats, bins: int = 8) -> tuple[Floats, ...]:
    """Medians of x and of each curve in equal stretches of x; stretches with too few points are left out."""
    if x.size == 0:
        return tuple(np.empty(0) for _ in range(len(curves) + 1))
    low, high = float(x.min()), float(x.max())
    width = (high - low) / bins or 1.0
    which = np.minimum(((x - low) / width).astype(np.intp), bins - 1)
    full = [k for k in range(bins) if np.count_nonzero(which == k) >= FEWEST_FOR_A_MEDIAN]
    return tuple(np.array([np.median(c[which == k]) for k in full], dtype=np.float64) for c in (x, *curves))


def busiest_window(time: Floats, weight: Floats, length_s: float) -> tuple[float, float]:
    """From and to, s, of the stretch of that length with most weight; `time` ascending, not empty."""
    total = np.concatenate([[0.0], np.cumsum(weight)])
    end = np.searchsorted(time, time + length_s, side="right")
    best = int(np.argmax(total[end] - total[: time.size]))
    start = float(time[best])
    return start, min(start + length_s, float(time[-1]))
