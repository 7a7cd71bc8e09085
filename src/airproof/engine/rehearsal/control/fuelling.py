"""Fuel: the mixture asked for, the loop that corrects it, what it learns, and what reaches the cylinders.

Gains, times and enrichments are judged: Airproof authors, so that the loop settles as quickly as in ordinary cars.
"""

from __future__ import annotations

import math

from airproof.engine.rehearsal.air.machinery import Engine
from airproof.engine.rehearsal.compiled import compiled
from airproof.engine.rehearsal.faults import FUEL_DELIVERY, Faults
from airproof.engine.rehearsal.road.car import CELLS, Car, ControlUnit, Maker, Memory, Motion, Sensors

LARGEST = 25.0  # % that the short and the long trim may each reach (common practice, no source)
_LEARNS_OVER = 20.0  # s; judged: Airproof authors
LEAN_AS_AIR = 1.999  # what the lambda item shows when there is no fuel


@compiled
def cell_of(maker: Maker, unit: ControlUnit) -> int:
    """Which long trim holds here: idle, then light, middle and high air flow."""
    if unit.idling == 1:
        return 0
    share = unit.air / maker.rated_air
    return 1 if share < 0.06 else 2 if share < 0.2 else 3


@compiled
def dose(
    car: Car, drawing: Engine, maker: Maker, memory: Memory, unit: ControlUnit, sensors: Sensors, motion: Motion,
    faults: Faults, drawn_fuel: float, dt: float,
) -> None:  # fmt: skip
    """One step of the fuel. `drawn_fuel` (kg/s) is vapour that came in with the purge air."""
    speed = sensors.speed
    if speed < 1.0:
        unit.asked_fuel = unit.fuel = unit.film = unit.film_thought = 0.0
        unit.short_trim, unit.target, unit.closed_loop, unit.waited, unit.cut = 0.0, 1.0, 0, 0.0, 0
        return
    wanted = maker.idle_speed
    resumes = wanted + (6.0 if unit.cut == 1 else 12.0)
    unit.cut = 1 if unit.lifted > 0.7 and speed > resumes and motion.starter == 0 else 0
    unit.target = 1.0
    if unit.pedal > 0.85 and unit.running > 1.0:
        unit.target = maker.rich
    if unit.running < 1.5:
        unit.target = 0.90
    cold = min(max((323.0 - unit.coolant) / 60.0, 0.0), 1.0)
    warming = cold * math.exp(-unit.running / 40.0)
    unit.target *= 1.0 - 0.12 * warming

    may_close = unit.cut == 0 and unit.target > 0.995 and unit.running > 12.0 and unit.coolant > 290.0
    unit.waited = unit.waited + dt if may_close else 0.0
    unit.closed_loop = 1 if unit.waited > 0.8 else 0
    unit.cell = cell_of(maker, unit)
    if unit.closed_loop == 1:
        error = min(max(100.0 * (sensors.lam / unit.target - 1.0), -20.0), 20.0)
        learnt = unit.short_trim * dt / _LEARNS_OVER * unit.learns
        unit.short_trim = min(max(unit.short_trim + 0.7 * error * dt - learnt, -LARGEST), LARGEST)
        learnt_sum = memory.long_trims[unit.cell] + learnt
        memory.long_trims[unit.cell] = min(max(learnt_sum, -LARGEST), LARGEST)
    elif unit.cut == 0:
        unit.short_trim *= 1.0 - dt / 0.3
    if unit.cut == 1:
        asked = 0.0
    else:
        trims = 1.0 + 0.01 * (unit.short_trim + memory.long_trims[unit.cell])
        asked = max(unit.air, 0.0) / (drawing.stoichiometric * unit.target) * trims
    unit.asked_fuel = asked

    # the film on the port's walls, as the unit thinks of it and as it is
    share, time = drawing.film_share, drawing.film_time
    inject = max(asked - unit.film_thought / time, 0.0) / (1.0 - share) if asked > 0.0 else 0.0
    unit.film_thought += (share * inject - unit.film_thought / time) * dt
    delivered = inject * car.injector_factor * (1.0 + motion.richer) * (1.0 + 0.01 * faults.now[FUEL_DELIVERY])
    unit.fuel = (1.0 - share) * delivered + unit.film / time + drawn_fuel
    unit.film += (share * delivered - unit.film / time) * dt


@compiled
def mixture(drawing: Engine, unit: ControlUnit, air: float, fired: float, speed: float) -> float:
    """Lambda of the gas at the exhaust valves; what did not burn leaves its oxygen, and looks lean."""
    if speed < 1.0 or unit.fuel <= 1e-7:
        return LEAN_AS_AIR
    lam = air / (drawing.stoichiometric * unit.fuel)
    lam += (1.0 - fired) * 1.2
    return min(max(lam, 0.5), LEAN_AS_AIR)


def forgetful(memory: Memory, maker: Maker, barometer: float) -> None:
    """A control unit that has just been erased."""
    memory.long_trims[:] = [0.0] * CELLS
    memory.idle_air = maker.idle_air
    memory.barometer = barometer
