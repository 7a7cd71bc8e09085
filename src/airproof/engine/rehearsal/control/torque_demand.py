"""From the pedal to the plate, the spark and the boost: what the control unit asks the air path for.

Gains and times are judged: Airproof authors, so that the loops settle as quickly and as calmly as in ordinary cars.
"""

from __future__ import annotations

import math

from airproof.engine.rehearsal.air.gas import air_hole, interpolated
from airproof.engine.rehearsal.air.machinery import NATURALLY_ASPIRATED, SPEED_STEP, TURBOCHARGED, Engine
from airproof.engine.rehearsal.compiled import compiled
from airproof.engine.rehearsal.control.air_charge import filling
from airproof.engine.rehearsal.faults import WASTEGATE_STUCK_CLOSED, WASTEGATE_STUCK_OPEN, Faults
from airproof.engine.rehearsal.road.car import ControlUnit, Maker, Memory, Motion, Sensors

_PLATE_S, _GATE_S = 0.06, 0.15  # lags of the throttle's motor and of the wastegate's actuator (common practice)
_PLATE_RATE = 1000.0  # % per s, fully open in a tenth of a second (common practice)
_DEEPEST = 21e3  # Pa in the manifold on overrun; judged: Airproof authors, deep overrun is some 16 to 25 kPa
LIMPING = 35.0  # % of opening that a limp mode allows; judged: Airproof authors, enough to drive home


@compiled
def opening_for(drawing: Engine, area: float) -> float:
    """Opening (%) at which the drawing's throttle has that effective area (m2)."""
    low, high = 0, 100
    if area <= drawing.throttle_m2[0]:
        return 0.0
    if area >= drawing.throttle_m2[100]:
        return 100.0
    while high - low > 1:
        middle = (low + high) // 2
        if drawing.throttle_m2[middle] > area:
            high = middle
        else:
            low = middle
    step = drawing.throttle_m2[high] - drawing.throttle_m2[low]
    opening: float = low + (area - drawing.throttle_m2[low]) / step
    return opening


@compiled
def idle_wanted(maker: Maker, unit: ControlUnit) -> float:
    """Idle speed (1/s) asked for: higher cold, for some seconds after starting, and for the air conditioning."""
    cold = min(max((333.0 - unit.coolant) / 60.0, 0.0), 1.0)
    started = min(max((8.0 - unit.running) / 4.0, 0.0), 1.0)
    wanted: float = maker.idle_speed + 6.0 * cold + 2.0 * started + unit.idle_up
    return wanted


@compiled
def ask(
    drawing: Engine, maker: Maker, memory: Memory, unit: ControlUnit, sensors: Sensors, motion: Motion,
    faults: Faults, dt: float,
) -> None:  # fmt: skip
    """One step of throttle, idle, spark and boost."""
    speed = sensors.speed
    unit.pedal = motion.pedal
    before = unit.opening
    if speed < 1.0 and motion.starter == 0:
        unit.asked_opening = 7.0  # the spring's resting place
        unit.charge_target, unit.gate, unit.gate_sum, unit.idle_sum = unit.barometer, 1.0, 0.0, 0.0
        unit.wish = 0.4 * unit.barometer
        unit.limit, unit.spark, unit.lifted, unit.running = 1.0, 0.9, 0.0, 0.0
        move(unit, drawing, faults, before, dt)
        return
    unit.running += dt
    unit.lifted = unit.lifted + dt if unit.pedal < 0.01 else 0.0
    wanted = idle_wanted(maker, unit)
    off = wanted - speed
    unit.idling = 1 if unit.pedal < 0.01 and motion.clutched == 0 else 0

    # idle: a slow hand on the air, a quick one on the spark
    if unit.idling == 1 and unit.lifted > 1.0 and unit.running > 2.0 and (speed < wanted + 8.0 or unit.lifted > 3.0):
        unit.idle_sum += maker.idle_air * 0.045 * min(max(off, -2.5), 2.5) * dt * unit.learns**0.5
        unit.idle_sum = min(max(unit.idle_sum, -0.85 * maker.idle_air), 2.5 * maker.idle_air)
        if math.fabs(off) < 1.0:
            share = unit.idle_sum * dt / 20.0 * unit.learns
            memory.idle_air += share
            unit.idle_sum -= share
    if unit.idling == 0:
        unit.idle_sum *= 1.0 - dt / 0.5
    if unit.idling == 1:
        unit.spark = min(max(0.84 + 0.07 * off, 0.60), 1.0)
    else:
        unit.spark = 1.0
    idle_air = memory.idle_air + unit.idle_sum
    if unit.idling == 1:
        idle_air += maker.idle_air * 0.05 * min(max(off, -2.0), 2.0)
    faster = max(speed / maker.idle_speed, 1.0)
    least = max(idle_air, 0.1 * maker.idle_air) * faster**0.75
    if faster > 1.3:  # less would suck oil past the rings
        least = max(least, filling(drawing, maker, unit, speed, _DEEPEST))
    if motion.starter == 1 or unit.running < 1.0:
        least = max(least, 1.8 * maker.idle_air)

    # the pedal asks for a share of the most air there is at this speed
    boosted = drawing.induction != NATURALLY_ASPIRATED
    ready = min(max((speed - 20.0) / 13.0, 0.0), 1.0)
    full = unit.barometer * 0.97
    if boosted and unit.boost_off == 0:
        full = unit.barometer + maker.rated_boost * ready
    most = filling(drawing, maker, unit, speed, full)
    share = unit.pedal**1.4
    air = least + share * max(most - least, 0.0)
    per_pascal = filling(drawing, maker, unit, speed, max(unit.wish, 15e3)) / max(unit.wish, 15e3)
    unit.wish += (min(air / per_pascal, full) - unit.wish) * 0.3
    if unit.wish > 0.96 * unit.charge:
        asked = 100.0
    else:
        per_area = air_hole(1.0, unit.charge, unit.intake, unit.wish, unit.intake)[0]
        asked = opening_for(drawing, air / max(per_area, 1e-3))
    if unit.map_bad == 1:
        asked = min(asked, LIMPING)

    # boost: what is measured before the throttle follows its target
    unit.charge_target = unit.barometer
    if boosted:
        target = 1.02 * unit.wish + 4e3
        if target > unit.barometer and unit.boost_off == 0 and unit.map_bad == 0:
            unit.charge_target = min(target, unit.barometer + maker.rated_boost)
        demand = min(max((unit.charge_target - unit.barometer) / maker.rated_boost, 0.0), 1.0)
        error = 1e-3 * (unit.charge_target - unit.charge)
        unit.charge_rate += (1e-3 * (unit.charge - unit.charge_before) / dt - unit.charge_rate) * dt / 0.08
        unit.charge_before = unit.charge
        if demand > 0.03:
            ahead = 1.0 - demand**0.5 * (1.0 - interpolated(maker.gate, speed, 0.0, SPEED_STEP))
            if math.fabs(error) < 25.0:
                unit.gate_sum = min(max(unit.gate_sum + 0.012 * error * dt, -0.7), 0.7)
            braking = 0.0030 * max(unit.charge_rate, 0.0) if error < 70.0 else 0.0
            unit.gate = min(max(ahead - 0.010 * error - unit.gate_sum + braking, 0.0), 1.0)
        else:
            unit.gate_sum *= 1.0 - dt
            unit.gate = 1.0
        # far too much boost: the throttle takes it away
        closing = unit.charge > unit.charge_target + 28e3 and unit.pedal > 0.2
        unit.limit = min(max(unit.limit + (-0.7 if closing else 0.3) * dt, 0.2), 1.0)
        asked = min(asked, 100.0 * unit.limit)
    unit.asked_opening = asked
    move(unit, drawing, faults, before, dt)


@compiled
def move(unit: ControlUnit, drawing: Engine, faults: Faults, before: float, dt: float) -> None:
    """The actuators follow: the throttle's motor, and the wastegate unless it sticks."""
    to = before + (unit.asked_opening - before) * (1.0 - math.exp(-dt / _PLATE_S))
    unit.opening = min(max(to, before - _PLATE_RATE * dt), before + _PLATE_RATE * dt)
    if drawing.induction == TURBOCHARGED:
        wanted = unit.gate
        if faults.now[WASTEGATE_STUCK_OPEN] > 0.0:
            wanted = max(wanted, 0.01 * faults.now[WASTEGATE_STUCK_OPEN])
        if faults.now[WASTEGATE_STUCK_CLOSED] > 0.0:
            wanted = min(wanted, 0.01 * faults.now[WASTEGATE_STUCK_CLOSED])
    else:
        wanted = unit.gate
    unit.gate_true += (wanted - unit.gate_true) * (1.0 - math.exp(-dt / _GATE_S))
