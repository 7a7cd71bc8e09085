"""Everything one weighing produced: the verdict and what its exhibits are drawn from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.verdict import Verdict
from airproof.engine.profile import EngineProfile
from airproof.recording.recording import Interval, Recording
from airproof.recording.regimes import Regimes

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Barometer:
    """The pressure of the day at this place, kPa absolute, and how well it is known (one standard deviation).

    `own_share` is how much of it rests on the car's own barometric reading, 0 to 1; `doubt` what is doubtful in what
    was stated, or nothing. `either`: where it may be one of two pressures, those, kPa, and how probable the first is.
    """

    kpa: float
    sd_kpa: float
    says: str
    own_share: float = 0.0
    doubt: str = ""
    either: tuple[float, float, float] | None = None


@dataclass(frozen=True)
class RelationTrace:
    """What one relation expected of a healthy engine, point by point; low to high is the 90 % band, all in `unit`.

    ids: "manifold-pressure" (kPa absolute, over time), "air-flow" (g/s, measured against speed-density),
    "charge-pressure" (kPa absolute, against target or barometer), "trims" (%, total of short and long).
    `load_percent` is manifold pressure over barometer, in percent.
    """

    id: str
    title: str
    unit: str
    time: Floats
    measured: Floats
    expected: Floats
    low: Floats
    high: Floats
    load_percent: Floats


@dataclass(frozen=True)
class Weighing:
    """One recording weighed; `steps_done`: steps that were told, and whether each found what it looks for.

    `weather`: what is known of the day without any sensor of the car; `barometer` is the best estimate with them.
    `there`: where the likeliest cause came or went, the stretches in which it was there, which alone were judged.
    """

    recording: Recording
    regimes: Regimes
    profile: EngineProfile
    barometer: Barometer
    verdict: Verdict
    traces: tuple[RelationTrace, ...] = ()
    baselines: tuple[Recording, ...] = field(default=())
    sisters: tuple[Recording, ...] = field(default=())
    steps_done: Mapping[str, bool] = field(default_factory=dict)
    there: tuple[Interval, ...] | None = None
    weather: Barometer | None = None

    def trace(self, name: str) -> RelationTrace | None:
        """The trace of that id, or None where the signals for it are missing."""
        return next((t for t in self.traces if t.id == name), None)
