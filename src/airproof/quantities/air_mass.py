"""The air an engine breathes: speed-density and its inverses, one filling, absolute load, filling time.

Four-stroke engines: each cylinder fills once in two revolutions. Speeds are revolutions per second.

Sources
[HEY] J. B. Heywood, Internal Combustion Engine Fundamentals, eq. 2.27 (from memory of it).
[J1979] SAE J1979, data item 43, absolute load value.
"""

from __future__ import annotations

from airproof.quantities.constants import ABSOLUTE_LOAD_DENSITY, R_AIR
from airproof.quantities.formula import Result, Value, formula


@formula
def speed_density_flow(
    pressure_pa: Value,
    temperature_k: Value,
    displacement_m3: Value,
    revolutions_per_s: Value,
    volumetric_efficiency: Value = 1.0,
) -> Result:
    """Air flow into the cylinders (kg/s): m = VE p Vd n / (2 R T) [HEY].

    Pressure (Pa absolute) and temperature (K) in the manifold, displacement of the whole engine (m3), speed
    (1/s), volumetric efficiency (1 = the swept volume filled at manifold conditions).
    """
    return volumetric_efficiency * pressure_pa * displacement_m3 * revolutions_per_s / (2.0 * R_AIR * temperature_k)


@formula
def volumetric_efficiency(
    flow_kg_s: Value,
    pressure_pa: Value,
    temperature_k: Value,
    displacement_m3: Value,
    revolutions_per_s: Value,
) -> Result:
    """Volumetric efficiency (1 = full, related to manifold conditions) that explains an air flow (kg/s)."""
    return flow_kg_s / speed_density_flow(pressure_pa, temperature_k, displacement_m3, revolutions_per_s)


@formula
def manifold_pressure_for_flow(
    flow_kg_s: Value,
    temperature_k: Value,
    displacement_m3: Value,
    revolutions_per_s: Value,
    volumetric_efficiency: Value = 1.0,
) -> Result:
    """Manifold pressure (Pa absolute) at which the cylinders take this air flow (kg/s)."""
    per_pascal = speed_density_flow(1.0, temperature_k, displacement_m3, revolutions_per_s, volumetric_efficiency)
    return flow_kg_s / per_pascal


@formula
def charge_temperature_for_flow(
    flow_kg_s: Value,
    pressure_pa: Value,
    displacement_m3: Value,
    revolutions_per_s: Value,
    volumetric_efficiency: Value = 1.0,
) -> Result:
    """Charge temperature (K) that explains an air flow (kg/s) at a manifold pressure (Pa absolute)."""
    at_one_kelvin = speed_density_flow(pressure_pa, 1.0, displacement_m3, revolutions_per_s, volumetric_efficiency)
    return at_one_kelvin / flow_kg_s


@formula
def air_per_filling(flow_kg_s: Value, revolutions_per_s: Value, cylinders: Value) -> Result:
    """Air (kg) in one filling of one cylinder, from the whole engine's air flow (kg/s)."""
    return 2.0 * flow_kg_s / (revolutions_per_s * cylinders)


@formula
def flow_for_filling(filling_kg: Value, revolutions_per_s: Value, cylinders: Value) -> Result:
    """Air flow (kg/s) of the whole engine from the air (kg) in one filling."""
    return filling_kg * revolutions_per_s * cylinders / 2.0


@formula
def absolute_load(flow_kg_s: Value, displacement_m3: Value, revolutions_per_s: Value) -> Result:
    """Absolute load (1 = 100 %): air per filling over the swept volume filled at 1.184 g/L [J1979].

    Some 0.95 is the most of an engine that breathes freely; a charged one goes to 4.
    """
    return flow_kg_s / flow_for_absolute_load(1.0, displacement_m3, revolutions_per_s)


@formula
def flow_for_absolute_load(load: Value, displacement_m3: Value, revolutions_per_s: Value) -> Result:
    """Air flow (kg/s) of an absolute load (1 = 100 %): the inverse of absolute_load."""
    return load * ABSOLUTE_LOAD_DENSITY * displacement_m3 * revolutions_per_s / 2.0


@formula
def filling_time_constant(
    volume_m3: Value, displacement_m3: Value, revolutions_per_s: Value, volumetric_efficiency: Value = 1.0
) -> Result:
    """Time (s) in which manifold pressure closes 63 % of a step, throttle flow choked: tau = 2 V / (VE Vd n).

    Isothermal manifold of volume V (m3), everything between throttle and valves. Follows from p V = m R T and
    speed-density; near atmospheric pressure the throttle answers too and the real time is shorter.
    """
    return 2.0 * volume_m3 / (volumetric_efficiency * displacement_m3 * revolutions_per_s)


@formula
def manifold_volume(
    time_constant_s: Value,
    displacement_m3: Value,
    revolutions_per_s: Value,
    volumetric_efficiency: Value = 1.0,
) -> Result:
    """Manifold volume (m3) that explains a time constant (s): the inverse of filling_time_constant."""
    return time_constant_s * volumetric_efficiency * displacement_m3 * revolutions_per_s / 2.0
