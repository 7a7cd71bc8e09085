"""Examining recordings: what they show by themselves, before anything told beside them is heard.

What is told of a car comes in bit by bit, its recordings once: they are examined once, however often they are weighed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from airproof.diagnosis.case import Case, Check, points_of
from airproof.diagnosis.checks import (
    boost_control,
    engine_off,
    exhaust,
    full_load,
    idle,
    overrun,
    relations,
    response,
    shared_supply,
    signal_health,
    temperatures,
)
from airproof.diagnosis.comes_and_goes import ComesAndGoes, comes_and_goes
from airproof.diagnosis.conditions import UNKNOWN_PLACE, best_barometer
from airproof.diagnosis.hypotheses import Hypotheses, hypotheses_for
from airproof.diagnosis.picture import check as whole_picture
from airproof.diagnosis.picture.hearing import heard
from airproof.diagnosis.testimony import Testimony
from airproof.diagnosis.weighing import Barometer
from airproof.engine.air_path import OnePath, another_day, closed_stop_of, generic_belief, learn_engine, learn_type
from airproof.engine.profile import EngineProfile
from airproof.engine.smooth_table import EngineBelief
from airproof.knowledge.load import knowledge
from airproof.knowledge.model import Knowledge
from airproof.recording.joined import joined, only_within
from airproof.recording.recording import Interval, Recording
from airproof.recording.regimes import find_regimes

OF_ANY_ENGINE: tuple[Check, ...] = (
    engine_off.check,
    signal_health.check,
    shared_supply.check,
    full_load.check,
    boost_control.check,
    temperatures.check,
)
"""What holds without a throttle, a mixture control and a picture learnt from petrol engines as well."""

CHECKS: tuple[Check, ...] = (
    engine_off.check,
    signal_health.check,
    shared_supply.check,
    relations.check,
    full_load.check,
    boost_control.check,
    exhaust.check,
    response.check,
    temperatures.check,
    overrun.check,
    idle.check,
)

HEALTHY_WITHOUT_COMPLAINT = 1.0 / 3.0
"""Prior of `none` where neither code nor symptom is given; judged: Airproof authors: more than the fifth of complaints
that find nothing, less than an even chance, since somebody took the trouble to record."""

SURELY_THROTTLED = 0.45  # of the barometer, for a tenth of the time: no flap shuts so far; judged: Airproof authors
BOOST_FOR_SURE, NO_SENSOR_KPA = 1.4, 250.0  # of the barometer; a rail of the sensor or of the item lies above

KEPT = 3  # what a whole recording shows, its end, and the time that a fault was there


@dataclass(frozen=True)
class Shown:
    """One case, what it testifies, and how strange it is to the picture, 0 to 1."""

    case: Case
    testimonies: tuple[Testimony, ...]
    strangeness: float


@dataclass(frozen=True)
class Examined:
    """Recordings of one car with its engine and day, and what they show: worked out when it is first asked for.

    `case` is all of its recordings in one; `good` are the known-good recordings of this car, `others` those of other
    cars with its engine.
    """

    recordings: tuple[Recording, ...]
    baselines: tuple[Recording, ...]
    sisters: tuple[Recording, ...]
    profile: EngineProfile
    weather: Barometer
    known: Knowledge
    case: Case
    good: tuple[Case, ...]
    others: tuple[Case, ...]
    _kept: dict[object, Shown] = field(default_factory=dict, repr=False, compare=False)
    _switching: dict[str | None, dict[str, ComesAndGoes]] = field(default_factory=dict, repr=False, compare=False)

    def hypotheses(self, healthy_share: float = HEALTHY_WITHOUT_COMPLAINT) -> Hypotheses:
        """All that can be wrong with it; `healthy_share` is the prior probability that nothing is."""
        signals = frozenset(self.case.recording)
        return hypotheses_for(self.known, self.profile, signals, healthy_share=healthy_share)

    def switching(self, cause: str | None = None) -> dict[str, ComesAndGoes]:
        """What comes and goes in it, asked of that cause alone where one is named."""
        if cause not in self._switching:
            self._switching[cause] = comes_and_goes(self.case, None if cause is None else {cause})
        return self._switching[cause]

    def shows(self, engine_off_kpa: Mapping[str, float], there: Sequence[Interval] | None = None) -> Shown:
        """What it shows, with the pressures (kPa absolute, by signal) that were read with the engine off.

        `there` are the only intervals (s) to look at, None for all. The last few answers are kept.
        """
        asked = tuple(sorted(engine_off_kpa.items())), None if there is None else tuple(there)
        shown = self._kept.pop(asked, None)
        if shown is None:
            case = replace(self.case, engine_off_kpa=engine_off_kpa)
            if there is not None:
                case = case_within(case, there, strangeness=self.shows(engine_off_kpa).strangeness)
            shown = _shown(case, self.hypotheses())
            while len(self._kept) >= KEPT:
                self._kept.pop(next(iter(self._kept)))
        self._kept[asked] = shown
        return shown


def examine(
    recordings: Sequence[Recording],
    profile: EngineProfile,
    *,
    baselines: Sequence[Recording] = (),
    sisters: Sequence[Recording] = (),
    barometer: Barometer | None = None,
    ambient_c: float | None = None,
    known: Knowledge | None = None,
) -> Examined:
    """One car's recordings made ready to be weighed, none being a recording without signals.

    `baselines`, `sisters`, `barometer`, `ambient_c` and `known` are as `weigh` takes them.
    """
    known = known or knowledge()
    recording = joined(recordings) if recordings else Recording({}, label="")
    weather = barometer or UNKNOWN_PLACE
    hypotheses = hypotheses_for(known, profile, frozenset(recording), healthy_share=HEALTHY_WITHOUT_COMPLAINT)
    belief = generic_belief(profile)
    # Sister cars were driven elsewhere, on other days: of that only their own sensors tell.
    others = [case_of(one, profile, UNKNOWN_PLACE, belief, hypotheses, None) for one in sisters]
    belief = learn_type(belief, [other.path for other in others])
    good = [case_of(one, profile, weather, belief, hypotheses, ambient_c) for one in baselines]
    for one in good:
        belief = learn_engine(belief, one.path)
    if good:
        belief = another_day(belief)
    case = replace(case_of(recording, profile, weather, belief, hypotheses, ambient_c, good), baselines=tuple(good))
    return Examined(
        tuple(recordings), tuple(baselines), tuple(sisters), profile, weather, known, case, tuple(good), tuple(others)
    )


def checked(case: Case) -> list[Testimony]:
    """What the single checks say that can be made of such an engine."""
    return [testimony for check in (CHECKS if case.profile.throttled else OF_ANY_ENGINE) for testimony in check(case)]


def _shown(case: Case, hypotheses: Hypotheses) -> Shown:
    """The single checks and the whole picture, each heard with its share; readings by hand in full."""
    single = checked(case)
    if not case.profile.throttled:
        return Shown(case, tuple(single), 0.0)
    by_hand = {engine_off.FINDINGS[signal] for signal in case.engine_off_kpa if signal in engine_off.FINDINGS}
    picture = whole_picture.check(case)
    told = heard(single, picture, hypotheses.log_prior, known_car=bool(case.baselines), in_full=by_hand)
    return Shown(case, tuple(told), picture.strangeness)


def case_within(case: Case, intervals: Sequence[Interval], *, strangeness: float) -> Case:
    """The case, only of the time inside the intervals; `strangeness` is that of the whole to the picture."""
    middle = (case.points.start_s + case.points.end_s) / 2
    inside = np.zeros(middle.size, dtype=bool)
    for start, end in intervals:
        inside |= (middle >= start) & (middle < end)
    path = replace(case.path, points=case.points.where(inside))
    return replace(case, recording=only_within(case.recording, intervals), path=path, strange_at_least=strangeness)


def case_of(
    recording: Recording,
    profile: EngineProfile,
    weather: Barometer,
    belief: EngineBelief,
    hypotheses: Hypotheses,
    ambient_c: float | None,
    good_cases: Sequence[Case] = (),
) -> Case:
    """A recording made ready for the checks; where the throttle is shut is taken from a good case, if there is one."""
    regimes = find_regimes(recording, idle_rpm=profile.idle_rpm)
    barometer = best_barometer(weather, recording, regimes)
    points = points_of(recording, regimes, profile)
    # A fouled throttle shuts further open than a clean one did: the known-good recording says where shut is.
    closed_stop = good_cases[0].path.closed_stop if good_cases else closed_stop_of(points)
    by_idle = not good_cases and closed_stop > 0.0
    path = OnePath(points, barometer.kpa * 1e3, profile, belief, closed_stop, stop_by_idle=by_idle)
    return Case(recording, regimes, profile, weather, barometer, path, hypotheses.sizes, ambient_c=ambient_c)


def refusal_of(case: Case) -> str | None:
    """Why this engine or recording lies outside what the models cover, or None."""
    pressure = case.recording.get("manifold_pressure")
    if pressure is not None and len(pressure) and not case.profile.boosted:
        top = float(np.quantile(pressure.values, 0.99))
        if BOOST_FOR_SURE * case.barometer.kpa < top < NO_SENSOR_KPA:
            return (
                f"the manifold pressure rises to {top:.0f} kPa absolute, far above the barometer, and the engine file "
                "says that nothing compresses the air: set induction to what the car has, or check the pressure's unit"
            )
    if pressure is None or not len(pressure) or case.regimes.throttled == case.profile.throttled:
        return None
    low, high = np.quantile(pressure.values, (0.10, 0.98))
    if not case.profile.throttled:
        if high - low > 15.0 and low < SURELY_THROTTLED * case.barometer.kpa:
            return (
                f"the manifold pressure falls to {low:.0f} kPa absolute and moves with the engine, as only a throttle "
                "makes it, and the engine is said to be a diesel: check what it burns, or the pressure's heading and "
                "unit"
            )
        return None
    trims = any(name in case.recording for name in ("short_trim_1", "long_trim_1"))
    if not trims and high - low > 15.0 and low > 0.85 * case.barometer.kpa:
        return (
            "the manifold pressure never falls much below the barometer although the engine idles, as in a diesel: "
            'if it is one, say so of its engine (fuel "diesel"); if it burns petrol, check the pressure\'s heading and '
            "unit"
        )
    return None
