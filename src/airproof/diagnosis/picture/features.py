"""What a forest is asked with: the summaries, what is known of car and day, and the change since it was known good."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.case import Case
from airproof.diagnosis.picture import beside
from airproof.diagnosis.picture.summaries import NAMES, summaries

Floats = NDArray[np.float64]

INDUCTIONS = ("naturally-aspirated", "turbocharged", "supercharged")
METERINGS = ("air-flow sensor", "speed-density", "both")
OF_CAR = (
    "displacement", "a_cylinder", "compression", "idle", "boost", "day", "ambient", "spacing", "fuel", "induction",
    "metering",
)  # fmt: skip
FIRST: tuple[str, ...] = (*NAMES, *(f"car {name}" for name in OF_CAR))
AGAIN: tuple[str, ...] = (
    *(f"since {name}" for name in NAMES), *(f"beside {name}" for name in beside.NAMES), *FIRST
)  # fmt: skip

KNOWN_DAY_SD_KPA = 2.0
NEEDS_THE_DAY = tuple(NAMES.index(name) for name in ("ko_map", "ko_charge", "baro"))
"""Summaries that compare a sensor with the pressure of the day: nothing where only the sensors themselves say it."""


def of_car(case: Case, day_kpa: float) -> Floats:
    """What is known of car and day, in the order of OF_CAR; NaN where the profile does not say."""
    profile = case.profile
    signal = case.recording.get("manifold_pressure") or case.recording.get("engine_speed")
    spacing = float(np.median(np.diff(signal.time))) if signal is not None and len(signal) > 2 else np.nan
    return np.array(
        [
            np.log(profile.displacement_l),
            np.log(profile.displacement_l / profile.cylinders),
            profile.compression_ratio,
            profile.idle_rpm or np.nan,
            profile.rated_boost_kpa or (np.nan if profile.boosted else 0.0),
            day_kpa,
            np.nan if case.ambient_c is None else case.ambient_c,
            np.log(max(spacing, 1e-3)),
            float(profile.fuel != "petrol"),
            float(INDUCTIONS.index(profile.induction)),
            float(METERINGS.index(profile.air_metering)),
        ]
    )


def seen_of(case: Case) -> Floats:
    """The summaries of a case; those that need the pressure of the day only where not the car alone says it.

    The car's own barometric reading may be what lies, so that pressures are never set against it here: where nothing
    else is known of the place, against the usual pressure where people live.
    """
    found = summaries(case, case.weather.kpa)
    if case.weather.sd_kpa > KNOWN_DAY_SD_KPA:
        found[list(NEEDS_THE_DAY)] = np.nan
    return found


def first_time(case: Case) -> Floats:
    """Features of a car met for the first time, in the order of FIRST."""
    return np.concatenate([seen_of(case), of_car(case, case.weather.kpa)])


def again(case: Case) -> Floats:
    """Features of a car with known-good recordings, in the order of AGAIN: first what has changed since, then what is
    different at like operating points.
    """
    now = first_time(case)
    good = np.array([seen_of(one) for one in case.baselines])
    known = np.isfinite(good)
    count = known.sum(axis=0)
    before = np.where(count > 0, np.where(known, good, 0.0).sum(axis=0) / np.maximum(count, 1), np.nan)
    return np.concatenate([now[: len(NAMES)] - before, beside.beside(case, case.baselines), now])
