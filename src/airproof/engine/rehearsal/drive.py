"""One drive, step by step: driver, control unit, sensors, air path, crank, monitors - every 10 ms, compiled as one.

What the items of throttle, pedal, spark and battery show at rest, and how fast coolant and engine bay warm, is judged:
Airproof authors, usual values of road cars; items are coded as SAE J1979 states them (logger).
"""

from __future__ import annotations

import math
from typing import Annotated

import numpy as np

from airproof.engine.rehearsal.air.cylinders import failing, indicated_torque, resisting_torque, unevenness
from airproof.engine.rehearsal.air.integrate import Work, advance
from airproof.engine.rehearsal.air.machinery import (
    P_CHARGE,
    P_EXHAUST,
    P_MANIFOLD,
    P_PIPE,
    ROTOR,
    STATES,
    Commands,
    Engine,
    Flows,
    Outside,
)
from airproof.engine.rehearsal.compiled import compiled, entered_from_python
from airproof.engine.rehearsal.control.air_charge import believe, estimate_air
from airproof.engine.rehearsal.control.fuelling import dose, mixture
from airproof.engine.rehearsal.control.monitors import Monitors, watch
from airproof.engine.rehearsal.control.torque_demand import ask
from airproof.engine.rehearsal.faults import (
    BOOST_LEAK,
    EGR_STUCK_OPEN,
    EXHAUST_RESTRICTION,
    IGNITION,
    INTAKE_RESTRICTION,
    THROTTLE_DEPOSITS,
    VACUUM_LEAK,
    VALVE_TIMING,
    Faults,
    act,
)
from airproof.engine.rehearsal.records import Floats
from airproof.engine.rehearsal.road.car import Car, ControlUnit, Maker, Memory, Motion, Sensors
from airproof.engine.rehearsal.road.driving import CRANK, OFF, follow_stretch, revved_out, turn
from airproof.engine.rehearsal.road.sensing import convert, read, smell
from airproof.engine.rehearsal.road.unrest import Unrest, disturb
from airproof.quantities.constants import ABSOLUTE_LOAD_DENSITY, STANDARD_PRESSURE, ZERO_CELSIUS

STEP_S = 0.010
LOOKS_EVERY = 5  # steps between two looks of the monitors; control units look every 10 to 100 ms (common practice)

ITEMS = (
    "engine_speed", "manifold_pressure", "charge_pressure", "charge_pressure_target", "barometric_pressure", "air_flow",
    "throttle", "throttle_target", "pedal", "intake_temperature", "ambient_temperature", "coolant_temperature", "load",
    "absolute_load", "short_trim_1", "long_trim_1", "lambda", "lambda_target", "vehicle_speed", "ignition_advance",
    "wastegate", "egr", "purge", "fuel_rate", "fuel_system_status", "supply_voltage", "exhaust_pressure", "turbo_speed",
)  # fmt: skip
"""What the control unit answers, in the units of the signals' table; a column of `told` each."""
TRUTHS = (
    "manifold_pressure", "charge_pressure", "exhaust_pressure", "air_flow", "cylinder_air", "leak_flow", "lambda",
    "manifold_temperature", "wastegate", "throttle", "torque", "turbo_speed", "burned_share",
)  # fmt: skip
"""What is really so: kPa absolute, g/s, degC, %, N m, 1/min; a column of `true` each."""


class World:
    """Everything of one drive that changes, in one place, so that a drive can be carried on from where it stopped."""

    state: Annotated[Floats, STATES]
    step: float
    coolant: float
    wall: float
    bay: float
    stroke: float  # how far the engine is to its next charge, 0 to 1
    strength: float  # of the charge that burns now: 0 where it did not light, about 1 where it did


@compiled
def fuel_status(unit: ControlUnit) -> float:
    """SAE J1979 item 03, from memory: 1 open, not warm; 2 closed; 4 open, driving; 8 open, fault."""
    if unit.closed_loop == 1:
        return 2.0
    if unit.coolant <= 290.0 or unit.running < 12.0:
        return 1.0
    return 8.0 if unit.map_bad == 1 else 4.0


@compiled
def tell(
    drawing: Engine, maker: Maker, memory: Memory, unit: ControlUnit, sensors: Sensors, motion: Motion,
    outside: Outside, y: Floats, row: Floats,
) -> None:  # fmt: skip
    """Write what the control unit would answer to `row` (28,)."""
    per_turn = unit.air / max(sensors.speed, 3.0)
    charged = 1.0 + maker.rated_boost / STANDARD_PRESSURE
    fullest = 0.87 * ABSOLUTE_LOAD_DENSITY * drawing.displacement_m3 * charged / 2.0
    share = min(per_turn / fullest, 1.2)
    row[0] = 60.0 * sensors.speed
    row[1] = 1e-3 * sensors.manifold
    row[2] = 1e-3 * sensors.charge
    row[3] = 1e-3 * unit.charge_target
    row[4] = 1e-3 * unit.barometer
    row[5] = 1e3 * sensors.air_flow
    row[6] = 11.0 + 0.73 * unit.opening
    row[7] = 11.0 + 0.73 * unit.asked_opening
    row[8] = 14.5 + 70.0 * unit.pedal
    row[9] = sensors.intake - ZERO_CELSIUS
    row[10] = outside.temperature - ZERO_CELSIUS + 1.5
    row[11] = unit.coolant - ZERO_CELSIUS
    row[12] = min(100.0 * share * STANDARD_PRESSURE / unit.barometer, 100.0)
    row[13] = 100.0 * per_turn / (0.5 * ABSOLUTE_LOAD_DENSITY * drawing.displacement_m3)
    row[14] = unit.short_trim
    row[15] = memory.long_trims[unit.cell]
    row[16] = sensors.lam
    row[17] = unit.target
    row[18] = math.floor(3.6 * motion.road)
    row[19] = 36.0 - 56.0 * (1.0 - unit.spark) - 14.0 * min(share, 1.0) if sensors.speed > 5.0 else 0.0
    row[20] = 100.0 * unit.gate
    row[21] = 100.0 * unit.egr
    row[22] = 100.0 * unit.purge
    row[23] = 1e3 * unit.asked_fuel
    row[24] = fuel_status(unit)
    row[25] = 14.2 - 0.1 * (1.0 - unit.spark) if sensors.speed > 8.0 else 12.4 - 1.6 * motion.starter
    row[26] = 1e-3 * y[P_EXHAUST]
    row[27] = 60.0 / (2.0 * math.pi) * y[ROTOR]


@compiled
def set_commands(
    commands: Commands,
    car: Car,
    engine: Engine,
    unit: ControlUnit,
    faults: Faults,
    opening: float,
    gate: float,
    behind: float,
) -> None:
    """What acts on the air path in this step: plate and gate from where they were, holes, blockages.

    `behind` is the pressure across the turbine (Pa).
    """
    now = faults.now
    commands.throttle_0, commands.throttle_1 = opening, unit.opening
    # beyond what its actuator's spring can hold, the exhaust pushes the flap open
    pushed = (behind - engine.flap_holds_pa) / 120e3 if engine.flap_holds_pa > 0.0 else 0.0
    commands.wastegate_0, commands.wastegate_1 = max(gate, pushed), max(unit.gate_true, pushed)
    commands.relief = unit.gate_true
    commands.purge = car.purge_m2 * unit.purge
    commands.fuel, commands.spark = unit.fuel, unit.spark
    commands.leak = 0.7 * 0.25e-6 * math.pi * now[VACUUM_LEAK] ** 2
    commands.boost_leak = 0.7 * 0.25e-6 * math.pi * now[BOOST_LEAK] ** 2
    commands.recirculation = 0.7 * 0.25e-6 * math.pi * now[EGR_STUCK_OPEN] ** 2 + car.egr_m2 * unit.egr
    # deposits close their share of the area that a clean body shows at warm idle, about 2.4 % of opening
    idle_area = engine.throttle_m2[2] + 0.4 * (engine.throttle_m2[3] - engine.throttle_m2[2])
    commands.deposits = 0.01 * now[THROTTLE_DEPOSITS] * idle_area
    commands.filter_factor, commands.exhaust_factor = now[INTAKE_RESTRICTION], now[EXHAUST_RESTRICTION]
    commands.timing = 0.01 * now[VALVE_TIMING]


@compiled
def accessories(car: Car, maker: Maker, unit: ControlUnit, dt: float) -> None:
    """Purge and exhaust recirculation as the control unit asks for them: warm, part load, loop closed."""
    share = unit.air / maker.rated_air
    part = unit.closed_loop == 1 and unit.coolant > 333.0 and unit.idling == 0 and share > 0.04 and share < 0.35
    unit.purge += ((0.6 if part else 0.0) - unit.purge) * dt / 1.0
    wanted = 0.35 if part and car.egr_m2 > 0.0 and share < 0.25 else 0.0
    unit.egr += (wanted - unit.egr) * dt / 0.3


@entered_from_python
def drive(
    engine: Engine, drawing: Engine, car: Car, maker: Maker, outside: Outside, faults: Faults, memory: Memory,
    unit: ControlUnit, sensors: Sensors, motion: Motion, unrest: Unrest, monitors: Monitors, world: World,
    commands: Commands, flows: Flows, work: Work, seconds: Floats, kinds: Floats, targets: Floats, began: float,
    seed: int, told: Floats, true: Floats,
) -> int:  # fmt: skip
    """Drive the stretches (`seconds`, `kinds`, `targets` m/s at their ends, each (stretches,)) once; returns the steps.

    `engine` is the one in the car, `drawing` the one its maker knows. `began` is the time (s) that faults count from;
    before 0 they have had their whole size. `told` (n, 28) and `true` (n, 13) receive a row a step where n > 0; the
    drive ends where they are full.
    """
    np.random.seed(seed)
    y, dt = world.state, STEP_S
    frame = np.zeros(13)
    row = np.zeros(28)
    rows = told.shape[0]
    n = 0
    for stretch in range(seconds.size):
        kind, target = int(kinds[stretch]), targets[stretch]
        steps = int(seconds[stretch] / dt + 0.5)
        for step in range(steps):
            if (rows > 0 and n >= rows) or revved_out(motion, kind):
                break
            now = began + n * dt
            act(faults, now if began >= 0.0 else 1e7)
            disturb(unrest, motion, unit, n * dt)
            follow_stretch(car, motion, kind, (steps - step) * dt, target, dt)

            read(car, sensors, faults, outside, flows, y[P_MANIFOLD], y[P_CHARGE], motion.speed, engine.cylinders, dt)
            convert(maker, sensors, dt)
            unit.now, unit.coolant = now, world.coolant
            opening, gate = unit.opening, unit.gate_true
            believe(drawing, maker, unit, sensors)
            estimate_air(drawing, maker, unit, sensors, dt, n % 10 == 0)
            ask(drawing, maker, memory, unit, sensors, motion, faults, dt)
            accessories(car, maker, unit, dt)
            dose(car, drawing, maker, memory, unit, sensors, motion, faults, flows.purge * car.purge_vapour, dt)

            set_commands(commands, car, engine, unit, faults, opening, gate, y[P_EXHAUST] - y[P_PIPE])
            commands.speed = motion.speed
            world.step = advance(engine, outside, commands, dt, y, world.step, flows, work)

            missing = 0.01 * faults.now[IGNITION]
            if unit.fuel > 1e-7 and motion.speed > 1.0:
                lean = max(flows.air, 0.0) / (engine.stoichiometric * unit.fuel)
                missing = min(missing + failing(lean, flows.burned), 1.0)
            chance, uneven = np.random.random(), np.random.normal()
            world.stroke += 0.5 * motion.speed * engine.cylinders * dt
            if world.stroke >= 1.0:  # the next charge: whether it lights, and how well, holds until the one after
                world.stroke -= math.floor(world.stroke)
                lean = max(flows.air, 0.0) / (engine.stoichiometric * unit.fuel + 1e-12)
                world.strength = 1.0 + uneven * unevenness(lean, flows.burned) if chance >= missing else 0.0
            speed = max(motion.speed, 0.5)
            fired = 1.0 - missing
            torque = 0.0
            if kind != OFF and motion.speed > 1.0:
                air = max(flows.air, 0.0)
                torque = indicated_torque(engine, speed, air, unit.fuel, unit.spark, world.strength)
            if motion.speed > 0.2:
                torque -= resisting_torque(engine, speed, y[P_MANIFOLD], y[P_EXHAUST], flows.blower_w) + motion.load
            motion.torque = torque
            turn(car, motion, kind, torque, engine.inertia, dt)
            leaving = mixture(drawing, unit, max(flows.air, 0.0), fired, motion.speed)
            smell(car, sensors, leaving, motion.speed, dt)

            # heat: coolant towards the thermostat, manifold wall between coolant and fresh air, bay with the standing
            turning = motion.speed > 8.0
            goal = car.warm_k if turning else outside.temperature
            world.coolant += (goal - world.coolant) * dt / (110.0 if turning else 4000.0)
            washed = 1.0 / (1.0 + flows.inlet / 0.010)
            bay = outside.temperature + (world.coolant - outside.temperature) * (0.35 if motion.road < 3.0 else 0.18)
            world.bay += (bay - world.bay) * dt / 60.0
            wall = world.bay + (world.coolant - world.bay) * 0.5 * washed
            world.wall += (wall - world.wall) * dt / 120.0
            outside.wall, outside.bay = world.wall, world.bay

            looks = n % LOOKS_EVERY == 0 and kind != CRANK
            if looks or rows > 0:
                tell(drawing, maker, memory, unit, sensors, motion, outside, y, row)
            if looks:
                frame[0], frame[1], frame[2], frame[3] = unit.running, row[12], row[0], row[18]
                frame[4], frame[5], frame[6], frame[7] = row[11], row[14], row[15], row[1]
                frame[8], frame[9], frame[10], frame[11], frame[12] = row[5], row[9], row[6], row[4], row[24]
                watch(
                    car, drawing, maker, memory, unit, sensors, faults, monitors, fired, outside.temperature, frame,
                    LOOKS_EVERY * dt,
                )  # fmt: skip
            if rows > 0:
                for k in range(row.size):
                    told[n, k] = row[k]
                true[n, 0], true[n, 1], true[n, 2] = 1e-3 * y[P_MANIFOLD], 1e-3 * y[P_CHARGE], 1e-3 * y[P_EXHAUST]
                true[n, 3], true[n, 4], true[n, 5] = 1e3 * flows.inlet, 1e3 * flows.air, 1e3 * flows.leak
                true[n, 6], true[n, 7] = leaving, flows.manifold_k - ZERO_CELSIUS
                true[n, 8], true[n, 9], true[n, 10] = 100.0 * unit.gate_true, unit.opening, torque
                true[n, 11], true[n, 12] = row[27], flows.burned
            n += 1
    return n
