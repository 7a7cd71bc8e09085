"""The sheet every exhibit is drawn on: one look, readable in grey and on a phone, the same bytes every time.

Nothing is told by colour alone: what was measured is drawn in ink, what a healthy engine shows is a grey band
with dashed edges, and limits are dashed lines.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any
from xml.sax.saxutils import escape, quoteattr

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.patheffects import AbstractPathEffect, withStroke
from matplotlib.ticker import FixedLocator, FuncFormatter, MultipleLocator, NullLocator
from numpy.typing import NDArray

from airproof.report.wording import clock, wrap

Floats = NDArray[np.float64]

INK = "#16202b"
SOFT = "#5d6873"
BAND = "#d8dde2"
WASH = "#eef1f3"
MARK = "#a8380b"

WIDTH_IN = 5.6
DOTS_PER_INCH = 200
TITLE_COLUMNS = 50
WIDE_IN = (9.6, 5.4)  # 1920 x 1080 dots
WIDE_TITLE_COLUMNS = 76

_STYLE: dict[Any, Any] = {
    "font.family": "DejaVu Sans",  # comes with the drawing library, so it looks the same everywhere
    "font.size": 11.0,
    "axes.labelsize": 11.0,
    "axes.edgecolor": SOFT,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.8,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "xtick.color": INK,
    "ytick.color": INK,
    "text.color": INK,
    "hatch.linewidth": 0.6,
    "hatch.color": SOFT,
    "legend.frameon": False,
    "figure.facecolor": "white",
    "savefig.facecolor": "white",
    "text.parse_math": False,  # a file's name may hold dollar signs
    "svg.hashsalt": "airproof",
    "svg.fonttype": "path",
    "axes.unicode_minus": True,
    "path.simplify": True,
}


@dataclass(frozen=True)
class Drawing:
    """A finished picture: its statement, one sentence with the number, and words for who cannot see it."""

    title: str
    caption: str
    alt: str
    figure: Figure


@dataclass(frozen=True)
class NotDrawn:
    """Why there is no picture, in words that complete "not drawn, because"."""

    because: str


@contextmanager
def style() -> Iterator[None]:
    """Everything drawn or saved inside looks like ours, whatever the user's own settings are."""
    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(_STYLE)
        yield


def new_figure(number: int, title: str, source: str, height_in: float = 4.2) -> Figure:
    """An empty sheet with its number, the statement on top and the recording's name at the foot."""
    figure = Figure(figsize=(WIDTH_IN, height_in), layout="constrained")
    statement = "\n".join(wrap(title, TITLE_COLUMNS))
    figure.suptitle(statement, x=0.015, ha="left", fontsize=12.5, fontweight="bold", linespacing=1.15)
    name = source if len(source) <= 56 else source[:26] + " ... " + source[-25:]
    foot = f"Exhibit {number}" + (f"   {name}" if name else "")
    figure.supxlabel(foot, x=0.015, ha="left", fontsize=8.5, color=SOFT)
    return figure


def wide_figure(title: str) -> Figure:
    """An empty sheet as wide as a film, 16 to 9, with the statement on top."""
    figure = Figure(figsize=WIDE_IN, layout="constrained")
    statement = "\n".join(wrap(title, WIDE_TITLE_COLUMNS))
    figure.suptitle(statement, x=0.015, ha="left", fontsize=15.0, fontweight="bold", linespacing=1.15)
    return figure


def healthy_band(axes: Axes, x: Floats, low: Floats, high: Floats, label: str = "healthy engine, 90 %") -> None:
    """The band in which a healthy engine's values lie."""
    axes.fill_between(x, low, high, facecolor=BAND, edgecolor="none", zorder=1, label=label)
    for edge in (low, high):
        axes.plot(x, edge, color=SOFT, linewidth=0.8, linestyle=(0, (4, 2)), zorder=2)


def plain_log_ticks(axes: Axes, low: float, high: float) -> None:
    """Ticks at 1, 2, 5, 10, ... written out, on a logarithmic x axis."""
    decades = range(int(np.floor(np.log10(low))), int(np.ceil(np.log10(high))) + 1)
    ticks = [m * 10.0**d for d in decades for m in (1, 2, 5)]
    axes.set_xscale("log")
    axes.xaxis.set_major_locator(FixedLocator([t for t in ticks if low <= t <= high]))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))


def clock_ticks(axes: Axes, seconds: float, most: int = 7) -> None:
    """Ticks on whole steps of a clock along an x axis that spans so many seconds."""
    steps = (1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 14400)
    step = next((s for s in steps if seconds / s <= most), 86400)
    axes.xaxis.set_major_locator(MultipleLocator(step))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: clock(value)))


def legend_on_top(axes: Axes, columns: int) -> None:
    """The key above the frame, where it hides nothing."""
    axes.legend(
        loc="lower center",
        bbox_to_anchor=(0.45, 1.0),
        ncols=columns,
        fontsize=9.5,
        borderaxespad=0.1,
        columnspacing=1.4,
    )


def halo() -> list[AbstractPathEffect]:
    """White around letters that stand on lines."""
    return [withStroke(linewidth=3.0, foreground="white")]


def signed_ticks(axes: Axes) -> None:
    """The y axis with its sign: +10, 0, -10."""
    axes.yaxis.set_major_formatter(
        FuncFormatter(lambda value, _: "0" if abs(value) < 1e-9 else f"{value:+g}".replace("-", "\N{MINUS SIGN}"))
    )


def as_png(drawing: Drawing) -> bytes:
    """The picture as PNG."""
    buffer = io.BytesIO()
    drawing.figure.savefig(buffer, format="png", dpi=DOTS_PER_INCH, metadata={"Software": None})
    return buffer.getvalue()


def as_svg(drawing: Drawing) -> bytes:
    """The picture as SVG with title and description, no date in it."""
    buffer = io.BytesIO()
    with _laid_out(drawing.figure):
        drawing.figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": "Airproof"})
    text = buffer.getvalue().decode("utf-8")
    start = text.index("<svg")
    end = text.index(">", start)
    words = f"\n <title>{escape(drawing.title)}</title>\n <desc>{escape(drawing.alt)}</desc>"
    role = f' role="img" aria-label={quoteattr(drawing.alt)}'
    return (text[:end] + role + text[end : end + 1] + words + text[end + 1 :]).encode("utf-8")


@contextmanager
def _laid_out(figure: Figure) -> Iterator[None]:
    """The figure with its parts in their places: saved without a layout to reckon it is drawn once and not twice."""
    engine = figure.get_layout_engine()
    if engine is None:
        yield
        return
    FigureCanvasSVG(figure)  # letters are as wide as they will be drawn
    engine.execute(figure)
    figure.set_layout_engine("none")
    try:
        yield
    finally:
        figure.set_layout_engine(engine)
