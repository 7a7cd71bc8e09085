"""Sensors on one 5 V supply are independent: moments at which several fall or rise by the same share are not.

A blip of the throttle also moves several readings at once, but not by the same share, and the engine answers it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from airproof.diagnosis.case import Case
from airproof.diagnosis.expectations import expected
from airproof.diagnosis.finding import Finding
from airproof.diagnosis.testimony import Testimony
from airproof.recording.recording import Floats, Signal

SENSORS = ("manifold_pressure", "charge_pressure", "throttle", "pedal", "fuel_rail_pressure")
"""Analogue sensors that commonly share a supply."""

# All judged: Airproof authors.
JUMP_LOG = 0.22  # natural logarithm of the share by which a reading must jump: a fifth of the supply
SAME_SHARE_LOG = 0.12  # two readings thrown by one supply jump by the same share, within this
CALM_LOG = 0.05  # before and after the jump the reading, and throughout the engine speed, are the same within this
LONGEST_JUMP_S = 2.0
TOGETHER_S = 1.0
FEWEST_SAMPLES = 60
MISLED = 0.01  # the probability that they seem to come back together by something nobody thought of
SEEN_AT_ALL = 0.25  # of supply faults, so many come and go; the rest shift all sensors for good


def check(case: Case) -> Sequence[Testimony]:
    """One testimony where at least two such sensors and the engine speed were recorded."""
    signals = [s for s in map(case.recording.get, SENSORS) if s is not None and len(s) >= FEWEST_SAMPLES]
    speed = case.recording.get("engine_speed")
    if len(signals) < 2 or speed is None or not len(speed):
        return []
    together = _together([_jumps(signal, speed) for signal in signals])
    minutes = max(case.recording.duration_s / 60.0, 1.0)
    by_chance = expected("joint-jumps").mean * minutes
    twice = 1.0 - math.exp(-by_chance) * (1.0 + by_chance)  # Poisson
    chance = MISLED + (1.0 - MISLED) * twice
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


def _jumps(signal: Signal, speed: Signal) -> Floats:
    """Short excursions from a calm reading and back while the engine speed holds: (n, 2), time and log of the share."""
    time, logs = signal.time, np.log(np.maximum(np.abs(signal.values), 1e-3))
    with np.errstate(divide="ignore"):
        turning = np.log(np.maximum(speed.at(time), 1.0))
    found = []
    for width in (1, 2, 3):
        before, first, after = logs[: -width - 1], logs[1:-width], logs[width + 1 :]
        calm = np.abs(after - before) < CALM_LOG
        calm &= np.abs(turning[width + 1 :] - turning[: -width - 1]) < CALM_LOG
        calm &= time[width + 1 :] - time[: -width - 1] < LONGEST_JUMP_S
        jumped = calm & (np.abs(first - before) > JUMP_LOG)
        found.append(np.column_stack([time[1:-width][jumped], (first - before)[jumped]]))
    return np.concatenate(found)


def _together(jumps: Sequence[Floats]) -> Floats:
    """Moments at which at least two of the sensors jump by the same share within TOGETHER_S."""
    every = np.concatenate(jumps)
    owner = np.concatenate([np.full(len(one), k) for k, one in enumerate(jumps)])
    order = np.argsort(every[:, 0], kind="stable")
    moments, shares, owner = every[order, 0], every[order, 1], owner[order]
    joint = (np.diff(moments) < TOGETHER_S) & (owner[1:] != owner[:-1])
    joint &= np.abs(np.diff(shares)) < SAME_SHARE_LOG
    return np.asarray(moments[:-1][joint], dtype=np.float64)
