"""Exhibit 4: fuel trims against load."""

from __future__ import annotations

import numpy as np

from airproof.diagnosis.weighing import Weighing
from airproof.recording.regimes import Regime
from airproof.report.pictures.scatter import STRANGE, Pattern, draw_scatter, pattern_of
from airproof.report.pictures.sheet import Drawing, NotDrawn
from airproof.report.wording import number

NUMBER = 4
LOW_LOAD, HIGH_LOAD = 45.0, 65.0  # % of the barometer
FEWEST = 3


def draw(weighing: Weighing) -> Drawing | NotDrawn:
    """Total of short and long fuel trim, %, over manifold pressure as a share of the barometer.

    Where lambda was recorded, what the trims leave of it to correct is in the total too.
    """
    trace = weighing.trace("trims")
    # On the overrun the fuel is cut and the mixture control waits: what it shows then says nothing.
    fuelled = None if trace is None else ~weighing.regimes.mask(trace.time, Regime.OVERRUN)
    if trace is None or fuelled is None or np.count_nonzero(fuelled) < FEWEST:
        return NotDrawn("there are no fuel trims at enough steady points: record short and long trim")
    load, measured, low, high = (c[fuelled] for c in (trace.load_percent, trace.measured, trace.low, trace.high))
    seen = pattern_of(load, measured, (low, high), log_x=False)
    with_lambda = "lambda" in weighing.recording
    name = "Mixture correction" if with_lambda else "Fuel trim"
    parts = "trims and lambda together" if with_lambda else "short and long together"
    caption = (
        f"At {measured.size} steady points the {name.lower()} ({parts}) is {_percent(float(np.median(measured)))} by "
        f"the median, and {100 * seen.strange:.0f} % of the points lie outside the band of a healthy engine"
    )
    return draw_scatter(
        weighing,
        NUMBER,
        f"{name} {_statement(seen)}",
        caption,
        seen,
        what=f"{name}, {parts}, in percent",
        over="load as a share of the barometer",
        x_unit="%",
        x_label="load: manifold pressure over barometer, %",
        y_label=f"{name.lower()}, %\n({parts})",
    )


def _statement(seen: Pattern) -> str:
    """What the picture shows: where a median lies outside the band, no title says that all is well."""
    middle = float(np.median(seen.y))
    light, heavy = seen.y[seen.x < LOW_LOAD], seen.y[seen.x > HIGH_LOAD]
    if not seen.out.any():
        if seen.strange < STRANGE:
            return f"is as a healthy engine has it: {_percent(middle)} by the median"
        return f"scatters about the healthy band, {_percent(middle)} by the median"
    if light.size >= FEWEST and heavy.size >= FEWEST:
        return f"is {_percent(float(np.median(light)))} at light load, {_percent(float(np.median(heavy)))} at high load"
    if seen.strange < STRANGE:
        worst = seen.worst
        where = f"near a load of {number(float(seen.middle_x[worst]))} %"
        return f"leaves the healthy band {where}: {_percent(float(seen.middle_y[worst]))}"
    least, most = float(seen.middle_y.min()), float(seen.middle_y.max())
    if round(least) == round(most):
        return f"is {_percent(middle)}, outside what a healthy engine shows"
    return f"runs from {_percent(least)} to {_percent(most)}, which no healthy engine needs"


def _percent(value: float) -> str:
    """With a plain hyphen for a minus: titles are printed on any terminal."""
    rounded = round(value)
    return "0 %" if rounded == 0 else f"{rounded:+d} %"
