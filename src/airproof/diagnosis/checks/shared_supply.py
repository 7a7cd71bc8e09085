"""Sensors on one 5 V supply are independent: moments at which several jump and come back together are not."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from airproof.diagnosis.case import Case
from airproof.diagnosis.expectations import expected
from airproof.diagnosis.finding import Finding
from airproof.diagnosis.testimony import Testimony
from airproof.recording.recording import Bools, Floats, Signal

# Analogue sensors that commonly share a supply, and the share of their own middle by which a supply fault throws them.
SENSORS = ("manifold_pressure", "charge_pressure", "throttle", "pedal", "fuel_rail_pressure")
JUMP_SHARE = 0.25
CALM_SHARE = 0.10  # before and after the jump the reading is the same within this
LONGEST_JUMP_S = 2.0
TOGETHER_S = 1.0
FEWEST_SAMPLES = 60
SEEN_AT_ALL = (
    0.25  # of supply faults, so many come and go; the rest shift all sensors for good. judged: Airproof authors
)


def check(case: Case) -> Sequence[Testimony]:
    """One testimony where at least two such sensors were recorded."""
    signals = [s for s in map(case.recording.get, SENSORS) if s is not None and len(s) >= FEWEST_SAMPLES]
    if len(signals) < 2:
        return []
    times = [signal.time[_jumps(signal)] for signal in signals]
    together = _together(times)
    minutes = max(case.recording.duration_s / 60.0, 1.0)
    by_chance = expected("joint-jumps").mean * minutes
    chance = min(by_chance, 0.5)
    happened = together.size >= 2
    log_likelihood = {}
    for cause, sizes in case.sizes.items():
        seen = SEEN_AT_ALL if cause == "supply-reference" else chance
        log_likelihood[cause] = np.full(sizes.size, np.log(seen if happened else 1.0 - seen))
    finding = Finding(
        id="joint-jumps",
        value=together.size / minutes,
        sd=0.0,
        unit="1/min",
        expected=(0.0, 2.0 / minutes),
        intervals=tuple((float(t), float(t) + TOGETHER_S) for t in together[:50]),
        says=(
            f"{together.size} times several sensors jump and come back together"
            if happened
            else f"{len(signals)} sensors never jump and come back together"
        ),
    )
    return [Testimony(finding, log_likelihood)]


def _jumps(signal: Signal) -> Bools:
    """First samples of short excursions that leave a calm reading and return to it."""
    values, time = signal.values, signal.time
    found = np.zeros(values.size, dtype=bool)
    middle = float(np.median(np.abs(values))) or 1.0
    for width in (1, 2, 3):
        before, first = values[: -width - 1], values[1:-width]
        after = values[width + 1 :]
        brief = time[width + 1 :] - time[: -width - 1] < LONGEST_JUMP_S
        calm = np.abs(after - before) < CALM_SHARE * np.maximum(np.abs(before), 0.2 * middle)
        far = np.abs(first - before) > JUMP_SHARE * np.maximum(np.abs(before), middle)
        found[1:-width] |= brief & calm & far
    return found


def _together(times: Sequence[Floats]) -> Floats:
    """Moments at which at least two of the sensors jump within TOGETHER_S."""
    moments = np.concatenate(times)
    owner = np.concatenate([np.full(t.size, k) for k, t in enumerate(times)])
    order = np.argsort(moments, kind="stable")
    moments, owner = moments[order], owner[order]
    joint = (np.diff(moments) < TOGETHER_S) & (owner[1:] != owner[:-1])
    return np.asarray(moments[:-1][joint], dtype=np.float64)
