"""Compressor, charge cooler, pressure drops, power correction. Rows computed from the ideal-gas relation;
forms of the corrections read on workshop pages (SAE J1349) or from memory (ISO 1585)."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airproof.quantities import charge_air as ca
from airproof.quantities.constants import ZERO_CELSIUS


@pytest.mark.parametrize(
    ("ratio", "inlet", "efficiency", "rise"),
    [
        (2.0, 298.15, 0.75, 87.07),
        (1.5, 293.15, 0.70, 51.44),
        (1.8, 303.15, 0.72, 76.99),
        (2.0, 293.15, 0.65, 98.78),
    ],
)
def test_compressor_table(ratio: float, inlet: float, efficiency: float, rise: float) -> None:
    assert ca.compressor_temperature_rise(inlet, ratio, efficiency) == pytest.approx(rise, abs=0.05)


def test_compressor_cooler_and_density_of_one_worked_case() -> None:
    # PR 2, 25 degC, 0.75; then a cooler of 0.7: 112.07 degC, 51.12 degC, density ratio 1.839 (1.548 without)
    hot = 298.15 + ca.compressor_temperature_rise(298.15, 2.0, 0.75)
    assert hot - ZERO_CELSIUS == pytest.approx(112.07, abs=0.05)
    cooled = ca.intercooler_outlet_temperature(hot, 298.15, 0.7)
    assert cooled - ZERO_CELSIUS == pytest.approx(51.12, abs=0.05)
    assert ca.density_ratio(2.0, 298.15, cooled) == pytest.approx(1.839, abs=6e-4)
    assert ca.density_ratio(2.0, 298.15, hot) == pytest.approx(1.548, abs=6e-4)


def test_isentropic_rise_against_coolprop() -> None:
    from CoolProp.CoolProp import PropsSI

    for ratio in (1.3, 2.0, 2.8):
        entropy = PropsSI("S", "P", 1e5, "T", 298.15, "Air")
        outlet = PropsSI("T", "P", ratio * 1e5, "S", entropy, "Air")
        assert ca.compressor_temperature_rise(298.15, ratio, 1.0) == pytest.approx(outlet - 298.15, rel=0.01)


def test_isentropic_rise_against_cantera() -> None:
    import cantera

    gas = cantera.Solution("air.yaml")
    gas.TPX = 298.15, 1e5, "O2:0.21, N2:0.78, AR:0.01"
    gas.SP = gas.entropy_mass, 2e5
    assert ca.compressor_temperature_rise(298.15, 2.0, 1.0) == pytest.approx(gas.T - 298.15, rel=0.01)


@given(st.floats(230.0, 330.0), st.floats(1.05, 3.5), st.floats(0.3, 0.9), st.floats(0.0, 1.0))
def test_compressor_and_cooler_round_trip(T: float, ratio: float, efficiency: float, effectiveness: float) -> None:
    hot = T + ca.compressor_temperature_rise(T, ratio, efficiency)
    assert ca.compressor_efficiency(T, hot, ratio) == pytest.approx(efficiency, rel=1e-9)
    cooled = ca.intercooler_outlet_temperature(hot, T, effectiveness)
    assert T - 1e-9 <= cooled <= hot
    assert ca.intercooler_effectiveness(hot, cooled, T) == pytest.approx(effectiveness, abs=1e-9)


@given(st.floats(-0.4, 0.4), st.floats(1e7, 1e9), st.floats(70e3, 250e3), st.floats(240.0, 400.0))
def test_pressure_drop_round_trip(flow: float, resistance: float, p: float, T: float) -> None:
    drop = ca.pressure_drop(flow, resistance, p, T)
    assert ca.flow_for_pressure_drop(drop, resistance, p, T) == pytest.approx(flow, rel=1e-9)
    assert ca.pressure_drop(2.0 * flow, resistance, p, T) == pytest.approx(4.0 * drop, rel=1e-12)
    if abs(flow) > 1e-6:
        assert ca.flow_resistance(flow, drop, p, T) == pytest.approx(resistance, rel=1e-9)


def test_no_flow_no_drop() -> None:
    assert ca.pressure_drop(0.0, 2e8, 1e5, 298.0) == 0.0
    assert ca.flow_for_pressure_drop(0.0, 2e8, 1e5, 298.0) == 0.0
    # filter of a published 1.8 L turbo set (H = 2e8), 0.1 kg/s at 101.3 kPa, 298 K: by hand 5883.5 Pa
    assert ca.pressure_drop(0.1, 2e8, 101300.0, 298.0) == pytest.approx(5883.5, abs=0.06)


# dry pressure mbar, degC, factor
@pytest.mark.parametrize(
    ("mbar", "celsius", "factor"),
    [(990, 25, 1.0), (1000, 20, 0.97836), (950, 30, 1.05996), (850, 25, 1.19435), (1013.25, 15, 0.95341)],
)
def test_j1349_table(mbar: float, celsius: float, factor: float) -> None:
    correction = ca.sae_j1349_correction(100.0 * mbar, celsius + ZERO_CELSIUS)
    assert correction.factor == pytest.approx(factor, abs=1e-4)
    assert correction.valid == (mbar >= 900)
    assert ("not valid" in correction.says) == (mbar < 900)


@pytest.mark.parametrize(
    ("kpa", "kelvin", "factor", "valid"),
    [(95, 303, 1.06128, True), (100, 293, 0.97803, True), (85, 298, 1.20077, False)],
)
def test_iso_1585_table(kpa: float, kelvin: float, factor: float, valid: bool) -> None:
    correction = ca.iso_1585_correction(1e3 * kpa, kelvin)
    assert correction.factor == pytest.approx(factor, abs=6e-6)
    assert correction.valid is valid
    assert ("not valid" in correction.says) is not valid


def test_corrections_of_arrays_say_how_many_are_out() -> None:
    for correction in (
        ca.sae_j1349_correction(np.array([99e3, 80e3, math.nan]), 298.15),
        ca.iso_1585_correction(np.array([99e3, 80e3, math.nan]), 298.0),
    ):
        assert list(np.atleast_1d(correction.valid)) == [True, False, False]
        assert "2 of 3" in correction.says
        assert math.isnan(np.atleast_1d(correction.factor)[2])
