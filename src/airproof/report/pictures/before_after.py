"""The proof in one picture: each quantity before and after the repair, with its interval, on an axis of its own."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator

from airproof.repair.proof.proof import Amount, Change, Proof
from airproof.report.pictures.sheet import BAND, INK, MARK, SOFT, Drawing, NotDrawn, new_figure
from airproof.report.wording import sentence

NUMBER = 6  # after those of the weighing
MOST_ROWS = 5
ROW_IN, REST_IN = 0.82, 1.5
VAGUE = 4.0  # times the spread of the values: a healthy range wider than that would squeeze them, and is cut off
CAPTION = (
    "The same checks before and after the repair; bars hold the value nine times in ten, grey is where a healthy "
    "engine lies"
)


def draw(proof: Proof) -> Drawing | NotDrawn:
    """What moved, the size of what was mended first; to be called and saved within sheet.style()."""
    rows = _rows(proof)
    if not rows:
        return NotDrawn("nothing was measured both before and after the repair")
    title = sentence(proof.says).rstrip(".").replace("+-", "\N{PLUS-MINUS SIGN}")
    figure = new_figure(NUMBER, title, "", height_in=REST_IN + ROW_IN * len(rows))
    all_axes: list[Axes] = list(figure.subplots(len(rows), 1, squeeze=False)[:, 0])
    for axes, one in zip(all_axes, rows, strict=True):
        _draw_row(axes, one)
    all_axes[-1].legend(
        handles=[
            Line2D([], [], color=MARK, marker="D", linewidth=2.0, markersize=7, label="before"),
            Line2D([], [], color=INK, marker="o", linewidth=2.0, markersize=7, label="after"),
            Patch(facecolor=BAND, label="healthy engine, 90 %"),
        ],
        loc="upper left",
        bbox_to_anchor=(0.0, -0.75),
        ncols=3,
        fontsize=9.5,
        borderaxespad=0.0,
        columnspacing=1.4,
    )
    listed = "; ".join(one.says for one in rows)
    return Drawing(title, f"{CAPTION}.", f"Values before and after the repair: {listed}. {title}.", figure)


def _rows(proof: Proof) -> list[Change]:
    first = [one for one in proof.changes if one.id.startswith("size ")]
    others = [one for one in proof.changes if one not in first]
    return [*first, *sorted(others, key=lambda one: not one.moved)][:MOST_ROWS]


def _draw_row(axes: Axes, one: Change) -> None:
    ends = [value for amount in (one.before, one.after) for value in _ends(amount)]
    reach = max(ends) - min(ends) or 1.0
    if one.healthy is not None:
        low = max(one.healthy[0], min(ends) - VAGUE * reach)
        high = min(one.healthy[1], max(ends) + VAGUE * reach)
        axes.axvspan(low, high, facecolor=BAND, edgecolor="none", zorder=1)
    elif one.id.startswith("size "):
        axes.axvline(0.0, color=SOFT, linewidth=1.0, linestyle=(0, (4, 2)), zorder=2)
    for amount, place, colour, mark in ((one.before, 0.65, MARK, "D"), (one.after, 0.3, INK, "o")):
        axes.plot(_ends(amount), [place, place], color=colour, linewidth=2.0, zorder=3)
        axes.plot(amount.value, place, mark, color=colour, markersize=7, zorder=4)
    axes.set_ylim(0.0, 1.0)
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    axes.xaxis.set_major_locator(MaxNLocator(5, min_n_ticks=2))
    axes.margins(x=0.08)
    where = f" ({one.place})" if one.place else ""
    unit = f", {one.unit}" if one.unit else ""
    axes.set_title(f"{one.title}{where}{unit}", loc="left", fontsize=10.0, pad=2.0)


def _ends(amount: Amount) -> tuple[float, float]:
    low = amount.value if amount.low is None else amount.low
    high = amount.value if amount.high is None else amount.high
    return low, high
