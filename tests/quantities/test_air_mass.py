"""Speed-density and what follows from it. Rows: computed from m = ve p Vd n / (2 R T); formula in words read
in a public speed-density block's description, Heywood eq. 2.27 from memory."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airproof.quantities import air_mass as am
from airproof.quantities import atmosphere as atm
from airproof.quantities.constants import ABSOLUTE_LOAD_DENSITY, R_AIR

# MAP kPa, T K, displacement L, rpm, ve, air g/s, mg per filling of one of four cylinders
SPEED_DENSITY = [
    (35.0, 313.15, 2.0, 800.0, 0.70, 3.6341, 136.28),
    (30.0, 313.15, 2.0, 750.0, 0.75, 3.1288, 125.15),
    (60.0, 300.00, 1.6, 2500.0, 0.80, 18.580, 222.96),
    (100.0, 298.15, 2.0, 3000.0, 0.85, 49.659, 496.59),
    (200.0, 323.15, 2.0, 5000.0, 0.95, 170.69, 1024.15),
    (101.325, 288.15, 2.0, 6000.0, 1.0, 122.50, 612.51),
]


@pytest.mark.parametrize(("kpa", "T", "litres", "rpm", "ve", "grams", "milligrams"), SPEED_DENSITY)
def test_speed_density_table(
    kpa: float, T: float, litres: float, rpm: float, ve: float, grams: float, milligrams: float
) -> None:
    flow = am.speed_density_flow(1e3 * kpa, T, 1e-3 * litres, rpm / 60.0, ve)
    assert 1e3 * flow == pytest.approx(grams, rel=5e-5)
    assert 1e6 * am.air_per_filling(flow, rpm / 60.0, 4) == pytest.approx(milligrams, rel=5e-5)


def test_absolute_load_of_two_rows() -> None:
    # SAE J1979 definition against 1.184 g/L
    flow = am.speed_density_flow(
        np.array([100e3, 200e3]),
        np.array([298.15, 323.15]),
        2e-3,
        np.array([50.0, 5000 / 60]),
        np.array([0.85, 0.95]),
    )
    assert 100.0 * am.absolute_load(flow, 2e-3, np.array([50.0, 5000 / 60])) == pytest.approx([83.9, 173.0], abs=0.06)


def test_workshop_case_of_a_stored_article() -> None:
    # 2.0 L, 2500 rpm, 0.9, air of 1.2 g/L: 37.5 L/s, 45 g/s
    T = 101325.0 / (1.2 * R_AIR)
    flow = am.speed_density_flow(101325.0, T, 2e-3, 2500 / 60, 0.9)
    assert 1e3 * flow == pytest.approx(45.0, abs=0.05)
    assert 1e3 * flow / 1.2 == pytest.approx(37.5, abs=0.05)


def test_the_density_absolute_load_is_related_to() -> None:
    # 25 degC, 101.3 kPa; CoolProp 8.0.0 gives 1.1843 for real air, the ideal gas 1.1839
    assert atm.air_density(101300.0, 298.15) == pytest.approx(ABSOLUTE_LOAD_DENSITY, abs=6e-4)


# V L, Vd L, ve, rpm, tau s
@pytest.mark.parametrize(
    ("volume", "displacement", "ve", "rpm", "tau"),
    [(2.0, 2.0, 0.7, 800.0, 0.2143), (3.0, 2.0, 0.8, 2500.0, 0.0900), (1.8, 1.8, 0.85, 3000.0, 0.0471)],
)
def test_filling_time_constant_table(volume: float, displacement: float, ve: float, rpm: float, tau: float) -> None:
    # from two minutes times V over ve Vd N
    computed = am.filling_time_constant(1e-3 * volume, 1e-3 * displacement, rpm / 60.0, ve)
    assert computed == pytest.approx(tau, abs=6e-5)


def test_filling_time_constant_against_an_integrated_manifold() -> None:
    from scipy.integrate import solve_ivp

    volume, displacement, speed, ve, T = 2.5e-3, 1.8e-3, 15.0, 0.75, 310.0
    through_throttle = 4e-3  # kg/s, choked: does not depend on manifold pressure

    def fills(_: float, p: np.ndarray) -> list[float]:
        return [(through_throttle - am.speed_density_flow(p[0], T, displacement, speed, ve)) * R_AIR * T / volume]

    tau = am.filling_time_constant(volume, displacement, speed, ve)
    end = am.manifold_pressure_for_flow(through_throttle, T, displacement, speed, ve)
    after = solve_ivp(fills, (0.0, tau), [20e3], rtol=1e-9).y[0, -1]
    assert (after - 20e3) / (end - 20e3) == pytest.approx(1.0 - math.exp(-1.0), rel=1e-6)


engines = st.tuples(
    st.floats(10e3, 300e3),
    st.floats(240.0, 400.0),
    st.floats(5e-4, 8e-3),
    st.floats(5.0, 130.0),
    st.floats(0.2, 1.2),
)


@given(engines)
def test_every_unknown_of_speed_density_comes_back(engine: tuple[float, float, float, float, float]) -> None:
    p, T, Vd, n, ve = engine
    flow = am.speed_density_flow(p, T, Vd, n, ve)
    assert am.volumetric_efficiency(flow, p, T, Vd, n) == pytest.approx(ve, rel=1e-12)
    assert am.manifold_pressure_for_flow(flow, T, Vd, n, ve) == pytest.approx(p, rel=1e-12)
    assert am.charge_temperature_for_flow(flow, p, Vd, n, ve) == pytest.approx(T, rel=1e-12)
    assert am.flow_for_filling(am.air_per_filling(flow, n, 4), n, 4) == pytest.approx(flow, rel=1e-12)
    assert am.flow_for_absolute_load(am.absolute_load(flow, Vd, n), Vd, n) == pytest.approx(flow, rel=1e-12)
    tau = am.filling_time_constant(2e-3, Vd, n, ve)
    assert am.manifold_volume(tau, Vd, n, ve) == pytest.approx(2e-3, rel=1e-12)


def test_a_stopped_engine_has_no_volumetric_efficiency() -> None:
    assert am.speed_density_flow(1e5, 300.0, 2e-3, 0.0) == 0.0
    assert math.isnan(am.volumetric_efficiency(0.0, 1e5, 300.0, 2e-3, 0.0))
    assert am.filling_time_constant(2e-3, 2e-3, 0.0) == math.inf
