"""Recordings weighed together, or one as the other's baseline, should be of one car: what makes that doubtful."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from airproof.diagnosis.case import Case
from airproof.recording.recording import Recording
from airproof.recording.regimes import Regime

TELLING = {"air_flow": "air flow", "charge_pressure": "charge pressure", "short_trim_1": "fuel trims"}
GOOD_SENSORS_AGREE_KPA = 5.0  # good sensors of one car agree to 2 to 4 kPa; common practice, no source
BAROMETERS_APART_KPA = 6.0  # more than weather does in a week or so; judged: Airproof authors


def odd_companions(recordings: Sequence[Recording], baselines: Sequence[Recording]) -> tuple[str, ...]:
    """Cautions in plain words; empty where the recordings go well together."""
    first, *others = (*recordings, *baselines)
    lines = []
    for other in others:
        odd = [title for name, title in TELLING.items() if (name in first) != (name in other)]
        if odd:
            lines.append(
                f"of {first.label} and {other.label} only one holds {' and '.join(odd)}; are they of the same car?"
            )
        here, there = _barometer(first), _barometer(other)
        if here is not None and there is not None and abs(here - there) > BAROMETERS_APART_KPA:
            lines.append(
                f"in {first.label} and {other.label} their barometers read {here:.0f} and {there:.0f} kPa absolute, "
                "which is more than weather; one altitude cannot serve for both"
            )
    return tuple(lines)


def doubtful_good(cases: Sequence[Case]) -> tuple[str, ...]:
    """Cautions where a recording given as known to be good contradicts itself with the engine off."""
    lines = []
    for case in cases:
        standing = case.in_regime("manifold_pressure", Regime.KEY_ON)
        others = [
            float(np.median(values))
            for name in ("charge_pressure", "barometric_pressure")
            if (values := case.in_regime(name, Regime.KEY_ON)).size
        ]
        if not standing.size or not others:
            continue
        apart = float(np.median(standing)) - float(np.mean(others))
        if abs(apart) > GOOD_SENSORS_AGREE_KPA:
            lines.append(
                f"the recording {case.recording.label}, given as good, itself reads {abs(apart):.0f} kPa too "
                f"{'high' if apart > 0 else 'low'} with the engine off: is it known to be good?"
            )
    return tuple(lines)


def _barometer(recording: Recording) -> float | None:
    signal = recording.get("barometric_pressure")
    return float(np.median(signal.values)) if signal is not None and len(signal) else None
