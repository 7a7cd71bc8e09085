"""What cars show when healthy, from healthy rows: what is usual, how wide, and what is foretold by the kind of car."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.picture.features import OF_CAR
from airproof.diagnosis.picture.healthy import AMOUNTS, FURTHEST, Healthy, what_is_known

Floats = NDArray[np.float64]

RIDGE = 3.0  # rows' worth, by which what foretells is held to nothing
LEAST_WIDTH = 1e-4
"""Of what no healthy car moves: well above what rounding to single precision, in which rows are kept, makes of it, so
that no recording is taken for far off by its last digits."""


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
        normal = of_it.T @ of_it + RIDGE * np.eye(known.shape[1])
        foretold[:, k] = np.linalg.solve(normal, of_it.T @ off[there, k])
    return Healthy(middle, width, usual, spread, foretold)
