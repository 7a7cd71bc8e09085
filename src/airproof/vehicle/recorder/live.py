"""What has been driven so far, and what is still missing, while the recording runs.

Regimes are found as in a finished recording, over the last minutes only, so that memory and work stay the same however
long it runs; a moment counts once it lies some seconds back, when its regime is settled.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from airproof.diagnosis.picture.worth import worth_of
from airproof.recording.recording import Recording, Signal
from airproof.recording.regimes import Regime, find_regimes
from airproof.recording.signals import signal_kind
from airproof.vehicle.recorder.wanted import wanted_stretches

WINDOW_S = 600.0
"""Long enough to hold the foot off and the lowest pressure, which tell overrun from driving at little load."""
APART_S = 0.15
"""Samples nearer than that to the one before are not looked at: regimes change within seconds."""
SETTLED_S = 4.0
LOOKS_EVERY_S = 2.0
WATCHED = (
    "engine_speed", "manifold_pressure", "throttle", "pedal", "vehicle_speed", "load", "barometric_pressure",
    "air_flow", "coolant_temperature", "charge_pressure",
)  # fmt: skip
"""The signals that regimes are told by (recording/regimes.py)."""


@dataclass(frozen=True)
class Missing:
    """A stretch that is still missing: seconds left, what to do, and why."""

    regime: Regime
    left_s: float
    now: str
    why: str


class LiveRegimes:
    """Seconds of each regime so far."""

    def __init__(self) -> None:
        self._samples: dict[str, deque[tuple[float, float]]] = {
            name: deque(maxlen=int(WINDOW_S / APART_S)) for name in WATCHED
        }
        self._looked_s = -np.inf
        self._counted_s = 0.0
        self._idle_rpm: float | None = None
        self.seconds: dict[Regime, float] = dict.fromkeys(Regime, 0.0)
        self.now: Regime | None = None

    def add(self, time_s: float, values: Mapping[str, float]) -> None:
        """One answer."""
        for name, value in values.items():
            samples = self._samples.get(name)
            if samples is not None and (not samples or time_s - samples[-1][0] >= APART_S):
                samples.append((time_s, value))
        if time_s - self._looked_s >= LOOKS_EVERY_S:
            self._looked_s = time_s
            self._look(time_s)

    def _look(self, now_s: float) -> None:
        signals = {}
        for name, samples in self._samples.items():
            while samples and samples[0][0] < now_s - WINDOW_S:
                samples.popleft()
            if len(samples) > 1:
                time, values = np.array(samples).T
                signals[name] = Signal(name, signal_kind(name).unit, time, values)
        found = find_regimes(Recording(signals), idle_rpm=self._idle_rpm)
        if self._idle_rpm is None and self.seconds[Regime.IDLE] > 10.0:
            self._idle_rpm = found.idle_rpm
        until = max(now_s - SETTLED_S, self._counted_s)
        self.now = None
        for regime in Regime:
            for begin, end in found.intervals(regime):
                self.seconds[regime] += max(min(end, until) - max(begin, self._counted_s), 0.0)
                if end >= now_s - SETTLED_S:
                    self.now = regime
        self._counted_s = until

    def missing(self, probability: Mapping[str, float] | None = None) -> tuple[Missing, ...]:
        """What is still missing: before a cause is suspected in the order of driving, then the most telling first."""
        found = []
        for regime, wanted in wanted_stretches().items():
            left = wanted.seconds - self.seconds[regime]
            if left > 0.0:
                found.append(Missing(regime, left, wanted.now.format(left=f"{np.ceil(left):.0f}"), wanted.why))
        places = {regime: stretch.place for regime, stretch in wanted_stretches().items() if stretch.place}
        asked = tuple(places[one.regime] for one in found if one.regime in places)
        worth = worth_of(probability, asked) if probability and asked else {}

        def nepers(one: Missing) -> float:
            place = places.get(one.regime)
            return worth[place].nepers if place in worth else 0.0

        return tuple(sorted(found, key=lambda one: -nepers(one)))
