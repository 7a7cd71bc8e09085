"""Rehearsed pairs to learn from: each drawn car healthy, again on another day, and with several faults.

    python benchmarks/rival/learn_pairs.py FIRST LAST SEED BENT FILE.npz [FAULTS A CAR]

From each recording its summaries and what is known of car and day. BENT is how far the laws of the engines are bent
away from the simulator's own: 1 as judged below, 0 not at all. What stands in a file depends on its seed and places;
learn_summaries.py makes the data file of it.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from dataclasses import dataclass, replace

import numpy as np
from learned import context_of_case
from numpy.typing import NDArray
from summaries import NAMES, summaries

from airproof.diagnosis.case import Case
from airproof.diagnosis.conditions import barometer_of
from airproof.diagnosis.hypotheses import hypotheses_for
from airproof.diagnosis.weigh import _case
from airproof.diagnosis.weighing import Barometer
from airproof.engine.air_path import generic_belief
from airproof.engine.profile import EngineProfile
from airproof.engine.rehearsal import rehearse as rehearsing
from airproof.engine.rehearsal.air.build import Details, build
from airproof.engine.rehearsal.air.machinery import Engine
from airproof.engine.rehearsal.compare import as_recording
from airproof.engine.rehearsal.control import teach as teaching
from airproof.engine.rehearsal.faults import CAUSES, Fault, why_impossible
from airproof.engine.rehearsal.many import logged
from airproof.engine.rehearsal.rehearse import Request
from airproof.engine.rehearsal.road.car import Car
from airproof.engine.rehearsal.spread import _fault, _size, draw
from airproof.knowledge.load import knowledge
from airproof.recording.recording import Recording

Floats = NDArray[np.float64]

STEADY_SHARE = 0.88  # of the faults, those that were there before the drive and stay; shifts are learnt from these
ALTITUDE_SD_M = 40.0  # by which the altitude told is wrong

# Standard deviations of ln by which engines and cars of other makers differ from the simulator's laws; judged: Airproof
# authors, as about twice the tolerances of data/cars.toml and what the bench recording in docs/rehearsal.md shows.
ENGINES = {
    "filter_resistance": 0.25, "cooler_resistance": 0.25, "pipe_resistance": 0.25, "manifold_m3": 0.2, "charge_m3": 0.2,
    "friction_pa": 0.12, "swallow": 0.05, "wastegate_m2": 0.1, "wall_heat": 0.25, "inertia": 0.15, "film_time": 0.2,
    "rotor_inertia": 0.2, "blower_m3": 0.03, "indicated": 0.03,
}  # fmt: skip
CARS = {
    "map_noise": 0.5, "pulse": 0.4, "maf_noise": 0.5, "maf_lag": 0.4, "iat_lag": 0.4, "mass": 0.1, "purge_m2": 0.5,
}  # fmt: skip
BREATHING = (0.05, 0.04, 0.05, 0.03, 0.03)  # level, slopes over speed and pressure, curvatures
THROTTLE = (0.12, 0.12, 0.08)  # level and two waves over the opening


@dataclass
class Bend:
    """How the car at hand is bent: `seed` is the same for all its faults."""

    level: float = 0.0
    seed: int = 0


BEND = Bend()
_make_car = rehearsing.make_car


def bent(profile: EngineProfile, details: Details | None = None) -> Engine:
    """The engine with its laws bent; its maker knows it as it is."""
    engine, level = build(profile, details), BEND.level
    if level == 0.0:
        return engine
    rng = np.random.default_rng([BEND.seed, 911])
    speed = np.linspace(-1, 1, engine.breathing.shape[0])[:, None]
    pressure = np.linspace(-1, 1, engine.breathing.shape[1])[None, :]
    c = level * rng.standard_normal(5) * BREATHING
    table = c[0] + c[1] * speed + c[2] * pressure + c[3] * speed**2 + c[4] * pressure**2
    engine.breathing = engine.breathing * np.exp(np.clip(table, -0.25, 0.2))
    x = np.linspace(0, 1, engine.throttle_m2.size)
    t = level * rng.standard_normal(3) * THROTTLE
    waves = t[0] + t[1] * np.cos(np.pi * x) + t[2] * np.cos(2 * np.pi * x)
    engine.throttle_m2 = engine.throttle_m2 * np.exp(np.clip(waves, -0.4, 0.4))
    for name, sd in ENGINES.items():
        setattr(engine, name, getattr(engine, name) * np.exp(level * sd * np.clip(rng.standard_normal(), -2.2, 2.2)))
    return engine


def bent_car(*given: object) -> Car:
    """The car with other noise, lags and weight."""
    car = _make_car(*given)  # type: ignore[arg-type]
    rng = np.random.default_rng([BEND.seed, 912])
    for name, sd in CARS.items():
        setattr(car, name, getattr(car, name) * np.exp(BEND.level * sd * np.clip(rng.standard_normal(), -2, 2)))
    return car


rehearsing.build = teaching.build = bent  # type: ignore[attr-defined]
rehearsing.make_car = bent_car  # type: ignore[assignment]


def case_of(recording: Recording, profile: EngineProfile, weather: Barometer, ambient_c: float | None) -> Case:
    """The case as the weighing would see it."""
    hypotheses = hypotheses_for(knowledge(), profile, frozenset(recording), healthy_share=0.2)
    return _case(recording, profile, weather, generic_belief(profile), hypotheses, ambient_c)


def row(request: Request, logger: str, altitude_off_m: float) -> dict[str, object]:
    """What is learnt of one rehearsal."""
    rehearsal = rehearsing.rehearse(request)
    recording = as_recording(logged(rehearsal, logger), "rehearsed")
    weather = barometer_of(altitude_m=request.scene.altitude_m + altitude_off_m)
    case = case_of(recording, request.profile, weather, request.scene.ambient_c)
    context = context_of_case(case, weather.kpa)
    return {
        "f": summaries(case, weather.kpa),
        "z": context.numbers,
        "induction": context.induction,
        "metering": context.metering,
    }


def main() -> None:
    first, last, seed, level, path = (
        int(sys.argv[1]),
        int(sys.argv[2]),
        int(sys.argv[3]),
        float(sys.argv[4]),
        sys.argv[5],
    )
    faults_a_car = int(sys.argv[6]) if len(sys.argv) > 6 else 6
    BEND.level = level
    out: defaultdict[str, list[object]] = defaultdict(list)
    for place in range(first, last):
        BEND.seed = 1000 * seed + place
        rng = np.random.default_rng([seed, place, 5])
        drawn = draw(seed, place, faults=())
        request = drawn.request
        possible = [c for c in CAUSES if why_impossible(c, request.profile, request.details) is None]
        chosen = rng.choice(possible, size=min(faults_a_car, len(possible)), replace=False)
        altitude_off_m = float(rng.normal(0.0, ALTITUDE_SD_M * level))
        jobs: list[tuple[Fault | None, int]] = [(None, 0), (None, 1)]
        for cause in map(str, chosen):
            steady = rng.random() < STEADY_SHARE
            jobs.append((Fault(cause, _size(rng, cause)) if steady else _fault(rng, cause), 0))
        for fault, day in jobs:
            seen = row(replace(request, faults=(fault,) if fault else (), day=day), drawn.logger, altitude_off_m)
            told = {
                "cause": fault.cause if fault else "none",
                "size": fault.size if fault else 0.0,
                "steady": fault is None or (fault.began_earlier and not fault.on_s),
                "car": place,
                "day": day,
            }
            for name, value in {**seen, **told}.items():
                out[name].append(value)
    np.savez_compressed(path, names=np.array(NAMES), **{name: np.array(values) for name, values in out.items()})


if __name__ == "__main__":
    main()
