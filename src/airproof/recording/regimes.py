"""What the engine was doing: key-on, cranking, idle, snap, cruise, full-load, overrun, from whatever signals there are.

Everything is decided on an even grid of moments from the latest sample of each signal, so that signals polled at
different times meet. No pressure is ever compared with an absolute level where something else can decide, because
the sensor that reports it is the one in question.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np

from airproof.recording.moments import Moments, moments_of, runs, settled
from airproof.recording.recording import Bools, Floats, Interval, Recording


class Regime(StrEnum):
    """What the engine was doing."""

    KEY_ON = "key-on"
    CRANKING = "cranking"
    IDLE = "idle"
    SNAP = "snap"
    CRUISE = "cruise"
    FULL_LOAD = "full-load"
    OVERRUN = "overrun"


@dataclass(frozen=True)
class Thresholds:
    """Where one regime ends and another begins.

    All judged: Airproof authors, because no standard sets them; the reason stands beside each.
    """

    usual_idle_rpm: float = 800.0  # taken where idle speed is unknown or was seen on a cold engine only
    warm_idle_rpm: float = 1000.0  # no car's warm engine idles faster
    turning_rpm: float = 50.0  # a sensor wheel gives no steady speed below this
    cranking_rpm: float = 450.0  # starters turn engines at 150 to 300; none idles below 500
    idle_slack: float = 0.15  # idle control holds within 5 %, warm-up and loads shift it by 10 %
    fast_idle_rpm: float = 1500.0  # a cold engine, pedal free and car standing, idles no faster
    standing_kmh: float = 2.0  # a wheel-speed item reads 0 or 1 when standing
    filled_after_s: float = 3.0  # an intake fills through a closed throttle within 1 to 2 s of the engine stopping
    settle_s: float = 2.0  # idle control and filling come to rest within 1 to 2 s
    key_on_wander_kpa: float = 1.5  # one rounding step of 1 kPa and a little noise
    warm_degc: float = 70.0  # regulation calls an engine warmed up from 70 degC on; idle speed is down by then
    half_pedal: float = 50.0  # high boost with less pedal than this is speed control or boost that lingers
    top_pedal: float = 75.0  # the raw D track of a pedal ends at 75 to 90 %
    top_throttle: float = 75.0  # absolute throttle at wide open reads 75 to 100 %
    top_load: float = 90.0  # calculated load at wide open reads 95 to 100 %
    near_barometer_kpa: float = (
        7.0  # wide open, not charged: 2 to 7 kPa below the barometer (common practice, no source)
    )
    boost_share: float = 0.7  # of the highest boost seen
    real_boost_kpa: float = 15.0  # more than a rounding or sensor error above the barometer
    closed_slack: float = 2.5  # % above the lowest pedal or throttle that still counts as released
    held_s: float = 8.0  # speed held for so long ...
    held_wander: float = 0.02  # ... within this share is held on purpose
    overrun_share: float = 1.4  # times idle speed; below it idle control takes over
    floor_slack_kpa: float = 5.0  # above the lowest running pressure
    floor_travel_kpa: float = 15.0  # a pressure that has moved less than load moves it has shown no floor
    low_boost_kpa: float = 20.0  # a compressor that nothing drives falls below this within a second or two
    snap_rise: float = 25.0  # % of travel within one second, far faster than driving away
    snap_lasts_s: float = 2.5  # a snap is over, released or not
    cruise_wander: float = 0.04  # share by which speed may wander
    cruise_wander_kpa: float = 6.0  # by which manifold pressure may wander
    cruise_window_s: float = 4.0
    unthrottled_share: float = 0.8  # of the barometer: an engine whose pressure hardly falls below is not throttled


THRESHOLDS = Thresholds()


@dataclass(frozen=True)
class Regimes:
    """The regimes of one recording: intervals of each, never overlapping; `idle_rpm` and `notes` say why."""

    _intervals: Mapping[Regime, tuple[Interval, ...]]
    idle_rpm: float | None = None
    throttled: bool = True
    notes: tuple[str, ...] = field(default=())

    def intervals(self, regime: Regime | str) -> tuple[Interval, ...]:
        """Intervals (from, to) of that regime, s, in order."""
        return self._intervals.get(Regime(regime), ())

    def seconds(self) -> dict[str, float]:
        """How long each regime lasted altogether, s; every regime is named."""
        return {str(regime): round(sum(b - a for a, b in self.intervals(regime)), 3) for regime in Regime}

    def mask(self, times: Floats, regime: Regime | str) -> Bools:
        """Which of the times (s, any order) fall into that regime."""
        spans = self.intervals(regime)
        wanted = np.asarray(times, dtype=np.float64)
        if not spans:
            return np.zeros(wanted.shape, dtype=bool)
        starts, ends = np.array(spans).T
        index = np.searchsorted(starts, wanted, side="right") - 1
        inside: Bools = (index >= 0) & (wanted < ends[np.clip(index, 0, None)])
        return inside


def find_regimes(recording: Recording, *, idle_rpm: float | None = None) -> Regimes:
    """The regimes of a recording.

    `idle_rpm` is the engine's warm idle speed (1/min) where it is known; else it is estimated as the commonest speed
    with the pedal free and the car standing. Thresholds and their standing: `Thresholds`. Signals used where present:
    engine_speed, manifold_pressure, throttle, pedal, vehicle_speed, load, barometric_pressure, air_flow. Without
    engine speed only key-on by air flow, full-load and standing idle by throttle can be told, the latter two roughly.
    """
    at = moments_of(recording)
    if at is None:
        return Regimes({}, idle_rpm, notes=("too short for regimes",))
    limits = THRESHOLDS
    notes: list[str] = []
    if at.speed_refuted:
        notes.append(
            "engine speed reads 0 all through although the manifold pressure moves as in a running engine: it is left"
            " out, and nothing is taken for an engine at rest on its word"
        )
    throttled = _throttled(at, limits)
    if not throttled:
        notes.append(
            "the manifold is hardly ever throttled, as in a diesel: throttle and pressure there say nothing about load"
        )
    released = _released(at, limits, throttled=throttled)
    idle = idle_rpm if idle_rpm is not None else _idle_speed(at, released, limits)
    driven = idle if idle is not None and idle < limits.warm_idle_rpm else limits.usual_idle_rpm
    found: dict[Regime, Bools] = {
        Regime.KEY_ON: _key_on(at, limits),
        Regime.CRANKING: _cranking(at, limits, idle),
        Regime.SNAP: _snap(at, limits),
        Regime.FULL_LOAD: _full_load(at, limits, driven, throttled=throttled),
        Regime.OVERRUN: _overrun(at, limits, driven, released, throttled=throttled),
        Regime.IDLE: _idle(at, limits, idle, released),
    }
    found[Regime.CRUISE] = _cruise(at, limits, driven, released, throttled=throttled)
    taken = np.zeros(at.time.size, dtype=bool)
    intervals: dict[Regime, tuple[Interval, ...]] = {}
    for regime, mask in found.items():
        free = mask & ~taken
        taken |= mask
        intervals[regime] = tuple((float(at.time[a]), float(at.time[b - 1])) for a, b in runs(free) if b - a >= 2)
    return Regimes(intervals, idle, throttled, tuple(notes))


def _throttled(at: Moments, limits: Thresholds) -> bool:
    """Whether a throttle governs the engine: its pressure is often well below the barometer while it turns."""
    if at.pressure is None or at.barometer is None:
        return True
    running = at.pressure[at.turning(limits.cranking_rpm) & np.isfinite(at.pressure)]
    if running.size < 10:
        return True
    return float(np.quantile(running, 0.1)) < limits.unthrottled_share * at.barometer


def _released(at: Moments, limits: Thresholds, *, throttled: bool) -> Bools | None:
    """Where the driver's foot is off: pedal, else throttle, near its lowest; None where neither says."""
    running = at.turning(limits.cranking_rpm)
    for values, slack in (
        (at.pedal, limits.closed_slack),
        (at.throttle if throttled else None, 2 * limits.closed_slack),
    ):
        if values is None:
            continue
        known = values[running & np.isfinite(values)] if running.any() else values[np.isfinite(values)]
        if known.size < 10 or known.max() - known.min() < slack:
            continue
        with np.errstate(invalid="ignore"):
            out: Bools = values <= np.quantile(known, 0.02) + slack
        return out
    return None


def _idle_speed(at: Moments, released: Bools | None, limits: Thresholds) -> float | None:
    """The commonest speed between cranking and fast idle with the foot off and the car standing."""
    if at.speed is None:
        return None
    with np.errstate(invalid="ignore"):
        likely = (at.speed > limits.cranking_rpm) & (at.speed < limits.fast_idle_rpm)
        if at.road is not None and (likely & (at.road < limits.standing_kmh)).sum() * at.step > 5.0:
            likely &= at.road < limits.standing_kmh
        likely &= at.wander(at.speed, 1.5) <= 2 * limits.idle_slack * limits.cranking_rpm
        if at.coolant is not None and (likely & (at.coolant > limits.warm_degc)).sum() * at.step > 10.0:
            likely &= at.coolant > limits.warm_degc
    if released is not None and (likely & released).sum() * at.step > 5.0:
        likely &= released
    speeds = at.speed[likely]
    if speeds.size * at.step < 3.0:
        return None
    counts, edges = np.histogram(speeds, bins=np.arange(400.0, 1600.0, 25.0))
    peak = int(np.argmax(np.convolve(counts, (1, 2, 1), "same")))
    near = speeds[np.abs(speeds - (edges[peak] + 12.5)) < 75.0]
    return float(np.median(near)) if near.size else None


def _key_on(at: Moments, limits: Thresholds) -> Bools:
    """Engine at rest and the intake filled, the pressure (if there is one) at rest too.

    Before the engine first turns: from the start until the pressure begins to move. After it stopped: not before
    filled_after_s. Where there is no pressure to show that the engine already pulls, the moments in which a start
    may not have been polled yet are left out.
    """
    out = np.zeros(at.time.size, dtype=bool)
    turned = np.flatnonzero(at.turning(limits.turning_rpm))
    first, last = (int(turned[0]), int(turned[-1])) if turned.size else (at.time.size, -1)
    for begin, end in runs(at.at_rest(limits.turning_rpm)):
        ran_before, runs_after = first < begin, last >= end
        a = begin + (int(np.ceil(limits.filled_after_s / at.step)) if ran_before else 0)
        b = end - (int(np.ceil(at.lag_s / at.step)) if runs_after and at.pressure is None else 0)
        if b <= a:
            continue
        if at.pressure is not None:
            part = at.pressure[a:b]
            known = np.isfinite(part)
            if not known.any():
                continue
            # A starting engine pulls the pressure down, a filling intake raises it: the rest level is the upper one.
            level = float(np.quantile(part[known], 0.75))
            with np.errstate(invalid="ignore"):
                resting = np.abs(part - level) <= max(limits.key_on_wander_kpa, 1.5 * at.pressure_step)
            for start, stop in runs(resting):
                out[a + start : a + stop] = True
            continue
        out[a:b] = True
    return out


def _cranking(at: Moments, limits: Thresholds, idle: float | None) -> Bools:
    """The starter turns the engine: faster than rest, slower than it can idle, before it runs."""
    if at.speed is None:
        return np.zeros(at.time.size, dtype=bool)
    top = limits.cranking_rpm if idle is None else min(limits.cranking_rpm, 0.7 * idle)
    with np.errstate(invalid="ignore"):
        slow = (at.speed > limits.turning_rpm) & (at.speed < top)
    rest = at.at_rest(limits.turning_rpm)
    out = np.zeros(at.time.size, dtype=bool)
    for begin, end in runs(slow):
        before = rest[max(0, begin - int(2.0 / at.step)) : begin]
        if begin == 0 or before.any():
            out[begin:end] = True
    return out


def _idle(at: Moments, limits: Thresholds, idle: float | None, released: Bools | None) -> Bools:
    """Foot off, car standing, speed held; the first settle_s of each stretch left out."""
    likely = np.ones(at.time.size, dtype=bool)
    if released is not None:
        likely &= released
    with np.errstate(invalid="ignore"):
        if at.road is not None:
            likely &= at.road < limits.standing_kmh
        if at.speed is not None:
            if idle is None:
                return np.zeros(at.time.size, dtype=bool)
            held = at.wander(at.speed, 1.5) <= max(2 * limits.idle_slack * idle, 150.0)
            likely &= held & (at.speed > limits.cranking_rpm)
            if at.road is not None and at.pedal is not None:
                likely &= at.speed < max(limits.fast_idle_rpm, 1.6 * idle)
            else:
                likely &= np.abs(at.speed - idle) < limits.idle_slack * idle
        elif at.road is None or released is None or at.pressure is None:
            return np.zeros(at.time.size, dtype=bool)
        if at.pressure is not None:
            likely &= at.wander(at.pressure, 1.5) < 2 * limits.cruise_wander_kpa
            if at.speed is None:  # nothing but the pressure tells then whether the engine turns
                likely &= ~at.at_rest(limits.turning_rpm)
                likely &= at.pressure < limits.unthrottled_share * (at.barometer or np.inf)
    return settled(likely, at.step, limits.settle_s, 0.5, least_s=1.0)


def _snap(at: Moments, limits: Thresholds) -> Bools:
    """The throttle (else the pedal, else the pressure) opened in one go from rest on the spot."""
    out = np.zeros(at.time.size, dtype=bool)
    lead = at.throttle if at.throttle is not None else at.pedal
    rise = limits.snap_rise
    if lead is None:
        lead, rise = at.pressure, 35.0
    if lead is None:
        return out
    rising = at.rise(lead, 1.0) >= rise
    with np.errstate(invalid="ignore"):
        if at.road is not None:
            rising &= at.road < limits.standing_kmh
        if at.speed is not None:
            # On the spot the engine races: it gains speed far faster than it could in gear.
            racing = at.rise(at.speed, 1.0) > (500.0 if at.road is not None else 1200.0)
            after = int(np.ceil(1.5 / at.step))
            for shift in range(min(after, out.size)):
                out[: out.size - shift or None] |= racing[shift:]
            rising &= out
            out = np.zeros(at.time.size, dtype=bool)
        elif at.road is None:
            return out
    for begin, _ in runs(rising):
        first = max(0, begin - int(np.ceil(1.0 / at.step)))
        out[first : begin + int(np.ceil(limits.snap_lasts_s / at.step))] = True
    return out


def _full_load(at: Moments, limits: Thresholds, idle: float, *, throttled: bool) -> Bools:
    """Pedal or throttle at its top, or pressure at its ceiling under high load; one second at least."""
    likely = np.zeros(at.time.size, dtype=bool)
    with np.errstate(invalid="ignore"):
        if at.pedal is not None:
            likely |= at.pedal >= limits.top_pedal
        if at.throttle is not None and throttled:
            likely |= at.throttle >= limits.top_throttle
        if at.pressure is not None and at.barometer is not None:
            running = at.pressure[at.turning(limits.cranking_rpm) & np.isfinite(at.pressure)]
            top = float(np.quantile(running, 0.999)) if running.size else np.nan
            if top > at.barometer + limits.real_boost_kpa:
                ceiling = at.barometer + limits.boost_share * (top - at.barometer)
                boosted = at.pressure >= ceiling
                if at.pedal is not None:
                    boosted &= at.pedal >= limits.half_pedal
                elif at.throttle is not None and throttled:
                    boosted &= at.throttle >= 0.5 * limits.top_throttle
                likely |= boosted
            elif throttled:
                near = at.pressure >= at.barometer - limits.near_barometer_kpa
                if at.load is not None:
                    likely |= near & (at.load >= limits.top_load)
                elif at.throttle is not None:
                    likely |= near & (at.throttle >= 0.7 * limits.top_throttle)
        if at.speed is not None:
            likely &= at.speed > max(1200.0, 1.3 * idle)
        else:
            likely &= ~at.at_rest(limits.turning_rpm)
    return settled(likely, at.step, 0.5, 0.0, least_s=0.5)


def _overrun(at: Moments, limits: Thresholds, idle: float, released: Bools | None, *, throttled: bool) -> Bools:
    """Foot off well above idle speed, and, where a throttle governs, the pressure at its floor.

    Where nothing tells the foot, the pressure must have moved for its floor to be known.
    """
    if at.speed is None:
        return np.zeros(at.time.size, dtype=bool)
    with np.errstate(invalid="ignore"):
        likely = at.speed > limits.overrun_share * idle
        if at.road is not None:
            likely &= at.road > 5.0
        else:
            # Without the road's word an engine that holds its speed for long is driven at light load, not driving.
            likely &= at.wander(at.speed, limits.held_s) > limits.held_wander * at.speed
        if released is not None:
            likely &= released
        if throttled:
            if at.pressure is None:
                if released is None:
                    return np.zeros(at.time.size, dtype=bool)
            else:
                running = at.pressure[at.turning(limits.cranking_rpm) & np.isfinite(at.pressure)]
                low, floor, high = np.quantile(running, (0.05, 0.01, 0.95)) if running.size else [np.nan] * 3
                if released is None and not high - low > limits.floor_travel_kpa:
                    return np.zeros(at.time.size, dtype=bool)  # steady driving is at the lowest it has shown, too
                likely &= at.pressure <= floor + limits.floor_slack_kpa
        elif released is None:
            return np.zeros(at.time.size, dtype=bool)
        else:
            # Without a throttle only a car that slows down with little boost left is surely not under speed control.
            if at.road is not None:
                likely &= at.rise(at.road, 2.0) <= -1.0
            if at.pressure is not None and at.barometer is not None:
                likely &= at.pressure <= at.barometer + limits.low_boost_kpa
    return settled(likely, at.step, 0.7, 0.0, least_s=0.5)


def _cruise(at: Moments, limits: Thresholds, idle: float, released: Bools | None, *, throttled: bool) -> Bools:
    """Speed, pressure and throttle held for some seconds under part load; a margin at both ends left out."""
    if at.speed is None:
        return np.zeros(at.time.size, dtype=bool)
    window = limits.cruise_window_s
    with np.errstate(invalid="ignore"):
        likely = at.speed > 1.3 * idle
        likely &= at.wander(at.speed, window) <= 2 * limits.cruise_wander * at.speed
        if at.road is not None:
            likely &= (at.road > 15.0) & (at.wander(at.road, window) <= 4.0)
        if at.pressure is not None:
            likely &= at.wander(at.pressure, window) <= 2 * limits.cruise_wander_kpa
        foot = at.pedal if at.pedal is not None else (at.throttle if throttled else None)
        if foot is not None:
            likely &= at.wander(foot, window) <= 6.0
    if released is not None and at.pedal is not None:
        likely &= ~released
    return settled(likely, at.step, 1.0, 0.5, least_s=1.0)
