"""Before and after: two recordings of one engine made ready for the same checks.

What is not known of the engine is one Gaussian for both; each day strays from it a little, and a part that was replaced
brings its own tolerance. Pressure of the day, temperature and place are each side's own, so that they drop out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.case import Case
from airproof.diagnosis.conditions import UNKNOWN_PLACE
from airproof.diagnosis.examine import case_of, case_within
from airproof.diagnosis.hypotheses import Hypotheses
from airproof.diagnosis.picture import check as whole_picture
from airproof.diagnosis.weighing import Barometer
from airproof.engine.air_path import generic_belief, learn_engine, learn_type
from airproof.engine.profile import EngineProfile
from airproof.engine.shared import shared
from airproof.engine.smooth_table import EngineBelief, Smoothness
from airproof.knowledge.model import Fuel
from airproof.recording.joined import joined
from airproof.recording.recording import Interval, Recording
from airproof.repair.proof.usual_fuel import burning, path_on_usual_fuel

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Side:
    """One side as it is given: its recordings, what is known of its day, and the stretches that count (None: all).

    `fuel`: what was in the tank, where that is another than the engine file states.
    """

    recordings: tuple[Recording, ...]
    barometer: Barometer | None = None
    ambient_c: float | None = None
    there: tuple[Interval, ...] | None = None
    fuel: Fuel | None = None


@dataclass(frozen=True)
class Sides:
    """Both cases, under one belief of the engine that both share.

    `strays_before` and `strays_after` (K, K) are the covariances by which each day's engine lies off the shared one.
    `same_place`: whether nobody stated the place of either, so that both share what is not known of it.
    """

    before: Case
    after: Case
    belief: EngineBelief
    strays_before: Floats
    strays_after: Floats
    same_place: bool
    replaced: bool

    def with_sizes(self, before: Mapping[str, Floats], after: Mapping[str, Floats]) -> Sides:
        """The same sides, asked at these sizes."""
        return replace(self, before=replace(self.before, sizes=before), after=replace(self.after, sizes=after))


def sides_of(
    before: Side,
    after: Side,
    profile: EngineProfile,
    hypotheses: Hypotheses,
    *,
    baselines: Sequence[Recording] = (),
    sisters: Sequence[Recording] = (),
    replaced: bool = False,
) -> Sides:
    """Make both sides ready; `replaced`: whether a part that is measured with was replaced between them."""
    weather = before.barometer or UNKNOWN_PLACE
    belief = generic_belief(profile)
    others = [case_of(one, profile, UNKNOWN_PLACE, belief, hypotheses, None) for one in sisters]
    belief = learn_type(belief, [other.path for other in others])
    good = [case_of(one, profile, weather, belief, hypotheses, before.ambient_c) for one in baselines]
    for one in good:
        belief = learn_engine(belief, one.path)
    half_a_day = {name: _scaled(smoothness, 0.5) for name, smoothness in shared().another_day.items()}
    if good:
        belief = belief.loosened(half_a_day)
    bare = replace(belief, covariance=np.zeros_like(belief.covariance))
    strays_before = bare.loosened(half_a_day).covariance
    strays_after = bare.loosened(shared().another_car if replaced else half_a_day).covariance

    def case(side: Side, strays: Floats) -> Case:
        own = replace(belief, covariance=belief.covariance + strays)
        burnt = burning(profile, side.fuel)
        made = case_of(
            joined(side.recordings), burnt, side.barometer or UNKNOWN_PLACE, own, hypotheses, side.ambient_c, good
        )
        made = replace(made, baselines=tuple(good), path=path_on_usual_fuel(made.path, profile))
        if side.there is None:
            return made
        return case_within(made, side.there, strangeness=whole_picture.strangeness_of(made))

    first, second = case(before, strays_before), case(after, strays_after)
    if not good:
        # The throttle shuts where the lower of the two readings has it: a fouled one shuts further open.
        stop = min(first.path.closed_stop, second.path.closed_stop)
        first, second = (
            replace(one, path=replace(one.path, closed_stop=stop, stop_by_idle=False)) for one in (first, second)
        )
    same_place = before.barometer is None and after.barometer is None
    return Sides(first, second, belief, strays_before, strays_after, same_place, replaced)


def _scaled(smoothness: Smoothness, variance: float) -> Smoothness:
    """The same smoothness with so much of its variance."""
    sd = float(np.sqrt(variance))
    return replace(smoothness, level_sd=sd * smoothness.level_sd, bend_sd=sd * smoothness.bend_sd)
