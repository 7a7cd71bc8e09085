"""What cannot be told from this recording, and what to record or look at instead."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from airproof.diagnosis.bayes import (
    NEPERS_TO_DECIBANS,
    UNEXPLAINED_DECIBANS,
    UNEXPLAINED_WHEN_TOLD,
    Posterior,
    unexplained,
)
from airproof.diagnosis.case import Case
from airproof.diagnosis.course import COURSE, SWITCHING
from airproof.diagnosis.pairs import ALONE
from airproof.diagnosis.picture.worth import worth_of
from airproof.diagnosis.testimony import Testimony
from airproof.diagnosis.verdict import Pair
from airproof.engine.profile import EngineProfile
from airproof.knowledge.model import NONE, Knowledge
from airproof.recording.recording import Floats
from airproof.recording.regimes import Regime

NO_PLACE = "neither altitude nor barometer is known: say one of them; in the terminal, --altitude or --barometer does"
LEVEL_DECIBANS = 7.0
"""Two causes whose odds differ by less (five to one) count as level; judged: Airproof authors."""

WORTH_NAMING = 0.10
LEAST_WORTH_FOLLOWING = 0.01
UNMOVED_DECIBANS = 2.0
LEAST = {"engine_speed": "engine speed", "manifold_pressure": "manifold pressure"}
FEWEST_SAMPLES = 10
COPY_WITHIN_KPA = 3.0
LEAST_IDLE_S, LEAST_PULL_S, FEWEST_STEADY = 10.0, 1.0, 5  # what a place of the picture needs to say anything
WORTH_SAYING = 0.1  # nepers of expected information; judged: Airproof authors
LEADING = 0.5
A_REASON_DECIBANS = 4.5  # that speaks clearly for a cause; judged: Airproof authors, three to one
MOST_UNEXPLAINED = 3
STATED_SD_KPA = 3.0  # a place known better than this was stated by somebody
SENSORS_AGREE_KPA = 4.0  # good sensors of one car agree to 2 to 4 kPa; common practice, no source
NOT_WEATHER_KPA = 6.0  # more than weather moves the barometer; judged: Airproof authors


def cannot_tell(
    case: Case, posterior: Posterior, testimonies: Sequence[Testimony], knowledge: Knowledge
) -> tuple[str, ...]:
    """Lines in plain words, the most useful first."""
    return (
        *_not_explained(posterior, testimonies, knowledge),
        *_wrong_place(case),
        *_left_level(posterior.probability, knowledge),
        *_blind(posterior, knowledge),
        *not_recorded(case, posterior.probability),
    )


def _not_explained(posterior: Posterior, testimonies: Sequence[Testimony], knowledge: Knowledge) -> list[str]:
    """Evidence against the foremost cause: it may be the wrong one, or not the only one."""
    if not testimonies:
        return []
    first = max(posterior.probability, key=lambda cause: posterior.probability[cause])
    seen = [
        one for one in testimonies if one.finding.id not in (COURSE, SWITCHING)
    ]  # when it came is nothing to be explained
    speaks = dict(zip((one.finding.id for one in testimonies), posterior.weights, strict=False))
    left = [
        one
        for one in unexplained(seen, first, posterior.sizes[first])
        if speaks.get(one.finding.id, {}).get(first, 0.0) <= UNEXPLAINED_DECIBANS
        and not _speaks_for(one, first, posterior.sizes[first])
        and not _as_healthy(one, first, posterior.sizes[first])
        and not {first, _best(one)} <= ALONE
    ]
    if not left or posterior.probability[first] < LEADING:
        return []
    said = "; ".join(testimony.finding.says for testimony in left[:MOST_UNEXPLAINED])
    if first == NONE:
        return [f"against nothing being wrong stands: {said}; look there before the car goes"]
    title = _lower(knowledge.causes[first].title)
    return [f"not explained by the foremost cause ({title}): {said}; there may be a second one"]


def _best(one: Testimony) -> str:
    """The cause that explains it best."""
    return max(one.by_itself, key=lambda cause: float(one.by_itself[cause].max()))


def _as_healthy(one: Testimony, cause: str, sizes: Floats) -> bool:
    """Whether it is as healthy cars show it, and the cause explains that hardly worse than nothing being wrong does."""
    if not one.finding.unit or one.finding.unexpected or NONE not in one.by_itself:
        return False
    return _over_healthy(one, cause, sizes) > -UNEXPLAINED_WHEN_TOLD


def _speaks_for(one: Testimony, cause: str, sizes: Floats) -> bool:
    """Whether it was told and is a reason for the cause, though another one may explain it better still."""
    told = not one.finding.unit and cause != NONE and NONE in one.by_itself
    return told and _over_healthy(one, cause, sizes) >= A_REASON_DECIBANS


def _over_healthy(one: Testimony, cause: str, sizes: Floats) -> float:
    """Decibans of the cause, at the sizes found, over nothing being wrong."""
    with np.errstate(divide="ignore"):
        given = float(np.logaddexp.reduce(one.by_itself[cause] + np.log(sizes)))
    return float(NEPERS_TO_DECIBANS * (given - float(one.by_itself[NONE][0])))


def _wrong_place(case: Case) -> list[str]:
    """Sensors that agree with each other, and not with the pressure of the place that was given."""
    engine_off = [
        float(np.median(values))
        for name in ("manifold_pressure", "charge_pressure", "barometric_pressure")
        if (values := case.in_regime(name, Regime.KEY_ON)).size
    ]
    if case.weather.sd_kpa > STATED_SD_KPA or len(engine_off) < 2 or np.ptp(engine_off) > SENSORS_AGREE_KPA:
        return []
    together = float(np.mean(engine_off))
    if abs(together - case.weather.kpa) < NOT_WEATHER_KPA:
        return []
    return [
        f"with the engine off the sensors agree on {together:.0f} kPa absolute, which is not the "
        f"{case.weather.kpa:.0f} kPa of the place that was given: check the altitude, and that the barometer is not "
        "reduced to sea level"
    ]


def _blind(posterior: Posterior, knowledge: Knowledge) -> list[str]:
    """Causes of which the evidence says next to nothing: their odds against nothing being wrong are what they were."""
    if NONE not in posterior.probability or posterior.probability[NONE] < WORTH_NAMING:
        return []
    unmoved = []
    for cause, chance in posterior.probability.items():
        if cause == NONE or chance < LEAST_WORTH_FOLLOWING:
            continue
        odds = 10.0 * np.log10(chance / posterior.probability[NONE])
        if abs(odds - (_decibans(posterior.prior[cause]) - _decibans(posterior.prior[NONE]))) < UNMOVED_DECIBANS:
            unmoved.append(_lower(knowledge.causes[cause].title))
    return [f"this evidence says next to nothing about: {'; '.join(unmoved)}"] if unmoved else []


def _decibans(share: float) -> float:
    return float(10.0 * np.log10(share))


def _left_level(probability: Mapping[str, float], knowledge: Knowledge) -> list[str]:
    ranked = sorted((c for c in probability if c != NONE), key=lambda c: -probability[c])
    first, second = (*ranked, NONE, NONE)[:2]
    if probability[second] < WORTH_NAMING:
        return []
    if 10 * np.log10(probability[first] / probability[second]) > LEVEL_DECIBANS:
        return []
    a, b = knowledge.causes[first], knowledge.causes[second]
    telling = _best_step(first, second, knowledge)
    way = f"; what would tell them apart: {telling}" if telling else ""
    return [f"{_lower(a.title)} or {_lower(b.title)}: this evidence leaves them nearly level{way}"]


def _best_step(first: str, second: str, knowledge: Knowledge) -> str:
    """The step whose outcome differs most between the two causes for its minutes."""

    def information(step_id: str) -> float:
        step = knowledge.steps[step_id]
        p, q = step.positive_given(first), step.positive_given(second)
        apart = (p - q) * np.log(p * (1 - q) / (q * (1 - p)))
        return float(apart / (step.minutes + 10.0))

    telling = [name for name, step in knowledge.steps.items() if step.tells]
    best = max(telling, key=information, default="")
    return _lower(knowledge.steps[best].title) if best and information(best) > 0.01 else ""


def too_little(case: Case, *, anything_else: bool) -> str | None:
    """Why this recording cannot be judged at all, or None; what was told beside it can be weighed without it."""
    if anything_else:
        return None
    for name, title in LEAST.items():
        signal = case.recording.get(name)
        if signal is not None and len(signal) >= FEWEST_SAMPLES:
            continue
        unread = [c for c in case.recording.report.columns if c.how == "left out" and c.signal in (name, None)]
        named = [
            c for c in unread if c.says.startswith(title) or any(word in c.heading.casefold() for word in title.split())
        ]
        if signal is not None:
            return f"the recording holds {title} only {len(signal)} times: record some minutes"
        if named:
            return (
                f"the recording holds no {title} that could be read: {named[0].heading!r} was left out, {named[0].says}"
            )
        return f"the recording holds no {title}: engine speed and manifold pressure are the least that must be recorded"
    return None


def not_recorded(case: Case, probability: Mapping[str, float] | None = None) -> tuple[str, ...]:
    """What is missing from the recording, and what to record; with the probabilities now, what that would be worth."""
    lines = list(_stretches(case, probability or {}))
    if not case.recording.signals:
        return (*lines, *([NO_PLACE] if case.weather.sd_kpa > STATED_SD_KPA else []))
    if case.recording.get("manifold_pressure") is None:
        lines.append("no manifold pressure in the recording: record it, everything else is judged against it")
    if case.weather.sd_kpa > 3.0 and case.recording.get("barometric_pressure") is None:
        lines.append(NO_PLACE)
    elif case.weather.sd_kpa > 3.0 and _could_be_a_copy(case):
        lines.append(
            "the car's own barometric reading may be a copy of the manifold sensor's: altitude or barometer tells; "
            "in the terminal, --altitude or --barometer does"
        )
    if not case.profile.throttled:
        return (*lines, *_of_a_diesel(case))
    if case.profile.air_metering != "speed-density" and case.recording.get("air_flow") is None:
        lines.append("no air flow in the recording: record it, it is the best witness beside the pressure")
    if case.profile.air_metering == "speed-density" and case.recording.get("air_flow") is not None:
        lines.append(
            "the recording holds an air flow, the engine is said to meter by speed-density: if the car has an air flow "
            'sensor, say so of its engine (air_metering "air-flow sensor" or "both")'
        )
    if not any(name in case.recording for name in ("short_trim_1", "long_trim_1", "fuel_rate")):
        lines.append("no fuel trims: record short and long trim, they show what the mixture control had to add")
    if case.profile.boosted and case.recording.get("charge_pressure") is None:
        lines.append("no charge pressure before the throttle: boost faults can only be seen in the manifold")
    if case.recording.get("throttle") is None:
        lines.append("no throttle position: leaks past the throttle and slow answers cannot be seen")
    return tuple(lines)


def _of_a_diesel(case: Case) -> list[str]:
    """What a diesel's recording cannot show, and what it should hold to show the rest."""
    lines = [
        "of a diesel the pressures with the engine off and at idle, the sensors' own signals, boost and intake "
        "temperature are judged, with what was told, seen and measured; how it breathes, recirculates and burns is "
        "not: no throttle and no mixture control show that here"
    ]
    if case.profile.boosted and "charge_pressure_target" not in case.recording:
        lines.append(
            "no boost target in the recording: record the wanted charge pressure beside the measured one; too little "
            "and too much boost show against it"
            if case.profile.rated_boost_kpa
            else "no boost target in the recording: record the wanted charge pressure beside the measured one, or say "
            "what it is rated for (rated_boost_kpa); too little and too much boost show against it"
        )
    return lines


def nothing_recorded(profile: EngineProfile) -> tuple[str, ...]:
    """That the verdict rests on what was told alone."""
    if not profile.throttled:
        return (
            "nothing was recorded: this rests on what was told and seen alone; record live data and weigh it together "
            "with this: engine speed and manifold pressure at least, with barometer, pedal, road speed, intake "
            "temperature and the boost target where the car has them",
        )
    return (
        "nothing was recorded: this rests on what was told and seen alone; record live data and weigh it together with "
        "this: engine speed and manifold pressure at least, with barometer, charge pressure, air flow, throttle, fuel "
        "trims and intake temperature where the car has them",
    )


def two_at_once(pair: Pair, knowledge: Knowledge) -> str:
    """That two causes together may explain what one does not."""
    one, other = (_lower(knowledge.causes[cause].title) for cause in pair.causes)
    return (
        f"two at once may be there: {one}, and {other} ({100.0 * pair.probability:.0f} in 100, against either alone); "
        "after mending one, record again"
    )


def part_or_plug() -> str:
    """Of what comes and goes no recording tells which piece of it does; common practice, no source."""
    return (
        "whether the part itself or its plug, wires or hose comes and goes: with the engine idling, move them by hand, "
        "clear of belts, fan and hot parts and never ignition or fuel parts, and watch whether the reading answers"
    )


_MISSING = {
    "engine-off": "no engine-off interval: record ten seconds with the key on and the engine off, before starting",
    "idle": "too little idle: record one minute of warm idle",
    "part-load": "too little steady driving: record a few minutes at steady speeds, from slow to fast",
    "full-load": "no full-load interval: record one pull in third gear where it is safe, the passenger reading",
}


def _stretches(case: Case, probability: Mapping[str, float]) -> list[str]:
    """Stretches of driving that are missing, the one that would tell most first."""
    seconds = case.regimes.seconds()
    manifold = case.recording.get("manifold_pressure")
    missing = {
        "engine-off": manifold is not None and not case.in_regime("manifold_pressure", Regime.KEY_ON).size,
        "idle": seconds.get("idle", 0.0) < LEAST_IDLE_S,
        "part-load": np.count_nonzero(case.points.regime == Regime.CRUISE.value) < FEWEST_STEADY,
        "full-load": seconds.get("full-load", 0.0) < LEAST_PULL_S,
    }
    tells = missing if case.profile.throttled else ("engine-off", "full-load")
    places = tuple(place for place, is_missing in missing.items() if is_missing and place in tells)
    worth = worth_of(probability, places) if probability and case.profile.throttled else {}
    told = []
    for place in sorted(places, key=lambda place: -worth[place].nepers if place in worth else 0.0):
        one = worth.get(place)
        said = ""
        if one is not None and one.nepers > WORTH_SAYING:
            said = (
                f" (in rehearsals of what is in question now, that left about {one.after:.1f} causes open "
                f"of the {one.before:.1f} open now)"
            )
        told.append(f"{_MISSING[place]}{said}")
    return told


def _could_be_a_copy(case: Case) -> bool:
    """Whether the barometric reading agrees with the manifold sensor with the engine off, or nobody knows."""
    standing, own = case.in_regime("manifold_pressure", Regime.KEY_ON), case.recording.get("barometric_pressure")
    if own is None or not standing.size:
        return True
    return bool(abs(np.median(standing) - np.median(own.values)) < COPY_WITHIN_KPA)


def _lower(title: str) -> str:
    return title[:1].lower() + title[1:]
