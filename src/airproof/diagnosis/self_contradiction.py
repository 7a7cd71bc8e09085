"""What is to be cleared up first: what one good sensor, or the engine as it was described, cannot show; and a place
that nobody told, though it would settle the question.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np

from airproof.diagnosis.case import DRIFTED_KPA, Case
from airproof.diagnosis.gaps import STATED_SD_KPA
from airproof.knowledge.model import NONE
from airproof.recording.recording import Interval
from airproof.recording.regimes import Regime

KPA_PER_100_M = 1.2  # near sea level, standard atmosphere
FEWEST_SAMPLES = 3  # of a stretch; judged: Airproof authors
SENSORS = {"manifold_pressure": "manifold pressure", "charge_pressure": "charge pressure"}
EXPLAIN_DRIFT = frozenset(
    {"map-offset", "map-gain", "map-intermittent", "map-circuit", "supply-reference", "boost-sensor-scale"}
)
OFF_BY_ITSELF = frozenset({"map-offset", "map-gain", "supply-reference"})  # what the day's pressure finds out
WORTH_ASKING = 0.05  # the probability of those from which the place is asked for first; judged: Airproof authors
NO_BOOST = 1.06  # highest pressure over the barometer; judged: Airproof authors, sensors are off by 2 to 4 kPa
TURNING_1_MIN = 3000.0  # where a charger that works has long made some; judged: Airproof authors
LEAST_LOAD_S = 3.0  # a charger needs 1 to 2 s to come up; judged: Airproof authors
EXPLAIN_NO_BOOST = frozenset(
    {"boost-leak", "wastegate-stuck-open", "map-offset", "map-gain", "map-stuck", "map-circuit", "control-unit"}
)


def drifted(case: Case, foremost: str) -> tuple[str, ...]:
    """Sensors that read two pressures of the day with the engine off, unless the barometer went along."""
    if foremost in EXPLAIN_DRIFT:
        return ()
    return tuple(says for name, title in SENSORS.items() for says in _steps(case, name, title)[:1])


def _steps(case: Case, name: str, title: str) -> list[str]:
    """Each step of a sensor from one stretch with the engine off to the next."""
    stretches = case.regimes.intervals(Regime.KEY_ON)
    own, day = _rests(case, name, stretches), _rests(case, "barometric_pressure", stretches)
    lines = []
    for one, other in pairwise(sorted(own)):
        step = own[other] - own[one]
        followed = day[other] - day[one] if one in day and other in day else None
        if abs(step - (followed or 0.0)) <= DRIFTED_KPA:
            continue
        says = f"with the engine off, {title} first reads {own[one]:.1f} kPa absolute and later {own[other]:.1f} kPa"
        if followed is not None:
            lines.append(f"{says}, and the car's barometer did not go along: it drifts")
        else:
            height = round(100.0 * abs(step) / KPA_PER_100_M, -1)
            lines.append(f"{says}: it drifts, unless the car went up or down by some {height:.0f} m in between")
    return lines


def _rests(case: Case, name: str, stretches: Sequence[Interval]) -> dict[int, float]:
    """What a sensor reads in each stretch with the engine off that holds enough of it, kPa absolute."""
    signal = case.recording.get(name)
    if signal is None:
        return {}
    inside = ((k, signal.values[(signal.time >= a) & (signal.time <= b)]) for k, (a, b) in enumerate(stretches))
    return {k: float(np.median(values)) for k, values in inside if values.size >= FEWEST_SAMPLES}


def unplaced(case: Case, probability: Mapping[str, float], foremost: str) -> tuple[str, ...]:
    """That the altitude, which costs nothing, tells whether the sensor is off, where another thing is accused."""
    off = sum(probability.get(cause, 0.0) for cause in OFF_BY_ITSELF)
    if foremost in (*OFF_BY_ITSELF, NONE) or off < WORTH_ASKING or case.weather.sd_kpa <= STATED_SD_KPA:
        return ()
    reads = case.in_regime("manifold_pressure", Regime.KEY_ON)
    if not reads.size or "barometric_pressure" in case.recording:
        return ()
    return (
        f"nobody said where the car stands: with its altitude, the {float(np.median(reads)):.1f} kPa absolute that the "
        "manifold pressure sensor reads with the engine off tell whether that sensor is off; say it before anything is "
        "taken apart",
    )


def unboosted(case: Case, foremost: str) -> tuple[str, ...]:
    """That a charged engine makes no boost at all at full load, and nothing was found that says why."""
    pressure, speed = case.recording.get("manifold_pressure"), case.recording.get("engine_speed")
    if not case.profile.boosted or foremost in EXPLAIN_NO_BOOST or pressure is None or speed is None:
        return ()
    loaded = case.regimes.mask(pressure.time, Regime.FULL_LOAD)
    loaded &= np.interp(pressure.time, speed.time, speed.values) >= TURNING_1_MIN
    seconds = case.regimes.seconds()[Regime.FULL_LOAD.value]
    if loaded.sum() < FEWEST_SAMPLES or seconds < LEAST_LOAD_S:
        return ()
    highest = float(pressure.values[loaded].max())
    if highest > NO_BOOST * case.barometer.kpa:
        return ()
    return (
        f"the engine is said to be {case.profile.induction}, and at full load the manifold never rises above "
        f"{highest:.0f} kPa absolute, the air outside having {case.barometer.kpa:.0f} kPa: no boost at all; see "
        "whether this is the right car's recording, and its engine described rightly",
    )
