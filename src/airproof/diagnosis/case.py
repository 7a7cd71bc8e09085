"""One case under the loupe: all that a check may look at."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.testimony import Testimony
from airproof.diagnosis.weighing import Barometer
from airproof.engine.air_path import OnePath
from airproof.engine.operating_points import OperatingPoints, find_operating_points
from airproof.engine.profile import EngineProfile
from airproof.recording.recording import Interval, Recording
from airproof.recording.regimes import Regime, Regimes

Floats = NDArray[np.float64]

DRIFTED_KPA = 4.0  # judged: Airproof authors, more than weather and rounding move a sensor within one recording


@dataclass(frozen=True)
class Case:
    """A recording with its regimes and operating points, the engine, the day, the hypotheses' sizes, known-good cases.

    `weather` is what is known of the day's pressure without any sensor of the car (altitude, a forecast, or next to
    nothing); `barometer` is the best estimate with them. `sizes[c]` (S_c,) is in the cause's unit, `none` included with
    the one size 0. `strange_at_least` is how strange to the picture the recording is of which this is a part, 0 to 1.
    """

    recording: Recording
    regimes: Regimes
    profile: EngineProfile
    weather: Barometer
    barometer: Barometer
    path: OnePath
    sizes: Mapping[str, Floats]
    baselines: tuple[Case, ...] = ()
    ambient_c: float | None = None
    engine_off_kpa: Mapping[str, float] = field(default_factory=dict)
    strange_at_least: float = 0.0

    @property
    def points(self) -> OperatingPoints:
        """The quasi-steady operating points."""
        return self.path.points

    @property
    def barometer_pa(self) -> float:
        """The pressure of the day, Pa absolute."""
        return self.barometer.kpa * 1e3

    def in_regime(self, name: str, regime: Regime) -> Floats:
        """Values of a signal while in a regime; empty where there are none."""
        signal = self.recording.get(name)
        if signal is None:
            return np.empty(0)
        return signal.values[self.regimes.mask(signal.time, regime)]

    def at_rest(self, name: str) -> tuple[Floats, tuple[Interval, ...]]:
        """Values of a pressure (kPa) with the engine off, and the stretches they are of.

        Where it reads two pressures of the day from one stretch to another it drifted, and what it read last is so now.
        """
        signal, stretches = self.recording.get(name), self.regimes.intervals(Regime.KEY_ON)
        if signal is None:
            return np.empty(0), ()
        each = [signal.values[(signal.time >= start) & (signal.time < end)] for start, end in stretches]
        read = [k for k, values in enumerate(each) if values.size]
        levels = [float(np.median(each[k])) for k in read]
        if levels and max(abs(levels[-1] - level) for level in levels) > DRIFTED_KPA:
            return each[read[-1]], (stretches[read[-1]],)
        return self.in_regime(name, Regime.KEY_ON), stretches

    def unmoved(self) -> dict[str, Floats]:
        """A deviation of zero for every hypothesis: the start from which a check writes down whom it concerns."""
        return {cause: np.zeros(sizes.size) for cause, sizes in self.sizes.items()}


def points_of(recording: Recording, regimes: Regimes, profile: EngineProfile) -> OperatingPoints:
    """The steady points of a recording; none of a diesel, of which the relations that are asked of them do not hold."""
    points = find_operating_points(recording, regimes)
    return points if profile.throttled else points.where(np.zeros(len(points), dtype=np.bool_))


Check = Callable[[Case], Sequence[Testimony]]
