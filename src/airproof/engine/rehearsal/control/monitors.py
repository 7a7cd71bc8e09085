"""The monitors: what the control unit watches, and when it makes up its mind that something is wrong.

Which criteria, and where they come from, is in data/monitors.toml; a criterion must be passed for its time without a
rest. What a failed monitor leads to - pending, confirmed, permanent - is a matter of trips (trips.py).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Annotated, Any

from airproof.engine.rehearsal.air.machinery import NATURALLY_ASPIRATED, Engine
from airproof.engine.rehearsal.compiled import compiled
from airproof.engine.rehearsal.control.torque_demand import idle_wanted
from airproof.engine.rehearsal.faults import EGR_STUCK_OPEN, VALVE_TIMING, Faults
from airproof.engine.rehearsal.records import Floats, blank
from airproof.engine.rehearsal.road.car import (
    BARO_KEY_ON,
    BY_SPEED_DENSITY,
    CELLS,
    Car,
    ControlUnit,
    Maker,
    Memory,
    Sensors,
)
from airproof.engine.rehearsal.tables import tables
from airproof.errors import BrokenKnowledge

(
    P0107, P0108, P0109, P0106, P0069, P0236, P2227, P006A, P0101, P0102, P0111, P0171, P0172, P2187, P2188, P0234,
    P0299, P0506, P0507, P0300, P0642, P0643, P0402, P0016, P0068,
) = range(25)  # fmt: skip
CODES = (
    "P0107", "P0108", "P0109", "P0106", "P0069", "P0236", "P2227", "P006A", "P0101", "P0102", "P0111", "P0171",
    "P0172",
    "P2187", "P2188", "P0234", "P0299", "P0506", "P0507", "P0300", "P0642", "P0643", "P0402", "P0016", "P0068",
)  # fmt: skip
FRAME = (
    "run_time", "load", "engine_speed", "vehicle_speed", "coolant_temperature", "short_trim_1", "long_trim_1",
    "manifold_pressure", "air_flow", "intake_temperature", "throttle", "barometric_pressure", "fuel_system_status",
)  # fmt: skip
"""What a freeze frame holds; items as 13 CCR 1968.2 (g)(4.3) lists them, from memory."""


FAR = 1e3  # beyond any limit


class Monitors:
    """Every monitor's clock, and what it has decided in this drive."""

    limit: Annotated[Floats, 25]
    after: Annotated[Floats, 25]
    bad_for: Annotated[Floats, 25]
    seen_for: Annotated[Floats, 25]  # s for which it could look
    failed: Annotated[Floats, 25]
    frames: Annotated[Floats, (25, 13)]
    off_for: float  # s with the key on and the engine off
    breaks: float
    was_broken: int
    missed: float
    turns: float
    apart_map: float  # slow, kPa: measured less expected
    apart_air: float  # slow: air by pressure over air by flow
    blamed_for: float  # s for which air flow and throttle have spoken against the pressure


def criteria() -> Mapping[str, Any]:
    """What every monitor looks for, by code."""
    table = tables("monitors")
    if tuple(table) != CODES:
        raise BrokenKnowledge("codes out of order", "monitors.CODES", "Mend it.", where="monitors.toml")
    return table


def new_monitors() -> Monitors:
    """Monitors at the beginning of a drive."""
    known = criteria()
    monitors = blank(Monitors)
    for k, code in enumerate(CODES):
        monitors.limit[k], monitors.after[k] = known[code]["limit"], known[code]["after_s"]
    return monitors


@compiled
def judge(monitors: Monitors, k: int, able: bool, value: float, dt: float, items: Floats) -> None:
    """One look of monitor k, where it is able to look, at a value whose limit must not be passed."""
    if not able:
        monitors.bad_for[k] = 0.0
        return
    monitors.seen_for[k] += dt
    if value <= monitors.limit[k]:
        monitors.bad_for[k] = 0.0
        return
    monitors.bad_for[k] += dt
    if monitors.bad_for[k] > monitors.after[k] and monitors.failed[k] == 0.0:
        monitors.failed[k] = 1.0
        for n in range(13):
            monitors.frames[k, n] = items[n]


@compiled
def watch(
    car: Car, drawing: Engine, maker: Maker, memory: Memory, unit: ControlUnit, sensors: Sensors, faults: Faults,
    monitors: Monitors, fired: float, ambient: float, items: Floats, dt: float,
) -> None:  # fmt: skip
    """One step of every monitor; `items` (13,) is what a freeze frame would hold now."""
    m, running = monitors, sensors.speed > 8.0
    m.off_for = 0.0 if running else m.off_for + dt
    boosted = drawing.induction != NATURALLY_ASPIRATED

    # circuits
    low, high = sensors.map_v < m.limit[P0107], sensors.map_v > m.limit[P0108]
    judge(m, P0107, True, FAR if low else 0.0, dt, items)
    judge(m, P0108, True, FAR if high else 0.0, dt, items)
    if low and m.was_broken == 0:
        m.breaks += 1.0
    m.was_broken = 1 if low else 0
    judge(m, P0109, m.failed[P0107] == 0.0, m.breaks, dt, items)
    unit.map_bad = 1 if m.failed[P0107] + m.failed[P0108] > 0.0 else 0
    judge(m, P0642, True, FAR if sensors.supply < m.limit[P0642] else 0.0, dt, items)
    judge(m, P0643, True, sensors.supply, dt, items)
    supply_good = m.failed[P0642] + m.failed[P0643] == 0.0

    # three sensors of one pressure, engine off
    still = m.off_for > 3.0 and unit.map_bad == 0 and supply_good
    by_map, by_baro, by_boost = 1e-3 * sensors.manifold, 1e-3 * sensors.barometer, 1e-3 * sensors.charge
    own = maker.barometer != BARO_KEY_ON
    map_baro = math.fabs(by_map - by_baro) if own else 0.0
    map_boost = math.fabs(by_map - by_boost) if boosted else 0.0
    baro_boost = math.fabs(by_baro - by_boost) if own and boosted else 0.0
    alone_boost = min(map_boost, baro_boost) if own and map_baro < m.limit[P0236] else 0.0
    alone_baro = min(map_baro, baro_boost) if boosted and map_boost < m.limit[P2227] else 0.0
    judge(m, P0069, still and own, map_baro if alone_baro == 0.0 else 0.0, dt, items)
    judge(m, P0236, still and own and boosted, alone_boost, dt, items)
    judge(m, P2227, still and own and boosted, alone_baro, dt, items)

    # air and pressure against what throttle and speed lead to one to expect
    steady = running and unit.running > 5.0 and unit.cut == 0 and unit.map_bad == 0
    steady = steady and math.fabs(unit.asked_opening - unit.opening) < 1.0
    trims = unit.short_trim + memory.long_trims[unit.cell]
    m.apart_map += (1e-3 * (unit.manifold - unit.expected) - m.apart_map) * dt / 0.3
    by_flow = maker.metering != BY_SPEED_DENSITY
    apart_from_throttle = unit.density_air / max(unit.throttle_air, 1e-5) - 1.0
    off_map = 1e3 if unit.manifold < 8e3 and running else math.fabs(m.apart_map)
    if by_flow:  # a leak moves pressure and throttle apart as well: only what the air flow confirms counts
        off_map = min(off_map, 1e-3 * unit.manifold * math.fabs(1.0 - unit.slow_flow / max(unit.density_air, 1e-5)))

    ratio = unit.density_air / max(unit.slow_flow, 1e-5) - 1.0
    m.apart_air += (ratio - m.apart_air) * dt / 1.0
    level = steady and by_flow and math.fabs(unit.density_air - unit.slow_density) < 0.03 * unit.slow_density
    apart = math.fabs(m.apart_air)
    flow_from_throttle = unit.slow_flow / max(unit.throttle_air, 1e-5) - 1.0
    flow_off, map_off = math.fabs(flow_from_throttle), math.fabs(apart_from_throttle)
    # whom the throttle agrees with is believed; a leak turns it against the pressure as well, but moves the trims
    blames_flow = map_off < 0.5 * flow_off and unit.opening < 60.0
    blames_map = flow_off < 0.5 * map_off and unit.opening < 60.0 and math.fabs(trims) < 15.0
    judge(m, P0101, level, apart if blames_flow else 0.0, dt, items)
    judge(m, P006A, level, 0.0 if blames_flow or blames_map else apart, dt, items)
    if level and blames_map and apart > m.limit[P006A]:
        m.blamed_for += dt
    elif level:
        m.blamed_for = 0.0
    voted = FAR if m.blamed_for > m.after[P006A] else 0.0
    judge(m, P0106, (steady and unit.opening < 60.0) or voted > 0.0, max(off_map, voted), dt, items)
    wide = steady and unit.opening > 90.0 and sensors.speed > 40.0
    full = unit.slow_flow if by_flow else unit.density_air
    judge(m, P0068, wide, 1.0 - full / max(unit.throttle_air, 1e-5), dt, items)
    dead = sensors.air_flow < 1e-3 * m.limit[P0102] and sensors.air_flow < 0.33 * unit.throttle_air
    judge(m, P0102, running and by_flow and unit.cut == 0, FAR if dead else 0.0, dt, items)

    soak = sensors.intake - ambient
    judge(m, P0111, running and unit.running > 20.0, max(soak, -3.0 * soak), dt, items)

    # mixture
    closed = unit.closed_loop == 1 and unit.coolant > 333.0
    judge(m, P0171, closed, trims, dt, items)
    judge(m, P0172, closed, -trims, dt, items)
    largest, smallest = -99.0, 99.0
    for k in range(1, CELLS):
        largest, smallest = max(largest, memory.long_trims[k]), min(smallest, memory.long_trims[k])
    at_idle = closed and unit.idling == 1
    judge(m, P2187, at_idle, trims if largest < 0.5 * trims else 0.0, dt, items)
    judge(m, P2188, at_idle, -trims if -smallest < -0.5 * trims else 0.0, dt, items)

    # boost
    pulling = boosted and unit.charge_target > unit.barometer + 30e3 and unit.pedal > 0.5
    judge(
        m, P0234, boosted and running, 1e-3 * (unit.charge - unit.charge_target) if unit.pedal > 0.2 else 0.0, dt, items
    )
    judge(m, P0299, pulling, 1e-3 * (unit.charge_target - unit.charge), dt, items)
    unit.boost_off = 1 if m.failed[P0234] + m.failed[P0299] + m.failed[P0236] > 0.0 or unit.map_bad == 1 else 0

    # idle, misfire, valves
    settled = unit.idling == 1 and unit.lifted > 6.0 and unit.running > 20.0 and unit.coolant > 333.0
    off = 60.0 * (idle_wanted(maker, unit) - sensors.speed)
    judge(m, P0506, settled, off, dt, items)
    judge(m, P0507, settled, -off, dt, items)
    calm = math.fabs(unit.density_air - unit.slow_density) < 0.1 * unit.slow_density
    if running and unit.cut == 0 and calm:  # a throttle in motion makes a crank uneven as well
        m.turns += sensors.speed * dt
        m.missed += (1.0 - fired) * sensors.speed * dt
    if m.turns > 1000.0:
        judge(m, P0300, True, m.missed / m.turns, 1.0, items)  # one look, however long it took
        m.turns = m.missed = 0.0
    lift = faults.now[EGR_STUCK_OPEN] * 1e-3
    lift = 0.7 * 0.25 * math.pi * lift * lift / car.egr_m2 if car.egr_m2 > 0.0 else 0.0
    judge(m, P0402, running and car.egr_m2 > 0.0 and unit.egr < 0.01, lift, dt, items)
    judge(m, P0016, running, faults.now[VALVE_TIMING], dt, items)
