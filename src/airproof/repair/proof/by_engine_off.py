"""The pressure sensors with the engine off, on both days."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.checks import engine_off
from airproof.diagnosis.conditions import WEATHER_SD_KPA
from airproof.diagnosis.expectations import expected
from airproof.repair.proof.joint import JointGroup, Wrong
from airproof.repair.proof.sides import Sides

Floats = NDArray[np.float64]


@dataclass
class EngineOffWitness:
    """The pressure sensors with the engine off, both days: each day has its own weather, each sensor its own zero."""

    own: JointGroup
    copied: JointGroup | None
    copied_share_before: Mapping[str, Floats]
    copied_after: float

    def says(self, before: Wrong, after: Wrong) -> Floats:
        """ln p(after | before) (n,); a car that copies its barometer from the manifold sensor does so on both days."""
        plain = self.own.says(before, after)
        if self.copied is None:
            return plain
        share = self.copied_share_before[before.cause][before.places]
        instead = self.copied.says(before, after) + self.copied_after
        return np.asarray(np.logaddexp(np.log1p(-share) + plain, np.log(share) + instead))


DAY_SD = {"manifold_pressure": "sensor-tolerance", "charge_pressure": "sensor-tolerance",
          "barometric_pressure": "barometer-sensor-tolerance"}  # fmt: skip


def engine_off_witness(sides: Sides) -> EngineOffWitness | None:
    """The witness, or None where the side after shows no sensor with the engine off."""
    after = engine_off.seen_engine_off(sides.after)
    if after is None:
        return None
    before = engine_off.seen_engine_off(sides.before)
    own, _ = _engine_off_group(sides, before, after, ())
    pair = ("manifold_pressure", "barometric_pressure")
    if not set(pair) <= set(after.signals):
        return EngineOffWitness(own, None, {}, 0.0)
    share = expected("barometer-copied").mean
    shares = {cause: np.full(sizes.size, share) for cause, sizes in sides.before.sizes.items()}
    if before is not None and set(pair) <= set(before.signals):
        _, alone = _engine_off_group(sides, before, after, ())
        _, without = _engine_off_group(sides, before, after, ("barometric_pressure",))
        copied = engine_off.copied_log_density(_apart(before))
        for cause, sizes in sides.before.sizes.items():
            every = Wrong(cause, np.arange(sizes.size))
            nothing = Wrong(cause, np.zeros(sizes.size, dtype=np.intp))
            as_own = np.log1p(-share) + alone.says(nothing, every)
            as_copy = np.log(share) + without.says(nothing, every) + copied
            shares[cause] = np.exp(as_copy - np.logaddexp(as_own, as_copy))
    instead, _ = _engine_off_group(sides, before, after, ("barometric_pressure",))
    return EngineOffWitness(own, instead, shares, engine_off.copied_log_density(_apart(after)))


def _apart(seen: engine_off.EngineOff) -> float:
    values = dict(zip(seen.signals, seen.values.tolist(), strict=True))
    return float(values["barometric_pressure"] - values["manifold_pressure"])


def _engine_off_group(
    sides: Sides, before: engine_off.EngineOff | None, after: engine_off.EngineOff, without: Sequence[str]
) -> tuple[JointGroup, JointGroup]:
    """Both days as one group, and the day before by itself; `without` names sensors that are left out."""
    there = [i for i, name in enumerate(before.signals) if name not in without] if before is not None else []
    here = [j for j, name in enumerate(after.signals) if name not in without]
    first = before.covariance[np.ix_(there, there)] if before is not None else np.zeros((0, 0))
    second = after.covariance[np.ix_(here, here)]
    across = np.zeros((len(there), len(here)))
    if sides.same_place:
        across += sides.before.weather.sd_kpa**2 - WEATHER_SD_KPA**2
    alike = []
    for i, a in enumerate(there):
        assert before is not None
        for j, b in enumerate(here):
            if before.signals[a] == after.signals[b]:
                alike.append((i, j))
                if not sides.replaced:
                    across[i, j] += before.tolerances[a] * after.tolerances[b]
    stray = np.array([expected(DAY_SD[after.signals[b]]).day_sd ** 2 for b in here])
    both = np.block([[first, across], [across.T, second + np.diag(stray)]])
    off_before = (
        {cause: rows[:, there] for cause, rows in before.off.items()}
        if before is not None
        else {cause: np.zeros((sizes.size, 0)) for cause, sizes in sides.before.sizes.items()}
    )
    off_after = {cause: rows[:, here] for cause, rows in after.off.items()}
    none_before = {cause: np.zeros((rows.shape[0], 0)) for cause, rows in off_before.items()}
    return (
        JointGroup(off_before, off_after, both, alike, engine_off.BLUR),
        JointGroup(none_before, off_before, first, (), engine_off.BLUR),
    )
