"""Exhibit 4: fuel trims against load."""

from __future__ import annotations

import numpy as np

from airproof.diagnosis.weighing import Weighing
from airproof.recording.regimes import Regime
from airproof.report.pictures.scatter import draw_scatter
from airproof.report.pictures.sheet import Drawing, NotDrawn

NUMBER = 4
LOW_LOAD, HIGH_LOAD = 45.0, 65.0  # % of the barometer


def draw(weighing: Weighing) -> Drawing | NotDrawn:
    """Total of short and long fuel trim, %, over manifold pressure as a share of the barometer."""
    trace = weighing.trace("trims")
    # On the overrun the fuel is cut and the mixture control waits: what it shows then says nothing.
    fuelled = None if trace is None else ~weighing.regimes.mask(trace.time, Regime.OVERRUN)
    if trace is None or fuelled is None or np.count_nonzero(fuelled) < 3:
        return NotDrawn("there are no fuel trims at enough steady points: record short and long trim")
    load, measured, low, high = (c[fuelled] for c in (trace.load_percent, trace.measured, trace.low, trace.high))
    middle = float(np.median(measured))
    light, heavy = measured[load < LOW_LOAD], measured[load > HIGH_LOAD]
    strange = float(np.mean((measured < low) | (measured > high)))
    if strange < 0.25:
        title = f"Fuel trims are as a healthy engine has them: {_percent(middle)} by the median"
    elif light.size >= 3 and heavy.size >= 3:
        at_light, at_heavy = _percent(float(np.median(light))), _percent(float(np.median(heavy)))
        title = f"Fuel trims are {at_light} at light load, {at_heavy} at high load"
    else:
        title = f"Fuel trims stand at {_percent(middle)}, outside what a healthy engine shows"
    caption = (
        f"At {measured.size} steady points the trims total {_percent(middle)} by the median, and "
        f"{100 * strange:.0f} % of the points lie outside the band of a healthy engine"
    )
    return draw_scatter(
        weighing,
        NUMBER,
        title,
        caption,
        x=load,
        x_label="load: manifold pressure over barometer, %",
        log_x=False,
        y=measured,
        y_label="fuel trim,\nshort and long together, %",
        band=(low, high),
    )


def _percent(value: float) -> str:
    rounded = round(value)
    return "0 %" if rounded == 0 else f"{rounded:+d} %".replace("-", "\N{MINUS SIGN}")
