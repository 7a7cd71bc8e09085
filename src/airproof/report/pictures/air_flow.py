"""Exhibit 3: measured air flow against what pressure, temperature and speed account for."""

from __future__ import annotations

import numpy as np

from airproof.diagnosis.weighing import Weighing
from airproof.report.pictures.scatter import STRANGE, Pattern, draw_scatter, pattern_of
from airproof.report.pictures.sheet import Drawing, NotDrawn
from airproof.report.wording import apart, number, span

NUMBER = 3
CLOSE = 5.0  # %, within which two ways to the air flow agree on any car; judged: Airproof authors
EXPECTED = "the expected"


def draw(weighing: Weighing) -> Drawing | NotDrawn:
    """Deviation of measured air flow from speed-density, %, over the air flow, g/s."""
    trace = weighing.trace("air-flow")
    if trace is None:
        return NotDrawn("air flow, manifold pressure and engine speed are not all there at enough steady points")
    known = (trace.expected > 0.0) & np.isfinite(trace.measured)
    if np.count_nonzero(known) < 3:
        return NotDrawn("there are not enough steady points")
    expected = trace.expected[known]
    off, low, high = (100.0 * (c[known] / expected - 1.0) for c in (trace.measured, trace.low, trace.high))
    seen = pattern_of(expected, off, (low, high), log_x=True)
    caption = (
        f"At {off.size} steady points the measured air flow is by the median {apart(float(np.median(off)), EXPECTED)} "
        f"by pressure, temperature and speed, and {100 * seen.strange:.0f} % of the points lie outside a healthy "
        "engine's band"
    )
    if not weighing.baselines:
        caption += ", which is wide because no known-good recording of this engine was given"
    return draw_scatter(
        weighing,
        NUMBER,
        _title(seen),
        caption,
        seen,
        what="How far the measured air flow lies from the expected, in percent",
        over="the expected air flow",
        x_unit="g/s",
        x_label="expected air flow, g/s\n(by pressure, temperature and speed)",
        y_label="measured over expected\nair flow, % more or less",
    )


def _title(seen: Pattern) -> str:
    """What the picture shows: where a median lies outside the band, no title says that all is well."""
    middle = float(np.median(seen.y))
    ten, ninety = np.quantile(seen.y, (0.1, 0.9))
    if not seen.out.any() and seen.strange < STRANGE:
        if abs(middle) < CLOSE:
            return f"Air flow and pressure agree: measured air flow is {apart(middle, EXPECTED)}"
        return f"Measured air flow is {apart(middle, EXPECTED)}, as an engine of this kind may have it"
    if seen.strange < STRANGE:
        worst = seen.worst
        where = f"near {number(float(seen.middle_x[worst]))} g/s"
        return f"Measured air flow leaves the healthy band {where}: {apart(float(seen.middle_y[worst]), EXPECTED)}"
    if ten * ninety > 0:
        return f"Measured air flow is {span(ten, ninety, '%')} {'above' if middle > 0 else 'below'} {EXPECTED}"
    return f"Measured air flow strays from {EXPECTED} by {ten:+.0f} to {ninety:+.0f} %"
