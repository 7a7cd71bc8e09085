"""Summaries by load: medians over the steady points at idle and at light, middle and high part load."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.case import Case
from airproof.engine.operating_points import OperatingPoints
from airproof.quantities.constants import R_AIR
from airproof.quantities.gas_flow import flow_function
from airproof.recording.regimes import Regime

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

BINS = {"light": (0.0, 0.45), "middle": (0.45, 0.65), "high": (0.65, 0.92)}
"""Part load by manifold pressure over the pressure of the day; judged: Airproof authors, so that a drive fills each."""

OPENING_SHIFT = 0.02  # so that the logarithm of a shut throttle stays finite; judged: Airproof authors
LEAST_OPENING = 0.01  # above the closed stop, of a throttle that rests on it; judged: Airproof authors
USUAL_K = 303.15  # of the air where no temperature is recorded; judged: Airproof authors
WHAT = ("n", "p", "thr", "ve", "fve", "area", "trim", "load", "lam", "charge", "gate", "bite")
DIFFERENCES = tuple(
    (what, one, other)
    for what in ("ve", "fve", "trim", "area", "lam", "bite")
    for one, other in (("idle", "light"), ("idle", "middle"), ("high", "light"), ("high", "middle"))
)
NAMES = (
    *(f"{where}_{what}" for where in ("idle", *BINS) for what in WHAT),
    *(f"{what}_{one}_over_{other}" for what, one, other in DIFFERENCES),
)


def logarithm(values: Floats | float) -> Floats:
    """ln, NaN where there is none."""
    with np.errstate(invalid="ignore", divide="ignore"):
        out = np.log(np.asarray(values, dtype=np.float64))
    return np.asarray(np.where(np.isfinite(out), out, np.nan))


def item(case: Case, name: str, times: Floats) -> Floats:
    """A signal's latest values at those times; NaN where it is missing."""
    signal = case.recording.get(name)
    return np.full(times.size, np.nan) if signal is None or not len(signal) else signal.at(times, "latest", 6.0)


def places(points: OperatingPoints, day_kpa: float) -> dict[str, Bools]:
    """Which points (n,) belong to each load."""
    share = points.manifold / (1e3 * day_kpa)
    idle = points.regime == Regime.IDLE.value
    rest = (points.regime != Regime.OVERRUN.value) & (points.regime != Regime.FULL_LOAD.value) & ~idle
    with np.errstate(invalid="ignore"):
        return {"idle": idle, **{n: rest & (share >= low) & (share < high) for n, (low, high) in BINS.items()}}


def quantities(case: Case, day_kpa: float) -> dict[str, Floats]:
    """What is asked of each operating point (n,); logarithms."""
    points, profile = case.points, case.profile
    middle = (points.start_s + points.end_s) / 2
    warm = np.where(np.isfinite(points.intake_temperature), points.intake_temperature, USUAL_K)
    density = logarithm(points.manifold * profile.displacement_m3 * points.speed / (2.0 * R_AIR * warm))
    before = np.where(np.isfinite(points.charge), points.charge, 1e3 * day_kpa)
    with np.errstate(invalid="ignore"):
        drive = before / np.sqrt(R_AIR * warm) * flow_function(np.clip(points.manifold / before, 0.0, 0.99))
    area = density - logarithm(drive) - np.log(profile.displacement_m3)
    opening = np.maximum(points.throttle - case.path.closed_stop, 0.0) + LEAST_OPENING
    load, lam, wanted = (item(case, name, middle) for name in ("load", "lambda", "lambda_target"))
    wanted = np.where(np.isfinite(wanted), wanted, 1.0)
    with np.errstate(invalid="ignore"):
        lam = np.where((lam > 0.4) & (lam < 1.9), lam / wanted, np.nan)
    return {
        "n": logarithm(points.speed * 60.0 / (profile.idle_rpm or 750.0)),
        "p": logarithm(points.manifold / (1e3 * day_kpa)),
        "thr": logarithm(points.throttle + OPENING_SHIFT),
        "ve": logarithm(points.air_flow) - density,
        "fve": logarithm(points.fuel_rate * profile.stoichiometric) - density,
        "area": area,
        "trim": np.where(points.closed_loop, logarithm(points.trim), np.nan),
        "load": logarithm(load / 100.0),
        "lam": logarithm(lam),
        "charge": logarithm(points.charge / (1e3 * day_kpa)),
        "gate": points.wastegate,
        "bite": area - logarithm(opening),
    }


def by_load(of_point: dict[str, Floats], where: dict[str, Bools]) -> dict[str, float]:
    """Medians of each quantity at each load, and how they differ between loads."""
    found: dict[str, float] = {}
    for place, chosen in where.items():
        for what, values in of_point.items():
            known = values[chosen]
            known = known[np.isfinite(known)]
            if known.size >= 2:
                found[f"{place}_{what}"] = float(np.median(known))
    for what, one, other in DIFFERENCES:
        if f"{one}_{what}" in found and f"{other}_{what}" in found:
            found[f"{what}_{one}_over_{other}"] = found[f"{one}_{what}"] - found[f"{other}_{what}"]
    return found
