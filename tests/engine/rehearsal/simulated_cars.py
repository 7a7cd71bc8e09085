"""Cars for the tests of the rehearsal, and what is read off their drives."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from airproof.engine.profile import EngineProfile
from airproof.engine.rehearsal.air.build import Details
from airproof.engine.rehearsal.faults import parse_fault
from airproof.engine.rehearsal.rehearse import Rehearsal, Request, Scene, rehearse

Floats = NDArray[np.float64]

TURBO = EngineProfile(
    displacement_l=2.0, cylinders=4, induction="turbocharged", air_metering="air-flow sensor", rated_boost_kpa=110.0
)
TURBO_BY_DENSITY = TURBO.model_copy(update={"air_metering": "speed-density"})
TURBO_BY_BOTH = TURBO.model_copy(update={"air_metering": "both"})
BREATHING_BY_FLOW = EngineProfile(
    displacement_l=2.0, cylinders=4, induction="naturally-aspirated", air_metering="air-flow sensor"
)
BREATHING_BY_DENSITY = BREATHING_BY_FLOW.model_copy(update={"air_metering": "speed-density", "displacement_l": 1.6})
BLOWN = EngineProfile(
    displacement_l=2.4, cylinders=4, induction="supercharged", air_metering="air-flow sensor", rated_boost_kpa=50.0
)
CARS = {
    "turbo, air flow": TURBO,
    "turbo, speed-density": TURBO_BY_DENSITY,
    "turbo, both": TURBO_BY_BOTH,
    "breathing, air flow": BREATHING_BY_FLOW,
    "breathing, speed-density": BREATHING_BY_DENSITY,
    "blown, air flow": BLOWN,
}
WITH_EGR = Details(egr=True)


@cache
def driven(car: str, *causes: str, seed: int = 3, altitude_m: float = 100.0) -> Rehearsal:
    """The workshop round of that car with those causes; made once for all tests."""
    profile = CARS[car]
    faults = tuple(parse_fault(cause, profile, WITH_EGR) for cause in causes)
    return rehearse(Request(profile, WITH_EGR, faults, scene=Scene(altitude_m=altitude_m), seed=seed))


def at_idle(rehearsal: Rehearsal, name: str, *, true: bool = False) -> float:
    """Its median from 40 to 70 s, a warm idle."""
    trace = rehearsal.trace
    values = (trace.truth if true else trace.items)[name]
    return float(np.median(values[(trace.time > 40.0) & (trace.time < 70.0)]))


def at_full_load(rehearsal: Rehearsal, name: str, *, true: bool = False) -> float:
    """Its median while the pedal is down and the engine past 3300 1/min."""
    trace = rehearsal.trace
    values = (trace.truth if true else trace.items)[name]
    return float(np.median(values[(trace.items["pedal"] > 80.0) & (trace.items["engine_speed"] > 3300.0)]))


def engine_off(rehearsal: Rehearsal, name: str) -> float:
    """Its median in the first ten seconds, key on and engine off."""
    return float(np.median(rehearsal.trace.items[name][rehearsal.trace.time < 10.0]))


def trims_at_idle(rehearsal: Rehearsal) -> float:
    """Short and long trim together, %."""
    return at_idle(rehearsal, "short_trim_1") + at_idle(rehearsal, "long_trim_1")


def trims_at(rehearsal: Rehearsal, low_g_s: float, high_g_s: float) -> float:
    """Median total trim, %, where the loop is closed and the air into the cylinders lies between these."""
    items, air = rehearsal.trace.items, rehearsal.trace.truth["cylinder_air"]
    held = (items["fuel_system_status"] == 2.0) & (air > low_g_s) & (air < high_g_s) & (items["pedal"] > 15.0)
    return float(np.median((items["short_trim_1"] + items["long_trim_1"])[held]))
