"""Air through a hole, a throttle or a valve: compressible flow of an ideal gas through a nozzle, both ways.

    m = Cd A p0 / sqrt(R T0) Psi(p / p0)

p0, T0 on the side the air comes from. Below the critical pressure ratio the flow is choked: Psi, and so the
flow, no longer depends on the pressure beyond the hole. Isentropic, no approach speed.

Sources
[HEY] J. B. Heywood, Internal Combustion Engine Fundamentals, appendix C (from memory of it).
[ISO9300] ISO 9300, ideal critical flow function (0.6847 for gamma 1.4).
"""

from __future__ import annotations

import numpy as np

from airproof.quantities.constants import GAMMA_AIR, R_AIR
from airproof.quantities.formula import Result, Value, formula

DISCHARGE = 0.7
"""Discharge coefficient of the round hole that leak sizes are stated for. judged: Airproof authors;
sharp-edged holes lie between 0.6 (little pressure difference) and 0.85 (choked)."""


@formula
def critical_pressure_ratio(gamma: Value = GAMMA_AIR) -> Result:
    """Pressure ratio (downstream over upstream) at and below which flow is choked.

    (2 / (g + 1))^(g / (g - 1)), 0.528 for air.
    """
    return (2.0 / (gamma + 1.0)) ** (gamma / (gamma - 1.0))


@formula
def flow_function(pressure_ratio: Value, gamma: Value = GAMMA_AIR) -> Result:
    """Psi, dimensionless, at a pressure ratio (downstream over upstream, 0 to 1; NaN outside).

    Psi = sqrt(2 g / (g - 1) (r^(2/g) - r^((g+1)/g))), r the pressure ratio but never below critical.
    """
    inside = (pressure_ratio >= 0.0) & (pressure_ratio <= 1.0)
    # At the critical ratio the unchoked form equals the choked one, so there is one formula and no branch.
    r = np.where(inside, np.maximum(pressure_ratio, critical_pressure_ratio(gamma)), np.nan)
    # r^(2/g) - r^((g+1)/g), written so that no digits are lost near r = 1
    difference = r ** (2.0 / gamma) * -np.expm1((gamma - 1.0) / gamma * np.log(r))
    return np.sqrt(2.0 * gamma / (gamma - 1.0) * difference)


@formula
def pressure_ratio_for_flow_function(psi: Value, gamma: Value = GAMMA_AIR) -> Result:
    """The unchoked pressure ratio (critical to 1) at which the flow function is psi.

    The inverse of flow_function. NaN for a psi below 0 or above the choked one.
    """
    # With x = r^((g-1)/g) and m = 2 / (g-1): x^m (1 - x) = c. The left falls and is concave between the
    # critical x
    # and 1, so Newton's steps from 1 approach the root from one side and never leave.
    m = 2.0 / (gamma - 1.0)
    critical = m / (m + 1.0)
    c = psi**2 * (gamma - 1.0) / (2.0 * gamma)
    x = np.ones_like(c * m)
    for _ in range(60):  # fewer than ten but close to the critical ratio, where each step halves what is left
        slope = x ** (m - 1.0)
        step = (slope * x * (1.0 - x) - c) / (slope * (m - (m + 1.0) * x))
        following = np.maximum(x - np.where(np.isfinite(step), step, 0.0), critical)
        settled = np.abs(following - x).max(initial=0.0) < 4e-16
        x = following
        if settled:
            break
    possible = (psi >= 0.0) & (psi <= flow_function(0.0, gamma) * (1.0 + 1e-12))
    return np.where(possible, x ** (gamma / (gamma - 1.0)), np.nan)


@formula
def orifice_flow(
    area_m2: Value,
    upstream_pa: Value,
    downstream_pa: Value,
    upstream_k: Value,
    discharge: Value = DISCHARGE,
    gamma: Value = GAMMA_AIR,
    *,
    downstream_k: Value | None = None,
    gas_constant: Value = R_AIR,
) -> Result:
    """Mass flow (kg/s) through an area (m2) from `upstream` to `downstream` (Pa absolute, K), signed.

    Negative where the pressure downstream is the higher one: the air then comes from there, at `downstream_k`
    (the temperature upstream where not given). NaN for negative absolute pressures or temperatures.
    """
    source = np.maximum(upstream_pa, downstream_pa)
    sink = np.minimum(upstream_pa, downstream_pa)
    forward = upstream_pa >= downstream_pa
    T = np.where(forward, upstream_k, upstream_k if downstream_k is None else downstream_k)
    flow = discharge * area_m2 * source / np.sqrt(gas_constant * T) * flow_function(sink / source, gamma)
    both_sides_empty = (upstream_pa == 0.0) & (downstream_pa == 0.0)
    return np.where(both_sides_empty, 0.0 * T, np.where(forward, flow, -flow))


@formula
def orifice_area_for_flow(
    flow_kg_s: Value,
    upstream_pa: Value,
    downstream_pa: Value,
    upstream_k: Value,
    discharge: Value = DISCHARGE,
    gamma: Value = GAMMA_AIR,
    *,
    downstream_k: Value | None = None,
    gas_constant: Value = R_AIR,
) -> Result:
    """Area (m2) that passes this flow (kg/s, signed as in orifice_flow): its inverse.

    NaN where the flow would have to run uphill, and where both pressures are equal.
    """
    per_area = orifice_flow(
        1.0,
        upstream_pa,
        downstream_pa,
        upstream_k,
        discharge,
        gamma,
        downstream_k=downstream_k,
        gas_constant=gas_constant,
    )
    area = flow_kg_s / per_area
    return np.where((per_area != 0.0) & (area >= 0.0), area, np.nan)


@formula
def hole_area(diameter_m: Value) -> Result:
    """Area (m2) of a round hole of this diameter (m)."""
    return np.pi / 4.0 * diameter_m**2


@formula
def hole_diameter_for_area(area_m2: Value) -> Result:
    """Diameter (m) of the round hole of this area (m2)."""
    return np.sqrt(4.0 / np.pi * area_m2)


@formula
def hole_diameter(
    flow_kg_s: Value,
    upstream_pa: Value,
    downstream_pa: Value,
    upstream_k: Value,
    discharge: Value = DISCHARGE,
    gamma: Value = GAMMA_AIR,
    *,
    downstream_k: Value | None = None,
) -> Result:
    """Diameter (m) of the round hole that passes this flow (kg/s); signs and NaN as orifice_area_for_flow."""
    area = orifice_area_for_flow(
        flow_kg_s, upstream_pa, downstream_pa, upstream_k, discharge, gamma, downstream_k=downstream_k
    )
    return hole_diameter_for_area(area)
