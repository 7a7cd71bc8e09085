"""What the maker taught the control unit: its drawing of the engine, measured on the maker's own bench.

The control unit of a car knows the engine as drawn, not the one it sits on. Its tables are found here as a maker finds
them: by running the drawn engine steadily and noting what it takes.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from airproof.engine.profile import EngineProfile
from airproof.engine.rehearsal.air.air_path import at_rest
from airproof.engine.rehearsal.air.build import (
    USUAL_IDLE_RPM,
    Details,
    air_at_full_power,
    build,
    parts,
    rated_boost_pa,
)
from airproof.engine.rehearsal.air.integrate import Work, follow
from airproof.engine.rehearsal.air.machinery import (
    P_CHARGE,
    ROTOR,
    SPEED_NODES,
    SPEED_STEP,
    STATES,
    Commands,
    Engine,
    Flows,
    Outside,
)
from airproof.engine.rehearsal.records import Floats, blank
from airproof.engine.rehearsal.road.car import (
    BARO_BOTH,
    BARO_KEY_ON,
    BARO_OWN,
    BY_AIR_FLOW,
    BY_BOTH,
    BY_SPEED_DENSITY,
    Maker,
)
from airproof.quantities.constants import STANDARD_PRESSURE

METERING = {"air-flow sensor": BY_AIR_FLOW, "speed-density": BY_SPEED_DENSITY, "both": BY_BOTH}
BAROMETER = {"own sensor": BARO_OWN, "key-on manifold pressure": BARO_KEY_ON, "both": BARO_BOTH}


def run_steadily(
    engine: Engine, speed: float, opening: float, gate: float, seconds: float, *, rotor: float = 9000.0
) -> tuple[Floats, Flows]:
    """State (13,) and flows after so many seconds at one speed (1/s), opening (%) and wastegate, on a usual day."""
    outside = blank(Outside, pressure=STANDARD_PRESSURE, temperature=293.15, wall=320.0, bay=320.0)
    y = at_rest(engine, outside, 360.0)
    y[ROTOR] = rotor
    commands = blank(Commands, fuel=-1.0, spark=1.0, filter_factor=1.0, exhaust_factor=1.0, relief=gate)
    n = int(seconds / 0.02) + 1
    states, air, flows = np.zeros((n, STATES)), np.zeros((n, 2)), blank(Flows)
    level = np.ones(n)
    follow(
        engine,
        outside,
        commands,
        0.02,
        speed * level,
        opening * level,
        gate * level,
        y,
        states,
        air,
        blank(Work),
        flows,
    )
    return y, flows


@lru_cache(maxsize=256)
def _gates(profile: EngineProfile, details: Details) -> tuple[float, ...]:
    """The wastegate (or bypass) opening that gives rated boost at each speed of the breathing table."""
    engine, goal = build(profile, details), STANDARD_PRESSURE + rated_boost_pa(profile)
    found = []
    for node in range(SPEED_NODES):
        speed = max(node, 1) * SPEED_STEP
        low, high = 0.0, 1.0
        for _ in range(7):
            middle = 0.5 * (low + high)
            y, _flows = run_steadily(engine, speed, 100.0, middle, 4.0, rotor=14000.0)
            low, high = (middle, high) if y[P_CHARGE] > goal else (low, middle)
        found.append(0.5 * (low + high))
    return tuple(found)


def teach(profile: EngineProfile, details: Details, rich: tuple[float, float]) -> Maker:
    """The maker's numbers for this engine; `rich` is lambda at full load with and without a compressor."""
    drawing = build(profile, details)
    idle = (profile.idle_rpm or USUAL_IDLE_RPM) / 60.0
    maker = blank(
        Maker,
        metering=METERING[profile.air_metering],
        barometer=BAROMETER[details.barometer],
        idle_speed=idle,
        rated_boost=max(rated_boost_pa(profile), 1.0),
        rated_air=air_at_full_power(profile),
        back_pressure=parts()["exhaust"]["drop_at_full_power_pa"],
        idle_air=idle_air(drawing, idle),
        rich=rich[0] if profile.boosted else rich[1],
    )
    maker.gate = np.array(_gates(profile, details)) if profile.boosted else np.zeros(SPEED_NODES)
    return maker


def idle_air(drawing: Engine, speed: float) -> float:
    """Air (kg/s) that the drawn engine needs to idle, at the spark that idle control keeps in hand."""
    work = 0.84 * drawing.indicated * drawing.heating_value / drawing.stoichiometric  # J per kg of air
    mean = drawing.friction_pa + drawing.friction_per_speed * speed + 68e3  # drawing against the manifold's vacuum
    return mean * drawing.displacement_m3 * speed / 2.0 / work
