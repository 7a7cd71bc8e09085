"""One signal of a healthy and a faulty drive, wide as a film: 1920 x 1080 as PNG."""

from __future__ import annotations

from airproof.engine.rehearsal.compare import Comparison, Move, with_totals
from airproof.recording.recording import Recording
from airproof.report.pictures.compared import FOOT, Row, beside, draw_row, key_above, window_of, words
from airproof.report.pictures.sheet import SOFT, Drawing, clock_ticks, wide_figure
from airproof.report.wording import clock


def one_signal(
    comparison: Comparison, healthy: Recording, faulty: Recording, signal: str, move: Move | None, title: str
) -> Drawing:
    """The signal over the stretch in which its move is seen, or that of the clearest move where it stays as it was.

    To be called and saved within sheet.style().
    """
    one, other = with_totals(healthy), with_totals(faulty)
    window = window_of(comparison, one, move)
    figure = wide_figure(title)
    figure.supxlabel(FOOT, x=0.015, ha="left", fontsize=9.5, color=SOFT)
    axes = figure.add_subplot()
    draw_row(axes, Row(signal, move), one, other, comparison, window)
    clock_ticks(axes, window[1] - window[0])
    axes.set_xlim(window)
    axes.set_xlabel("time, min:s")
    key_above(axes)
    said = f"{words(signal)} {beside(move)}"
    caption = f"From {clock(window[0])} to {clock(window[1])} of the drive: {said}."
    alt = f"One signal over time, the healthy drive under the faulty one: {said}. {title}."
    return Drawing(title, caption, alt, figure)
