"""Small recordings of an engine that obeys the formulas, and a case made of one, for one question each.

The recordings hold a short round: key on, idle, steady drives, coasting, a pull, idle, key on. They follow the means of
the shared tables exactly, apart from a little seeded noise on the engine speed, so a check must find nothing in them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.case import Case, points_of
from airproof.diagnosis.conditions import barometer_of, best_barometer
from airproof.diagnosis.hypotheses import hypotheses_for
from airproof.diagnosis.weighing import Barometer
from airproof.engine.air_path import OnePath, another_day, closed_stop_of, generic_belief, learn_engine
from airproof.engine.profile import EngineProfile
from airproof.engine.shared import shared
from airproof.knowledge.load import knowledge
from airproof.quantities.air_mass import speed_density_flow
from airproof.quantities.constants import R_AIR
from airproof.quantities.gas_flow import flow_function
from airproof.recording.recording import Recording, Signal
from airproof.recording.regimes import find_regimes
from airproof.recording.signals import signal_kind

Floats = NDArray[np.float64]

TURBO = EngineProfile(
    displacement_l=2.0, cylinders=4, induction="turbocharged", air_metering="air-flow sensor", rated_boost_kpa=80.0
)
NATURAL = EngineProfile(displacement_l=2.0, cylinders=4, induction="naturally-aspirated", air_metering="speed-density")
NATURAL_BY_FLOW = NATURAL.model_copy(update={"air_metering": "air-flow sensor"})
DIESEL = TURBO.model_copy(update={"fuel": "diesel"})

DAY = 98.0
RATE_HZ = 5.0

# seconds, 1/min, share of the barometer in the manifold, pedal %, km/h
ROUND: tuple[tuple[float, float, float, float, float], ...] = (
    (12, 0, 1.00, 15, 0),
    (60, 780, 0.35, 15, 0),
    (25, 1600, 0.40, 24, 40),
    (25, 2000, 0.52, 30, 60),
    (12, 2500, 0.20, 15, 60),
    (25, 2200, 0.68, 38, 70),
    (25, 2600, 0.84, 48, 80),
    (12, 2400, 0.20, 15, 70),
    (10, 3200, 0.96, 85, 90),
    (12, 2400, 0.20, 15, 70),
    (40, 780, 0.35, 15, 0),
    (10, 0, 1.00, 15, 0),
)


def workshop_round(
    profile: EngineProfile, *, boost: float = 1.75, seed: int = 0, leave_out: Sequence[str] = ()
) -> Recording:
    """The round; `boost` is the manifold's share of the barometer in the pull of a boosted engine."""
    rng = np.random.default_rng(seed)
    each = [round(seconds * RATE_HZ) for seconds, *_ in ROUND]
    rows = np.repeat(np.array(ROUND), each, axis=0)
    _, rpm, share, pedal, road = rows.T
    time = np.arange(rpm.size) / RATE_HZ
    if profile.boosted:
        share = np.where(share == 0.96, boost, share)
    rpm = np.where(rpm > 0, rpm * (1.0 + 0.008 * rng.normal(size=rpm.size)), 0.0)
    pressure = share * DAY * 1e3
    kelvin = np.full(time.size, 305.15)
    belief = generic_belief(profile)
    turning = rpm > 0
    per_second = np.where(turning, rpm, 60.0) / 60.0
    efficiency = np.exp(belief.at("efficiency", np.log(pressure), np.log(per_second)))
    flow = np.where(turning, speed_density_flow(pressure, kelvin, profile.displacement_m3, per_second, efficiency), 0.0)
    charge = np.maximum(
        DAY * 1e3 * np.where(turning, np.exp(0.003), 1.0), pressure * np.where(turning, np.exp(0.02), 1)
    )
    before = charge if profile.boosted else np.full(time.size, DAY * 1e3)
    drive = before / np.sqrt(R_AIR * kelvin) * flow_function(np.minimum(pressure / before, 0.98))
    knots = shared()
    area = flow / drive / (knots.full_area * profile.displacement_m3)
    opening = np.clip(area ** (1.0 / knots.area_power) - knots.opening_shift, 0.0, 0.9)
    values = {
        "engine_speed": rpm,
        "manifold_pressure": pressure * 1e-3,
        "barometric_pressure": np.full(time.size, DAY),
        "throttle": 100.0 * np.where(pedal > 80, 0.9, opening),
        "pedal": pedal,
        "vehicle_speed": road,
        "intake_temperature": kelvin - 273.15,
        "ambient_temperature": np.full(time.size, 24.0),
        "coolant_temperature": np.full(time.size, 88.0),
        "short_trim_1": np.zeros(time.size),
        "long_trim_1": np.zeros(time.size),
    }
    if profile.air_metering != "speed-density":
        values["air_flow"] = flow * 1e3
        values["fuel_rate"] = flow * 1e3 / 14.7
    if profile.boosted:
        values["charge_pressure"] = charge * 1e-3
        values["charge_pressure_target"] = np.where(share > 1.05, charge * 1e-3 + 1.0, DAY)
    return Recording(
        {n: Signal(n, signal_kind(n).unit, time, np.asarray(v, float)) for n, v in values.items() if n not in leave_out}
    )


def changed(recording: Recording, name: str, how: Callable[[Floats], Floats]) -> Recording:
    """The same recording with one signal's values changed."""
    signal = recording[name]
    return replace(
        recording, signals={**recording.signals, name: replace(signal, values=np.asarray(how(signal.values.copy())))}
    )


def without(recording: Recording, *names: str) -> Recording:
    """The same recording less some signals."""
    return replace(recording, signals={n: s for n, s in recording.signals.items() if n not in names})


def case_of(
    recording: Recording,
    profile: EngineProfile,
    *,
    weather: Barometer | None = None,
    baselines: Sequence[Recording] = (),
    ambient_c: float | None = None,
) -> Case:
    """A case as weighing would make it."""
    weather = weather or barometer_of(barometer_kpa=DAY)
    hypotheses = hypotheses_for(knowledge(), profile, frozenset(recording), healthy_share=1 / 3)
    goods = [case_of(good, profile, weather=weather) for good in baselines]
    belief = generic_belief(profile)
    for good in goods:
        belief = learn_engine(belief, good.path)
    if goods:
        belief = another_day(belief)
    regimes = find_regimes(recording, idle_rpm=profile.idle_rpm)
    day = best_barometer(weather, recording, regimes)
    points = points_of(recording, regimes, profile)
    stop = goods[0].path.closed_stop if goods else closed_stop_of(points)
    path = OnePath(points, day.kpa * 1e3, profile, belief, stop)
    return Case(
        recording, regimes, profile, weather, day, path, hypotheses.sizes, baselines=tuple(goods), ambient_c=ambient_c
    )


# A diesel's round: what nothing throttles stands a little above the day's pressure, and more under load.

IDLE_OVER_DAY = 3.0
PETROL_SIGNALS = ("short_trim_1", "long_trim_1", "charge_pressure", "fuel_rate")


def diesel_round(seed: int = 0) -> Recording:
    """The round of `TURBO` as a diesel drives it, without the signals it has not."""

    def opened(v: Floats) -> Floats:
        driven = DAY + IDLE_OVER_DAY + np.maximum(v - 0.4 * DAY, 0.0) * 0.58
        return np.where(np.abs(v - DAY) < 0.01 * DAY, v, driven)

    return without(changed(workshop_round(TURBO, seed=seed), "manifold_pressure", opened), *PETROL_SIGNALS)


def off_by(kpa: float, recording: Recording) -> Recording:
    """The same with a manifold pressure sensor that reads a constant too high or too low."""
    return changed(recording, "manifold_pressure", lambda v: v + kpa)


def never_at_rest(recording: Recording) -> Recording:
    """The same without its stretches with the engine off."""
    speed = recording["engine_speed"]
    first, last = speed.time[speed.values > 0][[0, -1]]
    return recording.between(float(first) + 2.0, float(last) - 2.0)
