"""Straight lines through uncertain points, against SciPy's weighted regressions and a minimum found by brute force."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import curve_fit, least_squares
from scipy.stats import norm

from airproof.errors import UnusableQuantity
from airproof.quantities.line_fit import NORMAL_90, fit_straight

Floats = NDArray[np.float64]

KPA = np.array([98.2, 81.27, 64.34, 47.40, 30.47])
SHARE = np.array([0.38844, 0.31873, 0.24900, 0.17729, 0.10558])


def straight(x: Floats, a: float, b: float) -> Floats:
    return a + b * x


@pytest.mark.parametrize("common", [0.0, 0.003, 0.02])
def test_as_scipy_with_errors_in_the_reading(common: float) -> None:
    covariance = np.diag(np.linspace(1e-3, 3e-3, 5) ** 2) + common**2 * np.outer(SHARE, SHARE)
    fit = fit_straight(KPA, SHARE, covariance)
    expected, uncertain = curve_fit(
        straight, KPA, SHARE, p0=[0.0, 0.004], sigma=covariance, absolute_sigma=True, xtol=1e-14, ftol=1e-14, gtol=1e-14
    )
    assert (fit.intercept, fit.slope) == (pytest.approx(expected[0], rel=1e-5), pytest.approx(expected[1], rel=1e-6))
    assert fit.covariance == pytest.approx(uncertain, rel=1e-5)


def test_as_scipy_with_errors_both_ways() -> None:
    sd_reading, sd_kpa = np.full(5, 1.5e-3), np.array([0.3, 1.0, 1.0, 1.0, 1.0])
    fit = fit_straight(KPA, SHARE, np.diag(sd_reading**2), np.diag(sd_kpa**2))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        odr = pytest.importorskip("scipy.odr")
        data = odr.RealData(KPA, SHARE, sx=sd_kpa, sy=sd_reading)
        best = odr.ODR(data, odr.unilinear, beta0=[0.004, 0.0], maxit=500, sstol=1e-15, partol=1e-15).run()
    assert (fit.slope, fit.intercept) == (pytest.approx(best.beta[0], rel=1e-6), pytest.approx(best.beta[1], rel=1e-4))
    assert np.sqrt(np.diag(fit.covariance)[::-1]) == pytest.approx(np.sqrt(np.diag(best.cov_beta)), rel=1e-4)


def test_common_errors_both_ways_against_brute_force() -> None:
    draw = np.random.default_rng(5)
    y_covariance = np.diag(np.full(5, 1e-6)) + 1e-5 * np.outer(SHARE, SHARE)
    x_covariance = np.diag(np.full(5, 0.8)) + 0.16
    y = SHARE + draw.normal(0.0, 3e-3, 5)
    fit = fit_straight(KPA, y, y_covariance, x_covariance)
    lower_y, lower_x = np.linalg.cholesky(y_covariance), np.linalg.cholesky(x_covariance)

    def residuals(p: Floats) -> Floats:  # the line and where the points really are
        off_x = np.linalg.solve(lower_x, KPA - p[2:])
        off_y = np.linalg.solve(lower_y, y - (p[0] + 1e-2 * p[1] * p[2:]))
        return np.concatenate([off_x, off_y])

    best = least_squares(residuals, np.array([0.0, 0.4, *KPA]), xtol=1e-15, ftol=1e-15, gtol=1e-15)
    assert fit.intercept == pytest.approx(best.x[0], abs=1e-6)
    assert fit.slope == pytest.approx(1e-2 * best.x[1], rel=1e-5)
    assert fit.chi_square == pytest.approx(2.0 * best.cost, rel=1e-6)


def test_a_published_fit_of_errors_both_ways() -> None:
    # Pearson's data with York's weights, the reference case of fits with errors both ways: York 1966, solution
    # intercept 5.4799, slope -0.48053; from memory of it.
    x = np.array([0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4])
    y = np.array([5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5])
    wx = np.array([1000.0, 1000.0, 500.0, 800.0, 200.0, 80.0, 60.0, 20.0, 1.8, 1.0])
    wy = np.array([1.0, 1.8, 4.0, 8.0, 20.0, 20.0, 70.0, 70.0, 100.0, 500.0])
    fit = fit_straight(x, y, np.diag(1.0 / wy), np.diag(1.0 / wx))
    assert fit.intercept == pytest.approx(5.4799, abs=5e-5)
    assert fit.slope == pytest.approx(-0.48053, abs=5e-6)


def test_two_points_are_met_exactly() -> None:
    fit = fit_straight(np.array([98.0, 30.0]), np.array([0.352, 0.08]), np.diag([1e-6, 1e-6]), np.diag([0.2, 1.0]))
    assert (fit.intercept, fit.slope) == (pytest.approx(-0.04, abs=1e-12), pytest.approx(0.004, rel=1e-12))
    assert fit.freedom == 0
    assert fit.chi_square == pytest.approx(0.0, abs=1e-18)


@pytest.mark.parametrize(("x", "y"), [([98.0], [0.35]), ([98.0, 98.0], [0.35, 0.36]), ([98.0, np.nan], [0.3, 0.2])])
def test_what_makes_no_line_is_refused(x: list[float], y: list[float]) -> None:
    with pytest.raises(UnusableQuantity, match="two or more"):
        fit_straight(np.array(x), np.array(y), np.eye(len(x)))


def test_the_ninety_per_cent_reach() -> None:
    assert pytest.approx(float(norm.ppf(0.95)), rel=1e-12) == NORMAL_90


@settings(max_examples=60, deadline=None)
@given(st.floats(-5.0, 5.0), st.floats(0.5, 50.0), st.floats(0.1, 3.0), st.integers(0, 10_000))
def test_units_and_places_change_nothing(shift: float, factor: float, sd: float, seed: int) -> None:
    draw = np.random.default_rng(seed)
    x_covariance = np.diag(np.full(5, sd**2)) + 0.1
    y = SHARE + draw.normal(0.0, 2e-3, 5)
    y_covariance = np.diag(np.full(5, 4e-6))
    first = fit_straight(KPA, y, y_covariance, x_covariance)
    again = fit_straight(factor * (KPA + shift), y, y_covariance, factor**2 * x_covariance)
    assert factor * again.slope == pytest.approx(first.slope, rel=1e-6)
    assert again.chi_square == pytest.approx(first.chi_square, rel=1e-5, abs=1e-8)
    order = draw.permutation(5)
    mixed = fit_straight(KPA[order], y[order], y_covariance[np.ix_(order, order)], x_covariance[np.ix_(order, order)])
    assert mixed.slope == pytest.approx(first.slope, rel=1e-8)


def test_intervals_hold_as_often_as_they_say() -> None:
    draw = np.random.default_rng(1)
    sd_x, sd_y, held = 1.0, 2e-3, 0
    for _ in range(1000):
        x = KPA + draw.normal(0.0, sd_x, 5)
        y = -0.04 + 0.004 * KPA + draw.normal(0.0, sd_y, 5)
        fit = fit_straight(x, y, np.diag(np.full(5, sd_y**2)), np.diag(np.full(5, sd_x**2)))
        _, low, high = fit.interval(np.array([0.0, 1.0]))
        held += low <= 0.004 <= high
    assert 870 <= held <= 930  # 900 expected, three standard deviations of a count
