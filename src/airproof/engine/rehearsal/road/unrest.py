"""What disturbs a drive that no one asked for: accessories on the crank, hills and wind, the driver's foot."""

from __future__ import annotations

import math
from typing import Annotated

import numpy as np

from airproof.engine.rehearsal.compiled import compiled
from airproof.engine.rehearsal.records import Floats, blank
from airproof.engine.rehearsal.road.car import ControlUnit, Motion
from airproof.engine.rehearsal.tables import tables

Random = np.random.Generator

SECONDS = 1024  # after which it begins anew


class Unrest:
    """Second by second what disturbs; between two seconds it moves evenly."""

    load: Annotated[Floats, SECONDS]  # N m that accessories take from the crank
    idle_up: Annotated[Floats, SECONDS]  # 1/s that the idle speed asked for is raised by
    slope: Annotated[Floats, SECONDS]  # share of the weight: uphill, or wind against the car
    foot: Annotated[Floats, SECONDS]  # share of the pedal's travel
    richer: Annotated[Floats, SECONDS]  # share of the fuel: vapour, blow-by, warm injectors


@compiled
def disturb(unrest: Unrest, motion: Motion, unit: ControlUnit, time: float) -> None:
    """Lay what disturbs at that time (s) on the car."""
    at = math.floor(time)
    now, then, part = int(at) % SECONDS, (int(at) + 1) % SECONDS, time - at
    motion.load = unrest.load[now] + part * (unrest.load[then] - unrest.load[now])
    unit.idle_up = unrest.idle_up[now] + part * (unrest.idle_up[then] - unrest.idle_up[now])
    motion.slope = unrest.slope[now] + part * (unrest.slope[then] - unrest.slope[now])
    motion.foot = unrest.foot[now] + part * (unrest.foot[then] - unrest.foot[now])
    motion.richer = unrest.richer[now] + part * (unrest.richer[then] - unrest.richer[now])


def unrest_of(level: float, litres: float, idle_rpm: float, rng: Random) -> Unrest:
    """The unrest of one drive: `level` 0 none, 1 as in ordinary cars; habits and accessories are drawn anew."""
    if level == 0.0:
        return blank(Unrest)
    known = tables("unrest")
    air, small, hills, foot = known["air_conditioning"], known["other_accessories"], known["road"], known["foot"]
    fuel = known["fuel"]
    load, idle_up = np.zeros(SECONDS), np.zeros(SECONDS)
    if rng.random() < air["share"]:
        on = _on_and_off(rng, rng.uniform(*air["on_s"]), rng.uniform(*air["off_s"]))
        load += on * rng.uniform(*air["newton_metres"]) * math.sqrt(litres / 2.0)
        idle_up += on * rng.uniform(*air["idle_up"]) * idle_rpm / 60.0
    load += np.abs(_wander(rng, small["lasts_s"], rng.uniform(*small["newton_metres"])))
    least, most = small["gust_newton_metres"]
    now_and_then = rng.random(SECONDS) < 1.0 / small["every_s"]
    load += np.convolve(now_and_then * rng.uniform(least, most, SECONDS), np.ones(2))[:SECONDS]
    lifted = -np.convolve(rng.random(SECONDS) < 1.0 / rng.uniform(*foot["lifts_every_s"]), np.ones(2))[:SECONDS]
    return blank(
        Unrest,
        load=level * load,
        idle_up=level * idle_up,
        slope=level * _wander(rng, hills["lasts_s"], rng.uniform(*hills["slope"])),
        foot=level * (_wander(rng, foot["lasts_s"], rng.uniform(*foot["wander"])) + foot["lift"] * lifted),
        richer=level * _wander(rng, fuel["lasts_s"], rng.uniform(*fuel["richer"])),
    )


def _wander(rng: Random, lasts_s: float, sd: float) -> Floats:
    """(SECONDS,) values about zero that forget where they were within so many seconds."""
    keeps = math.exp(-1.0 / lasts_s)
    steps = rng.standard_normal(SECONDS) * math.sqrt(1.0 - keeps**2)
    found = np.empty(SECONDS)
    value = float(rng.standard_normal())
    for second in range(SECONDS):
        value = keeps * value + steps[second]
        found[second] = value
    return sd * found


def _on_and_off(rng: Random, on_s: float, off_s: float) -> Floats:
    """(SECONDS,) of 1 while something runs and 0 while it rests, by turns that last so long on average."""
    found = np.zeros(SECONDS)
    at, running = 0.0, bool(rng.random() < on_s / (on_s + off_s))
    while at < SECONDS:
        lasts = float(rng.gamma(4.0, (on_s if running else off_s) / 4.0))
        if running:
            found[int(at) : int(at + lasts) + 1] = 1.0
        at, running = at + max(lasts, 1.0), not running
    return found
