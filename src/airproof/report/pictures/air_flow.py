"""Exhibit 3: measured air flow against what pressure, temperature and speed account for."""

from __future__ import annotations

import numpy as np

from airproof.diagnosis.weighing import Weighing
from airproof.report.pictures.scatter import draw_scatter
from airproof.report.pictures.sheet import Drawing, NotDrawn
from airproof.report.wording import apart, span

NUMBER = 3
CLOSE = 5.0  # %, within which two ways to the air flow agree on any car; judged: Airproof authors


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
    middle = float(np.median(off))
    strange = float(np.mean((off < low) | (off > high)))
    ten, ninety = np.quantile(off, (0.1, 0.9))
    if strange < 0.25 and abs(middle) < CLOSE:
        title = f"Air flow and pressure agree: measured air flow is {apart(middle, 'speed-density')}"
    elif strange < 0.25:
        title = f"Measured air flow is {apart(middle, 'speed-density')}, as an unknown engine may have it"
    elif ten * ninety > 0:
        way = "above" if middle > 0 else "below"
        title = f"Measured air flow is {span(ten, ninety, '%')} {way} what the pressure accounts for"
    else:
        title = f"Measured air flow strays from what the pressure accounts for by {ten:+.0f} to {ninety:+.0f} %"
    caption = (
        f"At {off.size} steady points the measured air flow is by the median "
        f"{apart(middle, 'speed-density')}, and {100 * strange:.0f} % of the points lie outside a healthy engine's band"
    )
    if not weighing.baselines:
        caption += ", which is wide because no known-good recording of this engine was given"
    return draw_scatter(
        weighing,
        NUMBER,
        title,
        caption,
        x=expected,
        x_label="air flow by pressure, temperature and speed, g/s",
        log_x=True,
        y=off,
        y_label="measured air flow\nagainst that, %",
        band=(low, high),
    )
