"""How soon the pressure answers the throttle.

The response to a unit movement of the throttle is estimated as a short sum of delayed steps by least squares; its mean
delay is the filling time of the manifold, plus whatever the sensor adds, plus the recording's own spacing.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from airproof.diagnosis.case import Case
from airproof.diagnosis.level import Level, Measured
from airproof.diagnosis.testimony import Testimony
from airproof.recording.recording import Floats, Signal

FINEST_S = 0.1
COARSEST_S = 0.55
LONGEST_DELAY_S = 4.0
EARLIEST_S = 0.6
MOVED = 4.0  # % of opening within one step that counts as a movement of the throttle
FEWEST_MOVES = 12
BELOW = 0.90  # of the barometer: above it a boosted manifold answers the compressor, not the throttle


def _measure(case: Case) -> Measured | None:
    pressure, throttle = case.recording.get("manifold_pressure"), case.recording.get("throttle")
    if pressure is None or throttle is None or min(len(pressure), len(throttle)) < 50:
        return None
    spacing = max(_spacing(pressure), _spacing(throttle))
    step = max(FINEST_S, spacing)
    if step > COARSEST_S:
        return None
    grid = np.arange(case.recording.start_s, case.recording.end_s, step)
    opening = throttle.at(grid, "linear", 3 * step)
    level = pressure.at(grid, "linear", 3 * step)
    moves, answers = np.diff(opening), np.diff(level)
    lags = np.arange(-int(np.ceil(EARLIEST_S / step)), int(np.ceil(LONGEST_DELAY_S / step)) + 1)
    first, last = -int(lags[0]), int(lags[-1])
    rows = np.arange(last, moves.size - first)
    design = np.column_stack([moves[rows - lag] for lag in lags])
    answer = answers[rows]
    below = level[rows] < BELOW * case.barometer.kpa
    stirred = np.max(np.abs(design), axis=1) > MOVED
    good = np.isfinite(design).all(axis=1) & np.isfinite(answer) & below & stirred
    if np.count_nonzero(np.abs(moves[rows][good]) > MOVED) < FEWEST_MOVES:
        return None
    return _mean_delay(design[good], answer[good], lags * step, spacing, case)


def _mean_delay(design: Floats, answer: Floats, lags_s: Floats, spacing: float, case: Case) -> Measured | None:
    ridge = 0.02 * np.trace(design.T @ design) / lags_s.size
    response = np.linalg.solve(design.T @ design + ridge * np.eye(lags_s.size), design.T @ answer)
    total = float(response.sum())
    if total <= 0:
        return None
    delay = float(response @ lags_s / total)
    residual = answer - design @ response
    noise = float(np.var(residual))
    spread = np.linalg.inv(design.T @ design + ridge * np.eye(lags_s.size)) * noise
    slope = (lags_s - delay) / total
    sd = float(np.sqrt(max(slope @ spread @ slope, 0.0)))
    if sd > 0.6:
        return None
    return Measured(delay, float(np.hypot(sd, 0.35 * spacing + 0.03)), ((case.recording.start_s, case.recording.end_s),))


def _spacing(signal: Signal) -> float:
    return float(np.median(np.diff(signal.time)))


LEVEL = Level(
    id="response",
    expectation="response",
    measure=_measure,
    words=lambda value, band: f"the pressure answers the throttle after {value:.2f} s (healthy: up to {band[1]:.2f} s)",
)


def check(case: Case) -> Sequence[Testimony]:
    """One testimony where the throttle was moved often enough and recorded often enough."""
    return LEVEL.testify(case)
