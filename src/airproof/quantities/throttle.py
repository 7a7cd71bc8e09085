"""Air past the throttle: the compressible law, and the simpler one published with a complete engine.

| model | needs | from |
|---|---|---|
| throttle_flow | open area, pressures, temperature | gas_flow |
| published_throttle_flow, published_cylinder_flow | plate angle, pressures, speed | [CC1991] |

Sources
[CC1991] P. R. Crossley and J. A. Cook, A nonlinear engine model for drivetrain system development, IEE
         Control 91 (1991), as given in the Modelica Standard Library, Clocked, ThrottleBody; an engine of one
         size, at one ambient condition. The library notes that the paper prints 0.0063 where 0.00063 is
         meant.
"""

from __future__ import annotations

import numpy as np

from airproof.quantities.constants import GAMMA_AIR
from airproof.quantities.formula import Result, Value, formula
from airproof.quantities.gas_flow import DISCHARGE, orifice_area_for_flow, orifice_flow


@formula
def throttle_flow(
    area_m2: Value,
    upstream_pa: Value,
    manifold_pa: Value,
    upstream_k: Value,
    discharge: Value = DISCHARGE,
    *,
    manifold_k: Value | None = None,
) -> Result:
    """Air flow (kg/s) past a throttle of open area (m2): orifice_flow, negative where the manifold has the
    higher pressure.
    """
    return orifice_flow(area_m2, upstream_pa, manifold_pa, upstream_k, discharge, GAMMA_AIR, downstream_k=manifold_k)


@formula
def throttle_area_for_flow(
    flow_kg_s: Value, upstream_pa: Value, manifold_pa: Value, upstream_k: Value, discharge: Value = DISCHARGE
) -> Result:
    """Open area (m2) of the throttle that explains an air flow (kg/s); NaN where there is no pressure
    difference.
    """
    return orifice_area_for_flow(flow_kg_s, upstream_pa, manifold_pa, upstream_k, discharge)


@formula
def simple_flow_function(pressure_ratio: Value) -> Result:
    """The simpler flow function: 1 (choked) up to a pressure ratio of 0.5, then 2 sqrt(r - r^2) [CC1991].

    Dimensionless; NaN outside 0 to 1. Against flow_function over its choked value it is 0.2 % low at 0.528
    and 3 % low from 0.95 on.
    """
    inside = (pressure_ratio >= 0.0) & (pressure_ratio <= 1.0)
    r = np.where(inside, np.maximum(pressure_ratio, 0.5), np.nan)
    return 2.0 * np.sqrt(r - r**2)


@formula
def published_throttle_flow(angle_deg: Value, upstream_pa: Value, manifold_pa: Value) -> Result:
    """Air flow (kg/s) past the published engine's throttle at a plate angle (deg) [CC1991].

    f(angle) g(p / p_up), f = 2.821 - 0.05231 a + 0.10299 a^2 - 0.00063 a^3 g/s. Negative where the flow
    reverses.
    """
    a = angle_deg
    fully_choked = 1e-3 * (2.821 - 0.05231 * a + 0.10299 * a**2 - 0.00063 * a**3)
    ratio = np.minimum(upstream_pa, manifold_pa) / np.maximum(upstream_pa, manifold_pa)
    flow = fully_choked * simple_flow_function(ratio)
    return np.where(manifold_pa > upstream_pa, -flow, flow)


@formula
def published_cylinder_flow(revolutions_per_s: Value, manifold_pa: Value) -> Result:
    """Air flow (kg/s) into the published engine's cylinders [CC1991].

    -0.366 + 0.08979 N P - 0.0337 N P^2 + 0.0001 N^2 P g/s, N in rad/s and P in bar in the source.
    """
    N = 2.0 * np.pi * revolutions_per_s
    P = 1e-5 * manifold_pa
    return 1e-3 * (-0.366 + 0.08979 * N * P - 0.0337 * N * P**2 + 0.0001 * N**2 * P)
