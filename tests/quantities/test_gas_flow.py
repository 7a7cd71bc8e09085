"""Compressible flow: printed figures of the ideal-gas relations (R = 287.05, gamma 1.4), limits, inverses."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airproof.quantities import gas_flow as gf
from airproof.quantities.constants import STANDARD_PRESSURE

CRITICAL = gf.critical_pressure_ratio()
pressures = st.floats(5e3, 400e3)
temperatures = st.floats(230.0, 420.0)


def test_critical_ratio_table() -> None:
    # textbook relation, gamma 1.4, 1.35, 1.3, 5/3
    computed = gf.critical_pressure_ratio(np.array([1.4, 1.35, 1.3, 5.0 / 3.0]))
    assert computed == pytest.approx([0.528282, 0.536851, 0.545728, 0.487139], abs=6e-7)


def test_choked_flow_function() -> None:
    # ISO 9300 ideal critical flow function 0.6847 for gamma 1.4
    computed = gf.flow_function(np.array([0.0, 0.3, 0.5]))
    assert computed == pytest.approx([0.684731] * 3, abs=6e-7)
    assert gf.flow_function(0.2, 1.3) == pytest.approx(0.667262, abs=6e-7)


def test_flow_function_table() -> None:
    ratios = np.array([0.6, 0.7, 0.8, 0.9, 0.95, 0.98, 0.99, 1.0])
    printed = [0.67692, 0.63832, 0.56066, 0.42258, 0.30764, 0.19785, 0.14066, 0.0]
    assert gf.flow_function(ratios) == pytest.approx(printed, abs=6e-6)


@pytest.mark.parametrize(("kelvin", "flux"), [(293.15, 239.174), (288.15, 241.240)])
def test_choked_flux(kelvin: float, flux: float) -> None:
    # kg/(s m2) from one standard atmosphere
    flow = gf.orifice_flow(1.0, STANDARD_PRESSURE, 0.3 * STANDARD_PRESSURE, kelvin, discharge=1.0)
    assert flow == pytest.approx(flux, abs=0.003)


def test_flow_through_round_holes() -> None:
    # g/s for diameters in mm, Cd 0.8, one standard atmosphere at 20 degC, choked and at a ratio of 0.9
    area = gf.hole_area(1e-3 * np.array([1, 2, 3, 4, 6, 8, 10]))
    choked = 1e3 * gf.orifice_flow(area, STANDARD_PRESSURE, 30e3, 293.15, 0.8)
    assert choked == pytest.approx([0.150, 0.601, 1.352, 2.404, 5.410, 9.618, 15.03], rel=2e-4, abs=5.1e-4)
    small = 1e3 * gf.orifice_flow(area, STANDARD_PRESSURE, 0.9 * STANDARD_PRESSURE, 293.15, 0.8)
    assert small == pytest.approx([0.093, 0.371, 0.835, 1.484, 3.339, 5.936, 9.274], abs=6e-4)


def test_a_leak_stays_choked_below_half_the_barometer() -> None:
    # 53.5 kPa at sea level
    assert STANDARD_PRESSURE * gf.critical_pressure_ratio() == pytest.approx(53.5e3, abs=50.0)
    flows = gf.orifice_flow(1e-5, STANDARD_PRESSURE, np.array([10e3, 30e3, 53.5e3]), 293.15)
    assert flows == pytest.approx([flows[0]] * 3, rel=1e-12)


def test_choked_flux_of_real_air_against_coolprop() -> None:
    from CoolProp.CoolProp import PropsSI

    p0, T0 = STANDARD_PRESSURE, 293.15
    h0, s0 = PropsSI("H", "P", p0, "T", T0, "Air"), PropsSI("S", "P", p0, "T", T0, "Air")

    def flux(p: float) -> float:
        speed = math.sqrt(2.0 * (h0 - PropsSI("H", "P", p, "S", s0, "Air")))
        return float(PropsSI("D", "P", p, "S", s0, "Air") * speed)

    best = max(flux(r * p0) for r in np.linspace(0.45, 0.6, 61))
    assert gf.orifice_flow(1.0, p0, 0.2 * p0, T0, 1.0) == pytest.approx(best, rel=2e-3)
    for ratio in (0.7, 0.9, 0.97):
        assert gf.orifice_flow(1.0, p0, ratio * p0, T0, 1.0) == pytest.approx(flux(ratio * p0), rel=2e-3)


def test_choked_ratio_against_cantera() -> None:
    import cantera

    gas = cantera.Solution("air.yaml")
    gas.TPX = 293.15, STANDARD_PRESSURE, "O2:0.21, N2:0.78, AR:0.01"
    gamma = gas.cp / gas.cv
    h0, s0 = gas.enthalpy_mass, gas.entropy_mass

    def flux(ratio: float) -> float:
        gas.SP = s0, ratio * STANDARD_PRESSURE
        return float(gas.density * math.sqrt(2.0 * (h0 - gas.enthalpy_mass)))

    ratios = np.linspace(0.5, 0.56, 121)
    assert ratios[int(np.argmax([flux(r) for r in ratios]))] == pytest.approx(CRITICAL, abs=1.5e-3)
    ours = gf.orifice_flow(1.0, STANDARD_PRESSURE, 0.8 * STANDARD_PRESSURE, 293.15, 1.0, gamma)
    assert ours == pytest.approx(flux(0.8), rel=2e-3)


def test_continuous_and_flat_at_the_critical_ratio() -> None:
    around = gf.flow_function(CRITICAL * (1.0 + np.array([-1e-6, -1e-9, 0.0, 1e-9, 1e-6])))
    assert around == pytest.approx([gf.flow_function(0.0)] * 5, rel=1e-11)


@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0), st.floats(1.05, 1.67))
def test_flow_function_never_rises_with_the_ratio(a: float, b: float, gamma: float) -> None:
    low, high = gf.flow_function(np.array(sorted((a, b))), gamma)
    assert low >= high * (1.0 - 1e-12)


@given(st.floats(0.0, 1.0))
def test_flow_function_loses_no_digits_near_one(exponent: float) -> None:
    # Psi -> sqrt(2 (1 - r)) for small differences
    difference = 10.0 ** (-12.0 + 6.0 * exponent)
    expected = math.sqrt(2.0 * (1.0 - (1.0 - difference)))
    assert gf.flow_function(1.0 - difference) == pytest.approx(expected, rel=1e-5)


@given(st.floats(0.5284, 1.0), st.just(1.4))
def test_flow_function_inverse(ratio: float, gamma: float) -> None:
    psi = gf.flow_function(ratio, gamma)
    back = gf.pressure_ratio_for_flow_function(psi, gamma)
    assert gf.flow_function(back, gamma) == pytest.approx(psi, rel=1e-6, abs=1e-7)
    assert back == pytest.approx(ratio, abs=1e-6)  # Psi is flat at the critical ratio, so the root is soft there


def test_flow_function_inverse_ends_and_refusals() -> None:
    ratios = gf.pressure_ratio_for_flow_function(np.array([0.0, gf.flow_function(0.0), -0.1, 0.7, math.nan]))
    assert ratios[0] == pytest.approx(1.0, abs=1e-12)
    assert ratios[1] == pytest.approx(CRITICAL, abs=1e-6)
    assert np.isnan(ratios[2:]).all()
    assert gf.pressure_ratio_for_flow_function(np.array([[0.1, 0.2]]), np.array([[1.3], [1.4]])).shape == (
        2,
        2,
    )


@given(st.floats(1e-7, 1e-3), pressures, pressures, temperatures, temperatures)
def test_flow_reverses_with_the_pressures(area: float, p1: float, p2: float, T1: float, T2: float) -> None:
    there = gf.orifice_flow(area, p1, p2, T1, downstream_k=T2)
    back = gf.orifice_flow(area, p2, p1, T2, downstream_k=T1)
    if p1 == p2:
        assert there == back == 0.0
    else:
        assert there == -back
        assert (there > 0.0) == (p1 > p2)


def test_reversed_flow_takes_the_temperature_of_its_own_side() -> None:
    cold_to_hot = gf.orifice_flow(1e-4, 100e3, 50e3, 300.0, downstream_k=900.0)
    assert cold_to_hot == gf.orifice_flow(1e-4, 100e3, 50e3, 300.0)
    hot_to_cold = gf.orifice_flow(1e-4, 50e3, 100e3, 300.0, downstream_k=900.0)
    assert hot_to_cold == pytest.approx(-cold_to_hot / math.sqrt(3.0), rel=1e-12)


@given(st.floats(1e-4, 0.05), pressures, pressures, temperatures)
def test_hole_from_flow_is_the_inverse(diameter: float, p1: float, p2: float, T: float) -> None:
    flow = gf.orifice_flow(gf.hole_area(diameter), p1, p2, T)
    found = gf.hole_diameter(flow, p1, p2, T)
    if p1 == p2:
        assert math.isnan(found)
    else:
        assert found == pytest.approx(diameter, rel=1e-9)
        assert gf.orifice_area_for_flow(flow, p1, p2, T) == pytest.approx(gf.hole_area(diameter), rel=1e-9)
    assert gf.hole_diameter_for_area(gf.hole_area(diameter)) == pytest.approx(diameter, rel=1e-12)


def test_no_hole_explains_flow_uphill() -> None:
    assert math.isnan(gf.orifice_area_for_flow(-0.001, 100e3, 40e3, 300.0))
    assert math.isnan(gf.hole_diameter(-0.001, 100e3, 40e3, 300.0))
    assert math.isnan(gf.hole_diameter(0.001, 40e3, 100e3, 300.0))
    assert gf.hole_diameter(-0.001, 40e3, 100e3, 300.0) > 0.0


def test_impossible_inputs_give_no_number_and_spare_their_neighbours() -> None:
    upstream = np.array([100e3, -1.0, math.nan, 0.0, 100e3])
    downstream = np.array([0.0, 50e3, 50e3, 0.0, math.nan])
    flow = gf.orifice_flow(1e-4, upstream, downstream, 300.0)
    assert flow[0] > 0.0
    assert np.isnan(flow[[1, 2, 4]]).all()
    assert flow[3] == 0.0
    assert math.isnan(gf.orifice_flow(1e-4, 100e3, 50e3, -3.0))
    assert np.isnan(gf.flow_function(np.array([-0.1, 1.1, math.nan]))).all()
