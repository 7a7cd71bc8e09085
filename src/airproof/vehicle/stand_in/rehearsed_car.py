"""The stand-in's car over time: a rehearsed drive, again and again, with the codes that its control unit has stored.

Between two drives it stands with its key on and the engine off. No real car is meant.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from airproof.engine.rehearsal.rehearse import Rehearsal, Request, rehearse
from airproof.recording.recording import Floats

TURNING_RPM = 50.0
RESTS_S = 20.0
"""Judged: Airproof authors, time enough to ask for the codes before the first start."""


@dataclass(frozen=True)
class StoredCodes:
    """The codes of a control unit now, with their frames (signals at that moment, and run_time in s)."""

    pending: tuple[str, ...]
    confirmed: tuple[str, ...]
    permanent: tuple[str, ...]
    frames: Mapping[str, Mapping[str, float]]
    lamp: bool
    ready: Mapping[str, bool]
    cleared_s: float | None


@dataclass
class RehearsedCar:
    """A rehearsal played back. Times are seconds since the stand-in began, when the car stands with its key on.

    Each round is `rests_s` with the engine off and then the drive; after the last sample the next round begins. The
    drive is played from the middle of its first stretch with the engine off: sensors have settled by then.
    """

    rehearsal: Rehearsal
    rests_s: float = RESTS_S
    _running_s: Floats = field(init=False)
    _cleared_s: float | None = field(init=False, default=None)

    def __post_init__(self) -> None:
        trace = self.rehearsal.trace
        speed = trace.items["engine_speed"]
        step = trace.duration_s / max(trace.time.size - 1, 1)
        started = np.maximum.accumulate(np.where(speed <= TURNING_RPM, trace.time, 0.0))
        self._running_s = np.where(speed > TURNING_RPM, trace.time - started, 0.0)
        self._step_s = step
        turning = np.flatnonzero(speed > TURNING_RPM)
        self._first = int(turning[0]) // 2 if turning.size else 0

    @property
    def signals(self) -> tuple[str, ...]:
        """The signals this car has."""
        return tuple(self.rehearsal.trace.items)

    @property
    def round_s(self) -> float:
        """How long one round lasts, s."""
        return self.rests_s + self.rehearsal.trace.duration_s - self.begins_s

    @property
    def begins_s(self) -> float:
        """Where in the rehearsed drive a round's drive begins, s."""
        return self._first * self._step_s

    def highest(self, signal: str) -> float:
        """The highest value a signal ever has."""
        return float(np.max(self.rehearsal.trace.items[signal]))

    def value(self, signal: str, now_s: float) -> float:
        """What the control unit has for a signal at its latest step, in the signal's unit."""
        return float(self.rehearsal.trace.items[signal][self.row(now_s)])

    def running_s(self, now_s: float) -> float:
        """Seconds since the engine started, 0 while it stands."""
        return float(self._running_s[self.row(now_s)])

    def engine_turns(self, now_s: float) -> bool:
        """Whether the engine turns."""
        return self.value("engine_speed", now_s) > TURNING_RPM

    def codes(self, now_s: float) -> StoredCodes:
        """The codes stored now. After clearing, permanent ones stay; what fails again is back with the next drive."""
        store = self.rehearsal.codes
        if self._cleared_s is None:
            return StoredCodes(
                tuple(sorted(store.pending)),
                tuple(sorted(store.confirmed)),
                tuple(sorted(store.permanent)),
                store.frames,
                store.lamp,
                store.readiness(),
                None,
            )
        again = now_s // self.round_s > self._cleared_s // self.round_s
        pending = tuple(sorted(store.pending)) if again else ()
        frames = {code: store.frames[code] for code in pending if code in store.frames}
        ready = store.readiness() if again else dict.fromkeys(store.readiness(), False)
        return StoredCodes(pending, (), tuple(sorted(store.permanent)), frames, False, ready, self._cleared_s)

    def clear(self, now_s: float) -> bool:
        """Clear codes, frames and readiness; False, and nothing done, while the engine turns."""
        if self.engine_turns(now_s):
            return False
        self._cleared_s = now_s
        return True

    def row(self, now_s: float) -> int:
        """The step of the drive that is played now."""
        into = max(now_s, 0.0) % self.round_s - self.rests_s
        return min(self._first + max(int(into / self._step_s), 0), self.rehearsal.trace.time.size - 1)


def rehearsed_car(request: Request, rests_s: float = RESTS_S) -> RehearsedCar:
    """Rehearse a drive and play it back."""
    return RehearsedCar(rehearse(request), rests_s)
