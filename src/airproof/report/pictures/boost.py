"""Exhibit 5: charge pressure against its target, else against barometer and manifold pressure."""

from __future__ import annotations

import numpy as np

from airproof.diagnosis.weighing import RelationTrace, Weighing
from airproof.engine.air_path import AT_REST
from airproof.report.pictures.engine_off import at_rest
from airproof.report.pictures.sheet import (
    INK,
    MARK,
    SOFT,
    Drawing,
    NotDrawn,
    clock_ticks,
    healthy_band,
    legend_on_top,
    new_figure,
)
from airproof.report.pictures.thinning import busiest_window, envelope, thin
from airproof.report.wording import clock, number

NUMBER = 5
WINDOW_S = 40.0
NO_BOOST = 100.0 * AT_REST  # manifold pressure, % of the barometer, below which so little flows that nothing compresses
BOOSTED_KPA = 15.0
AROUND_S = 4.0


def draw(weighing: Weighing) -> Drawing | NotDrawn:
    """Charge pressure, kPa absolute: over time with its target, else over manifold pressure."""
    if not weighing.profile.boosted:
        return NotDrawn("the engine has no compressor")
    target = weighing.recording.get("charge_pressure_target")
    if target is not None and len(target) > 2:
        actual = next((n for n in ("charge_pressure", "manifold_pressure") if n in weighing.recording), None)
        if actual is not None and float(target.values.max()) > _day(weighing) + BOOSTED_KPA:
            return _against_target(weighing, actual)
    if not weighing.profile.throttled:
        return NotDrawn("no boost target was recorded, or hardly any boost asked for")
    trace = weighing.trace("charge-pressure")
    if trace is None or trace.time.size < 3:
        return NotDrawn("there is no charge pressure before the throttle, or too few steady points")
    return _against_load(weighing, trace)


def _day(weighing: Weighing) -> float:
    """The barometer as exhibit 1 has it, kPa absolute."""
    rest = at_rest(weighing)
    return weighing.barometer.kpa if rest is None else rest.day


def _against_target(weighing: Weighing, name: str) -> Drawing | NotDrawn:
    target, actual = weighing.recording["charge_pressure_target"], weighing.recording[name]
    day = _day(weighing)
    boost = np.clip(target.values - day - BOOSTED_KPA, 0.0, None)
    start, end = busiest_window(target.time, boost, WINDOW_S)
    busy = target.time[(boost > 0.0) & (target.time >= start) & (target.time <= end)]
    start, end = float(busy[0]), float(busy[-1])
    reached = actual.at(target.time, max_gap_s=5.0)
    asked = (target.values > day + BOOSTED_KPA) & np.isfinite(reached)
    if np.count_nonzero(asked) < 3:
        return NotDrawn("the charge pressure was not recorded while boost was asked for")
    words = name.replace("_", " ")
    # While a turbocharger comes up, boost is below its target on any car: only what the check found settled is told.
    settled = next((finding.value for finding in weighing.verdict.findings if finding.id == "boost-error"), None)
    off = settled or 0.0
    way = "above" if off > 0 else "below"
    if settled is None:
        title = "Boost is asked for too briefly to settle"
    elif abs(off) <= 0.1 * (float(np.median(target.values[asked])) - day):
        title = f"Boost settles within {number(max(abs(off), 1.0))} kPa of its target"
    else:
        title = f"Boost stays {number(abs(off))} kPa {way} its target"
    figure = new_figure(NUMBER, title, weighing.recording.label)
    axes = figure.add_subplot()
    for signal, line, label in ((target, "--", "target"), (actual, "-", f"{words}, measured")):
        shown = signal.between(start - AROUND_S, end + AROUND_S)
        axes.plot(
            *envelope(shown.time, shown.values),
            line,
            color=SOFT if line == "--" else INK,
            linewidth=2.0,
            label=label,
        )
    axes.axhline(day, color=SOFT, linewidth=1.0, linestyle=(0, (1, 2)), label="barometer")
    axes.set_xlim(start - AROUND_S, end + AROUND_S)
    clock_ticks(axes, end - start + 2 * AROUND_S)
    axes.set_xlabel("time, min:s")
    axes.set_ylabel("pressure, kPa absolute")
    legend_on_top(axes, 3)
    caption = (
        f"Wherever more than {BOOSTED_KPA:.0f} kPa of boost is asked for, {words} lies by the median "
        f"{number(abs(off))} kPa {way} its target; "
        f"shown is the hardest stretch, from {clock(start)} to {clock(end)}."
    )
    return Drawing(title, caption, f"Target and measured boost over time. {title}.", figure)


def _against_load(weighing: Weighing, trace: RelationTrace) -> Drawing | NotDrawn:
    day = _day(weighing)
    manifold = trace.load_percent * day / 100.0
    light = trace.load_percent < NO_BOOST
    if np.count_nonzero(light) < 3:
        return NotDrawn("there are too few steady points at light load, where charge pressure must equal the barometer")
    rest = float(np.median(trace.measured[light]))
    slack = float(np.median(trace.high[light] - trace.expected[light]))
    off = rest - day
    far = abs(off) > slack
    if far:
        way = "above" if off > 0 else "below"
        title = f"Without boost, charge pressure reads {number(abs(off))} kPa {way} the barometer"
    else:
        title = f"Without boost, charge pressure meets the barometer within {max(abs(off), 0.1):.1f} kPa"
    figure = new_figure(NUMBER, title, weighing.recording.label)
    axes = figure.add_subplot()
    left, right = min(float(manifold.min()), 0.3 * day), max(float(manifold.max()), day) * 1.03
    ends = np.array([left, NO_BOOST * day / 100.0])
    healthy_band(axes, ends, np.full(2, day - slack), np.full(2, day + slack), "barometer: where nothing compresses")
    axes.plot(
        [ends[1], day, right],
        [day, day, right],
        ":",
        color=SOFT,
        linewidth=1.4,
        zorder=2,
        label="never below this",
    )
    shown = thin(manifold.size)
    axes.plot(
        manifold[shown],
        trace.measured[shown],
        ".",
        color=SOFT,
        alpha=0.7,
        markersize=4,
        zorder=3,
        label="steady points",
    )
    label = f"median there: {rest:.1f} kPa"
    axes.plot(ends, [rest, rest], color=MARK if far else INK, linewidth=2.6, zorder=5, label=label)
    axes.plot(ends.mean(), rest, "D" if far else "o", color=MARK if far else INK, markersize=8, zorder=5)
    axes.set_xlabel("manifold pressure, kPa absolute")
    axes.set_ylabel("charge pressure before\nthe throttle, kPa absolute")
    legend_on_top(axes, 2)
    caption = (
        f"While the manifold is below {NO_BOOST:.0f} % of the barometer nothing has to be compressed, and "
        f"charge pressure reads {rest:.1f} kPa absolute by the median "
        f"where the barometer stands at {day:.1f} kPa."
    )
    return Drawing(title, caption, f"Charge pressure over manifold pressure, barometer {day:.1f} kPa. {title}.", figure)
