"""Some eighty numbers that sum a recording up: what a mechanic would read off it, by what the engine was doing.

Each is chosen so that a healthy engine keeps it near a value that the profile foretells: ratios as natural logarithms,
pressures over or against the pressure of the day. NaN where the recording does not show it. No cause is looked for
here; what each cause does to these numbers is learnt from rehearsals (`learned`).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.case import Case
from airproof.diagnosis.checks import response, signal_health
from airproof.engine.operating_points import OperatingPoints
from airproof.quantities.constants import R_AIR
from airproof.quantities.gas_flow import flow_function
from airproof.recording.recording import Interval, Signal
from airproof.recording.regimes import Regime

Floats = NDArray[np.float64]

BINS = {"light": (0.0, 0.45), "middle": (0.45, 0.65), "high": (0.65, 0.92)}
"""Part load by manifold pressure over the pressure of the day, as the relations have it."""

PULL_STEP_S = 0.2
LEAST_PULL = 0.02  # 1/s, of ln speed; below it the engine is held, on a bench or a hill; judged: Airproof authors
FEWEST = 4  # samples or moments that a median rests on; judged: Airproof authors
OPENING_SHIFT = 0.02  # so that the logarithm of a shut throttle stays finite; judged: Airproof authors
STEADY_T = 288.15  # K, what temperatures are set against

BY_LOAD = ("n", "p", "thr", "ve", "fve", "area", "trim", "load", "lam")
OF_IDLE = ("adv", "rest_n", "rest_p", "rest_lam", "iat", "charge", "slow")
OF_FULL = (
    "n", "p", "thr", "ve", "fve", "load", "lam", "rich", "adv", "charge", "drop", "short", "gate", "over", "fall",
    "pull", "iat",
)  # fmt: skip
OTHER = (
    "ko_map", "ko_charge", "baro", "ko_iat", "cruise_iat", "over_p", "over_n", "over_rest", "snap_p", "delay", "breaks",
    "railed", "swing", "rest_n_cruise", "rest_p_cruise", "rest_lam_cruise",
)  # fmt: skip
NAMES: tuple[str, ...] = (
    *(f"{where}_{what}" for where in ("idle", *BINS) for what in BY_LOAD),
    *(f"idle_{what}" for what in OF_IDLE),
    *(f"full_{what}" for what in OF_FULL),
    *OTHER,
)


def summaries(case: Case, day_kpa: float) -> Floats:
    """The summaries (NAMES) of a case, given the pressure of the day, kPa absolute."""
    found: dict[str, float] = {}
    _by_load(case, day_kpa, found)
    _idle(case, day_kpa, found)
    _full_load(case, day_kpa, found)
    _at_rest(case, day_kpa, found)
    _moving(case, day_kpa, found)
    return np.array([found.get(name, np.nan) for name in NAMES])


def _median(values: Floats) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size >= FEWEST else np.nan


def _log(values: Floats | float) -> Floats:
    with np.errstate(invalid="ignore", divide="ignore"):
        out = np.log(np.asarray(values, dtype=np.float64))
    return np.asarray(np.where(np.isfinite(out), out, np.nan))


def _by_load(case: Case, day: float, found: dict[str, float]) -> None:
    points = case.points
    if not len(points):
        return
    of_point = _quantities(case, points, day)
    share = points.manifold / (1e3 * day)
    idle = points.regime == Regime.IDLE.value
    rest = (points.regime != Regime.OVERRUN.value) & (points.regime != Regime.FULL_LOAD.value) & ~idle
    with np.errstate(invalid="ignore"):
        where = {"idle": idle, **{name: rest & (share >= low) & (share < high) for name, (low, high) in BINS.items()}}
    for place, chosen in where.items():
        for what, values in of_point.items():
            picked = values[chosen & points.closed_loop] if what == "trim" else values[chosen]
            known = picked[np.isfinite(picked)]
            if known.size >= 2:
                found[f"{place}_{what}"] = float(np.median(known))


def _quantities(case: Case, points: OperatingPoints, day: float) -> dict[str, Floats]:
    """What is asked of each operating point; logarithms."""
    profile, middle = case.profile, (points.start_s + points.end_s) / 2
    warm = np.where(np.isfinite(points.intake_temperature), points.intake_temperature, STEADY_T + 15.0)
    density = _log(points.manifold * profile.displacement_m3 * points.speed / (2.0 * R_AIR * warm))
    before = np.where(np.isfinite(points.charge), points.charge, 1e3 * day)
    with np.errstate(invalid="ignore"):
        drive = before / np.sqrt(R_AIR * warm) * flow_function(np.clip(points.manifold / before, 0.0, 0.99))
    load, lam, wanted = (_item(case, name, middle) for name in ("load", "lambda", "lambda_target"))
    wanted = np.where(np.isfinite(wanted), wanted, 1.0)
    return {
        "n": _log(points.speed * 60.0 / (case.profile.idle_rpm or 750.0)),
        "p": _log(points.manifold / (1e3 * day)),
        "thr": _log(points.throttle + OPENING_SHIFT),
        "ve": _log(points.air_flow) - density,
        "fve": _log(points.fuel_rate * profile.stoichiometric) - density,
        "area": density - _log(drive) - np.log(profile.displacement_m3),
        "trim": _log(points.trim),
        "load": _log(load / 100.0),
        "lam": _log(np.where((lam > 0.4) & (lam < 1.9), lam / wanted, np.nan)),
    }


def _item(case: Case, name: str, times: Floats) -> Floats:
    signal = case.recording.get(name)
    return np.full(times.size, np.nan) if signal is None or not len(signal) else signal.at(times, "latest", 6.0)


def _restless(signal: Signal | None, spans: tuple[Interval, ...], *, logarithm: bool) -> float:
    """ln of the spread from sample to sample, slow drift taken out and rounding kept as a floor."""
    if signal is None:
        return np.nan
    steps = []
    for a, b in spans:
        values = signal.between(a, b).values
        if values.size > 2:
            steps.append(np.diff(np.log(np.maximum(values, 1e-3)) if logarithm else values))
    together = np.concatenate(steps or [np.empty(0)])
    if together.size < 8:
        return np.nan
    spread = float(np.sqrt(np.mean(np.square(np.clip(together, *np.quantile(together, (0.03, 0.97)))))))
    return float(np.log(spread + (0.002 if logarithm else 0.3)))


def _idle(case: Case, day: float, found: dict[str, float]) -> None:
    spans = case.regimes.intervals(Regime.IDLE)
    recording = case.recording
    found["idle_adv"] = _median(case.in_regime("ignition_advance", Regime.IDLE)) / 10.0
    found["idle_rest_n"] = _restless(recording.get("engine_speed"), spans, logarithm=True)
    found["idle_rest_p"] = _restless(recording.get("manifold_pressure"), spans, logarithm=False)
    found["idle_rest_lam"] = _restless(recording.get("lambda"), spans, logarithm=True)
    if case.ambient_c is not None:
        found["idle_iat"] = (_median(case.in_regime("intake_temperature", Regime.IDLE)) - case.ambient_c) / 10.0
    found["idle_charge"] = float(_log(_median(case.in_regime("charge_pressure", Regime.IDLE)) / day))
    speed = case.in_regime("engine_speed", Regime.IDLE)
    if speed.size >= 8:
        low, middle = np.quantile(speed, (0.03, 0.5))
        found["idle_slow"] = float(np.log(max(low, 1.0) / max(middle, 1.0)))


def _full_load(case: Case, day: float, found: dict[str, float]) -> None:
    spans = [(a, b) for a, b in case.regimes.intervals(Regime.FULL_LOAD) if b - a > 1.5]
    if not spans:
        return
    # The first third of a pull belongs to the turbocharger.
    late = np.concatenate([np.arange(a + 0.35 * (b - a), b, PULL_STEP_S) for a, b in spans])
    if late.size < FEWEST:
        return
    profile = case.profile

    def at(name: str) -> Floats:
        return _item(case, name, late)

    speed, pressure, flow, fuel = (
        at("engine_speed") / 60.0,
        at("manifold_pressure") * 1e3,
        at("air_flow"),
        at("fuel_rate"),
    )
    warm = at("intake_temperature") + 273.15
    warm = np.where(np.isfinite(warm), warm, STEADY_T + 15.0)
    density = _log(pressure * profile.displacement_m3 * speed / (2.0 * R_AIR * warm))
    charge, target, lam, wanted = (
        at(n) for n in ("charge_pressure", "charge_pressure_target", "lambda", "lambda_target")
    )
    per_point: dict[str, Floats] = {
        "n": _log(speed * 60.0 / 3000.0),
        "p": _log(pressure / (1e3 * day)),
        "thr": _log(at("throttle") / 100.0 + OPENING_SHIFT),
        "ve": _log(flow * 1e-3) - density,
        "fve": _log(fuel * 1e-3 * profile.stoichiometric) - density,
        "load": _log(at("load") / 100.0),
        "lam": _log(lam / wanted),
        "rich": _log(wanted),
        "adv": at("ignition_advance") / 10.0,
        "charge": _log(charge / day),
        "drop": _log(pressure / (1e3 * charge)),
        "short": _log(charge / target),
        "gate": at("wastegate") / 100.0,
    }
    for what, values in per_point.items():
        found[f"full_{what}"] = _median(values)
    if case.ambient_c is not None:
        found["full_iat"] = (_median(at("intake_temperature")) - case.ambient_c) / 10.0
    found.update(_pull(case, max(spans, key=lambda span: span[1] - span[0])))


def _pull(case: Case, span: Interval) -> dict[str, float]:
    """Of the longest pull: overshoot, how the pressure falls off towards its end, how fast the engine gains speed."""
    start, end = span
    pressure, speed = case.recording.get("manifold_pressure"), case.recording.get("engine_speed")
    out: dict[str, float] = {}
    if pressure is not None:
        part = pressure.between(start, end + 1e-6).values
        if part.size >= FEWEST:
            held, last = float(np.median(part[part.size // 3 :])), float(np.median(part[-max(part.size // 6, 2) :]))
            out["full_over"] = float(np.log(max(float(np.quantile(part, 0.97)), 1.0) / max(held, 1.0)))
            out["full_fall"] = float(np.log(max(last, 1.0) / max(held, 1.0)))
    if speed is not None:
        part_n = speed.between(start, end + 1e-6)
        if len(part_n) >= FEWEST and part_n.values.min() > 300.0:
            slope = np.polyfit(part_n.time - start, np.log(part_n.values), 1)[0]
            if slope > LEAST_PULL:
                out["full_pull"] = float(np.log(slope))
    return out


def _at_rest(case: Case, day: float, found: dict[str, float]) -> None:
    for name, signal in (("ko_map", "manifold_pressure"), ("ko_charge", "charge_pressure")):
        values = case.in_regime(signal, Regime.KEY_ON)
        if values.size:
            found[name] = (float(np.median(values)) - day) / 5.0
    own = case.recording.get("barometric_pressure")
    if own is not None and len(own):
        found["baro"] = (float(np.median(own.values)) - day) / 5.0
    if case.ambient_c is not None:
        for name, regime in (("ko_iat", Regime.KEY_ON), ("cruise_iat", Regime.CRUISE)):
            values = case.in_regime("intake_temperature", regime)
            if values.size:
                found[name] = (float(np.median(values)) - case.ambient_c) / 10.0


def _moving(case: Case, day: float, found: dict[str, float]) -> None:
    recording, spans = case.recording, case.regimes.intervals(Regime.CRUISE)
    found["over_p"] = float(_log(_median(case.in_regime("manifold_pressure", Regime.OVERRUN)) / day))
    found["over_n"] = float(_log(_median(case.in_regime("engine_speed", Regime.OVERRUN)) / 2000.0))
    found["over_rest"] = _restless(
        recording.get("manifold_pressure"), case.regimes.intervals(Regime.OVERRUN), logarithm=False
    )
    snapped = case.in_regime("manifold_pressure", Regime.SNAP)
    if snapped.size >= FEWEST:
        found["snap_p"] = float(np.log(max(float(snapped.max()), 1.0) / day))
    delay = response.measure(case)
    if delay is not None:
        found["delay"] = float(np.arcsinh(delay.value / 0.2))
    pressure = recording.get("manifold_pressure")
    run = signal_health.running_part(case)
    if run is not None:
        railed = signal_health.out_of_reach(case, run)
        found["breaks"] = float(np.log1p(np.count_nonzero(signal_health.breaks_of(run))))
        found["railed"] = float(np.log(np.mean(railed) + 0.003))
        low, high = np.quantile(run.pressure, (0.05, 0.95))
        found["swing"] = float(np.log((high - low) / day + 0.02))
    found["rest_n_cruise"] = _restless(recording.get("engine_speed"), spans, logarithm=True)
    found["rest_p_cruise"] = _restless(pressure, spans, logarithm=False)
    found["rest_lam_cruise"] = _restless(recording.get("lambda"), spans, logarithm=True)
