"""How long a write-up with twenty exhibits takes, beside drawing as many bare figures with the drawing library alone.

    python benchmarks/bench_write_up.py

The job is invented: the five exhibits of a weighing and fifteen pictures of single signals, drawn, said, and written as
PDF and as HTML. The peer saves twenty figures of two lines each as SVG in the same run. Seconds are of the processor:
on a busy machine they move less than those of the clock.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests" / "report"))

from invented_case import WRITTEN, case
from invented_weighings import signal

from airproof.engine.rehearsal.compare import Comparison, Move
from airproof.quantities.wishes import wish_of
from airproof.recording.recording import Recording
from airproof.recording.regimes import Regime
from airproof.report.language.language import language
from airproof.report.pictures.one_signal import one_signal
from airproof.report.pictures.sheet import Drawing, as_svg, style
from airproof.report.write_up.html import as_html
from airproof.report.write_up.pdf import as_pdf
from airproof.report.write_up.written import write_up_of

RUNS = 5
MORE = 15
TIME = np.arange(0.0, 300.0, 0.2)


def pictures() -> list[Drawing]:
    """Fifteen pictures of a pressure before and after."""
    before = Recording(
        {"manifold_pressure": signal("manifold_pressure", "kPa", TIME, 38.0 + 20.0 * np.sin(TIME / 9.0))}
    )
    after = Recording({"manifold_pressure": signal("manifold_pressure", "kPa", TIME, 30.0 + 20.0 * np.sin(TIME / 9.0))})
    move = Move(Regime.IDLE, "manifold_pressure", "level", 38.0, 30.0, "kPa", 5.0)
    comparison = Comparison((move,), (), {Regime.IDLE: ((20.0, 60.0),)})
    return [one_signal(comparison, before, after, "manifold_pressure", move, f"Picture {n}") for n in range(MORE)]


def whole(code: str, units: str) -> None:
    """Everything, from the weighing to both files."""
    with style():
        drawings = tuple(pictures())
    write_up = write_up_of(replace(case(), drawings=drawings), language(code), wish_of(units))
    assert len(write_up.figures) >= MORE
    as_pdf(write_up, "a4", WRITTEN)
    as_html(write_up)


def bare() -> None:
    """Twenty figures with two lines."""
    with style():
        for _ in range(20):
            figure = Figure(figsize=(5.6, 4.2), layout="constrained")
            axes = figure.add_subplot()
            axes.plot(TIME, np.sin(TIME))
            axes.plot(TIME, np.cos(TIME))
            as_svg(Drawing("t", "c", "a", figure))


def seconds(call: Callable[[], None]) -> float:
    """The median of some runs, after one that warms up."""
    call()
    taken = []
    for _ in range(RUNS):
        start = time.process_time()
        call()
        taken.append(time.process_time() - start)
    return sorted(taken)[RUNS // 2]


def main() -> None:
    peer = seconds(bare)
    print(f"twenty bare figures as SVG: {peer:.2f} s")
    for code, units in (("en", "kPa"), ("de", "bar")):
        taken = seconds(lambda code=code, units=units: whole(code, units))
        print(
            f"a write-up of twenty exhibits, {code}, {units}: {taken:.2f} s, {taken / peer:.1f} times the bare figures"
        )


if __name__ == "__main__":
    main()
