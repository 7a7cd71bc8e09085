"""Summaries of idle, overrun, cruise, the engine at rest, and of the pressure signal itself."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.case import Case
from airproof.diagnosis.checks import response, signal_health
from airproof.diagnosis.picture.answers import FINEST_TOLD_S
from airproof.diagnosis.picture.loads import OPENING_SHIFT, logarithm
from airproof.recording.recording import Interval, Signal
from airproof.recording.regimes import Regime

Floats = NDArray[np.float64]

# Judged: Airproof authors. What the summaries so defined mean is learnt, so that these decide how sharp they are, not
# what they say.
FEWEST = 4
FEWEST_STEPS = 8
KPA, TENS, USUAL_RPM = 5.0, 10.0, 2000.0  # what pressures (kPa), temperatures and advance, and speeds are put in
FLOOR_OF_LOG, FLOOR_KPA = 0.002, 0.3  # of unsteadiness: what rounding leaves of a steady signal
REHEARSED_S = 810.0  # no drive that was learnt from lasts longer: of a longer one, dropouts are counted over as long
RAILED_FLOOR, SWING_FLOOR = 0.003, 0.02  # so that logarithms stay finite
NAMES = (
    "idle_adv", "idle_rest_n", "idle_rest_p", "idle_rest_lam", "idle_iat", "idle_charge0", "idle_slow",
    "ko_map", "ko_charge", "baro", "ko_map_charge", "ko_map_baro", "ko_iat", "cruise_iat",
    "over_p", "over_n", "over_thr", "over_rest", "snap_p", "delay", "breaks", "railed", "swing",
    "rest_n_cruise", "rest_p_cruise", "rest_lam_cruise", "p_top", "p_bottom",
)  # fmt: skip


def _median(values: Floats) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size >= FEWEST else np.nan


def _restless(signal: Signal | None, spans: tuple[Interval, ...], *, logarithmic: bool) -> float:
    """ln of the spread from sample to sample, slow drift taken out and rounding kept as a floor."""
    if signal is None:
        return np.nan
    steps = []
    for a, b in spans:
        values = signal.between(a, b).values
        if values.size > 2:
            steps.append(np.diff(np.log(np.maximum(values, 1e-3)) if logarithmic else values))
    together = np.concatenate(steps or [np.empty(0)])
    if together.size < FEWEST_STEPS:
        return np.nan
    spread = float(np.sqrt(np.mean(np.square(np.clip(together, *np.quantile(together, (0.03, 0.97)))))))
    return float(np.log(spread + (FLOOR_OF_LOG if logarithmic else FLOOR_KPA)))


def at_idle(case: Case, day_kpa: float) -> dict[str, float]:
    """Ignition, steadiness, temperature and charge pressure at idle."""
    spans, recording = case.regimes.intervals(Regime.IDLE), case.recording
    found = {
        "idle_adv": _median(case.in_regime("ignition_advance", Regime.IDLE)) / TENS,
        "idle_rest_n": _restless(recording.get("engine_speed"), spans, logarithmic=True),
        "idle_rest_p": _restless(recording.get("manifold_pressure"), spans, logarithmic=False),
        "idle_rest_lam": _restless(recording.get("lambda"), spans, logarithmic=True),
        "idle_charge0": float(logarithm(_median(case.in_regime("charge_pressure", Regime.IDLE)) / day_kpa)),
    }
    if case.ambient_c is not None:
        found["idle_iat"] = (_median(case.in_regime("intake_temperature", Regime.IDLE)) - case.ambient_c) / TENS
    speed = case.in_regime("engine_speed", Regime.IDLE)
    if speed.size >= FEWEST_STEPS:
        low, middle = np.quantile(speed, (0.03, 0.5))
        found["idle_slow"] = float(np.log(max(low, 1.0) / max(middle, 1.0)))
    return found


def at_rest(case: Case, day_kpa: float) -> dict[str, float]:
    """The sensors with the engine off, against the day and against each other."""
    found: dict[str, float] = {}
    for name, signal in (("ko_map", "manifold_pressure"), ("ko_charge", "charge_pressure")):
        values, _ = case.at_rest(signal)
        if values.size:
            found[name] = (float(np.median(values)) - day_kpa) / KPA
    own = case.recording.get("barometric_pressure")
    if own is not None and len(own):
        found["baro"] = (float(np.median(own.values)) - day_kpa) / KPA
    for name, other in (("ko_map_charge", "ko_charge"), ("ko_map_baro", "baro")):
        if "ko_map" in found and other in found:
            found[name] = found["ko_map"] - found[other]
    if case.ambient_c is not None:
        for name, regime in (("ko_iat", Regime.KEY_ON), ("cruise_iat", Regime.CRUISE)):
            values = case.in_regime("intake_temperature", regime)
            if values.size:
                found[name] = (float(np.median(values)) - case.ambient_c) / TENS
    return found


def in_motion(case: Case, day_kpa: float) -> dict[str, float]:
    """Overrun, snaps, steadiness at cruise, and the health of the pressure signal."""
    recording, spans = case.recording, case.regimes.intervals(Regime.CRUISE)
    off = case.regimes.intervals(Regime.OVERRUN)
    pressure = recording.get("manifold_pressure")
    found = {
        "over_p": float(logarithm(_median(case.in_regime("manifold_pressure", Regime.OVERRUN)) / day_kpa)),
        "over_n": float(logarithm(_median(case.in_regime("engine_speed", Regime.OVERRUN)) / USUAL_RPM)),
        "over_thr": float(logarithm(_median(case.in_regime("throttle", Regime.OVERRUN)) / 100.0 + OPENING_SHIFT)),
        "over_rest": _restless(pressure, off, logarithmic=False),
        "rest_n_cruise": _restless(recording.get("engine_speed"), spans, logarithmic=True),
        "rest_p_cruise": _restless(pressure, spans, logarithmic=False),
        "rest_lam_cruise": _restless(recording.get("lambda"), spans, logarithmic=True),
    }
    snapped = case.in_regime("manifold_pressure", Regime.SNAP)
    if snapped.size >= FEWEST:
        found["snap_p"] = float(np.log(max(float(snapped.max()), 1.0) / day_kpa))
    delay = response.measure(case)
    if delay is not None:
        found["delay"] = float(np.arcsinh(delay.value / FINEST_TOLD_S))
    run = signal_health.running_part(case)
    if run is not None:
        railed = signal_health.out_of_reach(case, run)
        count = np.count_nonzero(signal_health.breaks_of(run))
        long = max(float(run.time[-1] - run.time[0]) / REHEARSED_S, 1.0)
        found["breaks"] = float(np.log1p(count / long))
        found["railed"] = float(np.log(np.mean(railed) + RAILED_FLOOR))
        bottom, low, high, top = np.quantile(run.pressure, (0.01, 0.05, 0.95, 0.995))
        found["swing"] = float(np.log((high - low) / day_kpa + SWING_FLOOR))
        found["p_top"] = float(np.log(max(top, 1.0) / day_kpa))
        found["p_bottom"] = float(np.log(max(bottom, 1.0) / day_kpa))
    return found
