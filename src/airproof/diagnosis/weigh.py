"""Weighing: from recordings, codes and symptoms to a verdict.

The checks give testimonies; Bayes' rule weighs every cause at every size by them. A comparison of causes on the whole
recording can be added as one more source of testimonies in CHECKS without touching the rest.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis import by_meter
from airproof.diagnosis.bayes import NEPERS_TO_DECIBANS, Posterior, interval, narrowed, posterior_of, weigh_testimonies
from airproof.diagnosis.case import Case, Check
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
from airproof.diagnosis.clashes import clashes_of
from airproof.diagnosis.companions import doubtful_good, odd_companions
from airproof.diagnosis.conditions import UNKNOWN_PLACE, best_barometer
from airproof.diagnosis.facts import Facts, facts_of
from airproof.diagnosis.freeze_frames import from_frames
from airproof.diagnosis.gaps import cannot_tell, not_recorded, nothing_recorded, too_little, two_at_once
from airproof.diagnosis.hypotheses import Hypotheses, hypotheses_for
from airproof.diagnosis.meter.measured import Measurements
from airproof.diagnosis.network import Layout, Told, as_testimonies
from airproof.diagnosis.pair_network import pairs_told
from airproof.diagnosis.pairs import pairs_of
from airproof.diagnosis.picture import check as whole_picture
from airproof.diagnosis.picture.hearing import heard, in_full
from airproof.diagnosis.readings import Reading
from airproof.diagnosis.testimony import Testimony
from airproof.diagnosis.timeline import presence, spells, walk
from airproof.diagnosis.told import steps_told, told_of
from airproof.diagnosis.traces import traces_of
from airproof.diagnosis.verdict import CauseVerdict, Evidence, Size, Verdict
from airproof.diagnosis.weighing import Barometer, Weighing
from airproof.engine.air_path import OnePath, another_day, closed_stop_of, generic_belief, learn_engine, learn_type
from airproof.engine.operating_points import find_operating_points
from airproof.engine.profile import EngineProfile
from airproof.engine.smooth_table import EngineBelief
from airproof.knowledge.load import knowledge
from airproof.knowledge.model import NONE, Knowledge
from airproof.recording.joined import joined, only_within
from airproof.recording.recording import Interval, Recording
from airproof.recording.regimes import find_regimes

Floats = NDArray[np.float64]

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

CAME_AND_WENT = (0.05, 0.10)
"""A fault was absent for at least the first share of the time and present for at least the second: then it is sized
only where it was present."""

SURE_ENOUGH = 0.5
BOOST_FOR_SURE, NO_SENSOR_KPA = 1.4, 250.0  # of the barometer; a rail of the sensor or of the item lies above

HOLE_SIZE_SD = 0.08  # of the diameter: 16 % of the flow; judged: Airproof authors
LEAST_TOLD = 0.25
"""Nepers of information about a size, below which it is only what is usual; judged: Airproof authors."""


def weigh(
    recordings: Sequence[Recording],
    profile: EngineProfile,
    *,
    baselines: Sequence[Recording] = (),
    sisters: Sequence[Recording] = (),
    codes: Sequence[str] = (),
    symptoms: Sequence[str] = (),
    barometer: Barometer | None = None,
    ambient_c: float | None = None,
    readings: Sequence[Reading | Measurements] = (),
    facts: Facts | None = None,
    known: Knowledge | None = None,
    progress: Callable[[float], None] | None = None,
) -> Weighing:
    """Weigh one car's recordings, and what was told beside them; without any recording, what was told alone.

    `baselines` are known-good recordings of this car, `sisters` of other cars with the same engine, one each.
    `codes` and `symptoms` are ids as the knowledge spells them; unknown ones carry no weight. `facts` holds what was
    told, seen and read by hand; it is said after `codes`, `symptoms` and `readings`, and of two on one thing the later
    counts. `barometer` is what is known of the day without the car's sensors. `known` is what is known of causes and
    witnesses, None for what ships with the package. `progress` is told the share done, 0 to 1.
    """
    tell = progress or _quietly
    known = known or knowledge()
    recording = joined(recordings) if recordings else Recording({}, label="")
    weather = barometer or UNKNOWN_PLACE
    told = [one for one in readings if not isinstance(one, Measurements)]
    facts = facts_of(codes, symptoms, told, facts)
    healthy_share = _complaint_share(known) if facts.complaint else HEALTHY_WITHOUT_COMPLAINT
    facts = facts.known_to(known)
    hypotheses = hypotheses_for(known, profile, frozenset(recording), healthy_share=healthy_share)

    belief = generic_belief(profile)
    # Sister cars were driven elsewhere, on other days: of that only their own sensors tell.
    others = [case_of(one, profile, UNKNOWN_PLACE, belief, hypotheses, None) for one in sisters]
    belief = learn_type(belief, [other.path for other in others])
    good_cases = [case_of(good, profile, weather, belief, hypotheses, ambient_c) for good in baselines]
    for good in good_cases:
        belief = learn_engine(belief, good.path)
    if good_cases:
        belief = another_day(belief)
    tell(0.3)
    case = replace(
        case_of(recording, profile, weather, belief, hypotheses, ambient_c, good_cases),
        baselines=tuple(good_cases),
        engine_off_kpa=facts.engine_off_kpa,
    )
    measured, measured_steps = by_meter.heard_from(case, readings, known)
    # What was measured carries out its step: an outcome told of it besides says nothing more.
    facts = facts.without_steps(measured_steps)
    steps_done = {**steps_told(facts, known), **measured_steps}
    refusal = too_little(case, anything_else=facts.anything or bool(measured)) or refusal_of(case)
    if refusal is not None:
        said = _Said.of(facts, case, known, measured)
        verdict = _verdict(case, hypotheses, said.testimonies, known, refusal=refusal)
        return Weighing(
            recording, case.regimes, profile, case.barometer, verdict, (), tuple(baselines), tuple(sisters), steps_done,
            weather=weather,
        )  # fmt: skip

    testimonies, posterior, narrowed, said, there = _judge(case, hypotheses, facts, known, measured)
    tell(0.8)
    sizes = {c: interval(hypotheses.sizes[c], posterior.sizes[c])[0] for c in hypotheses.sizes}
    verdict = _verdict(narrowed, hypotheses, testimonies, known)
    if recording.signals:
        pairs = pairs_of(narrowed, posterior, in_full(testimonies), hypotheses.log_prior)
    else:
        not_told = [one for one in testimonies if one.finding.unit]
        pairs = pairs_told(hypotheses.log_prior, said.told, not_told) if said.told else ()
    clashes = clashes_of(facts, said.told, testimonies, hypotheses, known)
    verdict = replace(
        verdict,
        pairs=pairs,
        clashes=clashes,
        cannot_tell=(
            *(clash.says for clash in clashes),
            *(nothing_recorded() if not recording.signals else ()),
            *(two_at_once(pair, known) for pair in pairs[:1]),
            *verdict.cannot_tell,
        ),
        timeline=walk(case, posterior.probability, sizes),
        cautions=(
            *doubtful_good([*good_cases, *others]),
            *(odd_companions(recordings, baselines) if recordings else ()),
            *verdict.cautions,
        ),
        regimes_s=case.regimes.seconds(),
    )
    weighing = Weighing(
        recording,
        case.regimes,
        profile,
        case.barometer,
        verdict,
        traces_of(case),
        tuple(baselines),
        tuple(sisters),
        steps_done,
        there,
        weather,
    )
    tell(1.0)
    return weighing


def _quietly(_share: float) -> None:
    """Progress that nobody asked for."""


@dataclass(frozen=True)
class _Said:
    """What was told beside the recording, linked to the causes, and all testimonies of it."""

    told: tuple[Told, ...]
    testimonies: tuple[Testimony, ...]

    @classmethod
    def of(cls, facts: Facts, case: Case, known: Knowledge, measured: Sequence[Testimony]) -> _Said:
        """Freeze frames are judged with the case, which knows engine and day; a code is heard with its frame."""
        by_meter = {"manifold_pressure"} if any(one.finding.unit == "kPa" for one in measured) else set()
        frames = from_frames(case, facts.frames, known, by_meter)
        told = told_of(facts, known, case.sizes, frames.shown)
        return cls(tuple(told), (*as_testimonies(told, Layout.of(case.sizes)), *frames.testimonies, *measured))


def _judge(
    case: Case, hypotheses: Hypotheses, facts: Facts, known: Knowledge, measured: Sequence[Testimony]
) -> tuple[list[Testimony], Posterior, Case, _Said, tuple[Interval, ...] | None]:
    """Testimonies and posterior; where the likeliest cause came or went, only of the time it was there."""
    said = _Said.of(facts, case, known, measured)
    testimonies = [*_examine(case, hypotheses), *said.testimonies]
    posterior = posterior_of(hypotheses.log_prior, testimonies)
    spelled = _spells_of_likeliest(case, hypotheses, posterior)
    if spelled is None:
        return testimonies, posterior, case, said, None
    narrowed = case_within(case, spelled)
    said = _Said.of(facts, narrowed, known, measured) if facts.frames else said
    testimonies = [*_examine(narrowed, hypotheses), *said.testimonies]
    return testimonies, posterior_of(hypotheses.log_prior, testimonies), narrowed, said, spelled


def _examine(case: Case, hypotheses: Hypotheses) -> list[Testimony]:
    """The single checks and the whole picture, each heard with its share; readings by hand in full."""
    single = [testimony for check in CHECKS for testimony in check(case)]
    by_hand = {engine_off.FINDINGS[signal] for signal in case.engine_off_kpa if signal in engine_off.FINDINGS}
    picture = whole_picture.check(case)
    return heard(single, picture, hypotheses.log_prior, known_car=bool(case.baselines), in_full=by_hand)


def _spells_of_likeliest(case: Case, hypotheses: Hypotheses, posterior: Posterior) -> tuple[Interval, ...] | None:
    likeliest = max((c for c in posterior.probability if c != NONE), key=lambda c: posterior.probability[c])
    if posterior.probability[likeliest] < SURE_ENOUGH:
        return None
    size = interval(hypotheses.sizes[likeliest], posterior.sizes[likeliest])[0]
    there = presence(case, likeliest, size)
    absent, present = float(np.mean(there < 0.2)), float(np.mean(there > 0.8))
    if absent < CAME_AND_WENT[0] or present < CAME_AND_WENT[1]:
        return None
    return spells(case, there)


def case_within(case: Case, intervals: Sequence[Interval]) -> Case:
    """The case, only of the time inside the intervals."""
    middle = (case.points.start_s + case.points.end_s) / 2
    inside = np.zeros(middle.size, dtype=bool)
    for start, end in intervals:
        inside |= (middle >= start) & (middle < end)
    path = replace(case.path, points=case.points.where(inside))
    return replace(case, recording=only_within(case.recording, intervals), path=path)


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
    points = find_operating_points(recording, regimes)
    # A fouled throttle shuts further open than a clean one did: the known-good recording says where shut is.
    closed_stop = good_cases[0].path.closed_stop if good_cases else closed_stop_of(points)
    path = OnePath(points, barometer.kpa * 1e3, profile, belief, closed_stop)
    return Case(recording, regimes, profile, weather, barometer, path, hypotheses.sizes, ambient_c=ambient_c)


def _complaint_share(known: Knowledge) -> float:
    """Prior of `none` for a car whose owner complains, as the causes' weights have it."""
    total = sum(cause.weight for cause in known.causes.values())
    return known.causes[NONE].weight / total


def refusal_of(case: Case) -> str | None:
    """Why this engine or recording lies outside what the models cover, or None."""
    if case.profile.fuel == "diesel":
        return (
            "this is a diesel: it is not throttled and has no fuel trims, and the models here are for petrol engines; "
            "the recording was read and its regimes found, but nothing is judged"
        )
    pressure = case.recording.get("manifold_pressure")
    if pressure is not None and len(pressure) and not case.profile.boosted:
        top = float(np.quantile(pressure.values, 0.99))
        if BOOST_FOR_SURE * case.barometer.kpa < top < NO_SENSOR_KPA:
            return (
                f"the manifold pressure rises to {top:.0f} kPa absolute, far above the barometer, and the engine file "
                "says that nothing compresses the air: set induction to what the car has, or check the pressure's unit"
            )
    if case.regimes.throttled or pressure is None or not len(pressure):
        return None
    low, high = np.quantile(pressure.values, (0.10, 0.98))
    trims = any(name in case.recording for name in ("short_trim_1", "long_trim_1"))
    if not trims and high - low > 15.0 and low > 0.85 * case.barometer.kpa:
        return (
            "the manifold pressure never falls much below the barometer although the engine idles, as in a diesel: "
            "the models here are for throttled petrol engines; if it is one, check the pressure's heading and unit"
        )
    return None


def _verdict(
    case: Case,
    hypotheses: Hypotheses,
    testimonies: Sequence[Testimony],
    known: Knowledge,
    *,
    refusal: str | None = None,
) -> Verdict:
    posterior = weigh_testimonies(hypotheses.log_prior, testimonies if refusal is None else [])
    ranked = sorted(posterior.probability, key=lambda c: -posterior.probability[c])
    causes = tuple(_cause_verdict(name, hypotheses, posterior, testimonies, known) for name in ranked)
    cautions = dict.fromkeys(
        caution for name in ranked if posterior.probability[name] > 0.1 for caution in known.causes[name].cautions
    )
    return Verdict(
        causes=causes,
        findings=tuple(t.finding for t in testimonies if t.finding.unit or t.finding.intervals),
        cannot_tell=not_recorded(case) if refusal else cannot_tell(case, posterior, testimonies, known),
        cautions=(*cautions, *STANDING_CAUTIONS),
        refusal=refusal,
        regimes_s=case.regimes.seconds(),
    )


STANDING_CAUTIONS = (
    "Probabilities rest on judged priors and on models of healthy engines: they rank what to look at next, and prove "
    "nothing by themselves.",
    "Work by the maker's service data and local rules; hot parts, turning belts and fans, fuel and exhaust gas injure.",
)


def _holes(unit: str, value: float, low: float, high: float) -> tuple[float, float]:
    """A hole is sized through an assumed discharge, upstream pressure and temperature: its interval allows for them."""
    if unit != "mm":
        return low, high
    more = 1.645 * HOLE_SIZE_SD * value
    return value - float(np.hypot(value - low, more)), value + float(np.hypot(high - value, more))


def _alone(testimony: Testimony, cause: str, sizes: Floats) -> float | None:
    """Decibans of a testimony for a cause, at the sizes it turned out to have, against nothing being wrong."""
    if cause == NONE:
        return None
    rows = testimony.by_itself
    with np.errstate(divide="ignore"):
        given = float(np.logaddexp.reduce(rows[cause] + np.log(sizes)))
    return float(NEPERS_TO_DECIBANS * (given - rows[NONE][0]))


def _cause_verdict(
    name: str,
    hypotheses: Hypotheses,
    posterior: Posterior,
    testimonies: Sequence[Testimony],
    known: Knowledge,
) -> CauseVerdict:
    size = None
    if hypotheses.reported(name):
        found = posterior.sizes[name]
        told = narrowed(hypotheses.log_prior[name], found) > LEAST_TOLD
        value, low, high = interval(hypotheses.sizes[name], found)
        size = Size(value, *_holes(known.causes[name].unit, value, low, high), known.causes[name].unit, told)
    spoken = [
        Evidence(t.finding.id, weights[name], t.finding.says, _alone(t, name, posterior.sizes[name]))
        for t, weights in zip(testimonies, posterior.weights, strict=False)
    ]
    spoken.sort(key=lambda e: -abs(e.decibans))
    before = Evidence("before", posterior.before[name], "how common this is before any evidence")
    return CauseVerdict(name, known.causes[name].title, posterior.probability[name], size, (*spoken, before))
