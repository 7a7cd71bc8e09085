"""Weighing end to end on small recordings: verdicts, refusals, evidence that adds up, and the same answer twice."""

from __future__ import annotations

import numpy as np
import pytest
from small_cases import DAY, DIESEL, NATURAL, TURBO, Floats, changed, without, workshop_round

from airproof.diagnosis.companions import odd_companions
from airproof.diagnosis.conditions import barometer_of
from airproof.diagnosis.examine import CHECKS
from airproof.diagnosis.readings import EngineOffReading, Outcome
from airproof.diagnosis.weigh import weigh
from airproof.diagnosis.weighing import Weighing
from airproof.engine.profile import EngineProfile
from airproof.knowledge.load import knowledge
from airproof.recording.recording import Recording, Signal

KNOWN = knowledge()
HERE = barometer_of(barometer_kpa=DAY)
TURBO_ROUND = workshop_round(TURBO)
NATURAL_ROUND = workshop_round(NATURAL)
SHORT = TURBO_ROUND.between(0.0, 100.0)


def weighed(recording: Recording, profile: EngineProfile = NATURAL, **rest: object) -> Weighing:
    return weigh([recording], profile, barometer=HERE, **rest)  # type: ignore[arg-type]


def numbers(weighing: Weighing) -> list[float]:
    """Every number of a verdict, in order."""
    found = []
    for cause in weighing.verdict.causes:
        found += [cause.probability, *(e.decibans for e in cause.evidence)]
        found += [cause.size.value, cause.size.low, cause.size.high] if cause.size else []
    for finding in weighing.verdict.findings:
        found += [finding.value, finding.sd, *finding.expected]
    for moment in weighing.verdict.timeline:
        found += [moment.p_wrong, *moment.causes.values()]
    return found


def sound(weighing: Weighing) -> None:
    """What every verdict must be, whatever came in."""
    verdict = weighing.verdict
    assert np.isfinite(numbers(weighing)).all()
    probabilities = [cause.probability for cause in verdict.causes]
    assert sum(probabilities) == pytest.approx(1.0, abs=1e-9)
    assert probabilities == sorted(probabilities, reverse=True)
    ids = {finding.id for finding in verdict.findings}
    for cause in verdict.causes:
        rest = sum(other.probability for other in verdict.causes if other.id != cause.id)
        if cause.probability > 0 and rest > 0 and rest > 1e-9:
            total = sum(evidence.decibans for evidence in cause.evidence)
            assert total == pytest.approx(10 * np.log10(cause.probability / rest), abs=1e-6)
        assert [e.finding for e in cause.evidence].count("before") == 1
        for evidence in cause.evidence:
            told = evidence.finding.split(" ")[0] in ("before", "code", "symptom", "step")
            assert told or evidence.finding in ids
        if cause.size is not None:
            assert cause.size.low <= cause.size.value <= cause.size.high
            assert cause.size.unit == KNOWN.causes[cause.id].unit


@pytest.mark.parametrize(("profile", "recording"), [(TURBO, TURBO_ROUND), (NATURAL, NATURAL_ROUND)])
def test_a_healthy_car(profile: EngineProfile, recording: Recording) -> None:
    found = weighed(recording, profile)
    sound(found)
    assert found.verdict.first.id == "none"
    assert found.verdict.first.probability > 0.5
    assert not any(finding.unexpected for finding in found.verdict.findings)
    assert found.verdict.refusal is None
    assert found.verdict.regimes_s["idle"] > 80
    assert len(found.verdict.timeline) == int(np.ceil(recording.duration_s / 10.0))
    assert found.trace("manifold-pressure" if profile is TURBO else "trims") is not None


@pytest.mark.parametrize(
    ("cause", "size", "how"),
    [
        ("map-offset", -9.0, lambda v: v - 9.0),
        ("map-gain", 15.0, lambda v: v * 1.15),
        ("map-stuck", 60.0, lambda v: 0 * v + 60.0),
        ("map-circuit", None, lambda v: 0 * v + 255.0),
        ("map-circuit", None, lambda v: 0 * v + 1.0),
    ],
)
def test_a_pressure_that_lies(cause: str, size: float | None, how: object) -> None:
    found = weighed(changed(NATURAL_ROUND, "manifold_pressure", how))  # type: ignore[arg-type]
    sound(found)
    # Without boost, 14 kPa too high and 15 % too high part only at idle, by a few kPa: which of them is not asked.
    alike = ("map-offset", "map-gain", "supply-reference")
    first, three = found.verdict.first.id, found.verdict.causes[:3]
    assert first in alike if cause == "map-gain" else first == cause
    reported = next(one.size for one in three if one.id == cause)
    if size is not None and reported is not None:
        assert reported.low <= size <= reported.high


def test_the_prior_of_none_falls_when_somebody_complains() -> None:
    empty = weigh([Recording({})], NATURAL)
    assert empty.verdict.probability("none") == pytest.approx(1 / 3, abs=1e-9)
    complained = weigh([Recording({})], NATURAL, codes=["P9999"])
    total = sum(cause.weight for cause in KNOWN.causes.values())
    assert complained.verdict.probability("none") == pytest.approx(KNOWN.causes["none"].weight / total)


def test_codes_symptoms_and_outcomes_move_it_the_way_they_point() -> None:
    quiet = weighed(NATURAL_ROUND, codes=["P9999"])
    told = weighed(NATURAL_ROUND, codes=["P0106"], symptoms=["high-idle"])
    sound(told)
    spoken = {e.finding for e in told.verdict.first.evidence}
    assert {"code P0106", "symptom high-idle"} <= spoken
    assert told.verdict.probability("map-offset") > quiet.verdict.probability("map-offset")
    assert told.verdict.probability("vacuum-leak") > quiet.verdict.probability("vacuum-leak")
    step = next(name for name, one in KNOWN.steps.items() if one.tells.get("vacuum-leak", 0) > 0.7)
    found = weighed(NATURAL_ROUND, codes=["P9999"], readings=[Outcome(step, found=True)])
    not_found = weighed(NATURAL_ROUND, codes=["P9999"], readings=[Outcome(step, found=False)])
    leak = [one.verdict.probability("vacuum-leak") for one in (not_found, quiet, found)]
    assert leak == sorted(leak)
    assert leak[0] < leak[2]


def test_what_is_told_stands_in_any_order() -> None:
    codes, symptoms = ["P0106", "P0171", "P0299", "P0107"], ["rough-idle", "high-idle"]
    one = weighed(TURBO_ROUND, TURBO, codes=codes, symptoms=symptoms)
    other = weighed(TURBO_ROUND, TURBO, codes=codes[::-1], symptoms=symptoms[::-1])
    for cause in one.verdict.causes:
        assert other.verdict.probability(cause.id) == pytest.approx(cause.probability, rel=1e-9)


def test_unknown_codes_and_symptoms_carry_no_weight() -> None:
    known = weighed(NATURAL_ROUND, codes=["P0106"])
    more = weighed(NATURAL_ROUND, codes=["P0106", "P9999", "nonsense"], symptoms=["no-such-symptom"])
    assert numbers(more) == numbers(known)


def test_an_engine_off_reading_by_hand_speaks() -> None:
    high = changed(NATURAL_ROUND, "manifold_pressure", lambda v: v + 6.0)
    running = without(high.between(15.0, 250.0), "barometric_pressure")
    before = weighed(running)
    after = weighed(running, readings=[EngineOffReading("manifold_pressure", DAY + 6.0)])
    sound(after)
    assert "key-on-baro" in [finding.id for finding in after.verdict.findings]
    assert after.verdict.probability("map-offset") > 1.5 * before.verdict.probability("map-offset")
    assert after.verdict.probability("none") < 0.5 * before.verdict.probability("none")


def test_the_same_question_has_the_same_answer() -> None:
    leak = changed(TURBO_ROUND, "long_trim_1", lambda v: v + 9.0)
    assert numbers(weighed(leak, TURBO, codes=["P0171"])) == numbers(weighed(leak, TURBO, codes=["P0171"]))


def test_the_order_of_signals_does_not_matter() -> None:
    backwards = Recording(dict(reversed(TURBO_ROUND.signals.items())))
    one, other = weighed(TURBO_ROUND, TURBO), weighed(backwards, TURBO)
    for cause in one.verdict.causes:
        assert other.verdict.probability(cause.id) == pytest.approx(cause.probability, rel=1e-9)


def test_a_good_recording_narrows_what_is_expected() -> None:
    lying = changed(TURBO_ROUND, "manifold_pressure", lambda v: v * 0.9)
    without_good = weighed(lying, TURBO)
    with_good = weighed(lying, TURBO, baselines=[workshop_round(TURBO, seed=1)])
    sound(with_good)
    assert with_good.verdict.first.id == "map-gain"
    narrow, wide = with_good.verdict.first.size, next(c.size for c in without_good.verdict.causes if c.id == "map-gain")
    assert narrow is not None
    assert wide is not None
    assert narrow.low <= -10.0 <= narrow.high
    assert narrow.high - narrow.low <= wide.high - wide.low


class TestRefusal:
    def test_a_throttled_engine_that_is_said_to_be_a_diesel(self) -> None:
        found = weighed(TURBO_ROUND, DIESEL)
        verdict = found.verdict
        assert verdict.refusal is not None
        assert "diesel" in verdict.refusal
        assert "\n" not in verdict.refusal
        assert verdict.findings == ()
        assert verdict.timeline == ()
        assert verdict.probability("none") == pytest.approx(1 / 3, abs=1e-9)
        for cause in verdict.causes:
            assert [evidence.finding for evidence in cause.evidence] == ["before"]
        assert verdict.regimes_s["idle"] > 80  # it was read all the same

    def test_an_engine_that_is_not_throttled_though_the_profile_says_petrol(self) -> None:
        def full(v: Floats) -> Floats:
            return np.where(v < 0.999 * DAY, 90.0 + 40.0 * v / DAY, v)

        unthrottled = without(changed(TURBO_ROUND, "manifold_pressure", full), "short_trim_1", "long_trim_1")
        verdict = weighed(unthrottled, TURBO).verdict
        assert verdict.refusal is not None
        assert 'fuel "diesel"' in verdict.refusal
        assert verdict.findings == ()

    def test_a_petrol_car_is_not_refused(self) -> None:
        assert weighed(TURBO_ROUND, TURBO).verdict.refusal is None


class TestPoorRecordings:
    """Bad input never crashes and never gives a number that is none; warnings are errors in these tests.

    A code is told, so that even a recording that shows hardly anything is gone through by every check.
    """

    @pytest.mark.parametrize("name", ["engine_speed", "manifold_pressure", "barometric_pressure", "throttle"])
    def test_one_signal_missing(self, name: str) -> None:
        sound(weighed(without(SHORT, name), TURBO, codes=["P0106"]))

    @pytest.mark.parametrize("name", sorted(TURBO_ROUND))
    def test_one_signal_zero_throughout(self, name: str) -> None:
        sound(weighed(changed(SHORT, name, lambda v: 0 * v), TURBO, codes=["P0106"]))

    def test_one_signal_alone(self) -> None:
        for name in SHORT:
            sound(weighed(Recording({name: SHORT[name]}), TURBO, codes=["P0106"]))

    @pytest.mark.parametrize("name", ["engine_speed", "manifold_pressure", "charge_pressure"])
    def test_one_signal_begins_late(self, name: str) -> None:
        signals = {n: s.between(80.0, 300.0) if n == name else s for n, s in SHORT.signals.items()}
        sound(weighed(Recording(signals), TURBO, codes=["P0106"]))

    @pytest.mark.parametrize("low", [-100.0])
    def test_a_trim_that_the_car_does_not_serve(self, low: float) -> None:
        # raw byte 0 of the trims' data item is -100 % (SAE J1979, from memory of it)
        odd = changed(SHORT, "short_trim_1", lambda v: 0 * v + low)
        time = odd["short_trim_1"].time
        with_lambda = Recording({**odd.signals, "lambda": Signal("lambda", "", time, np.full(time.size, 1.0))})
        for recording in (odd, with_lambda):
            found = weighed(recording, TURBO)
            sound(found)
            assert not any(finding.id.startswith("trim") for finding in found.verdict.findings)

    @pytest.mark.parametrize("length", [0.3, 3.0, 20.0])
    def test_hardly_any_recording(self, length: float) -> None:
        sound(weighed(TURBO_ROUND.between(60.0, 60.0 + length), TURBO, codes=["P0106"]))

    def test_empty(self) -> None:
        nothing = np.empty(0)
        for recording in (
            Recording({}),
            Recording({"manifold_pressure": Signal("manifold_pressure", "kPa", nothing, nothing)}),
        ):
            found = weigh([recording], TURBO)
            sound(found)
            assert found.verdict.findings == ()
            assert found.verdict.cannot_tell

    def test_random_subsets(self) -> None:
        rng = np.random.default_rng(0)
        for _ in range(8):
            signals = {}
            for name, signal in SHORT.signals.items():
                choice = rng.random()
                if choice < 0.45:
                    signals[name] = signal
                elif choice < 0.55:
                    signals[name] = signal.between(90.0, 90.7)
                elif choice < 0.65:
                    signals[name] = changed(SHORT, name, lambda v: 0 * v + v[len(v) // 2])[name]
            sound(weighed(Recording(signals), TURBO, codes=["P0106"], baselines=[SHORT] if rng.random() < 0.3 else []))


def test_several_recordings_of_one_car_are_weighed_together() -> None:
    driving, idle = NATURAL_ROUND.between(70.0, 200.0), NATURAL_ROUND.between(0.0, 70.0)
    found = weigh([idle, driving], NATURAL, barometer=HERE)
    sound(found)
    assert found.verdict.regimes_s["idle"] > 40
    assert found.verdict.regimes_s["cruise"] > 40


def test_recordings_of_which_one_has_no_trims_take_none_for_it() -> None:
    bare = without(NATURAL_ROUND, "short_trim_1", "long_trim_1")
    rich = changed(NATURAL_ROUND, "long_trim_1", lambda v: v - 12.0)
    found = weigh([bare, rich], NATURAL, barometer=HERE)
    trims = {f.id: f.value for f in found.verdict.findings if f.id.startswith("trim-")}
    assert trims
    assert all(value == pytest.approx(-12.0, abs=0.5) for value in trims.values())


def test_progress_is_told_and_ends_at_one() -> None:
    shares: list[float] = []
    weighed(NATURAL_ROUND, progress=shares.append)
    assert shares == sorted(shares)
    assert shares[-1] == 1.0


def test_traces_surround_what_a_healthy_engine_shows() -> None:
    found = weighed(TURBO_ROUND, TURBO)
    assert {trace.id for trace in found.traces} == {"air-flow", "manifold-pressure", "charge-pressure", "trims"}
    for trace in found.traces:
        assert (trace.low <= trace.expected).all()
        assert (trace.expected <= trace.high).all()
        assert trace.time.shape == trace.measured.shape == trace.load_percent.shape
        inside = (trace.measured >= trace.low) & (trace.measured <= trace.high)
        assert inside.mean() > 0.9, trace.id
    high = weighed(changed(TURBO_ROUND, "manifold_pressure", lambda v: v + 15.0), TURBO).trace("manifold-pressure")
    assert high is not None
    idle = high.load_percent < 60
    assert (high.measured[idle] > high.expected[idle] + 8.0).all()


def test_every_check_leaves_a_case_with_nothing_in_it_in_peace() -> None:
    from small_cases import case_of

    empty = case_of(Recording({}), TURBO)
    assert [list(check(empty)) for check in CHECKS] == [[] for _ in CHECKS]


class TestTooLittle:
    @pytest.mark.parametrize("name", ["engine_speed", "manifold_pressure"])
    def test_without_the_least_nothing_is_judged(self, name: str) -> None:
        for recording in (without(SHORT, name), Recording({**SHORT.signals, name: SHORT[name].between(50.0, 50.5)})):
            verdict = weighed(recording, TURBO).verdict
            assert verdict.refusal is not None
            assert name.replace("_", " ") in verdict.refusal
            assert verdict.findings == ()
            assert verdict.probability("none") == pytest.approx(1 / 3, abs=1e-9)

    def test_what_was_told_is_weighed_all_the_same(self) -> None:
        verdict = weighed(without(SHORT, "manifold_pressure"), TURBO, symptoms=["high-idle"]).verdict
        assert verdict.refusal is None
        assert "symptom high-idle" in [evidence.finding for evidence in verdict.first.evidence]


def test_what_evidence_says_alone() -> None:
    """Against nothing being wrong, at the sizes the cause turned out to have; none has no such number."""
    verdict = weighed(changed(NATURAL_ROUND, "manifold_pressure", lambda v: v - 9.0), codes=["P0106"]).verdict
    code = KNOWN.codes["P0106"]
    for cause in verdict.causes:
        for evidence in cause.evidence:
            if cause.id == "none" or evidence.finding == "before":
                assert evidence.alone is None
            else:
                assert evidence.alone is not None
                assert np.isfinite(evidence.alone)
            if cause.id != "none" and evidence.finding == "code P0106":
                most = 10 * np.log10(code.given(cause.id) / code.given("none"))  # at a size a driver notices
                assert -1e-9 <= evidence.alone <= most + 1e-9 or most < 0.0
    key_on = next(e for e in verdict.first.evidence if e.finding == "key-on-baro")
    assert verdict.first.id == "map-offset"
    assert key_on.alone is not None
    assert key_on.alone > 10.0


class TestCompanions:
    def test_recordings_of_one_car_go_well_together(self) -> None:
        assert odd_companions([NATURAL_ROUND], []) == ()
        assert odd_companions([TURBO_ROUND], [workshop_round(TURBO, seed=1)]) == ()

    def test_signals_that_only_one_car_has(self) -> None:
        (line,) = odd_companions([TURBO_ROUND], [NATURAL_ROUND])
        assert "air flow" in line
        assert "charge pressure" in line
        assert "same car" in line

    def test_barometers_further_apart_than_weather(self) -> None:
        high = changed(NATURAL_ROUND, "barometric_pressure", lambda v: v - 10.0)
        (line,) = odd_companions([NATURAL_ROUND, high], [])
        assert "98 and 88 kPa absolute" in line
        near = changed(NATURAL_ROUND, "barometric_pressure", lambda v: v - 4.0)
        assert odd_companions([NATURAL_ROUND], [near]) == ()
        cautions = weigh([NATURAL_ROUND], NATURAL, baselines=[high]).verdict.cautions
        assert any("barometers read" in caution for caution in cautions)
