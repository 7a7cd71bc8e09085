"""Freeze frames: the physics of one moment, its blur, what a recording beside it changes, the code that stored it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_cases import DAY, NATURAL, NATURAL_BY_FLOW, TURBO, workshop_round

from airproof.diagnosis import freeze_frames
from airproof.diagnosis.case import Case
from airproof.diagnosis.conditions import barometer_of
from airproof.diagnosis.facts import Facts, FreezeFrame, StoredCode
from airproof.diagnosis.freeze_frames import from_frames
from airproof.diagnosis.freeze_frames import moment as blur_of
from airproof.diagnosis.readings import EngineOffReading
from airproof.diagnosis.verdict import CauseVerdict, Verdict
from airproof.diagnosis.weigh import weigh
from airproof.engine.air_path import RELATIONS, generic_belief
from airproof.engine.profile import EngineProfile
from airproof.knowledge.load import knowledge
from airproof.quantities.air_mass import speed_density_flow
from airproof.recording.recording import Recording
from airproof.recording.signals import glossary

HERE = barometer_of(barometer_kpa=DAY)


def moment(
    profile: EngineProfile, rpm: float = 1800.0, kpa: float = 45.0, lie: float = 0.0, trim: float = 0.0
) -> dict[str, float]:
    """A healthy engine's moment at that speed and true pressure; the sensor reads `lie` kPa more."""
    belief = generic_belief(profile)
    efficiency = np.exp(belief.at("efficiency", np.log([kpa * 1e3]), np.log([rpm / 60.0])))
    flow = speed_density_flow(kpa * 1e3, 305.15, profile.displacement_m3, rpm / 60.0, efficiency)
    return {
        "engine_speed": rpm,
        "manifold_pressure": kpa + lie,
        "air_flow": float(flow[0]) * 1e3,
        "intake_temperature": 32.0,
        "coolant_temperature": 88.0,
        "short_trim_1": trim,
        "long_trim_1": 0.0,
        "fuel_system_status": 2.0,
    }


def verdict(
    frames: list[FreezeFrame],
    recording: Recording | None = None,
    profile: EngineProfile = TURBO,
    codes: tuple[StoredCode, ...] = (),
    readings: tuple[EngineOffReading, ...] = (),
    good: tuple[Recording, ...] = (),
) -> Verdict:
    facts = Facts(codes, (), readings, tuple(frames))
    return weigh([] if recording is None else [recording], profile, facts=facts, barometer=HERE, baselines=good).verdict


def frame(values: dict[str, float], code: str = "P0106") -> FreezeFrame:
    return FreezeFrame(code, values)


def cause(found: Verdict, name: str) -> CauseVerdict:
    return next(one for one in found.causes if one.id == name)


def odds(found: Verdict, cause: str, other: str = "none") -> float:
    return 10.0 * float(np.log10(found.probability(cause) / found.probability(other)))


def test_a_healthy_moment_speaks_for_nothing_being_wrong() -> None:
    bare, with_frame = verdict([frame({"load": 30.0})]), verdict([frame(moment(TURBO))])
    assert with_frame.probability("none") > bare.probability("none")
    ids = {one.finding for one in with_frame.first.evidence}
    assert "freeze frame P0106" in ids
    assert "freeze frame P0106" not in {one.finding for one in bare.first.evidence}  # nothing in it can be judged


def test_a_lie_of_the_pressure_shows_in_one_moment() -> None:
    found = verdict([frame(moment(TURBO, rpm=800.0, kpa=32.0, lie=25.0))])
    # more pressure than the air flow makes, or air that the sensor did not meter
    assert {found.causes[0].id, found.causes[1].id} & {"map-offset", "map-gain", "vacuum-leak", "maf-scale"}
    assert odds(found, "map-offset") > odds(verdict([frame(moment(TURBO, rpm=800.0, kpa=32.0))]), "map-offset") + 5.0
    said = next(e.says for e in found.causes[0].evidence if e.finding == "freeze frame P0106")
    assert said.startswith("in the freeze frame of P0106, the air flow is ")
    assert "% below what pressure and speed give" in said


def test_one_moment_says_less_than_a_steady_stretch_of_the_same_values() -> None:
    """The further uncertainty of a moment, alone: the engine's own is the same for both."""
    values = moment(NATURAL_BY_FLOW, lie=8.0)
    time = np.arange(0.0, 60.0, 0.2)
    held = workshop_round(NATURAL_BY_FLOW)
    signals = {
        name: replace(held["engine_speed"], name=name, unit=glossary().signals[name].unit, time=time,
                      values=np.full(time.size, value))
        for name, value in values.items()
    }  # fmt: skip
    steady = weigh([Recording(signals)], NATURAL_BY_FLOW, barometer=HERE, codes=["P0106"]).verdict
    once = verdict([frame(values)], profile=NATURAL_BY_FLOW, codes=(StoredCode("P0106"),))
    strength = [
        max(abs(e.alone or 0.0) for e in cause(one, "map-offset").evidence if name in e.finding)
        for one, name in ((steady, "air-flow-"), (once, "freeze frame"))
    ]
    assert 0.0 < strength[1] < strength[0]
    assert all(0.04 <= blur_of(one.id).moment_sd < blur_of(one.id).moving_sd for one in RELATIONS)


def test_with_the_engine_off_it_must_read_the_day() -> None:
    off = {"engine_speed": 0.0, "manifold_pressure": DAY + 12.0}
    found = verdict([frame(off)])
    assert {one.id for one in found.causes[:3]} >= {"map-offset", "map-gain"}
    size = next(one.size for one in found.causes if one.id == "map-offset")
    assert size is not None
    assert size.low < 12.0 < size.high
    # what a meter read then is known better: the frame adds nothing to it
    by_hand = (EngineOffReading("manifold_pressure", DAY + 12.0),)
    assert "freeze frame P0106" not in {e.finding for e in verdict([frame(off)], readings=by_hand).first.evidence}


def test_a_car_that_rolls_with_its_engine_off_shows_no_pressure_at_rest() -> None:
    """It may have stalled a moment ago, and draw still."""
    off = {"engine_speed": 0.0, "manifold_pressure": 45.0, "vehicle_speed": 100.0}
    assert "freeze frame P0106" not in {e.finding for e in verdict([frame(off)]).first.evidence}
    standing = verdict([frame(off | {"vehicle_speed": 0.0})])
    assert "freeze frame P0106" in {e.finding for e in standing.first.evidence}


def test_with_a_known_good_recording_a_moment_is_judged_more_closely() -> None:
    """What the recording tells of the engine's breathing narrows what is expected of the moment."""
    lying = frame(moment(NATURAL_BY_FLOW, kpa=52.0, rpm=2000.0, lie=-15.0))
    alone = verdict([lying], profile=NATURAL_BY_FLOW)
    beside = verdict([lying], profile=NATURAL_BY_FLOW, good=(workshop_round(NATURAL_BY_FLOW),))
    heard = [
        next(e.alone or 0.0 for e in cause(one, "map-offset").evidence if e.finding == "freeze frame P0106")
        for one in (alone, beside)
    ]
    assert 0.0 < heard[0] < heard[1] - 1.0
    assert beside.cautions == tuple(one for one in beside.cautions if "same car" not in one)


def test_the_same_moment_as_in_the_recording_is_hardly_new() -> None:
    """What the frame shares with the recording is not counted again."""
    recording = workshop_round(NATURAL_BY_FLOW)
    lying = replace(recording["manifold_pressure"], values=recording["manifold_pressure"].values + 18.0)
    bent = Recording({**recording.signals, "manifold_pressure": lying})
    again = frame(moment(NATURAL_BY_FLOW, kpa=0.52 * DAY, rpm=2000.0, lie=18.0))
    silent = frame({"load": 30.0})
    without, beside = verdict([silent], bent, NATURAL_BY_FLOW), verdict([again], bent, NATURAL_BY_FLOW)
    alone, prior = verdict([again], profile=NATURAL_BY_FLOW), verdict([silent], profile=NATURAL_BY_FLOW)
    by_itself = odds(alone, "map-offset") - odds(prior, "map-offset")
    added = odds(beside, "map-offset") - odds(without, "map-offset")
    assert by_itself > 0.0
    assert abs(added) < 0.3 * by_itself


def test_a_contact_that_breaks_may_have_been_broken_at_that_moment() -> None:
    """A railed value in a frame speaks for a circuit at fault, for good or now and then, and not for one of the two."""
    railed = frame({"engine_speed": 0.0, "manifold_pressure": 10.5}, "P0107")
    code = (StoredCode("P0107"),)
    before, after = verdict([], codes=code), verdict([railed], codes=code)
    assert odds(after, "map-intermittent", "map-circuit") == pytest.approx(
        odds(before, "map-intermittent", "map-circuit"), abs=4.0
    )
    assert odds(after, "map-intermittent") > odds(before, "map-intermittent")


def test_a_code_and_its_frame_are_one_witness() -> None:
    """Where the frame shows the fault by itself, the code adds little; beside a healthy moment it says what it says."""
    odd, usual = frame(moment(TURBO, rpm=800.0, kpa=32.0, lie=40.0)), frame(moment(TURBO))
    code = (StoredCode("P0106"),)
    with_code = [odds(verdict([one], codes=code), "map-offset") for one in (odd, usual)]
    added = [both - odds(verdict([one]), "map-offset") for both, one in zip(with_code, (odd, usual), strict=True)]
    # the prior of nothing being wrong is the same: a frame is a complaint as a code is
    alone = odds(verdict([], codes=code), "map-offset") - odds(verdict([frame({"load": 30.0})]), "map-offset")
    assert added[1] == pytest.approx(alone, abs=1.0)
    assert 0.0 < added[0] < 0.3 * alone


def test_trims_of_an_open_loop_are_not_judged() -> None:
    rich = moment(NATURAL, kpa=60.0, trim=15.0)
    del rich["air_flow"]  # only the trims are left to judge by
    heard = "freeze frame P0106"
    for status, judged in ((2.0, True), (16.0, True), (1.0, False), (4.0, False), (8.0, False)):
        found = verdict([frame({**rich, "fuel_system_status": status})], profile=NATURAL)
        assert (heard in {e.finding for e in found.first.evidence}) == judged, status
    del rich["fuel_system_status"]
    for kpa, judged in ((60.0, True), (96.0, False)):  # at full load nobody knows that the loop is closed
        found = verdict([frame({**rich, "manifold_pressure": kpa})], profile=NATURAL)
        assert (heard in {e.finding for e in found.first.evidence}) == judged, kpa


def test_two_frames_of_one_engine_share_what_is_unknown_of_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of two equal moments in which it stood still the second says less: the engine's breathing is the same in both."""
    monkeypatch.setattr(freeze_frames, "moment", lambda _: freeze_frames.Moment(0.1, 0.5, 1e-9))
    values = moment(TURBO, lie=25.0)
    one, two = verdict([frame(values)]), verdict([frame(values), frame(values, "P0068")])
    bare = verdict([frame({"load": 30.0})])
    first = odds(one, "map-offset") - odds(bare, "map-offset")
    second = odds(two, "map-offset") - odds(one, "map-offset")
    assert first > 0.0
    assert second < 0.8 * first


def test_a_moment_that_may_have_been_moving_never_rules_out_much() -> None:
    """However far one moment lies off: a third of all frames are of an engine that changes its load."""
    for lie in (30.0, 60.0, 120.0):
        found = verdict([frame({**moment(TURBO, kpa=32.0, lie=lie), "short_trim_1": 0.0})])
        assert odds(found, "map-offset") < 20.0


@given(
    st.dictionaries(
        st.sampled_from([n for n in glossary().signals if n not in ("time", "lamp", "code_count")]),
        st.floats(-60.0, 400.0),
        max_size=12,
    )
)
@settings(max_examples=40, deadline=None)
def test_any_frame_leaves_a_sound_verdict(values: dict[str, float]) -> None:
    signals = glossary().signals
    possible = {n: float(np.clip(v, *signals[n].possible)) for n, v in values.items()}
    found = verdict([frame(possible)] if possible else [], codes=(StoredCode("P0106"),))
    assert sum(one.probability for one in found.causes) == pytest.approx(1.0)
    assert all(np.isfinite(one.probability) for one in found.causes)


def test_nothing_is_made_of_a_frame_without_an_engine_s_values() -> None:
    from small_cases import case_of

    case: Case = case_of(workshop_round(TURBO), TURBO)
    shown = from_frames(case, [frame({"load": 20.0}), frame({"vehicle_speed": 50.0}, "P0171")], knowledge())
    assert shown.testimonies == ()
    assert shown.shown == {}
