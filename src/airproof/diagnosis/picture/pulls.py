"""Summaries of full load: levels in the late part of the pulls, and the course of the longest one."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.case import Case
from airproof.diagnosis.picture.loads import OPENING_SHIFT, USUAL_K, item, logarithm
from airproof.quantities.constants import R_AIR
from airproof.recording.recording import Interval
from airproof.recording.regimes import Regime

Floats = NDArray[np.float64]

# Judged: Airproof authors. What the summaries so defined mean is learnt, so that these decide how sharp they are, not
# what they say.
SHORTEST_S = 1.5
STEP_S = 0.2
LATE = 0.35  # of a pull: what is before belongs to the turbocharger
USUAL_RPM = 3000.0  # what the speed of a pull is put against
BEFORE_S, SPOOL_SHIFT_S = 3.0, 3.2  # looked at before a pull; added to the time, so that its logarithm stays finite
FEWEST = 4  # samples or moments
LEAST_PULL = 0.02  # 1/s, of ln speed; below it the engine is held, on a bench or a hill
LEVELS = (
    "n", "p", "thr", "ve", "fve", "load", "lam", "rich", "adv", "charge", "drop", "short", "gate", "iat",
)  # fmt: skip
NAMES = (
    *(f"full_{what}" for what in LEVELS),
    *(f"full_{what}" for what in ("over", "fall", "pull", "spool", "p_slope", "ve_slope", "fve_slope", "load_slope")),
)


def full_load(case: Case, day_kpa: float) -> dict[str, float]:
    """Medians of the late parts of all pulls, slopes over speed, and the course of the longest."""
    late = late_moments(case)
    if not late.size:
        return {}
    of_moment = quantities(case, day_kpa, late)
    found: dict[str, float] = {}
    for what, values in of_moment.items():
        known = values[np.isfinite(values)]
        if known.size >= FEWEST:
            found[f"full_{what}"] = float(np.median(known))
    for what in ("p", "ve", "fve", "load"):
        slope = _slope(of_moment["n"], of_moment[what])
        if slope is not None:
            found[f"full_{what}_slope"] = slope
    return found | _course(case, max(_spans(case), key=lambda span: span[1] - span[0]))


def _spans(case: Case) -> list[Interval]:
    return [(a, b) for a, b in case.regimes.intervals(Regime.FULL_LOAD) if b - a > SHORTEST_S]


def late_moments(case: Case) -> Floats:
    """Moments (s) in the late parts of all pulls; none where there are too few."""
    late = [np.arange(a + LATE * (b - a), b, STEP_S) for a, b in _spans(case)]
    found = np.concatenate(late) if late else np.empty(0)
    return found if found.size >= FEWEST else np.empty(0)


def quantities(case: Case, day_kpa: float, times: Floats) -> dict[str, Floats]:
    """What is asked of each moment of a pull (n,); logarithms, advance in tens of degrees, air in tens of kelvin."""
    profile = case.profile
    names = (
        "engine_speed", "manifold_pressure", "air_flow", "fuel_rate", "intake_temperature", "charge_pressure",
        "charge_pressure_target", "lambda", "lambda_target", "throttle", "load", "ignition_advance", "wastegate",
    )  # fmt: skip
    at = {name: item(case, name, times) for name in names}
    speed, pressure = at["engine_speed"] / 60.0, 1e3 * at["manifold_pressure"]
    warm = at["intake_temperature"] + 273.15
    warm = np.where(np.isfinite(warm), warm, USUAL_K)
    density = logarithm(pressure * profile.displacement_m3 * speed / (2.0 * R_AIR * warm))
    outside = np.nan if case.ambient_c is None else case.ambient_c
    return {
        "n": logarithm(speed * 60.0 / USUAL_RPM),
        "p": logarithm(pressure / (1e3 * day_kpa)),
        "thr": logarithm(at["throttle"] / 100.0 + OPENING_SHIFT),
        "ve": logarithm(at["air_flow"] * 1e-3) - density,
        "fve": logarithm(at["fuel_rate"] * 1e-3 * profile.stoichiometric) - density,
        "load": logarithm(at["load"] / 100.0),
        "lam": logarithm(at["lambda"] / at["lambda_target"]),
        "rich": logarithm(at["lambda_target"]),
        "adv": at["ignition_advance"] / 10.0,
        "charge": logarithm(at["charge_pressure"] / day_kpa),
        "drop": logarithm(pressure / (1e3 * at["charge_pressure"])),
        "short": logarithm(at["charge_pressure"] / at["charge_pressure_target"]),
        "gate": at["wastegate"] / 100.0,
        "iat": (at["intake_temperature"] - outside) / 10.0,
    }


def _slope(x: Floats, y: Floats) -> float | None:
    known = np.isfinite(x) & np.isfinite(y)
    if np.count_nonzero(known) < 8 or np.ptp(x[known]) < 0.1:
        return None
    middle = x[known] - x[known].mean()
    return float(middle @ y[known] / (middle @ middle))


def _course(case: Case, span: Interval) -> dict[str, float]:
    """Overshoot, how the pressure falls off towards the end, how long it takes to come up, how fast speed is gained."""
    start, end = span
    pressure, speed = case.recording.get("manifold_pressure"), case.recording.get("engine_speed")
    out: dict[str, float] = {}
    if pressure is not None:
        part = pressure.between(start, end + 1e-6).values
        if part.size >= FEWEST:
            held, last = float(np.median(part[part.size // 3 :])), float(np.median(part[-max(part.size // 6, 2) :]))
            out["full_over"] = float(np.log(max(float(np.quantile(part, 0.97)), 1.0) / max(held, 1.0)))
            out["full_fall"] = float(np.log(max(last, 1.0) / max(held, 1.0)))
            before = pressure.between(start - BEFORE_S, end)
            up = np.flatnonzero(before.values > 0.93 * held)
            if up.size:
                out["full_spool"] = float(np.log(max(float(before.time[up[0]]) - start + SPOOL_SHIFT_S, 0.1)))
    if speed is not None:
        part_n = speed.between(start, end + 1e-6)
        if len(part_n) >= FEWEST and part_n.values.min() > 300.0:
            slope = np.polyfit(part_n.time - start, np.log(part_n.values), 1)[0]
            if slope > LEAST_PULL:
                out["full_pull"] = float(np.log(slope))
    return out
