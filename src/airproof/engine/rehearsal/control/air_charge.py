"""How much air the control unit believes the cylinders take: by its air flow sensor, by speed-density, by both.

It never sees the truth: only what the sensors tell, and the engine as its maker drew it.
"""

from __future__ import annotations

import math

from airproof.engine.rehearsal.air.cylinders import bilinear, room_left
from airproof.engine.rehearsal.air.gas import air_hole, interpolated
from airproof.engine.rehearsal.air.machinery import NATURALLY_ASPIRATED, Engine
from airproof.engine.rehearsal.compiled import compiled
from airproof.engine.rehearsal.road.car import (
    BARO_BOTH,
    BARO_KEY_ON,
    BY_BOTH,
    BY_SPEED_DENSITY,
    ControlUnit,
    Maker,
    Sensors,
)
from airproof.quantities.constants import R_AIR

LOW_V, HIGH_V = 0.05, 4.90  # outside these a pressure signal is not believed; as the monitors of its circuit
_RETURNED_K = 900.0  # exhaust gas before the recirculation valve (common practice, 700 to 1100 K)
_DISAGREE = 0.18  # share by which two meters must differ before one is doubted
_DOUBT_S = 2.0
_DOUBTFUL_PA = 8e3  # between two sensors of one pressure; good ones agree to 2 to 4 kPa (common practice)


@compiled
def filling(drawing: Engine, maker: Maker, unit: ControlUnit, speed: float, p: float) -> float:
    """Air (kg/s) that the drawing's cylinders take at a manifold pressure p (Pa), by speed-density: without the exhaust
    gas that the control unit has let in on purpose.
    """
    boost = max(unit.charge - unit.barometer, 0.0)
    behind = unit.barometer + maker.back_pressure * (unit.air / maker.rated_air) ** 2 + 1.05 * boost
    efficiency = bilinear(drawing.breathing, speed, p) * room_left(drawing.compression_ratio, p, behind)
    gas = max(efficiency, 0.05) * p * drawing.displacement_m3 * speed / (2.0 * R_AIR * unit.intake)
    return max(gas - unit.recirculated, 0.3 * gas)


@compiled
def past_throttle(drawing: Engine, unit: ControlUnit, opening: float, p: float) -> float:
    """Air (kg/s) past the drawing's throttle at an opening (%) and manifold pressure (Pa)."""
    area = interpolated(drawing.throttle_m2, opening, 0.0, 1.0)
    return air_hole(area, unit.charge, unit.intake, p, unit.intake)[0]


@compiled
def pressure_expected(drawing: Engine, maker: Maker, unit: ControlUnit, speed: float, opening: float) -> float:
    """Manifold pressure (Pa) at which the drawing's throttle passes what its cylinders take."""
    low, high = 5e3, unit.charge
    for _ in range(11):
        middle = 0.5 * (low + high)
        if past_throttle(drawing, unit, opening, middle) > filling(drawing, maker, unit, speed, middle):
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


@compiled
def believe_barometer(drawing: Engine, maker: Maker, unit: ControlUnit, sensors: Sensors, sound: bool) -> None:
    """The barometer: a sensor of its own; or the manifold's, taken while the engine stands; or whichever of the two the
    charge pressure sensor agrees with, engine off.
    """
    standing = sensors.speed < 1.0 and sound
    if maker.barometer == BARO_KEY_ON:
        if standing:
            unit.barometer = unit.manifold
        return
    if maker.barometer == BARO_BOTH and drawing.induction != NATURALLY_ASPIRATED and standing:
        own_off = math.fabs(sensors.barometer - sensors.charge)
        unit.baro_doubted = 1 if own_off > _DOUBTFUL_PA and math.fabs(unit.manifold - sensors.charge) < own_off else 0
    if unit.baro_doubted == 1:
        if standing:
            unit.barometer = unit.manifold
    else:
        unit.barometer = sensors.barometer


@compiled
def believe(drawing: Engine, maker: Maker, unit: ControlUnit, sensors: Sensors) -> None:
    """Pressures and temperature as the control unit takes them, dead signals replaced."""
    unit.intake = sensors.intake
    sound = sensors.map_v > LOW_V and sensors.map_v < HIGH_V
    if sound and unit.map_bad == 0:
        unit.manifold = sensors.manifold
    believe_barometer(drawing, maker, unit, sensors, sound and unit.map_bad == 0)
    if drawing.induction == NATURALLY_ASPIRATED:
        drop = 0.02 * (unit.air / maker.rated_air) ** 2  # filter and duct, of the barometer
        unit.charge = unit.barometer * (1.0 - drop)
    else:
        unit.charge = max(sensors.charge, 0.5 * unit.barometer)


@compiled
def estimate_air(drawing: Engine, maker: Maker, unit: ControlUnit, sensors: Sensors, dt: float, deep: bool) -> None:
    """Update every estimate of the air flow, and the one the fuel follows; if `deep`, also those made now and then."""
    speed = sensors.speed
    if speed < 1.0:
        unit.density_air = unit.throttle_air = unit.air = unit.slow_density = unit.slow_flow = 0.0
        return
    unit.recirculated = 0.0
    if unit.egr > 0.0:
        area = maker.egr_m2 * unit.egr
        returns = air_hole(area, unit.barometer, _RETURNED_K, min(unit.manifold, unit.barometer), _RETURNED_K)[0]
        unit.recirculated = returns
    if deep:
        unit.expected = pressure_expected(drawing, maker, unit, speed, unit.opening)
        unit.throttle_air = filling(drawing, maker, unit, speed, unit.expected)
        if unit.map_bad == 1:
            unit.manifold = unit.expected
    unit.density_air = filling(drawing, maker, unit, speed, unit.manifold)
    unit.slow_density += (unit.density_air - unit.slow_density) * dt / 0.15
    if maker.metering == BY_SPEED_DENSITY:
        unit.air = unit.density_air
        return
    unit.slow_flow += (sensors.air_flow - unit.slow_flow) * dt / 0.08
    # while the throttle moves, the air flow sensor meters what fills the manifold, not what the cylinders take
    moving = math.fabs(unit.density_air - unit.slow_density) / max(unit.slow_density, 1e-4) * 3.0 - 0.3
    moving = min(max(moving, 0.0), 1.0)
    if maker.metering == BY_BOTH:
        apart = unit.density_air / max(unit.slow_flow, 1e-5) - 1.0
        steady = moving == 0.0
        if steady and math.fabs(apart) > _DISAGREE:
            unit.doubt += dt
        elif steady:
            unit.doubt = max(unit.doubt - dt, 0.0)
            if unit.doubt == 0.0:
                unit.distrusts = 0
        if unit.doubt > _DOUBT_S and unit.distrusts == 0:
            flow_off = math.fabs(unit.slow_flow - unit.throttle_air)
            density_off = math.fabs(unit.density_air - unit.throttle_air)
            unit.distrusts = 1 if flow_off > density_off else 2
        unit.doubt = min(unit.doubt, 2.0 * _DOUBT_S)
    if unit.distrusts == 1:
        unit.air = unit.density_air
    elif unit.distrusts == 2:
        unit.air = unit.slow_flow
    else:
        unit.air = moving * unit.density_air + (1.0 - moving) * unit.slow_flow
