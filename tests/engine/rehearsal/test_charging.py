"""Compressor, turbine and blower: printed temperature rises, energy, the laws they are stated by, and their seams."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from bench import two_litres
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from airproof.engine.rehearsal.air.charging import TURBINE_EXPONENT, blower, compressor, turbine
from airproof.engine.rehearsal.air.gas import CP_EXHAUST, GAMMA_EXHAUST, NEARLY_EQUAL
from airproof.engine.rehearsal.records import copied
from airproof.quantities.charge_air import compressor_efficiency, compressor_temperature_rise
from airproof.quantities.constants import CP_AIR, GAMMA_AIR, R_AIR, STANDARD_PRESSURE

TURBO = two_litres("turbocharged")
BLOWN = two_litres("supercharged")
FACE = math.pi / 4.0 * TURBO.compressor_m**2

rotors = st.floats(1000.0, 22000.0)  # rad/s
inlets = st.floats(50e3, 105e3)
ratios = st.floats(0.5, 3.5)
drawn = settings(deadline=None, derandomize=True)


def pumps(omega: float, p_in: float, ratio: float, T_in: float = 293.15) -> tuple[float, float, float, float, float]:
    return compressor(TURBO, omega, p_in, T_in, ratio * p_in, 340.0)


def expands(omega: float, p_out: float, ratio: float, T_in: float) -> tuple[float, float, float, float, float]:
    """At a ratio of the pressure in front to that behind."""
    return turbine(TURBO, omega, ratio * p_out, T_in, p_out)


def highest_ratio(omega: float, T_in: float = 293.15, share: float = 1.0) -> float:
    """Pressure ratio at a share of the largest head, 2 cp T (Pi^((g-1)/g) - 1) = Psi U^2 [ERI, charging.py]."""
    tip = 0.5 * omega * TURBO.compressor_m
    head = share * TURBO.head_most * tip**2 / (2.0 * CP_AIR * T_in)
    return float((1.0 + head) ** (GAMMA_AIR / (GAMMA_AIR - 1.0)))


def agrees_with_differences(
    flow_at: Callable[[float, float], float], p_in: float, p_out: float, slopes: object
) -> None:
    steps = 1e-5 * np.array([p_in, p_out])
    by_in = (flow_at(p_in + steps[0], p_out) - flow_at(p_in - steps[0], p_out)) / (2.0 * steps[0])
    by_out = (flow_at(p_in, p_out + steps[1]) - flow_at(p_in, p_out - steps[1])) / (2.0 * steps[1])
    size = max(abs(by_in), abs(by_out))
    assert slopes == pytest.approx((by_in, by_out), rel=1e-3, abs=1e-4 * size)


@pytest.mark.parametrize(
    ("ratio", "inlet_k", "efficiency", "printed"),
    [(2.0, 298.15, 0.75, 87.07), (1.5, 293.15, 0.70, 51.44), (1.8, 303.15, 0.72, 76.99), (2.0, 293.15, 0.65, 98.78)],
)
def test_temperature_rise_where_the_compressor_is_best(
    ratio: float, inlet_k: float, efficiency: float, printed: float
) -> None:
    # CHECK_VALUES 7F, dT = T1 / eta (PR^0.285714 - 1); at the speed where the flow is the best share of the largest
    engine = copied(TURBO, compressor_best=efficiency)
    head = math.sqrt(1.0 - engine.flow_best**2) * engine.head_most
    tip = math.sqrt(2.0 * CP_AIR * inlet_k * (ratio**0.285714 - 1.0) / head)
    omega = tip / (0.5 * engine.compressor_m)
    outlet_k = compressor(engine, omega, 1e5, inlet_k, ratio * 1e5, 350.0)[3]
    assert outlet_k - inlet_k == pytest.approx(printed, abs=6e-3)


def test_a_perfect_compressor_heats_as_real_air_at_constant_entropy() -> None:
    from CoolProp.CoolProp import PropsSI

    entropy = PropsSI("S", "P", 1e5, "T", 298.15, "Air")
    outlet_k = PropsSI("T", "P", 2e5, "S", entropy, "Air")
    engine = copied(TURBO, compressor_best=1.0)
    head = math.sqrt(1.0 - engine.flow_best**2) * engine.head_most
    omega = math.sqrt(2.0 * CP_AIR * 298.15 * (2.0 ** (0.4 / 1.4) - 1.0) / head) / (0.5 * engine.compressor_m)
    # constant specific heats: right to a hundredth of the rise
    assert compressor(engine, omega, 1e5, 298.15, 2e5, 350.0)[3] - 298.15 == pytest.approx(outlet_k - 298.15, rel=0.01)


@drawn
@given(rotors, inlets, st.floats(0.0, 0.97), st.floats(240.0, 330.0))
def test_head_and_flow_lie_on_an_ellipse(omega: float, p_in: float, share: float, T_in: float) -> None:
    ratio = highest_ratio(omega, T_in, share)
    assume(ratio > 1.0)
    flow, _, _, outlet_k, power = pumps(omega, p_in, ratio, T_in)
    tip = 0.5 * omega * TURBO.compressor_m
    Phi = flow * R_AIR * T_in / (p_in * FACE * tip)
    Psi = 2.0 * CP_AIR * T_in * (ratio ** (0.4 / 1.4) - 1.0) / tip**2
    assert (Phi / TURBO.flow_most) ** 2 + (Psi / TURBO.head_most) ** 2 == pytest.approx(1.0, rel=1e-9)
    assert power == pytest.approx(flow * CP_AIR * (outlet_k - T_in), rel=1e-9, abs=1e-6)
    if ratio > 1.01:
        efficiency = float(compressor_efficiency(T_in, outlet_k, ratio))
        off = Phi / TURBO.flow_most - TURBO.flow_best
        assert efficiency == pytest.approx(TURBO.compressor_best * (1.0 - 1.6 * off**2), rel=1e-6)
        assert float(compressor_temperature_rise(T_in, ratio, efficiency)) == pytest.approx(outlet_k - T_in, rel=1e-9)


@drawn
@given(rotors, inlets, ratios)
def test_a_compressor_only_takes_power_and_never_gives_more_pressure_than_it_can(
    omega: float, p_in: float, ratio: float
) -> None:
    flow, by_in, by_out, outlet_k, power = pumps(omega, p_in, ratio)
    assert power >= 0.0
    assert outlet_k >= 293.15
    assert (flow > 0.0) == (ratio < highest_ratio(omega))
    assert by_in >= 0.0 >= by_out  # what the stepping needs: pressure behind never draws more


@drawn
@given(rotors, inlets, ratios)
def test_slopes_of_a_compressor(omega: float, p_in: float, ratio: float) -> None:
    top = highest_ratio(omega)
    seams = (1.0, NEARLY_EQUAL, highest_ratio(omega, share=0.98), top, top / NEARLY_EQUAL)
    assume(all(abs(ratio / seam - 1.0) > 5e-5 for seam in seams))
    slopes = pumps(omega, p_in, ratio)[1:3]
    agrees_with_differences(lambda a, b: compressor(TURBO, omega, a, 293.15, b, 340.0)[0], p_in, ratio * p_in, slopes)


@pytest.mark.parametrize("omega", [3000.0, 9000.0, 18000.0])
@pytest.mark.parametrize("share", [0.0, 0.98, 1.0])
def test_compressor_flow_has_no_jumps(omega: float, share: float) -> None:
    # at equal pressures, at the edge of stall, and where the flow turns
    seam = highest_ratio(omega, share=share)
    below, above = (pumps(omega, 1e5, seam * (1.0 + d))[0] for d in (-1e-8, 1e-8))
    largest = pumps(omega, 1e5, 1.0)[0]
    assert below == pytest.approx(above, abs=1e-4 * largest)
    assert below >= above


def test_a_standing_wheel_lets_air_through() -> None:
    # a slow rotor is a hole with a grille: the engine breathes through it
    flow = pumps(0.0, STANDARD_PRESSURE, 0.97)[0]
    assert flow > 0.01
    assert pumps(0.0, STANDARD_PRESSURE, 1.03)[0] < 0.0


@drawn
@given(st.floats(300.0, 22000.0), st.floats(95e3, 140e3), st.floats(1.0, 4.0), st.floats(500.0, 1300.0))
def test_a_turbine_gives_what_the_gas_loses(omega: float, p_out: float, ratio: float, T_in: float) -> None:
    flow, _, _, outlet_k, power = expands(omega, p_out, ratio, T_in)
    assert power == pytest.approx(flow * CP_EXHAUST * (T_in - outlet_k), rel=1e-9, abs=1e-9)
    # the second law: no more than at constant entropy, and no colder
    ideal = T_in * ratio ** (-(GAMMA_EXHAUST - 1.0) / GAMMA_EXHAUST)
    assert ideal - 1e-9 <= outlet_k <= T_in
    assert (T_in - outlet_k) <= TURBO.turbine_best * (T_in - ideal) * (1.0 + 1e-9) + 1e-9


@drawn
@given(st.floats(95e3, 140e3), st.floats(1.02, 4.0), st.floats(500.0, 1300.0))
def test_turbine_flow_follows_its_law(p_out: float, ratio: float, T_in: float) -> None:
    # m sqrt(T) / p = k0 sqrt(1 - Pi^k1) [ERI, charging.py], whatever the speed
    flow = expands(9000.0, p_out, ratio, T_in)[0]
    law = TURBO.swallow * math.sqrt(1.0 - ratio**-TURBINE_EXPONENT)
    assert flow * math.sqrt(T_in) / (ratio * p_out) == pytest.approx(law, rel=1e-9)
    assert flow == expands(2000.0, p_out, ratio, T_in)[0]


def test_turbine_is_best_at_its_blade_speed() -> None:
    # blade speed over the speed of gas let down at constant entropy; half of it gives 3/4, the parabola's value
    ratio, T_in = 2.0, 1100.0
    gas = math.sqrt(2.0 * CP_EXHAUST * T_in * (1.0 - ratio ** (-(GAMMA_EXHAUST - 1.0) / GAMMA_EXHAUST)))
    best = TURBO.blade_ratio_best * gas / (0.5 * TURBO.turbine_m)
    drops = [T_in - expands(share * best, 1e5, ratio, T_in)[3] for share in (1.0, 0.5, 0.9, 1.1)]
    ideal = T_in * (1.0 - ratio ** (-(GAMMA_EXHAUST - 1.0) / GAMMA_EXHAUST))
    assert drops[0] == pytest.approx(TURBO.turbine_best * ideal, rel=1e-6)
    assert drops[1] == pytest.approx(0.75 * drops[0], rel=1e-6)
    assert max(drops[2:]) < drops[0]


@drawn
@given(st.floats(95e3, 140e3), ratios, st.floats(500.0, 1300.0))
def test_slopes_of_a_turbine(p_out: float, ratio: float, T_in: float) -> None:
    edge = 0.99 ** (-1.0 / TURBINE_EXPONENT)
    assume(abs(ratio - 1.0) > 5e-5)
    assume(abs(ratio / edge - 1.0) > 5e-5)
    slopes = expands(9000.0, p_out, ratio, T_in)[1:3]
    agrees_with_differences(lambda a, b: turbine(TURBO, 9000.0, a, T_in, b)[0], ratio * p_out, p_out, slopes)


def test_turbine_flow_has_no_jumps_and_never_turns() -> None:
    edge = 0.99 ** (-1.0 / TURBINE_EXPONENT)
    for seam in (1.0, edge):
        below, above = (expands(9000.0, 1e5, seam * (1.0 + d), 1000.0)[0] for d in (-1e-8, 1e-8))
        assert below == pytest.approx(above, rel=1e-5, abs=1e-7)
    assert expands(9000.0, 1e5, 0.9, 1000.0) == (0.0, 0.0, 0.0, 1000.0, 0.0)


@drawn
@given(st.floats(0.0, 110.0), inlets, ratios, st.floats(240.0, 330.0))
def test_a_blower_delivers_what_it_sweeps_less_its_gaps(speed: float, p_in: float, ratio: float, T_in: float) -> None:
    flow, *slopes, outlet_k, power = blower(BLOWN, speed, p_in, T_in, ratio * p_in)
    swept = BLOWN.blower_m3 * p_in / (R_AIR * T_in)  # kg a turn
    # a twentieth of it slips at 3000 1/min and twice the pressure (charging.py)
    assert flow == pytest.approx(swept * (speed - 2.5 * (ratio - 1.0)), rel=1e-9, abs=1e-9)
    assert power >= 0.0
    rise = float(compressor_temperature_rise(T_in, max(ratio, 1.0), BLOWN.blower_best))
    assert outlet_k - T_in == pytest.approx(rise, rel=1e-9, abs=1e-9)
    assert power == pytest.approx(max(flow, 0.0) * CP_AIR * rise, rel=1e-9, abs=1e-6)
    agrees_with_differences(lambda a, b: blower(BLOWN, speed, a, T_in, b)[0], p_in, ratio * p_in, tuple(slopes))
