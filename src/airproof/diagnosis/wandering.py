"""How probable it is that a relation of a healthy engine wanders so: noise, and a level that stays for seconds."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.in_windows import Seen
from airproof.diagnosis.testimony import TAIL

Floats = NDArray[np.float64]

# Noise as a multiple of what is expected, how far it wanders (logarithm), over how long (s); judged: Airproof authors:
# from nothing to what the healthy bench recording does.
NOISE, WANDERS, STAYS_S = (1.0, 1.7, 3.0), (0.015, 0.05, 0.15), (4.0, 15.0)
FAR_OFF = 9.0  # squared standard deviations from which a window is followed only in part; judged: Airproof authors


def all_wandering(seen: Seen, off: Floats, width: float) -> Floats:
    """ln likelihood (m,) of what is off (m, n), each relation free to wander."""
    total = np.zeros(len(off))
    for number in np.unique(seen.relation):
        its = seen.relation == number
        total += wandering(off[:, its], seen.sd[its], width * np.diff(seen.window[its]))
    return total


def wandering(rows: Floats, sd: Floats, apart_s: Floats) -> Floats:
    """ln likelihood (C,) of series (C, n), each +- sd (n,) and `apart_s` (n - 1,) from the one before, as noise and a
    wander of the first order, each of the strength that suits the series best (scalar Kalman filter).
    """
    grid = [(n, 0.0, STAYS_S[0]) for n in NOISE] + [(n, a, s) for n in NOISE for a in WANDERS for s in STAYS_S]
    noise, reach, stays = (np.array(column) for column in zip(*grid, strict=True))
    level = np.zeros((rows.shape[0], noise.size))
    variance = np.square(reach)
    total = np.zeros_like(level)
    for k in range(rows.shape[1]):
        if k:
            kept = np.exp(-apart_s[k - 1] / stays)
            level = kept * level
            variance = np.square(kept) * variance + np.square(reach) * (1.0 - np.square(kept))
        expected = variance + np.square(noise * sd[k])
        surprise = rows[:, k, None] - level
        squared = np.square(surprise) / expected
        total += -0.5 * (TAIL + 1.0) * np.log1p(squared / TAIL) - 0.5 * np.log(expected)
        gain = variance / expected
        level = level + gain * surprise * np.minimum(1.0, FAR_OFF / np.maximum(squared, 1e-9))
        variance = (1.0 - gain) * variance
    return np.asarray(total.max(axis=1))
