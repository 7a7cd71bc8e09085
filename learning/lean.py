"""Find the slopes: what a healthy car shows, and how much what lies off that speaks for each cause.

The first is a linear regression on healthy rows, the second a multinomial logistic regression with a ridge, on rows and
on every fault told to other cars (`twins.py`).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from airproof.diagnosis.picture.features import INDUCTIONS, OF_CAR
from airproof.diagnosis.picture.slopes import AMOUNTS, FURTHEST, Healthy, Slopes, voices, what_is_known

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

RIDGE, RIDGE_FORETOLD = 3e-4, 3.0  # 1e-3 did a little worse on new cars
STEPS = 200
LEAST_WIDTH = 1e-9


def healthy_cars(rows: Floats) -> Healthy:
    """What cars show when healthy, from healthy rows (n, F)."""
    count = rows.shape[1] - len(OF_CAR)
    low, middle, high = np.nanquantile(rows[:, :count], (0.16, 0.5, 0.84), axis=0)
    # What hardly ever stirs, such as dropouts, is measured by the rare times it does.
    width = np.where(high - low > LEAST_WIDTH, (high - low) / 2.0, np.nanstd(rows[:, :count], axis=0))
    width = np.maximum(width, LEAST_WIDTH)
    amounts = rows[:, count : count + len(AMOUNTS)]
    usual, spread = np.nanmean(amounts, axis=0), np.nanstd(amounts, axis=0) + LEAST_WIDTH
    known = what_is_known(rows[:, count:], usual, spread)
    off = np.clip((rows[:, :count] - middle) / width, -FURTHEST, FURTHEST)
    foretold = np.zeros((known.shape[1], count))
    for k in range(count):
        there = np.isfinite(off[:, k])
        of_it = known[there]
        normal = of_it.T @ of_it + RIDGE_FORETOLD * np.eye(known.shape[1])
        foretold[:, k] = np.linalg.solve(normal, of_it.T @ off[there, k])
    return Healthy(middle, width, usual, spread, foretold)


def find_slopes(rows: Floats, cause: Ints, weight: Floats) -> Slopes:
    """Slopes from rows (n, F), their causes (n,), 0 for healthy, and the weight of each cause (C,)."""
    rows = np.asarray(rows, dtype=np.float64)
    healthy = healthy_cars(rows[cause == 0])
    count, causes = healthy.middle.size, weight.size
    off = healthy.off_by(rows)
    direction, distance = voices(off)
    induction = rows[:, count + OF_CAR.index("induction")]
    # Each induction has its own slopes, held near those of all: common ones, and a difference for each.
    parts = [np.ones((len(rows), 1)), direction, distance, np.isnan(off)]
    parts += [direction * (induction == k)[:, None] for k in range(len(INDUCTIONS))]
    design = np.column_stack(parts).astype(np.float32)
    scale = np.sqrt(np.square(design).mean(axis=0)) + LEAST_WIDTH
    design /= scale
    share = weight[cause] / weight[cause].sum()
    at = (np.arange(len(rows)), cause)

    def surprise(flat: Floats) -> tuple[float, Floats]:
        slopes = flat.reshape(design.shape[1], causes)
        margin = (design @ slopes.astype(np.float32)).astype(np.float64)
        margin -= np.logaddexp.reduce(margin, axis=1, keepdims=True)
        wrong = np.exp(margin)
        wrong[at] -= 1.0
        pull = np.array(slopes)
        pull[0] = 0.0  # the constant is free
        rise = design.T @ (wrong * share[:, None]).astype(np.float32) + 2.0 * RIDGE * pull
        return float(-share @ margin[at] + RIDGE * np.square(pull).sum()), np.asarray(rise, dtype=np.float64).ravel()

    begin = np.zeros(design.shape[1] * causes)
    found = minimize(surprise, begin, jac=True, method="L-BFGS-B", options={"maxiter": STEPS}).x
    slopes = found.reshape(design.shape[1], causes) / scale[:, None]
    # What a voice says in the mean of all rows says nothing of one recording: it goes to what stands before.
    average = (share @ design).astype(np.float64) * scale
    by_part = (average[:, None] * slopes)[1:].reshape(len(parts) - 1, count, causes)
    mean = by_part.sum(axis=0)
    common, away, unknown, *own = np.split(slopes[1:], len(parts) - 1)
    return Slopes(healthy, common + np.array(own), away, unknown, mean, slopes[0] + mean.sum(axis=0))
