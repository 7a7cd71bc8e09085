"""One number each of both days: the level checks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.case import Case
from airproof.diagnosis.checks import boost_control
from airproof.diagnosis.expectations import expected
from airproof.diagnosis.level import UNMOVED_SHARE, Level, Measured
from airproof.diagnosis.testimony import log_t
from airproof.knowledge.model import NONE
from airproof.repair.proof.joint import Wrong, less_sure
from airproof.repair.proof.levels import levels_of
from airproof.repair.proof.sides import Sides

Floats = NDArray[np.float64]

AS_BEFORE = 0.95  # of a cause as large as before: made up for as before; judged: Airproof authors


@dataclass
class LevelWitness:
    """One level check on both sides: one number each, of one engine on two days."""

    level: Level
    before: Measured | None
    after: Measured
    undone_before: Mapping[str, Floats]
    undone_after: Mapping[str, Floats]
    sizes_before: Mapping[str, Floats]
    sizes_after: Mapping[str, Floats]
    mean: float
    common: float  # variance that both days share
    day: float  # variance of one day

    def says(self, before: Wrong, after: Wrong) -> Floats:
        """ln p(after | before) (n,)."""
        joint, alone = [], []
        for share, moved in self._ways(before.cause):
            given, density = self._before(before, moved)
            alone.append(np.log(share) + density)
            for other_share, also in self._ways(after.cause):
                weight: float | Floats = other_share
                if before.cause == after.cause and before.cause in self.made_up_for:
                    alike = self._alike(before, after)
                    weight = alike if also == moved else 1.0 - alike
                joint.append(np.log(share * weight) + density + self._after(before, after, moved, also, given))
        return np.asarray(np.logaddexp.reduce(joint, axis=0) - np.logaddexp.reduce(alone, axis=0))

    def _alike(self, before: Wrong, after: Wrong) -> Floats:
        """How probably the control unit makes up for a cause after as it did before: surely where it is as large, as
        likely as not where it is half as large or less, since what it can make up for has an end.
        """
        were = np.abs(self.sizes_before[before.cause][before.places])
        are = np.abs(self.sizes_after[after.cause][after.places])
        ratio = np.minimum(are, were) / np.maximum(np.maximum(are, were), 1e-9)
        return np.asarray(np.clip(ratio, 0.5, AS_BEFORE))

    @property
    def wide(self) -> float:
        """Half the width of the 90 % range of healthy engines, this one's own side before left aside."""
        return float(1.645 * np.sqrt(self.common + self.day + self.after.sd**2))

    @property
    def made_up_for(self) -> Sequence[str]:
        """Causes whose effect the control unit mostly makes up for."""
        return expected(self.level.expectation).made_up_for

    def moved(self, before: str, there: Floats, here: Floats) -> tuple[Floats, Floats]:
        """As JointGroup.moved: changes before (1,) and after (n, 1), in standard deviations of a healthy engine."""
        variance, gain = self._variance(self.after, NONE, True), 0.0
        if self.before is not None:
            first = self._variance(self.before, before, True)
            gain = self.common / first
            variance -= self.common * gain
        sd = float(np.sqrt(variance))
        return gain * there / sd, here / sd

    def _ways(self, cause: str) -> list[tuple[float, bool]]:
        if cause not in self.made_up_for:
            return [(1.0, True)]
        return [(1.0 - UNMOVED_SHARE, True), (UNMOVED_SHARE, False)]

    def _blur(self, cause: str, moved: bool) -> float:
        return expected(self.level.expectation).blur.get(cause, 0.0) if moved else 0.0

    def _before(self, before: Wrong, moved: bool) -> tuple[Floats, Floats]:
        """The deviation before and its ln density."""
        if self.before is None:
            nothing = np.zeros(before.places.size)
            return nothing, nothing
        values = self.undone_before[before.cause][before.places] if moved else self.before.value
        off = np.broadcast_to(values - self.mean, before.places.shape)
        sd = np.sqrt(self._variance(self.before, before.cause, moved))
        return off, log_t(off / sd, sd)

    def _variance(self, measured: Measured, cause: str, moved: bool) -> float:
        return self.common + self.day + measured.sd**2 + self._blur(cause, moved) ** 2

    def _after(self, before: Wrong, after: Wrong, moved: bool, also: bool, given: Floats) -> Floats:
        values = self.undone_after[after.cause][after.places] if also else self.after.value
        off = np.broadcast_to(values - self.mean, after.places.shape)
        variance = self._variance(self.after, after.cause, also)
        wider: Floats = np.ones(1)
        if self.before is not None:
            across = self.common
            if before.cause == after.cause and also:
                across += self._blur(before.cause, moved) ** 2
            first = self._variance(self.before, before.cause, moved)
            off = off - across / first * given
            variance -= across**2 / first
            wider = less_sure(before.cause, np.square(given) / first, 1)
        sd = float(np.sqrt(variance)) * wider
        return log_t(off / sd, sd)


def level_witnesses(sides: Sides) -> list[LevelWitness]:
    """Every level that the side after shows."""
    found = []
    for level in levels_of(sides.after.profile):
        after = level.measure(sides.after)
        if after is None or (level is boost_control.REACHED and boost_control.ERROR.measure(sides.after) is not None):
            continue  # the rated value only speaks where no target was recorded
        before = level.measure(sides.before)
        healthy = expected(level.expectation)
        mean, sd = level.healthy(sides.before)
        day = healthy.day_sd**2
        common = max(sd**2 - day, (0.3 * sd) ** 2) if level.repeats else 0.0
        if not level.repeats:
            day = sd**2
        found.append(
            LevelWitness(
                level,
                before,
                after,
                {} if before is None else _undone(level, sides.before, before),
                _undone(level, sides.after, after),
                sides.before.sizes,
                sides.after.sizes,
                mean,
                common,
                day,
            )
        )
    return found


def _undone(level: Level, case: Case, measured: Measured) -> dict[str, Floats]:
    healthy = expected(level.expectation)
    found = {}
    for cause, sizes in case.sizes.items():
        value = level.undone(case, cause, sizes)
        if value is None:
            value = measured.value - healthy.moves.get(cause, 0.0) * sizes - healthy.jumps.get(cause, 0.0)
        found[cause] = np.broadcast_to(value, sizes.shape)
    return found
