"""Gas through holes and pipes, one number at a time, with the slopes that the implicit step needs.

The same equations as `airproof.quantities.gas_flow` and `charge_air`, which the tests hold them against. SI units,
pressures absolute.
"""

from __future__ import annotations

import math

from airproof.engine.rehearsal.compiled import compiled
from airproof.quantities.constants import GAMMA_AIR, R_AIR

R_EXHAUST = 288.0
"""Gas constant of burned petrol, J/(kg K); common practice, within 1 % of that of air."""
GAMMA_EXHAUST = 1.30
"""Ratio of specific heats of hot exhaust gas; common practice, 1.25 to 1.35 from 1200 to 600 K."""
CP_EXHAUST = GAMMA_EXHAUST * R_EXHAUST / (GAMMA_EXHAUST - 1.0)

NEARLY_EQUAL = 0.998
"""Pressure ratio above which the flow is taken as linear in it: the true slope is infinite at 1."""


@compiled
def nozzle(area: float, p: float, T: float, p_behind: float, R: float, gamma: float) -> tuple[float, float, float]:
    """Flow (kg/s) from p, T through an effective area (m2) to a lower pressure, and its slopes by p and p_behind."""
    critical = (2.0 / (gamma + 1.0)) ** (gamma / (gamma - 1.0))
    k = 2.0 * gamma / (gamma - 1.0)
    front = area / math.sqrt(R * T)
    r = p_behind / p
    if r <= critical:
        psi = math.sqrt(k * (critical ** (2.0 / gamma) - critical ** ((gamma + 1.0) / gamma)))
        return front * p * psi, front * psi, 0.0
    linear = r > NEARLY_EQUAL
    at = NEARLY_EQUAL if linear else r
    root = at ** (1.0 / gamma)
    psi = math.sqrt(k * root * (root - at))
    if linear:
        slope = -psi / (1.0 - NEARLY_EQUAL)
        psi = slope * (r - 1.0)
    else:
        slope = k * root * (2.0 * root / at - (gamma + 1.0)) / (2.0 * gamma * psi)
    return front * p * psi, front * (psi - r * slope), front * slope


@compiled
def hole(
    area: float, p_1: float, T_1: float, p_2: float, T_2: float, R: float, gamma: float
) -> tuple[float, float, float]:
    """Flow (kg/s) from 1 to 2, negative where it runs back, and its slopes by p_1 and p_2."""
    if p_1 >= p_2:
        return nozzle(area, p_1, T_1, p_2, R, gamma)
    flow, by_source, by_sink = nozzle(area, p_2, T_2, p_1, R, gamma)
    return -flow, -by_sink, -by_source


@compiled
def air_hole(area: float, p_1: float, T_1: float, p_2: float, T_2: float) -> tuple[float, float, float]:
    """`hole` for air."""
    return hole(area, p_1, T_1, p_2, T_2, R_AIR, GAMMA_AIR)


@compiled
def pipe(
    resistance: float, linear_pa: float, p_1: float, T_1: float, p_2: float, T_2: float
) -> tuple[float, float, float]:
    """Flow (kg/s) through a filter, cooler or pipe, dp = H T m^2 / p, and its slopes by p_1 and p_2.

    Below a drop of `linear_pa` the flow is taken as linear in the drop.
    """
    drop = p_1 - p_2
    p, T = (p_1, T_1) if drop >= 0.0 else (p_2, T_2)
    if math.fabs(drop) < linear_pa:
        per_pascal = math.sqrt(p / (resistance * T * linear_pa))
        return per_pascal * drop, per_pascal, -per_pascal
    flow = math.sqrt(math.fabs(drop) * p / (resistance * T))
    slope = flow / (2.0 * math.fabs(drop))
    return (flow, slope, -slope) if drop >= 0.0 else (-flow, slope, -slope)


@compiled
def interpolated(table: object, x: float, x_first: float, x_step: float) -> float:
    """A value from an evenly spaced table; its ends hold beyond it."""
    last = len(table) - 1  # type: ignore[arg-type]
    place = (x - x_first) / x_step
    if not place > 0.0:
        return table[0]  # type: ignore[index, no-any-return]
    if place >= last:
        return table[last]  # type: ignore[index, no-any-return]
    k = int(place)
    return table[k] + (place - k) * (table[k + 1] - table[k])  # type: ignore[index, no-any-return]
