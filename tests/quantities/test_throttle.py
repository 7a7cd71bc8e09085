"""Throttle laws. Published engine: Crossley & Cook 1991 as the Modelica Standard Library gives it; its check
values computed with scipy 1.17.1 from the printed polynomials."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from airproof.quantities import throttle
from airproof.quantities.gas_flow import flow_function, orifice_flow

BAR = 1e5


def rps(rad_per_s: float) -> float:
    return rad_per_s / (2.0 * math.pi)


def test_published_polynomials() -> None:
    choked = throttle.published_throttle_flow(np.array([10.0, 20.0]), BAR, 0.3 * BAR)
    assert 1e3 * choked == pytest.approx([11.9669, 37.9308], abs=6e-5)
    assert throttle.simple_flow_function(0.543) == pytest.approx(0.99630, abs=6e-6)
    assert 1e3 * throttle.published_cylinder_flow(rps(209.48), 0.543 * BAR) == pytest.approx(10.1487, abs=6e-5)


@pytest.mark.parametrize(("angle", "rad_per_s", "bar"), [(20.0, 314.16, 0.87728), (8.0, 83.776, 0.91642)])
def test_published_steady_pressure(angle: float, rad_per_s: float, bar: float) -> None:
    def surplus(p: float) -> float:
        into = throttle.published_throttle_flow(angle, BAR, p * BAR)
        return float(into - throttle.published_cylinder_flow(rps(rad_per_s), p * BAR))

    assert brentq(surplus, 0.2, 0.9999) == pytest.approx(bar, abs=6e-6)


def test_published_balancing_throttle() -> None:
    taken = throttle.published_cylinder_flow(rps(209.48), 0.543 * BAR)
    angle = brentq(lambda a: throttle.published_throttle_flow(a, BAR, 0.543 * BAR) - taken, 1.0, 30.0)
    assert angle == pytest.approx(8.9716, abs=6e-5)


def test_simple_law_is_near_the_compressible_one() -> None:
    ratios = np.linspace(0.0, 1.0, 1001)[:-1]
    compressible = flow_function(ratios) / flow_function(0.0)
    simple = throttle.simple_flow_function(ratios)
    assert (simple / compressible - 1.0).min() > -0.032
    assert (simple / compressible - 1.0).max() < 1e-9
    assert throttle.simple_flow_function(np.array([0.0, 0.5, 1.0])) == pytest.approx([1.0, 1.0, 0.0])
    assert np.isnan(throttle.simple_flow_function(np.array([-0.01, 1.01, math.nan]))).all()


def test_simple_law_is_continuous_where_it_chokes() -> None:
    around = throttle.simple_flow_function(0.5 + np.array([-1e-9, 0.0, 1e-9]))
    assert around == pytest.approx([1.0] * 3, rel=1e-12)


def test_published_flow_reverses() -> None:
    there = throttle.published_throttle_flow(15.0, BAR, 0.8 * BAR)
    assert throttle.published_throttle_flow(15.0, 0.8 * BAR, BAR) == -there


@given(st.floats(1e-6, 3e-3), st.floats(60e3, 250e3), st.floats(0.1, 0.999), st.floats(250.0, 400.0))
def test_throttle_area_from_flow(area: float, upstream: float, ratio: float, kelvin: float) -> None:
    flow = throttle.throttle_flow(area, upstream, ratio * upstream, kelvin)
    assert flow == orifice_flow(area, upstream, ratio * upstream, kelvin)
    found = throttle.throttle_area_for_flow(flow, upstream, ratio * upstream, kelvin)
    assert found == pytest.approx(area, rel=1e-9)
