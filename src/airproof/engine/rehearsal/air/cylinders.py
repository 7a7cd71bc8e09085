"""The cylinders: how much they draw, what comes out of them, and how hard they turn the crank. SI units.

Sources
[HEY] J. B. Heywood, Internal Combustion Engine Fundamentals (from memory of it): burned gas left behind by an ideal
      four-stroke without overlap; friction and pumping as mean effective pressures.
"""

from __future__ import annotations

import math

from airproof.engine.rehearsal.air.gas import CP_EXHAUST, GAMMA_EXHAUST
from airproof.engine.rehearsal.air.machinery import PRESSURE_NODES, PRESSURE_STEP, SPEED_NODES, SPEED_STEP, Engine
from airproof.engine.rehearsal.compiled import compiled
from airproof.engine.rehearsal.records import Floats

HOTTEST, COLDEST_FIRED = 1320.0, 380.0
"""K; exhaust gas of a petrol engine stays below the first (common practice) and never leaves colder than the walls."""


@compiled
def bilinear(table: Floats, speed: float, p: float) -> float:
    """The breathing table at a speed (1/s) and manifold pressure (Pa); its edges hold beyond it."""
    x = min(max(speed / SPEED_STEP, 0.0), SPEED_NODES - 1.000001)
    y = min(max(p / PRESSURE_STEP, 0.0), PRESSURE_NODES - 1.000001)
    i, j = int(x), int(y)
    u, v = x - i, y - j
    low = table[i, j] + v * (table[i, j + 1] - table[i, j])
    high = table[i + 1, j] + v * (table[i + 1, j + 1] - table[i + 1, j])
    value: float = low + u * (high - low)
    return value


@compiled
def room_left(compression_ratio: float, p: float, p_exhaust: float) -> float:
    """Share of the swept volume that burned gas leaves to the fresh charge: (rc - (pe/p)^(1/g)) / (rc - 1) [HEY]."""
    left = min((p_exhaust / p) ** (1.0 / GAMMA_EXHAUST), 0.95 * compression_ratio)
    share: float = (compression_ratio - left) / (compression_ratio - 1.0)
    return share


@compiled
def drawn(engine: Engine, speed: float, p: float, p_exhaust: float, timing: float) -> float:
    """Volumetric efficiency, related to the manifold.

    `timing` is the share of the filling lost near closed throttle by cams out of time; a third of it is lost at load,
    where more pressure pushes against less overlap (judged: Airproof authors).
    """
    efficiency = bilinear(engine.breathing, speed, p)
    if engine.residual_gas == 1:
        efficiency *= room_left(engine.compression_ratio, p, p_exhaust)
    if timing > 0.0:
        closed = min(max((110e3 - p) / 80e3, 0.33), 1.0)
        efficiency *= 1.0 - timing * closed
    return efficiency


@compiled
def exhaust_temperature(engine: Engine, T: float, gas: float, air: float, fuel: float, spark: float) -> float:
    """Temperature (K) of the gas leaving the cylinders, for gas, air and fuel in kg/s; later spark leaves it hotter."""
    if gas <= 1e-9:
        return T
    burned = min(fuel, air / engine.stoichiometric)
    share = engine.exhaust_share + 0.25 * (1.0 - spark)
    heated = T + share * burned * engine.heating_value / ((gas + fuel) * CP_EXHAUST)
    return min(max(heated, COLDEST_FIRED), HOTTEST)


@compiled
def indicated_torque(engine: Engine, speed: float, air: float, fuel: float, spark: float, fired: float) -> float:
    """Torque (N m) of the burning charge for air and fuel (kg/s) in the cylinders; `fired` is the share that lights."""
    if fuel <= 0.0:
        return 0.0
    burned = min(fuel, air / engine.stoichiometric)
    lean = air / (engine.stoichiometric * fuel)
    burns = min(max((2.05 - lean) / 0.8, 0.0), 1.0)  # beyond 1.25 it burns slowly
    return burned * engine.heating_value * engine.indicated * spark * burns * fired / (2.0 * math.pi * speed)


@compiled
def failing(lean: float, diluted: float) -> float:
    """Share of the charges that do not light: too lean, too rich, or with too much burned gas in them.

    From lambda 1.45, below 0.5, and from 0.27 of recirculated gas on; judged: Airproof authors, usual limits of
    homogeneous petrol engines (common practice: lean limit 1.3 to 1.5, recirculation limit 0.2 to 0.3).
    """
    share = max(lean - 1.45, 0.0) / 0.4 + max(0.5 - lean, 0.0) / 0.2 + max(diluted - 0.27, 0.0) / 0.4
    return min(share, 1.0)


@compiled
def resisting_torque(engine: Engine, speed: float, p: float, p_exhaust: float, blower_w: float) -> float:
    """Torque (N m) taken by friction, by drawing against the manifold's vacuum, and by a blower."""
    mean = engine.friction_pa + engine.friction_per_speed * speed + p_exhaust - p
    return mean * engine.displacement_m3 / (4.0 * math.pi) + blower_w / (2.0 * math.pi * max(speed, 3.0))


@compiled
def unevenness(lean: float, diluted: float) -> float:
    """How much the work of one charge differs from the next, as a share: little, but more the leaner or more diluted.

    Judged: Airproof authors: idle feels rough from some 10 % on (common practice), which a lambda of 1.2 brings.
    """
    return 0.02 + min(max(lean - 1.08, 0.0) * 1.2 + max(diluted - 0.15, 0.0) * 0.8, 0.6)
