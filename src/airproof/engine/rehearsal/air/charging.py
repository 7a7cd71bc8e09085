"""Compressor, turbine and driven supercharger, as ellipses and parabolas in place of maps.

Sources (all from memory of them; the shapes are theirs, the sizes come from the data files)
[ERI] L. Eriksson, Modeling and control of turbocharged SI and DI engines (2007): head and flow of a compressor lie on
      an ellipse, its efficiency falls off as a parabola; turbine flow k0 sqrt(1 - Pi^k1), efficiency a parabola over
      the ratio of blade speed to gas speed.
How fast efficiency falls off, and how a wheel resists as a hole, is judged: Airproof authors.
"""

from __future__ import annotations

import math

from airproof.engine.rehearsal.air.gas import CP_EXHAUST, GAMMA_EXHAUST, air_hole
from airproof.engine.rehearsal.air.machinery import Engine
from airproof.engine.rehearsal.compiled import compiled
from airproof.quantities.constants import CP_AIR, GAMMA_AIR, R_AIR

TURBINE_EXPONENT = 1.4
"""k1 in the turbine's flow; judged: Airproof authors, published fits lie between 1.2 and 2."""
_NEAR_STALL = 0.98
_SLOWEST = 300.0  # rad/s: below it the rotor stands, and its wheel is a hole with a grille


@compiled
def compressor(
    engine: Engine, omega: float, p_in: float, T_in: float, p_out: float, T_out: float
) -> tuple[float, float, float, float, float]:
    """Flow (kg/s), its slopes by p_in and p_out, outlet temperature (K), power (W).

    Head Psi = 2 cp T (Pi^((g-1)/g) - 1) / U^2 and flow Phi = m R T / (p D^2 pi/4 U) lie on an ellipse:
    (Psi / Psi_max)^2 + (Phi / Phi_max)^2 = 1. Below Pi = 1 the wheel resists as a hole of its own inlet; above the
    ellipse the air runs back through it the same way.
    """
    tip = max(omega, _SLOWEST) * 0.5 * engine.compressor_m
    face = 0.25 * math.pi * engine.compressor_m**2
    most = engine.flow_most * face * tip / (R_AIR * T_in)  # times p_in: the largest flow
    Pi = p_out / p_in
    if Pi <= 1.0:
        through, a, b = air_hole(0.25 * face, p_in, T_in, p_out, T_out)
        return most * p_in + through, most + a, b, T_in, 0.0
    power_of_pi = Pi ** ((GAMMA_AIR - 1.0) / GAMMA_AIR)
    rise = power_of_pi - 1.0
    scale = 2.0 * CP_AIR * T_in / tip**2 / engine.head_most
    x = scale * rise
    if x >= 1.0:
        top = (1.0 + 1.0 / scale) ** (GAMMA_AIR / (GAMMA_AIR - 1.0))
        back, a, b = air_hole(0.25 * face, p_out / top, T_out, p_in, T_in)
        return -back, -b, -a / top, T_in, 0.0
    if x > _NEAR_STALL:
        edge = math.sqrt(1.0 - _NEAR_STALL**2)
        share = edge * (1.0 - x) / (1.0 - _NEAR_STALL)
        by_x = -edge / (1.0 - _NEAR_STALL)
    else:
        share = math.sqrt(1.0 - x * x)
        by_x = -x / share
    flow = most * p_in * share
    x_by_pi = scale * power_of_pi * (GAMMA_AIR - 1.0) / GAMMA_AIR / Pi
    slope_out = most * by_x * x_by_pi
    slope_in = most * share - slope_out * Pi
    off = share - engine.flow_best
    efficiency = max(engine.compressor_best * (1.0 - 1.6 * off * off), 0.30)
    warmer = T_in * rise / efficiency
    return flow, slope_in, slope_out, T_in + warmer, flow * CP_AIR * warmer


@compiled
def turbine(
    engine: Engine, omega: float, p_in: float, T_in: float, p_out: float
) -> tuple[float, float, float, float, float]:
    """Flow (kg/s), its slopes by p_in and p_out, outlet temperature (K), power (W).

    m = p k0 sqrt(1 - Pi^k1) / sqrt(T), Pi = p_out / p_in; nothing flows back.
    """
    if p_out >= p_in:
        return 0.0, 0.0, 0.0, T_in, 0.0
    Pi = p_out / p_in
    y = 1.0 - Pi**TURBINE_EXPONENT
    front = engine.swallow / math.sqrt(T_in)
    edge = 0.01
    if y < edge:
        share, by_y = y / math.sqrt(edge), 1.0 / math.sqrt(edge)
    else:
        share = math.sqrt(y)
        by_y = 0.5 / share
    by_pi = -by_y * TURBINE_EXPONENT * (1.0 - y) / Pi
    flow = front * p_in * share
    drop = 1.0 - Pi ** ((GAMMA_EXHAUST - 1.0) / GAMMA_EXHAUST)
    gas_speed = math.sqrt(2.0 * CP_EXHAUST * T_in * drop) + 1e-9
    off = 0.5 * engine.turbine_m * omega / gas_speed / engine.blade_ratio_best - 1.0
    efficiency = max(engine.turbine_best * (1.0 - off * off), 0.05)
    colder = T_in * drop * efficiency
    return flow, front * (share - by_pi * Pi), front * by_pi, T_in - colder, flow * CP_EXHAUST * colder


@compiled
def blower(
    engine: Engine, speed: float, p_in: float, T_in: float, p_out: float
) -> tuple[float, float, float, float, float]:
    """A belt-driven displacement blower: flow (kg/s), slopes by p_in and p_out, outlet temperature (K), power (W).

    It delivers what it sweeps, less what leaks back through its gaps with the pressure ratio.
    """
    Pi = p_out / p_in
    sweeps = engine.blower_m3 * speed / (R_AIR * T_in)
    gap = 0.05 * engine.blower_m3 * 50.0 / (R_AIR * T_in)  # a twentieth at 3000 1/min and twice the pressure
    flow = sweeps * p_in - gap * (p_out - p_in)
    rise = Pi ** ((GAMMA_AIR - 1.0) / GAMMA_AIR) - 1.0 if Pi > 1.0 else 0.0
    warmer = T_in * rise / engine.blower_best
    return flow, sweeps + gap, -gap, T_in + warmer, max(flow, 0.0) * CP_AIR * warmer
