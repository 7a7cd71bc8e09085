"""A recording seen at even moments: the latest sample of each signal that tells regimes apart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from airproof.recording.recording import Bools, Floats, Recording, Signal

_STEP_S = (0.05, 0.25)
_MOST_MOMENTS = 2_000_000

_FILLED_AFTER_S = 3.0
"""An intake fills through a closed throttle within 1 to 2 s of the engine stopping (judged: Airproof authors)."""

_REST_TRAVEL_KPA = 5.0
"""With the engine at rest a pressure stands still: this is more than rounding, noise and a gust (judged: Airproof
authors)."""

_FLOW_AT_REST_G_S = 0.5
"""No engine runs on less air; a flow sensor at rest shows less (judged: Airproof authors)."""


@dataclass(frozen=True)
class Moments:
    """Signals at even moments `step` s apart, NaN where none is recent; None for signals the recording lacks.

    `barometer` is one value, kPa absolute; `lag_s` how late a start of the engine can be seen; `speed_refuted` tells
    that an engine speed of 0 all through was left out because the other signals say that the engine turns.
    """

    time: Floats
    step: float
    speed: Floats | None
    pressure: Floats | None
    pedal: Floats | None
    throttle: Floats | None
    road: Floats | None
    load: Floats | None
    air_flow: Floats | None
    coolant: Floats | None
    barometer: float | None
    lag_s: float
    pressure_step: float
    speed_refuted: bool = False

    def turning(self, above_rpm: float) -> Bools:
        """Where the engine turns faster than that; without engine speed, where air flows."""
        with np.errstate(invalid="ignore"):
            if self.speed is not None:
                return np.asarray(self.speed > above_rpm)
            if self.air_flow is not None:
                return np.asarray(self.air_flow > _FLOW_AT_REST_G_S)
        return np.zeros(self.time.size, dtype=bool)

    def at_rest(self, below_rpm: float) -> Bools:
        """Where the engine is known not to turn."""
        with np.errstate(invalid="ignore"):
            if self.speed is not None:
                return np.asarray(self.speed <= below_rpm)
            if self.air_flow is not None:
                return np.asarray(self.air_flow <= 0.3)
        return np.zeros(self.time.size, dtype=bool)

    def wander(self, values: Floats, window_s: float) -> Floats:
        """Highest less lowest within a window centred on each moment; NaN where any of it is unknown."""
        half = max(1, round(window_s / self.step / 2))
        padded = np.pad(values, half, mode="edge")
        return sliding(np.maximum, padded, 2 * half + 1) - sliding(np.minimum, padded, 2 * half + 1)

    def rise(self, values: Floats, within_s: float) -> Floats:
        """How much a signal has risen since so many seconds ago."""
        back = max(1, round(within_s / self.step))
        out = np.full(values.size, np.nan)
        out[back:] = values[back:] - values[:-back]
        out[np.isnan(out)] = 0.0
        return out


def moments_of(recording: Recording) -> Moments | None:
    """The recording at even moments; None where it is too short to tell anything."""
    speed = recording.get("engine_speed")
    speed = _without_dropouts(speed) if speed is not None and len(speed) else None
    pressure = recording.get("manifold_pressure")
    refuted = speed is not None and _refuted(speed, pressure, recording.get("air_flow"))
    if refuted:
        speed = None
    lead = [
        s
        for s in (speed, pressure, recording.get("air_flow"), recording.get("throttle"))
        if s is not None and len(s) > 1
    ]
    if not lead or recording.duration_s <= 0:
        return None
    spacing = min(_spacing(signal) for signal in lead)
    step = float(np.clip(spacing, *_STEP_S))
    count = int(recording.duration_s / step) + 1
    if count > _MOST_MOMENTS:
        step, count = recording.duration_s / _MOST_MOMENTS, _MOST_MOMENTS
    time: Floats = recording.start_s + step * np.arange(count, dtype=np.float64)

    def at(signal: Signal | None) -> Floats | None:
        if signal is None or not len(signal):
            return None
        return signal.at(time, "latest", max_gap_s=max(2.0, 4 * _spacing(signal)))

    return Moments(
        time=time,
        step=step,
        speed=at(speed),
        pressure=at(pressure),
        pedal=at(recording.get("pedal")),
        throttle=at(recording.get("throttle")),
        road=at(recording.get("vehicle_speed")),
        load=at(recording.get("load")),
        air_flow=at(recording.get("air_flow")),
        coolant=at(recording.get("coolant_temperature")),
        barometer=_barometer(recording, speed),
        lag_s=_spacing(speed) + 0.5 if speed is not None else 1.0,
        pressure_step=(pressure.resolution or 0.0) if pressure is not None else 0.0,
        speed_refuted=refuted,
    )


def sliding(extreme: np.ufunc, values: Floats, width: int) -> Floats:
    """The extreme (np.maximum or np.minimum) of every `width` neighbours, shape (n - width + 1,); NaN where one is NaN.

    Windows of twice the width are made of two that overlap or touch, so that a long one costs little more than a short
    one.
    """
    out, reach = values, 1
    while reach < width:
        shift = min(reach, width - reach)
        out = extreme(out[:-shift], out[shift:])
        reach += shift
    return out


def runs(mask: Bools) -> list[tuple[int, int]]:
    """Stretches of True as (first, one past the last)."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def settled(mask: Bools, step: float, enter_s: float, leave_s: float, *, least_s: float) -> Bools:
    """Stretches of True with their beginning and end cut off, and those shorter than least_s then left out."""
    out = np.zeros(mask.size, dtype=bool)
    enter, leave, least = (int(np.ceil(s / step - 1e-9)) for s in (enter_s, leave_s, least_s))
    for begin, end in runs(mask):
        a, b = begin + enter, end - leave
        if b - a >= max(least, 1):
            out[a:b] = True
    return out


def _spacing(signal: Signal) -> float:
    """The usual time between two samples, s."""
    steps = np.diff(signal.time)
    steps = steps[steps > 0]
    return float(np.median(steps)) if steps.size else 1.0


def _without_dropouts(speed: Signal) -> Signal:
    """Engine speed without wrong zeros: one sample, or up to 1.5 s of them, between samples at running speed.

    Judged: Airproof authors, because an engine that stops and is started again takes longer.
    """
    values = speed.values
    dead = values < 50.0
    if not dead.any() or dead.all():
        return speed
    keep = np.ones(values.size, dtype=bool)
    for begin, end in runs(dead):
        if begin == 0 or end == values.size:
            continue
        short = end - begin == 1 or speed.time[end] - speed.time[begin] <= 1.5
        if short and values[begin - 1] > 500.0 and values[end] > 500.0:
            keep[begin:end] = False
    return Signal(speed.name, speed.unit, speed.time[keep], values[keep], speed.resolution)


def _refuted(speed: Signal, pressure: Signal | None, air_flow: Signal | None) -> bool:
    """Whether an engine speed that is 0 all through is untrue: the pressure moves, and so does air where it is metered.

    The first seconds, in which an intake may still fill, do not count.
    """
    if speed.values.max() > 0.0 or pressure is None:
        return False
    settled_values = pressure.values[pressure.time >= speed.time[0] + _FILLED_AFTER_S]
    if settled_values.size < 10:
        return False
    low, high = np.quantile(settled_values, (0.05, 0.95))
    flows = air_flow is None or (len(air_flow) > 0 and np.quantile(air_flow.values, 0.95) > _FLOW_AT_REST_G_S)
    return bool(high - low > _REST_TRAVEL_KPA and flows)


def _barometer(recording: Recording, speed: Signal | None) -> float | None:
    """The barometer, kPa absolute: its own signal, else pressure at engine rest, else the standard atmosphere."""
    barometric = recording.get("barometric_pressure")
    if barometric is not None and len(barometric):
        value = float(np.median(barometric.values))
        if 50.0 < value < 110.0:
            return value
    for name in ("charge_pressure", "manifold_pressure"):
        pressure = recording.get(name)
        if pressure is None or not len(pressure) or speed is None:
            continue
        rpm = speed.at(pressure.time, "latest", max_gap_s=3.0)
        with np.errstate(invalid="ignore"):
            resting = pressure.values[rpm < 50.0]
        if resting.size >= 3 and 60.0 < float(np.quantile(resting, 0.75)) < 110.0:
            return float(np.quantile(resting, 0.75))
    return 101.325
