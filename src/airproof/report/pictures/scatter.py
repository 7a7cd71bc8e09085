"""Points against the band of a healthy engine, with the medians that carry the pattern."""

from __future__ import annotations

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

Floats = NDArray[np.float64]


def draw_scatter(
    weighing: Weighing,
    number: int,
    title: str,
    caption: str,
    *,
    x: Floats,
    x_label: str,
    log_x: bool,
    y: Floats,
    y_label: str,
    band: tuple[Floats, Floats],
) -> Drawing:
    """One sheet: y over x as dots, medians as a line, diamonds where they leave the grey band."""
    figure = new_figure(number, title, weighing.recording.label)
    axes = figure.add_subplot()
    across = np.log(x) if log_x else x
    middle_x, middle_y, low, high = medians(across, y, *band)
    if middle_x.size == 0:
        middle_x, middle_y, low, high = (np.atleast_1d(np.median(c)) for c in (across, y, *band))
    edges = np.concatenate([[across.min()], middle_x, [across.max()]])
    low_edge, high_edge = (np.concatenate([c[:1], c, c[-1:]]) for c in (low, high))
    if log_x:
        middle_x, edges = np.exp(middle_x), np.exp(edges)
    healthy_band(axes, edges, low_edge, high_edge)
    axes.axhline(0.0, color=SOFT, linewidth=0.9, zorder=2)
    shown = thin(x.size)
    axes.plot(x[shown], y[shown], ".", color=SOFT, alpha=0.55, markersize=3.5, zorder=3, label="steady points")
    axes.plot(middle_x, middle_y, color=INK, linewidth=2.0, zorder=4, label="median")
    out = (middle_y < low) | (middle_y > high)
    axes.plot(middle_x[~out], middle_y[~out], "o", color=INK, markersize=6, zorder=5)
    if out.any():
        axes.plot(middle_x[out], middle_y[out], "D", color=MARK, markersize=7, zorder=5, label="median, outside")
    # A few stray points must not flatten the picture; those beyond the frame are counted in words.
    few, many = np.quantile(y, (0.01, 0.99))
    bottom, top = min(few, low.min(), 0.0), max(many, high.max(), 0.0)
    room = 0.12 * (top - bottom)
    axes.set_ylim(bottom - room, top + room)
    beyond = int(np.count_nonzero((y < bottom - room) | (y > top + room)))
    if log_x:
        plain_log_ticks(axes, float(edges[0]) / 1.1, float(edges[-1]) * 1.1)
    signed_ticks(axes)
    axes.set_xlabel(x_label)
    axes.set_ylabel(y_label)
    legend_on_top(axes, 2)
    stray = f"; beyond the frame lie {beyond} more" if beyond else ""
    across_words = f"{y_label.replace(chr(10), ' ')} over {x_label}"
    first, last = (f"{middle_y[k]:+.0f} at {middle_x[k]:.3g}" for k in (0, -1))
    run = f"medians run from {first} to {last}"
    alt = f"{across_words}: {run}. {title}."
    return Drawing(title, f"{caption}{stray}.", alt, figure)
