"""How promptly one signal follows another, for any logger: by correlation over the whole recording.

The signals are laid on a common fine grid by their own time stamps, slow drift is taken out, and the shift at which
they agree best is found. Many throttle movements together show a delay well below the time between two samples.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.case import Case
from airproof.diagnosis.checks.signal_health import RUNNING
from airproof.diagnosis.picture.loads import OPENING_SHIFT
from airproof.recording.recording import Signal

Floats = NDArray[np.float64]

# Judged: Airproof authors. What the summaries so defined mean is learnt, so that these decide how sharp they are, not
# what they say.
STEP_S = 0.1
EARLIEST_S, LATEST_S = -1.5, 5.0
SLOW_S = 6.0  # what moves slower than this is the drive, not an answer
FEWEST = 40  # samples of each signal
FINEST_TOLD_S = 0.2  # delays are put as asinh of so many seconds: alike near none, by ratio far off
CEILING = 0.92  # of the barometer: above it a compressor has its own time
NAMES = (
    *(f"{pair}_{what}" for pair in ("thr_map", "flow_map", "load_map", "thr_flow", "map_charge") for what in
      ("lag", "fit", "tail")),
    "lag_excess",
)  # fmt: skip


def answers(case: Case) -> dict[str, float]:
    """For each pair of signals: the shift at which they agree best (asinh of s over a step), how well, the tail."""
    recording = case.recording
    pressure, speed = recording.get("manifold_pressure"), recording.get("engine_speed")
    if pressure is None or speed is None or min(len(pressure), len(speed)) < FEWEST:
        return {}
    running = np.flatnonzero(speed.values > RUNNING)
    if running.size < FEWEST:
        return {}
    grid = np.arange(speed.time[running[0]], speed.time[running[-1]], STEP_S)
    if grid.size < 300:
        return {}
    rpm = np.maximum(np.interp(grid, speed.time, speed.values), RUNNING)
    ceiling = CEILING * case.barometer.kpa

    def laid(signal: Signal | None) -> Floats | None:
        if signal is None or len(signal) < FEWEST:
            return None
        return np.asarray(np.interp(grid, signal.time, signal.values))

    level = np.log(np.clip(np.interp(grid, pressure.time, pressure.values), 5.0, ceiling))
    tracks: dict[str, Floats | None] = {"map": level, "thr": None, "flow": None, "load": None, "charge": None}
    throttle, flow, load, charge = (laid(recording.get(n)) for n in ("throttle", "air_flow", "load", "charge_pressure"))
    if throttle is not None:
        shut = case.path.closed_stop
        opening = np.log(np.maximum(throttle / 100.0 - shut, 0.0) + OPENING_SHIFT) - np.log(rpm)
        tracks["thr"] = np.minimum(opening, np.quantile(opening, 0.9))
    if flow is not None:
        tracks["flow"] = np.minimum(
            np.log(np.maximum(flow, 0.3) / rpm), np.quantile(np.log(np.maximum(flow, 0.3) / rpm), 0.9)
        )
    if load is not None:
        tracks["load"] = np.log(np.clip(load, 5.0, 100.0))
    if charge is not None:
        tracks["charge"] = np.log(np.maximum(charge, 20.0))
    found: dict[str, float] = {}
    for lead, follow in (("thr", "map"), ("flow", "map"), ("load", "map"), ("thr", "flow"), ("map", "charge")):
        a, b = tracks[lead], tracks[follow]
        if a is None or b is None:
            continue
        answer = _agreement(a, b)
        if answer is None:
            continue
        lag, fit, tail = answer
        found[f"{lead}_{follow}_lag"] = float(np.arcsinh(lag / FINEST_TOLD_S))
        found[f"{lead}_{follow}_fit"] = fit
        found[f"{lead}_{follow}_tail"] = float(np.arcsinh(tail / FINEST_TOLD_S))
    if "thr_map_lag" in found and "thr_flow_lag" in found:
        found["lag_excess"] = found["thr_map_lag"] - found["thr_flow_lag"]
    return found


def _agreement(lead: Floats, follow: Floats) -> tuple[float, float, float] | None:
    """Shift of best agreement, s; the correlation there; mean shift of what correlates beyond it, s."""
    a, b = _quick(lead), _quick(follow)
    scale = float(np.sqrt(np.square(a).sum() * np.square(b).sum()))
    if scale < 1e-6:
        return None
    size = 1 << int(np.ceil(np.log2(2 * a.size)))
    together = np.fft.irfft(np.conj(np.fft.rfft(a, size)) * np.fft.rfft(b, size), size) / scale
    shifts = np.arange(round(EARLIEST_S / STEP_S), round(LATEST_S / STEP_S) + 1)
    agree = together[shifts]
    best = int(np.argmax(agree))
    lag = float(shifts[best])
    if 0 < best < agree.size - 1:
        before, here, after = agree[best - 1 : best + 2]
        bend = before - 2.0 * here + after
        lag += 0.5 * float((before - after) / bend) if bend < -1e-9 else 0.0
    high = np.maximum(agree - 0.5 * agree[best], 0.0)
    tail = float((high * shifts).sum() / max(float(high.sum()), 1e-9)) * STEP_S
    return lag * STEP_S, float(agree[best]), tail - lag * STEP_S


def _quick(values: Floats) -> Floats:
    """What moves within SLOW_S: less its running mean."""
    width = int(SLOW_S / STEP_S)
    padded = np.concatenate([np.full(width // 2, values[0]), values, np.full(width - width // 2, values[-1])])
    total = np.concatenate([[0.0], np.cumsum(padded)])
    return np.asarray(values - (total[width:] - total[:-width])[: values.size] / width)
