"""The driver, the gears and the road: what turns a drive asked for into pedal and engine speed.

How a driver's foot answers is judged: Airproof authors, so that the speed asked for is held within a few km/h.
"""

from __future__ import annotations

import math

from airproof.engine.rehearsal.compiled import compiled
from airproof.engine.rehearsal.road.car import GEARS, Car, Motion

OFF, CRANK, IDLE, SNAP, DRIVE, THIRD, PULL, COAST, FREE = range(9)
KINDS = ("off", "crank", "idle", "snap", "drive", "third", "pull", "coast", "free")
"""What a stretch of a drive asks for. `off` is the key on with the engine off; `third` waits in third gear for a pull;
`free` holds a fast idle with the car standing."""

_UP_KMH = (18.0, 34.0, 52.0, 72.0, 95.0)
_REDLINE = 92.0  # 1/s, where a pull ends
_CRANKING = 4.2  # 1/s that the starter turns the engine (150 to 300 1/min, common practice)
_GRIP = 20.0  # 1/s, the clutch slips below this wheel speed


@compiled
def follow_stretch(car: Car, motion: Motion, kind: int, left: float, target: float, dt: float) -> None:
    """Pedal and gear for one step; `left` s of the stretch remain, and the road speed is to be `target` m/s then."""
    road = motion.road
    kmh = 3.6 * road
    moving = kind in (DRIVE, THIRD, PULL, COAST)
    motion.wish += (target - motion.wish) * dt / max(left, dt)
    motion.starter = 0
    if not moving:
        motion.habit, motion.wish, motion.gear, motion.shifting = 0.0, 0.0, 0, 0.0
        wanted = 0.0
        if kind == SNAP and motion.speed < 50.0:
            wanted = 1.0
        elif kind == FREE:
            wanted = min(max(0.10 + 0.02 * (42.0 - motion.speed), 0.0), 0.3)
        motion.pedal += (wanted - motion.pedal) * min(dt / 0.05, 1.0)
    else:
        wanted_gear = 2 if kind != DRIVE else 0
        if kind == DRIVE:
            for edge in _UP_KMH:
                if kmh > edge:
                    wanted_gear += 1
            if math.fabs(wanted_gear - motion.gear) == 1 and motion.shifting == 0.0:
                edge = _UP_KMH[min(wanted_gear, motion.gear)]
                if math.fabs(kmh - edge) < 3.0:
                    wanted_gear = motion.gear
        if wanted_gear != motion.gear:
            motion.gear, motion.shifting = wanted_gear, 0.5
        error = motion.wish - road
        if math.fabs(error) < 3.0 and math.fabs(target - motion.wish) < 0.3:  # holding a speed, not changing it
            motion.habit = min(max(motion.habit + 0.05 * error * dt, -0.2), 0.6)
        hand = min(max(0.12 + 0.16 * car.brisk * error + motion.habit + motion.foot, -0.4), 0.75)
        ease = 0.25
        if kind == PULL:
            hand, ease = 1.0, 0.05
        elif kind == COAST:
            hand, ease = 0.0, 0.05
        elif target <= 0.0 and kind == DRIVE:
            hand = min(hand, 0.0)
        motion.pedal += (max(hand, 0.0) - motion.pedal) * dt / ease
        if kind == DRIVE and hand < 0.0:
            motion.habit = max(motion.habit, -0.1)
    if motion.pedal < 0.004 or motion.shifting > 0.0:
        motion.pedal = 0.0
    motion.shifting = max(motion.shifting - dt, 0.0)
    if kind == CRANK and motion.speed < 8.0:
        motion.starter = 1


@compiled
def brake_of(motion: Motion, kind: int) -> float:
    """Braking asked for, m/s2."""
    if kind in (PULL, COAST):
        return 0.0
    if kind in (DRIVE, THIRD):
        slower = motion.road - motion.wish
        return min(max(1.6 * slower - 0.8, 0.0), 4.0)
    return 3.0


@compiled
def turn(car: Car, motion: Motion, kind: int, torque: float, inertia: float, dt: float) -> None:
    """One step of crank and car under the engine's torque (N m, resistance taken off)."""
    moving = kind in (DRIVE, THIRD, PULL, COAST)
    ratio = car.gears[min(max(motion.gear, 0), GEARS - 1)] * car.final_drive / car.wheel_m  # rad per m
    wheel_side = motion.road * ratio / (2.0 * math.pi)
    motion.clutched = 1 if moving and motion.shifting == 0.0 and (wheel_side > 14.0 or motion.pedal > 0.02) else 0
    push = 0.0
    if kind == OFF:
        motion.speed = max(motion.speed - 10.0 * dt, 0.0)
    elif motion.clutched == 1:
        push = torque * ratio * 0.92
        motion.speed += (max(wheel_side, _GRIP) - motion.speed) * dt / 0.12
    elif motion.starter == 1 and motion.speed < _CRANKING:
        motion.speed += min(20.0 * dt, _CRANKING - motion.speed + 1e-3)
    else:
        motion.speed = max(motion.speed + torque / inertia * dt / (2.0 * math.pi), 0.0)
    resist = (
        car.mass * (9.81 * (car.rolling + motion.slope) + brake_of(motion, kind)) + 0.6 * car.drag_m2 * motion.road**2
    )
    if motion.road < 0.05:
        resist = min(resist, max(push, 0.0))
    heavier = car.mass + (inertia * ratio**2 if motion.clutched == 1 else 0.0)
    motion.road = max(motion.road + (push - resist) / heavier * dt, 0.0)


@compiled
def revved_out(motion: Motion, kind: int) -> bool:
    """Whether a pull has reached its end."""
    return kind == PULL and motion.speed > _REDLINE
