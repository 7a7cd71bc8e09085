"""Exhibit 2: manifold pressure over time, what the engine was doing, and what a healthy engine would show."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes

from airproof.diagnosis.weighing import RelationTrace, Weighing
from airproof.recording.recording import Interval, Signal
from airproof.recording.regimes import Regime, Regimes
from airproof.report.pictures.engine_off import AtRest, at_rest
from airproof.report.pictures.sheet import (
    BAND,
    INK,
    MARK,
    SOFT,
    WASH,
    Drawing,
    NotDrawn,
    clock_ticks,
    halo,
    legend_on_top,
    new_figure,
)
from airproof.report.pictures.thinning import busiest_window, envelope
from airproof.report.wording import clock, duration, number

NUMBER = 2
WINDOW_S = 150.0
"""A page shows this much; of a longer recording the most telling stretch is shown, the whole below it."""

STRANGE = 0.25  # of the points outside the band from which they are no strays; judged: Airproof authors
NEAR_EDGE = 0.6  # of the half band
CLOSE = 5.0  # %, near enough to the middle of the band to say nothing of it; judged: Airproof authors
_ENGINE_OFF_KPA = 3.0  # to either side of the barometer where a good sensor reads with the engine off; as in exhibit 1
_STEADY_S = 2.5  # a steady point stands for about so long
_HATCHES = {
    Regime.KEY_ON: "",
    Regime.CRANKING: "xxxx",
    Regime.IDLE: "////",
    Regime.SNAP: "++++",
    Regime.CRUISE: "....",
    Regime.FULL_LOAD: "||||",
    Regime.OVERRUN: "\\\\\\\\",
}


def draw(weighing: Weighing) -> Drawing | NotDrawn:
    """Measured pressure and the expected band, where known, kPa absolute; the regimes as rows beneath."""
    signal = weighing.recording.get("manifold_pressure")
    if signal is None or len(signal) < 2:
        return NotDrawn("there is no manifold pressure in the recording")
    trace = weighing.trace("manifold-pressure")
    if trace is not None and trace.time.size == 0:
        trace = None
    rest = at_rest(weighing)
    step = _step_at_rest(rest)
    key_on = weighing.regimes.intervals(Regime.KEY_ON)
    start, end = _window(signal, trace, weighing.regimes, key_on[0] if step and key_on else None)
    whole = end - start >= float(signal.time[-1] - signal.time[0]) - 1.0
    regimes = [r for r in Regime if _within(weighing.regimes.intervals(r), start, end)]
    day = rest.day if rest else weighing.barometer.kpa
    title, caption = _statement(signal, trace, day)
    if step:
        title = f"With the engine at rest, pressure stands {step.words} {step.against} instead of level with it"
        at_rest_words = f"With the engine off the pressure stands {step.words} the {day:.1f} kPa of {step.against}"
        caption = f"{at_rest_words}; {_then(caption)}"
    heights = [3.0, 0.24 * max(len(regimes), 1), *([] if whole else [0.75])]
    figure = new_figure(NUMBER, title, weighing.recording.label, height_in=1.5 + sum(heights))
    axes, *below = figure.subplots(len(heights), 1, height_ratios=heights, squeeze=True)
    engine_off = _within(key_on, start, end)
    _draw_pressure(axes, signal, trace, (start, end), day, engine_off)
    if step and engine_off:
        _draw_step(axes, step, engine_off[0], (start, end))
    _draw_regimes(below[0], weighing, regimes, start, end)
    if not whole:
        _draw_overview(below[1], signal, start, end)
        caption += f", shown from {clock(start)} to {clock(end)} of {duration(float(signal.time[-1]))}"
    alt = f"Manifold pressure over time, from minute {clock(start)} to {clock(end)}; below it, when there was " + (
        ", ".join(str(r) for r in regimes) or "no regime that could be told"
    )
    return Drawing(title, caption + ".", f"{alt}. {title}.", figure)


@dataclass(frozen=True)
class _Step:
    """How far the sensor reads off with the engine at rest, kPa, and what it is held against at `day`."""

    away: float
    day: float
    against: str

    @property
    def words(self) -> str:
        return f"{abs(self.away):.1f} kPa {'above' if self.away > 0 else 'below'}"


def _step_at_rest(rest: AtRest | None) -> _Step | None:
    """Set where the manifold sensor is what exhibit 1 is about, and is off."""
    if rest is None or not rest.known or rest.subject.name != "manifold_pressure" or not rest.far(rest.subject):
        return None
    return _Step(rest.away(rest.subject), rest.day, rest.against)


def _then(caption: str) -> str:
    return caption[:1].lower() + caption[1:]


def _draw_step(axes: Axes, step: _Step, engine_off: Interval, window: Interval) -> None:
    """An upright from where the pressure ought to be to where it is, with its length."""
    a, b = engine_off
    level, left = step.day + step.away, b < sum(window) / 2
    axes.plot([(a + b) / 2] * 2, [step.day, level], color=MARK, linewidth=2.4, zorder=6)
    axes.plot((a + b) / 2, level, "D", color=MARK, markersize=7, zorder=6)
    axes.annotate(
        f"{step.away:+.1f} kPa".replace("-", "\N{MINUS SIGN}"),
        xy=(b if left else a, level),
        xytext=(6 if left else -6, 3),
        textcoords="offset points",
        ha="left" if left else "right",
        fontsize=11,
        fontweight="bold",
        color=MARK,
        path_effects=halo(),
        zorder=7,
    )


def _window(signal: Signal, trace: RelationTrace | None, regimes: Regimes, must: Interval | None) -> Interval:
    """Where the pressure is strangest; without a band to tell by, where most of the rarer regimes lie.

    Where there is a stretch that `must` be seen, it is at its beginning.
    """
    first, last = float(signal.time[0]), float(signal.time[-1])
    if last - first <= WINDOW_S:
        return first, last
    if must is not None:
        start = max(first, must[0] - 5.0)
    elif trace is not None:
        strangeness = np.abs(trace.measured - trace.expected) / np.maximum(trace.high - trace.low, 1e-9)
        start, _ = busiest_window(trace.time, np.minimum(strangeness, 3.0), WINDOW_S)
        start = first if start - first < 20.0 else start - 5.0  # the key-on at the beginning belongs to the picture
    else:
        seconds = np.arange(first, last)
        masks = [regimes.mask(seconds, regime) for regime in Regime]
        start, _ = busiest_window(seconds, sum((m / max(m.sum(), 1) for m in masks), np.zeros(seconds.size)), WINDOW_S)
    start = min(start, last - WINDOW_S)
    return start, start + WINDOW_S


def _within(intervals: tuple[Interval, ...], start: float, end: float) -> list[Interval]:
    return [(max(a, start), min(b, end)) for a, b in intervals if a < end and b > start]


def _statement(signal: Signal, trace: RelationTrace | None, barometer_kpa: float) -> tuple[str, str]:
    low, high = float(signal.values.min()), float(signal.values.max())
    if trace is None:
        return (
            f"Manifold pressure moves between {low:.0f} and {high:.0f} kPa; "
            f"the barometer stands at {barometer_kpa:.0f}",
            f"Manifold pressure moves between {low:.0f} and {high:.0f} kPa absolute against a barometer of "
            f"{barometer_kpa:.1f} kPa; no band is drawn, because nothing else recorded tells the pressure",
        )
    off = trace.measured - trace.expected
    outside = float(np.mean((trace.measured < trace.low) | (trace.measured > trace.high)))
    middle, percent = float(np.median(off)), float(np.median(100.0 * off / trace.expected))
    if outside < STRANGE:
        title = f"Manifold pressure stays where a healthy engine has it {100 * (1 - outside):.0f} % of the time"
        if abs(percent) >= CLOSE:
            place = float(np.median(2.0 * off / np.maximum(trace.high - trace.low, 1e-9)))
            half = "upper" if middle > 0 else "lower"
            where = f"near the {half} edge" if abs(place) > NEAR_EDGE else f"in the {half} half"
            title = f"Manifold pressure lies {where} of what an engine of this kind may have"
        return (
            title,
            f"At {trace.time.size} steady points the measured pressure lies in the healthy band "
            f"{100 * (1 - outside):.0f} % of the time, {number(abs(middle))} kPa off its middle by the median",
        )
    # Which of the two is wrong, sensor or air flow, this picture cannot tell: unmetered air looks like it too.
    way = "below" if middle < 0 else "above"
    return (
        f"Pressure and measured air flow disagree: pressure is {number(abs(percent))} % "
        f"{'lower' if middle < 0 else 'higher'} than that air flow makes",
        f"At {trace.time.size} steady points the measured pressure lies outside the healthy band "
        f"{100 * outside:.0f} % of the time, and {number(abs(middle))} kPa "
        f"({number(abs(percent))} %) {way} its middle by the median",
    )


def _draw_pressure(
    axes: Axes,
    signal: Signal,
    trace: RelationTrace | None,
    window: Interval,
    barometer_kpa: float,
    engine_off: list[Interval],
) -> None:
    start, end = window
    shown = signal.between(start, end)
    time, values = envelope(shown.time, shown.values, 500)
    axes.plot(time, values, color=INK, linewidth=1.1, zorder=4, label="measured")
    tops = [float(np.max(values))]
    if trace is not None:
        inside = (trace.time >= start) & (trace.time <= end)
        for edges in _steady(trace.time[inside], trace.low[inside], trace.high[inside]):
            axes.fill_between(*edges, facecolor=BAND, edgecolor=SOFT, linewidth=0.8, zorder=3)
        tops.append(float(np.max(trace.high[inside], initial=0.0)))
        axes.fill_between([], [], [], facecolor=BAND, edgecolor=SOFT, linewidth=0.8, label="healthy engine, 90 %")
    for a, b in engine_off:
        low, high = barometer_kpa - _ENGINE_OFF_KPA, barometer_kpa + _ENGINE_OFF_KPA
        axes.fill_between([a, b], low, high, facecolor=BAND, edgecolor=SOFT, linewidth=0.8, zorder=3)
    axes.axhline(barometer_kpa, color=SOFT, linewidth=1.0, linestyle=(0, (1, 2)), zorder=2, label="barometer")
    axes.set_xlim(start, end)
    axes.set_ylim(0.0, 1.08 * max(*tops, barometer_kpa))
    axes.set_ylabel("manifold pressure,\nkPa absolute")
    legend_on_top(axes, 3)
    axes.tick_params(labelbottom=False)
    clock_ticks(axes, end - start)


def _steady(time: np.ndarray, low: np.ndarray, high: np.ndarray) -> list[tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """Edges of the band, one piece for each unbroken stretch, half a step wider at both ends."""
    if time.size == 0:
        return []
    pieces = []
    for part in np.split(np.arange(time.size), np.flatnonzero(np.diff(time) > _STEADY_S) + 1):
        half = 0.5
        t = np.concatenate([[time[part[0]] - half], time[part], [time[part[-1]] + half]])
        pieces.append(
            (
                t,
                np.concatenate([low[part[:1]], low[part], low[part[-1:]]]),
                np.concatenate([high[part[:1]], high[part], high[part[-1:]]]),
            )
        )
    return pieces


def _draw_regimes(axes: Axes, weighing: Weighing, regimes: list[Regime], start: float, end: float) -> None:
    for row, regime in enumerate(regimes):
        spans = [(a, b - a) for a, b in _within(weighing.regimes.intervals(regime), start, end)]
        axes.broken_barh(
            spans, (row - 0.36, 0.72), facecolor=WASH, edgecolor=INK, linewidth=0.7, hatch=_HATCHES[regime]
        )
    axes.set_yticks(range(len(regimes)), [str(r) for r in regimes], fontsize=9.5)
    axes.set_ylim(max(len(regimes), 1) - 0.5, -0.5)
    axes.set_xlim(start, end)
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    clock_ticks(axes, end - start)
    axes.set_xlabel("time, min:s")
    if not regimes:
        axes.text(
            0.5,
            0.5,
            "no regime could be told here",
            transform=axes.transAxes,
            ha="center",
            va="center",
            fontsize=9.5,
        )


def _draw_overview(axes: Axes, signal: Signal, start: float, end: float) -> None:
    time, values = envelope(signal.time, signal.values, 250)
    axes.plot(time, values, color=SOFT, linewidth=0.5)
    axes.axvspan(start, end, facecolor="none", edgecolor=MARK, linewidth=1.6)
    axes.set_xlim(float(time[0]), float(time[-1]))
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    clock_ticks(axes, float(time[-1] - time[0]))
    axes.tick_params(axis="x", labelsize=9)
    axes.set_ylabel("all of it", fontsize=9.5, rotation=0, ha="right", va="center")
