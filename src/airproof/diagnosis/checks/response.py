"""How soon the pressure answers the throttle.

What pressure a throttle opening means at a speed is learnt from the steady points of the same recording; how that
settled pressure and the measured one follow each other is then a short sum of delayed steps, by least squares. Its mean
delay is the filling time of the manifold, plus whatever the sensor adds, plus the recording's own spacing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from airproof.diagnosis.case import Case
from airproof.diagnosis.level import Level, Measured
from airproof.diagnosis.testimony import Testimony
from airproof.engine.shared import shared
from airproof.recording.moments import sliding
from airproof.recording.recording import Floats, Signal

FINEST_S = 0.1
COARSEST_S = 0.55
LONGEST_DELAY_S = 5.0
EARLIEST_S = 0.6
MOVED_KPA = 4.0  # a step of the settled pressure that counts as a movement
FEWEST_MOVES = 10
FEWEST_STEADY = 25
BELOW = 0.92  # of the barometer
KNOTS = 12
LEAST_SPAN = 0.10  # of the pressure before the throttle that the steady points must span
WITHOUT_CHARGE_SENSOR_S = (
    0.5  # what a compressor's own lag may add where nothing shows the pressure before the throttle
)
RIDGE = 0.004  # of the mean square of the movements: delays that nothing tells apart share what they do
VAGUEST_S = 0.6  # standard deviation of a delay that still says something
SPACING_SHARE, LEAST_SD_S = 0.35, 0.03  # of the recording's spacing a delay may be off, and by so much anyway
# All of these judged: Airproof authors.


def measure(case: Case) -> Measured | None:
    """Mean delay of the pressure behind the throttle, s; None where the recording cannot tell."""
    pressure, throttle = case.recording.get("manifold_pressure"), case.recording.get("throttle")
    speed = case.recording.get("engine_speed")
    if pressure is None or throttle is None or speed is None or min(len(pressure), len(throttle), len(speed)) < 50:
        return None
    spacing = max(_spacing(pressure), _spacing(throttle))
    step = max(FINEST_S, spacing)
    if step > COARSEST_S:
        return None
    share_of = _settled_share(case)
    if share_of is None:
        return None
    grid = np.arange(case.recording.start_s, case.recording.end_s, step)
    charge = case.recording.get("charge_pressure")
    before = charge.at(grid, "linear", 5.0) if charge is not None and len(charge) else case.barometer.kpa
    opening = throttle.at(grid, "linear", 3 * step) / 100.0
    rpm = speed.at(grid, "linear", 3 * step)
    # Near the barometer the throttle no longer governs, and a compressor takes its own time.
    ceiling = BELOW * case.barometer.kpa
    settled = np.minimum(share_of(opening, rpm) * before, ceiling)
    level = np.minimum(pressure.at(grid, "linear", 3 * step), ceiling)
    with np.errstate(invalid="ignore"):
        settled[~(rpm > 400.0)] = np.nan
    moves, answers = np.diff(settled), np.diff(level)
    lags = np.arange(-int(np.ceil(EARLIEST_S / step)), int(np.ceil(LONGEST_DELAY_S / step)) + 1)
    first, last = -int(lags[0]), int(lags[-1])
    rows = np.arange(last, moves.size - first)
    if rows.size < FEWEST_STEADY:
        return None
    # The largest movement within reach of each row, NaN where one is not known: most rows are quiet and never laid out.
    largest = sliding(np.maximum, np.abs(moves), lags.size)
    good = rows[np.isfinite(largest) & np.isfinite(answers[rows]) & (largest > MOVED_KPA)]
    if np.count_nonzero(np.abs(moves[good]) > MOVED_KPA) < FEWEST_MOVES:
        return None
    design = np.column_stack([moves[good - lag] for lag in lags])
    return _mean_delay(design, answers[good], np.asarray(lags * step, dtype=np.float64), spacing, case)


def _settled_share(case: Case) -> Callable[[Floats, Floats], Floats] | None:
    """Manifold pressure over that before the throttle, by opening per speed, rising: medians of steady points."""
    points = case.points.where(case.points.has("throttle", "manifold", "speed"))
    if len(points) < FEWEST_STEADY:
        return None
    shut = case.path.closed_stop

    def place(opening: Floats, per_second: Floats) -> Floats:
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.asarray(
                np.log((np.maximum(np.asarray(opening) - shut, 0.0) + shared().opening_shift) / per_second)
            )

    at = place(points.throttle, points.speed)
    share = points.manifold / np.where(np.isfinite(points.charge), points.charge, case.barometer_pa)
    edges = np.quantile(at, np.linspace(0.0, 1.0, KNOTS + 1))
    which = np.clip(np.searchsorted(edges, at, side="right") - 1, 0, KNOTS - 1)
    filled = [k for k in range(KNOTS) if np.any(which == k)]
    knots = np.array([np.median(at[which == k]) for k in filled])
    level = np.maximum.accumulate(np.array([np.median(share[which == k]) for k in filled]))
    if level[-1] - level[0] < LEAST_SPAN:
        return None
    return lambda opening, rpm: np.asarray(np.interp(place(opening, rpm / 60.0), knots, level))


def _mean_delay(design: Floats, answer: Floats, lags_s: Floats, spacing: float, case: Case) -> Measured | None:
    together = design.T @ design
    steadied = together + RIDGE * np.trace(together) / lags_s.size * np.eye(lags_s.size)
    response = np.linalg.solve(steadied, design.T @ answer)
    total = float(response.sum())
    if total <= 0:
        return None
    delay = float(response @ lags_s / total)
    residual = answer - design @ response
    noise = float(np.var(residual))
    spread = np.linalg.inv(steadied) * noise
    slope = (lags_s - delay) / total
    sd = float(np.sqrt(np.maximum(float(slope @ spread @ slope), 0.0)))
    if sd > VAGUEST_S:
        return None
    unseen = WITHOUT_CHARGE_SENSOR_S if case.profile.boosted and "charge_pressure" not in case.recording else 0.0
    return Measured(
        delay,
        float(np.hypot(np.hypot(sd, unseen), SPACING_SHARE * spacing + LEAST_SD_S)),
        ((case.recording.start_s, case.recording.end_s),),
    )


def _spacing(signal: Signal) -> float:
    return float(np.median(np.diff(signal.time)))


LEVEL = Level(
    id="response",
    expectation="response",
    measure=measure,
    words=lambda value, band: f"the pressure answers the throttle after {value:.2f} s (healthy: up to {band[1]:.2f} s)",
)


def check(case: Case) -> Sequence[Testimony]:
    """One testimony where the throttle was moved often enough and recorded often enough."""
    return LEVEL.testify(case)
