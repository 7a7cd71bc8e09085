"""Weighing: from recordings, codes and symptoms to a verdict.

What the recordings show (`examine.py`) and what was told beside them are testimonies; Bayes' rule weighs every cause at
every size by them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.bayes import (
    INTERVAL_SHARE,
    NEPERS_TO_DECIBANS,
    Posterior,
    interval,
    narrowed,
    posterior_of,
    weigh_testimonies,
)
from airproof.diagnosis.case import Case
from airproof.diagnosis.clashes import clashes_of
from airproof.diagnosis.companions import doubtful_good, odd_companions
from airproof.diagnosis.course import course_of, end_of, switching_of
from airproof.diagnosis.examine import HEALTHY_WITHOUT_COMPLAINT, Examined, examine, refusal_of
from airproof.diagnosis.facts import Facts, facts_of
from airproof.diagnosis.freeze_frames import from_frames
from airproof.diagnosis.gaps import cannot_tell, not_recorded, nothing_recorded, part_or_plug, too_little, two_at_once
from airproof.diagnosis.hypotheses import Hypotheses
from airproof.diagnosis.meter.measured import Measurements
from airproof.diagnosis.misread import misread
from airproof.diagnosis.network import Layout, Told, as_testimonies
from airproof.diagnosis.pair_network import pairs_told
from airproof.diagnosis.pairs import pairs_of
from airproof.diagnosis.picture.hearing import in_full
from airproof.diagnosis.readings import Reading
from airproof.diagnosis.self_contradiction import drifted, unboosted, unplaced
from airproof.diagnosis.testimony import Testimony
from airproof.diagnosis.timeline import presence, spells, walk
from airproof.diagnosis.told import steps_told, told_of
from airproof.diagnosis.traces import traces_of
from airproof.diagnosis.verdict import CauseVerdict, Evidence, Size, Verdict
from airproof.diagnosis.weighing import Barometer, Weighing
from airproof.engine.profile import EngineProfile
from airproof.knowledge.model import NONE, Cause, Knowledge
from airproof.recording.recording import Interval, Recording

Floats = NDArray[np.float64]

CAME_AND_WENT = (0.05, 0.10)
"""A fault was absent for at least the first share of the time and present for at least the second: then it is sized
only where it was present."""

SURE_ENOUGH = 0.5

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
    examined = examine(
        recordings, profile, baselines=baselines, sisters=sisters, barometer=barometer, ambient_c=ambient_c, known=known
    )
    (progress or _quietly)(0.3)
    told = [one for one in readings if not isinstance(one, Measurements)]
    return weigh_examined(examined, facts_of(codes, symptoms, told, facts), readings, progress)


def weigh_examined(
    examined: Examined,
    facts: Facts,
    readings: Sequence[Reading | Measurements] = (),
    progress: Callable[[float], None] | None = None,
) -> Weighing:
    """Weigh what recordings show, and what was told beside them; single `readings` are to be in `facts` as well."""
    tell = progress or _quietly
    known, profile = examined.known, examined.profile
    hypotheses = examined.hypotheses(_complaint_share(known) if facts.complaint else HEALTHY_WITHOUT_COMPLAINT)
    facts = facts.known_to(known)
    case = replace(examined.case, engine_off_kpa=facts.engine_off_kpa)
    recording, weather = case.recording, examined.weather
    baselines, sisters = examined.baselines, examined.sisters
    measured, measured_steps = _by_meter(case, readings, known)
    # What was measured carries out its step: an outcome told of it besides says nothing more.
    facts = facts.without_steps(measured_steps)
    steps_done = {**steps_told(facts, known), **measured_steps}
    refusal = (
        too_little(case, anything_else=facts.anything or bool(measured))
        or (misread((*examined.recordings, *baselines), profile, weather) if profile.throttled else None)
        or refusal_of(case)
    )
    implausible = [says for one in (*examined.recordings, *baselines) for says in one.report.implausible]
    doubts = (*((case.barometer.doubt,) if case.barometer.doubt else ()), *implausible)
    if refusal is not None:
        said = _Said.of(facts, case, known, measured)
        verdict = _verdict(case, hypotheses, said.testimonies, known, refusal=refusal)
        verdict = replace(verdict, doubts=doubts)
        return Weighing(
            recording, case.regimes, profile, case.barometer, verdict, (), baselines, sisters, steps_done,
            weather=weather,
        )  # fmt: skip

    judged = _judge(examined, hypotheses, facts, measured)
    testimonies, posterior, said = judged.testimonies, judged.posterior, judged.said
    tell(0.8)
    sizes = {c: interval(hypotheses.sizes[c], posterior.sizes[c])[0] for c in hypotheses.sizes}
    verdict = _verdict(judged.case, hypotheses, testimonies, known)
    if recording.signals:
        pairs = pairs_of(judged.case, posterior, in_full(testimonies), hypotheses.log_prior)
    else:
        not_told = [one for one in testimonies if one.finding.unit]
        pairs = pairs_told(hypotheses.log_prior, said.told, not_told) if said.told else ()
    clashes = clashes_of(facts, said.told, testimonies, hypotheses, known)
    found = verdict.first.id
    verdict = replace(
        verdict,
        doubts=(
            *doubts,
            *drifted(case, found),
            *unboosted(case, found),
            *unplaced(case, posterior.probability, found),
        ),
        pairs=pairs,
        clashes=clashes,
        cannot_tell=(
            *(clash.says for clash in clashes),
            *(nothing_recorded(profile) if not recording.signals else ()),
            *((part_or_plug(),) if judged.comes_and_goes else ()),
            *(two_at_once(pair, known) for pair in pairs[:1]),
            *verdict.cannot_tell,
        ),
        timeline=walk(case, posterior.probability, sizes, judged.when),
        cautions=(
            *doubtful_good([*examined.good, *examined.others]),
            *(odd_companions(examined.recordings, baselines) if examined.recordings else ()),
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
        baselines,
        sisters,
        steps_done,
        judged.there,
        weather,
    )
    tell(1.0)
    return weighing


def _by_meter(
    case: Case, readings: Sequence[Reading | Measurements], known: Knowledge
) -> tuple[list[Testimony], dict[str, bool]]:
    """What was measured with a meter, and the steps that were carried out by it; loaded only where there is some."""
    if not any(isinstance(one, Measurements) for one in readings):
        return [], {}
    from airproof.diagnosis.by_meter import heard_from

    return heard_from(case, readings, known)


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
        told = told_of(facts, known, case.sizes, frames.shown, case.profile.fuel)
        return cls(tuple(told), (*as_testimonies(told, Layout.of(case.sizes)), *frames.testimonies, *measured))


@dataclass(frozen=True)
class _Judged:
    """Testimonies and what they make of the causes; the case and what was told as they were judged, the only time (s)
    that was looked at, None for all, and the cause that was there just then, where one comes and goes.
    """

    testimonies: list[Testimony]
    posterior: Posterior
    case: Case
    said: _Said
    there: tuple[Interval, ...] | None
    comes_and_goes: str | None = None

    @property
    def when(self) -> dict[str, tuple[Interval, ...]]:
        """The spells of a cause that comes and goes."""
        return {self.comes_and_goes: self.there} if self.comes_and_goes and self.there else {}

    def hearing(self, testimony: Testimony, hypotheses: Hypotheses) -> _Judged:
        """With one more testimony."""
        more = [*self.testimonies, testimony]
        return replace(self, testimonies=more, posterior=posterior_of(hypotheses.log_prior, more))


def _judge(examined: Examined, hypotheses: Hypotheses, facts: Facts, measured: Sequence[Testimony]) -> _Judged:
    """Testimonies and posterior; where the likeliest cause came or went, only of the time it was there."""

    def weighed(there: tuple[Interval, ...] | None) -> _Judged:
        shown = examined.shows(facts.engine_off_kpa, there)
        said = _Said.of(facts, shown.case, examined.known, measured)
        testimonies = [*shown.testimonies, *said.testimonies]
        return _Judged(testimonies, posterior_of(hypotheses.log_prior, testimonies), shown.case, said, there)

    whole = judged = weighed(None)
    end = end_of(whole.case)
    if end is not None:
        late = weighed(end)
        course = course_of(whole.case, end, whole.posterior, late.posterior)
        judged = (late if course.end_reported else whole).hearing(course.testimony, hypotheses)
    told = posterior_of(hypotheses.log_prior, list(whole.said.testimonies))
    switching = switching_of(examined.switching, judged.posterior, whole.posterior, told)
    if switching is not None and switching.reported is not None:
        spelled = weighed(switching.reported.there)
        spelled = replace(spelled, comes_and_goes=switching.cause)
        return spelled.hearing(switching.beside(spelled.posterior), hypotheses)
    if switching is not None:
        judged = judged.hearing(switching.beside(judged.posterior), hypotheses)
    if judged.there is not None:
        return judged
    spells = _spells_of_likeliest(whole.case, hypotheses, judged.posterior)
    if spells is None:
        return judged
    of_its_time = weighed(spells)  # its course is told by that
    # Thinned over the whole drive it was small, and so was seen in what it grew from as well.
    grown = _spells_of_likeliest(whole.case, hypotheses, of_its_time.posterior)
    return of_its_time if grown is None or grown == spells else weighed(grown)


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


def _complaint_share(known: Knowledge) -> float:
    """Prior of `none` for a car whose owner complains, as the causes' weights have it."""
    total = sum(cause.weight for cause in known.causes.values())
    return known.causes[NONE].weight / total


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


def _beyond(cause: Cause, found: Floats, value: float) -> bool:
    """Whether the largest size on the grid, of the sign it has, is within the interval."""
    assert cause.size is not None
    largest = found[-1] if value > 0.0 or not cause.size.signed else found[0]
    return not cause.size.whole and bool(largest > (1.0 - INTERVAL_SHARE) / 2.0)


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
        cause = known.causes[name]
        beyond = told and _beyond(cause, found, value)
        size = Size(value, *_holes(cause.unit, value, low, high), cause.unit, told, beyond)
    spoken = [
        Evidence(t.finding.id, weights[name], t.finding.says, _alone(t, name, posterior.sizes[name]))
        for t, weights in zip(testimonies, posterior.weights, strict=False)
    ]
    spoken.sort(key=lambda e: -abs(e.decibans))
    before = Evidence("before", posterior.before[name], "how common this is before any evidence")
    return CauseVerdict(name, known.causes[name].title, posterior.probability[name], size, (*spoken, before))
