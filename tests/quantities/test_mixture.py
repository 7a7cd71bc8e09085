"""Stoichiometry against cantera 3.2.0 and printed figures; blends; lambda; trims of known faults."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airproof.errors import UnusableRequest
from airproof.quantities import mixture as mx
from airproof.quantities.gas_flow import hole_area, orifice_flow

# fuel, C, H, O, with O2 + 3.76 N2, with real dry air (cantera 3.2.0 with its nasa_gas data, and formula)
STOICHIOMETRY = [
    ("iso-octane", 8, 18, 0, 15.028, 15.132),
    ("toluene", 7, 8, 0, 13.414, 13.507),
    ("CH1.87", 1, 1.87, 0, 14.503, 14.604),
    ("CH1.85", 1, 1.85, 0, 14.475, 14.575),
    ("ethanol", 2, 6, 1, 8.943, 9.005),
    ("methanol", 1, 4, 1, 6.429, 6.474),
    ("methane", 1, 4, 0, 17.120, 17.239),
    ("propane", 3, 8, 0, 15.571, 15.679),
]


@pytest.mark.parametrize(("fuel", "c", "h", "o", "simple", "real"), STOICHIOMETRY)
def test_stoichiometry_table(fuel: str, c: float, h: float, o: float, simple: float, real: float) -> None:
    assert mx.stoichiometric_ratio(c, h, o, "O2 + 3.76 N2") == pytest.approx(simple, abs=0.0011), fuel
    assert mx.stoichiometric_ratio(c, h, o) == pytest.approx(real, abs=0.0011), fuel


def test_stoichiometry_against_cantera() -> None:
    import cantera

    species = {s.name: s for s in cantera.Species.list_from_file("nasa_gas.yaml")}
    for name, atoms in (
        ("CH4", (1, 4, 0)),
        ("C2H5OH", (2, 6, 1)),
        ("C3H8", (3, 8, 0)),
        ("CH3OH", (1, 4, 1)),
        ("C7H8", (7, 8, 0)),
    ):
        gas = cantera.Solution(thermo="ideal-gas", species=[species[n] for n in (name, "O2", "N2")])
        reference = gas.stoich_air_fuel_ratio(name, "O2:1, N2:3.76")
        assert mx.stoichiometric_ratio(*atoms, air="O2 + 3.76 N2") == pytest.approx(reference, rel=2e-4)


@given(st.floats(0.5, 12.0), st.floats(0.0, 26.0), st.floats(0.1, 10.0))
def test_stoichiometry_depends_on_proportions_only(c: float, h: float, times: float) -> None:
    once = mx.stoichiometric_ratio(c, h, 0.1)
    assert mx.stoichiometric_ratio(times * c, times * h, times * 0.1) == pytest.approx(once, rel=1e-9)
    assert mx.stoichiometric_ratio(c, h, 0.2) < once


@pytest.mark.parametrize(("name", "ratio"), [("e10", 14.10), ("e20", 13.51), ("e85", 9.81), ("petrol", 14.7)])
def test_named_fuels(name: str, ratio: float) -> None:
    # by volume from 14.7 and 9.0, 0.745 and 0.789 kg/L; 14.7 is workshop convention
    assert mx.fuel_named(name).stoichiometric == pytest.approx(ratio, abs=0.05)


def test_blends_of_the_textbook_figures() -> None:
    # the same blends from 14.503 and 8.943
    petrol = mx.Fuel("petrol", 14.503, 0.745, "CH1.87, O2 + 3.76 N2")
    ethanol = mx.Fuel("ethanol", 8.943, 0.789, "O2 + 3.76 N2")
    blends = [mx.blend({petrol: 1.0 - e, ethanol: e}).stoichiometric for e in (0.10, 0.20, 0.85)]
    assert blends == pytest.approx([13.92, 13.34, 9.74], abs=0.006)


def test_named_fuels_agree_with_their_chemistry() -> None:
    assert mx.ETHANOL.stoichiometric == pytest.approx(mx.stoichiometric_ratio(2, 6, 1), rel=1e-3)
    assert mx.METHANOL.stoichiometric == pytest.approx(mx.stoichiometric_ratio(1, 4, 1), rel=1e-3)
    assert mx.PROPANE.stoichiometric == pytest.approx(mx.stoichiometric_ratio(3, 8), rel=1e-3)
    assert mx.DIESEL.stoichiometric == pytest.approx(mx.stoichiometric_ratio(1, 1.80), rel=2e-3)
    assert mx.PETROL.stoichiometric == pytest.approx(mx.stoichiometric_ratio(1, 1.87), rel=1e-2)
    assert all(fuel.source for fuel in mx.FUELS.values())


@given(st.floats(0.0, 1.0))
def test_a_blend_lies_between_its_parts(share: float) -> None:
    mixed = mx.blend({mx.PETROL: 1.0 - share, mx.ETHANOL: share})
    assert 9.0 - 1e-9 <= mixed.stoichiometric <= 14.7 + 1e-9
    assert 0.745 - 1e-9 <= mixed.density_kg_l <= 0.789 + 1e-9
    doubled = mx.blend({mx.PETROL: 2.0 * (1.0 - share), mx.ETHANOL: 2.0 * share})
    assert doubled.stoichiometric == pytest.approx(mixed.stoichiometric, rel=1e-12)


def test_unusable_fuels_and_blends() -> None:
    assert mx.fuel_named(" E10 ").name == "e10"
    with pytest.raises(UnusableRequest, match=r'fuel "paraffin"; wanted: one of petrol'):
        mx.fuel_named("paraffin")
    for shares in ({}, {mx.PETROL: 0.0}, {mx.PETROL: 1.0, mx.ETHANOL: -0.1}, {mx.PETROL: math.nan}):
        with pytest.raises(UnusableRequest, match="none negative"):
            mx.blend(shares)


@given(st.floats(1e-4, 0.5), st.floats(0.6, 2.0), st.floats(6.0, 18.0))
def test_lambda_round_trips(air: float, lambda_: float, stoichiometric: float) -> None:
    fuel = mx.fuel_for_air(air, stoichiometric, lambda_)
    assert mx.lambda_from_flows(air, fuel, stoichiometric) == pytest.approx(lambda_, rel=1e-12)
    assert mx.air_for_fuel(fuel, stoichiometric, lambda_) == pytest.approx(air, rel=1e-12)
    ratio = mx.ratio_from_lambda(lambda_, stoichiometric)
    assert mx.lambda_from_ratio(ratio, stoichiometric) == pytest.approx(lambda_, rel=1e-12)


def test_trim_of_a_two_millimetre_leak() -> None:
    # hole of 2 mm, Cd 0.8, choked: 0.601 g/s in a total of 3.63, 10 and 30 g/s: +19.8, +6.4, +2.0 %
    leak = orifice_flow(hole_area(2e-3), 101325.0, 30e3, 293.15, 0.8)
    trims = mx.trim_for_unmetered_air(leak, 1e-3 * np.array([3.63, 10.0, 30.0]))
    assert 100.0 * trims == pytest.approx([19.8, 6.4, 2.0], abs=0.06)
    assert math.isnan(mx.trim_for_unmetered_air(2e-3, 1e-3))


def test_trims_of_sensors_that_read_low() -> None:
    # flow sensor 10 and 15 % low; pressure sensor 5 kPa low at 30 and at 100; a real case, 24 for 29.5 kPa
    trims = mx.trim_for_underreading(np.array([1.0, 1.0, 30.0, 100.0, 29.5]), np.array([0.9, 0.85, 25.0, 95.0, 24.0]))
    assert 100.0 * trims == pytest.approx([11.1, 17.6, 20.0, 5.3, 22.9], abs=0.06)
