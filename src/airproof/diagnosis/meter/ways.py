"""Readings that may have come about in several ways under one cause: as computed, dead at a rail, or by a slip.

For rows of readings heard one after the other, each way k has a probability p_k and gives every row a density f_ki;
together they give the first i rows the density sum_k p_k prod_{j<=i} f_kj, and each row its share of that: so a wire
that is found sound at one reading is sound at the next, and nothing counts twice.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.testimony import TAIL, log_t

Floats = NDArray[np.float64]

Way = tuple[float | Floats, Floats]
"""A probability (one for all sizes, or one for each, (S,)) and the log densities (S, n) of n rows at S sizes."""

LOG_T_AREA = float(np.log(0.375))
"""Makes log_t a density that sums to one: the constant of the t distribution with 4 degrees of freedom is 3/8, from
memory of it; the tests integrate it."""

assert TAIL == 4.0, "LOG_T_AREA holds for 4 degrees of freedom"

LEAST_SHARE = 1e-300
"""Keeps the logarithm of a share of nothing finite."""

DEAD_AT_END = 0.95
"""Share of dead signals that stand right at an end of the supply; judged: Airproof authors."""


def t_rows(off: Floats, covariance: Floats) -> Floats:
    """Log densities (S, n) of rows with deviations (S, n), each given those before it, by t distributions."""
    lower = np.linalg.cholesky(covariance)
    whitened = np.linalg.solve(lower, off.T).T
    return np.asarray(LOG_T_AREA + log_t(whitened, np.diag(lower)))


def t_row(off: Floats, sd: Floats | float) -> Floats:
    """Log density (S, 1) of one row with deviations (S,)."""
    spread = np.broadcast_to(np.asarray(sd, dtype=np.float64), off.shape)
    return np.asarray(LOG_T_AREA + log_t(off / spread, spread))[:, None]


def heard(ways: Sequence[Way]) -> Floats:
    """Log likelihood (S, n) of each row given those before it, all ways together."""
    size = max(max(rows.shape[0], np.size(share)) for share, rows in ways)
    stacked = []
    for share, rows in ways:
        chance = np.broadcast_to(np.log(np.maximum(share, LEAST_SHARE)), (size,))
        stacked.append(chance[:, None] + np.cumsum(np.broadcast_to(rows, (size, rows.shape[1])), axis=1))
    return np.asarray(np.diff(np.logaddexp.reduce(np.stack(stacked), axis=0), axis=1, prepend=0.0))


def trusted(off: Floats, covariance: Floats) -> Floats:
    """How far rows (S, k) can be taken at their word, (S,): one where they lie as a Gaussian has it, little far out.

    A t distribution is a Gaussian that at times is misled by something nobody thought of; far out that is what has
    happened, and then what shares an error with such a row has learned nothing from it. The ratio of the two densities.
    """
    whitened = np.linalg.solve(np.linalg.cholesky(covariance), off.T).T
    gauss = -0.5 * (np.square(whitened) + np.log(2.0 * np.pi))
    student = LOG_T_AREA + log_t(whitened)
    return np.asarray(np.exp(np.minimum(gauss - student, 0.0).sum(axis=1)))


def at_rail(share: Floats, *, high: bool) -> Floats:
    """Log density, per unit of the supply, of signals (shares of the supply, (n,)) that are dead at one of its ends.

    Nearly all within a few hundredths of the end, the rest anywhere.
    """
    low_end, high_end = (0.96, 1.02) if high else (-0.01, 0.03)
    inside = (share >= low_end) & (share <= high_end)
    return np.asarray(np.log(np.where(inside, DEAD_AT_END / (high_end - low_end), 0.0) + (1.0 - DEAD_AT_END)))
