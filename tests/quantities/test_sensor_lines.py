"""Ratiometric pressure sensor lines: rows from makers' data sheets and service texts, named beside each."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airproof.errors import UnusableQuantity
from airproof.quantities.constants import ZERO_CELSIUS
from airproof.quantities.line_fit import fit_straight
from airproof.quantities.sensor_lines import RatiometricLine

# Sheet lines V = Vs (a P + b), P in kPa absolute: 4115A (Motorola), 4250A (NXP rev 8.0, 2017), both read in
# copies of
# the sheets; 4250 D/G (differential), 6300A and 6400A: a and b from memory, they reproduce the sheets'
# headlines.
LINE_4115A = RatiometricLine.per_kpa(0.009, -0.095, 5.1, (15, 115), 1.5, "4115A data sheet")
LINE_4250A = RatiometricLine.per_kpa(0.004, -0.04, 5.1, (20, 250), 3.45, "4250A data sheet")
LINE_4250D = RatiometricLine.per_kpa(
    0.00369, 0.04, 5.1, (0, 250), 3.5, "4250 D/G data sheet: a difference, not absolute"
)
LINE_6300A = RatiometricLine.per_kpa(0.00318, -0.00353, 5.1, (20, 304), 4.26, "6300A data sheet")
LINE_6400A = RatiometricLine.per_kpa(0.002421, -0.00842, 5.0, (20, 400), 5.7, "6400A data sheet")

SHEET_POINTS = [
    (LINE_4115A, [(15, 0.2040), (50, 1.8105), (101.325, 4.1663), (115, 4.7940)]),
    (LINE_4250A, [(20, 0.2040), (100, 1.8360), (101.325, 1.8630), (250, 4.8960)]),
    (LINE_4250D, [(0, 0.204), (250, 4.9087)]),
    (LINE_6300A, [(20, 0.306), (304, 4.912)]),
    (LINE_6400A, [(20, 0.2000), (100, 1.1684), (200, 2.3789), (400, 4.7999)]),
]


@pytest.mark.parametrize(("line", "points"), SHEET_POINTS, ids=lambda x: getattr(x, "source", ""))
def test_sheet_points(line: RatiometricLine, points: list[tuple[float, float]]) -> None:
    kpa, volts = np.array(points).T
    assert line.volts(1e3 * kpa) == pytest.approx(volts, abs=6e-4)
    assert line.pressure_pa(volts) / 1e3 == pytest.approx(kpa, abs=0.05)


@pytest.mark.parametrize(
    ("line", "millivolts_per_kpa"),
    [(LINE_4115A, 45.9), (LINE_4250A, 20.4), (LINE_4250D, 18.8), (LINE_6300A, 16.2), (LINE_6400A, 12.1)],
)
def test_sheet_sensitivity(line: RatiometricLine, millivolts_per_kpa: float) -> None:
    assert 1e6 * line.sensitivity() == pytest.approx(millivolts_per_kpa, abs=0.06)


def test_trap_two_parts_of_one_family_have_different_lines() -> None:
    # 4250A against 4250 D/G: the same volts are some 20 kPa apart
    assert LINE_4250A.pressure_pa(1.8630) - LINE_4250D.pressure_pa(1.8630) > 13e3


def test_temperature_factor_table() -> None:
    celsius = np.array([-40.0, -20.0, 0.0, 25.0, 85.0, 105.0, 125.0])
    factor = LINE_4115A.error_factor(celsius + ZERO_CELSIUS)
    assert factor == pytest.approx([3.0, 2.0, 1.0, 1.0, 1.0, 2.0, 3.0], abs=1e-9)


def test_error_band_of_a_250_kpa_part() -> None:
    celsius = np.array([25.0, -20.0, 105.0, -40.0, 125.0])
    band = LINE_4250A.error_band_pa(celsius + ZERO_CELSIUS) / 1e3
    assert band == pytest.approx([3.45, 6.9, 6.9, 10.35, 10.35], abs=1e-6)
    assert LINE_4250A.error_band_pa() / 1e3 == pytest.approx(3.45)


def test_error_band_is_unknown_where_the_sheet_is_silent() -> None:
    assert np.isnan(LINE_4250A.error_band_pa(np.array([-41.0, 126.0, math.nan]) + ZERO_CELSIUS)).all()
    assert math.isnan(RatiometricLine.per_kpa(0.004, -0.04, 5.0, (20, 250)).error_band_pa())


# car: points kPa V; line V = m P + c; largest residual V
CAR_SENSORS = [
    # Hyundai Genesis, not charged, service text p. 217
    ([(20.0, 0.79), (46.66, 1.84), (101.32, 4.0)], 0.039480, -0.0006, 0.002),
    # Hyundai turbo boost sensor, 2011 service text
    ([(25.4, 0.5), (50.0, 0.95), (220.0, 4.1), (241.9, 4.5)], 0.018496, 0.0280, 0.003),
]


def fitted_to(pressures_pa: list[float], volts: list[float], supply_v: float = 5.0) -> tuple[RatiometricLine, float]:
    """The straight line through points of one supply, all alike uncertain, and how far the farthest lies from it, V."""
    fit = fit_straight(np.array(pressures_pa), np.array(volts), np.eye(len(volts)))
    span = min(pressures_pa), max(pressures_pa)
    line = RatiometricLine(fit.slope / supply_v, fit.intercept / supply_v, supply_v, *span)
    return line, float(np.abs(fit.residuals).max())


@pytest.mark.parametrize(("points", "slope", "offset", "residual"), CAR_SENSORS)
def test_lines_fitted_to_published_car_sensors(
    points: list[tuple[float, float]], slope: float, offset: float, residual: float
) -> None:
    kpa, volts = np.array(points).T
    line, farthest = fitted_to(list(1e3 * kpa), list(volts), supply_v=5.0)
    assert 1e3 * line.sensitivity() == pytest.approx(slope, abs=6e-7)
    assert line.volts(0.0) == pytest.approx(offset, abs=6e-5)
    assert farthest < residual
    assert (line.low_pa, line.high_pa) == (1e3 * kpa.min(), 1e3 * kpa.max())


def test_line_fitted_to_a_published_vacuum_table() -> None:
    # Chrysler 3.0 V6 1995 service text, inHg of vacuum and V; its line V = 0.0500 P - 0.401 holds from 20 to
    # 80 kPa
    inches = np.array([9.25, 12.20, 15.15, 18.11, 21.06, 24.01])
    line, farthest = fitted_to(list(101325.0 - 3386.389 * inches), [3.1, 2.6, 2.1, 1.6, 1.1, 0.6])
    assert 1e3 * line.sensitivity() == pytest.approx(0.0500, abs=6e-5)
    assert line.volts(0.0) == pytest.approx(-0.401, abs=2e-3)
    assert farthest < 0.005


def test_line_fitted_to_a_workshop_article() -> None:
    # generic 5 V sensor, fourwheeler.com 1401: 0, 5, 10, 20 inHg of vacuum; V = 0.0535 P - 0.660
    line, _ = fitted_to(list(101325.0 - 3386.389 * np.array([0.0, 5.0, 10.0, 20.0])), [4.7, 3.9, 3.0, 1.1])
    assert 1e3 * line.sensitivity() == pytest.approx(0.0535, abs=6e-5)
    assert line.volts(0.0) == pytest.approx(-0.660, abs=6e-4)


def test_fit_against_scipy() -> None:
    from scipy.stats import linregress

    kpa, volts = [25.4, 50.0, 220.0, 241.9], [0.5, 0.95, 4.1, 4.5]
    reference = linregress(kpa, volts)
    line, _ = fitted_to([1e3 * p for p in kpa], volts)
    assert 1e3 * line.sensitivity() == pytest.approx(reference.slope, rel=1e-9)
    assert line.volts(0.0) == pytest.approx(reference.intercept, abs=1e-9)


@given(
    st.floats(1e-3, 2e-2),
    st.floats(-0.2, 0.2),
    st.floats(4.5, 5.5),
    st.floats(10e3, 400e3),
    st.floats(4.5, 5.5),
)
def test_volts_and_pressure_round_trip(a: float, b: float, sheet_v: float, pressure: float, supply_v: float) -> None:
    line = RatiometricLine.per_kpa(a, b, sheet_v, (10, 400))
    assert line.pressure_pa(line.volts(pressure)) == pytest.approx(pressure, rel=1e-9)
    assert line.pressure_pa(line.volts(pressure, supply_v), supply_v) == pytest.approx(pressure, rel=1e-9)
    again, farthest = fitted_to([10e3, pressure, 400e3], [line.volts(p) for p in (10e3, pressure, 400e3)], sheet_v)
    assert again.slope_per_pa == pytest.approx(line.slope_per_pa, rel=1e-6)
    assert farthest < 1e-9


def test_supply_error_hurts_only_a_fixed_reference() -> None:
    # 4.90 V in place of 5.10 V: none against the same supply, -3.9 % of the volts against a fixed one
    volts = LINE_4250A.volts(100e3, 4.90)
    assert LINE_4250A.pressure_pa(volts, 4.90) == pytest.approx(100e3, rel=1e-12)
    assert volts / LINE_4250A.volts(100e3) - 1.0 == pytest.approx(-0.039, abs=6e-4)


def test_within_span() -> None:
    assert LINE_4115A.within_span(15e3) is True
    assert LINE_4115A.within_span(14.9e3) is False
    assert LINE_4115A.within_span(14.9e3, slack_pa=200.0) is True
    assert list(LINE_4115A.within_span(np.array([50e3, 115e3, 116e3, math.nan]))) == [
        True,
        True,
        False,
        False,
    ]


def test_unusable_lines() -> None:
    with pytest.raises(UnusableQuantity, match="slope that is not zero"):
        RatiometricLine(0.0, 0.0, 5.0, 0.0, 1e5)
    with pytest.raises(UnusableQuantity, match="low below high"):
        RatiometricLine.per_kpa(0.004, -0.04, 5.0, (250, 20))
    for kpa, volts in (
        ([50.0], [1.0]),
        ([50.0, 50.0], [1.0, 2.0]),
        ([50.0, 60.0], [1.0]),
        ([50.0, math.nan], [1.0, 2.0]),
    ):
        with pytest.raises(UnusableQuantity, match="two different pressures"):
            fitted_to(kpa, volts)
    with pytest.raises(UnusableQuantity, match="slope that is not zero"):
        fitted_to([20e3, 100e3], [2.0, 2.0])
