"""A straight line through points that are uncertain both ways, with errors that may be common to several of them.

y = a + b x. The errors of y and of x have covariances C_y and C_x (any, not only diagonal: a meter's scale is wrong
alike in all its readings, a barometer under all gauge pressures). Wanted are a and b of greatest likelihood:

    minimise  r' C(b)^-1 r,   r = y - a - b x,   C(b) = C_y + b^2 C_x

With C_x = 0 this is generalised least squares. Otherwise it is solved by turns (Gauss-Helmert): with the points moved
to where they most probably are, x^ = x + b C_x C^-1 r, the next a and b are those of y + b (x^ - x) on x^
[NEITZEL2010]; for independent errors the result is that of [YORK2004].

Sources
[YORK2004] D. York et al., Unified equations for the slope, intercept, and standard errors of the best straight line,
           American Journal of Physics 72 (2004) 367; from memory of it.
[NEITZEL2010] F. Neitzel, Generalization of total least-squares on example of unweighted and weighted 2D similarity
              transformation, Journal of Geodesy 84 (2010) 751; from memory of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airproof.errors import UnusableQuantity

Floats = NDArray[np.float64]

NORMAL_90 = 1.6448536269514722
"""90 of 100 draws of a normal distribution lie within so many standard deviations."""

MOST_TURNS = 200
SETTLED = 1e-13


@dataclass(frozen=True)
class LineFit:
    """y = intercept + slope x; `covariance` (2, 2) of the two, in that order, from the stated errors alone.

    `chi_square` is r' C^-1 r, with `freedom` = points less two; `residuals` (n,) are y - intercept - slope x.
    """

    intercept: float
    slope: float
    covariance: Floats
    residuals: Floats
    chi_square: float

    @property
    def freedom(self) -> int:
        """Points beyond the two that any line fits."""
        return int(self.residuals.size) - 2

    def interval(self, combine: Floats) -> tuple[float, float, float]:
        """Value, low and high (90 %) of combine[0] x intercept + combine[1] x slope."""
        value = float(combine @ np.array([self.intercept, self.slope]))
        reach = NORMAL_90 * float(np.sqrt(combine @ self.covariance @ combine))
        return value, value - reach, value + reach


def fit_straight(x: Floats, y: Floats, y_covariance: Floats, x_covariance: Floats | None = None) -> LineFit:
    """The line of greatest likelihood through points x, y (n,) with covariances (n, n) of their errors.

    Two points or more, at two different x or more; UnusableQuantity otherwise. Units are the caller's.
    """
    x, y = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    sound = x.shape == y.shape and x.ndim == 1 and bool(np.isfinite(x).all() and np.isfinite(y).all())
    if not sound or x.size < 2 or np.ptp(x) <= 1e-9 * max(1.0, float(np.abs(x).max())):
        raise UnusableQuantity(
            f"{x.size} points for a line",
            "two or more, at two different pressures or more",
            "Take one more reading, for example at half vacuum from a hand pump.",
        )
    middle, reach = float(x.mean()), float(np.ptp(x))
    u = (x - middle) / reach  # so that both columns are of one size
    v_covariance = np.zeros((x.size, x.size)) if x_covariance is None else np.asarray(x_covariance) / reach**2
    beta = _step(u, y, y_covariance, v_covariance, np.zeros(2), u)[0]
    moved = x_covariance is not None and bool(np.any(x_covariance))
    for _ in range(MOST_TURNS if moved else 0):
        covariance = y_covariance + beta[1] ** 2 * v_covariance
        there = u + beta[1] * v_covariance @ np.linalg.solve(covariance, y - beta[0] - beta[1] * u)
        new = _step(u, y, y_covariance, v_covariance, beta, there)[0]
        settled = bool(np.all(np.abs(new - beta) <= SETTLED * (np.abs(new) + np.abs(beta).max())))
        beta = new
        if settled:
            break
    covariance = y_covariance + beta[1] ** 2 * v_covariance
    off = y - beta[0] - beta[1] * u
    weighted = np.linalg.solve(covariance, off)
    there = u + beta[1] * v_covariance @ weighted
    _, uncertain = _step(u, y, y_covariance, v_covariance, beta, there)
    back = np.array([[1.0, -middle / reach], [0.0, 1.0 / reach]])  # from the centred line to the given x
    intercept, slope = back @ beta
    return LineFit(float(intercept), float(slope), back @ uncertain @ back.T, off, float(off @ weighted))


def _step(
    u: Floats, y: Floats, y_covariance: Floats, u_covariance: Floats, beta: Floats, there: Floats
) -> tuple[Floats, Floats]:
    """One turn: the line through the points moved to `there`, and its covariance (2, 2)."""
    covariance = y_covariance + beta[1] ** 2 * u_covariance
    design = np.column_stack([np.ones_like(there), there])
    weighted = np.linalg.solve(covariance, design)
    uncertain = np.linalg.inv(design.T @ weighted)
    return uncertain @ (weighted.T @ (y + beta[1] * (there - u))), uncertain
