"""Diesels: what holds of any engine is judged, and nothing that needs a throttle or a mixture control is."""

from __future__ import annotations

import re

import numpy as np
import pytest
from small_cases import (
    DAY,
    DIESEL,
    IDLE_OVER_DAY,
    TURBO,
    case_of,
    changed,
    diesel_round,
    never_at_rest,
    off_by,
    without,
    workshop_round,
)

from airproof.diagnosis.checks.engine_off import AT_IDLE, seen_engine_off
from airproof.diagnosis.conditions import barometer_of
from airproof.diagnosis.facts import Facts, FreezeFrame, Readiness, facts_of
from airproof.diagnosis.freeze_frames import from_frames
from airproof.diagnosis.gaps import not_recorded
from airproof.diagnosis.told import told_of
from airproof.diagnosis.weigh import weigh
from airproof.diagnosis.weighing import Weighing
from airproof.engine.profile import EngineProfile
from airproof.knowledge.load import knowledge
from airproof.recording.recording import Recording
from airproof.repair.plan import plan_from, task_from
from airproof.report.language.language import language

KNOWN = knowledge()
PETROL_ONLY = ("vacuum-leak", "throttle-deposits", "ignition")
TURBO_ROUND = workshop_round(TURBO)
DIESEL_ROUND = diesel_round()


def _weighed(recording: Recording | None, profile: EngineProfile = DIESEL, codes: tuple[str, ...] = ()) -> Weighing:
    recordings = [] if recording is None else [recording]
    return weigh(recordings, profile, codes=codes, barometer=barometer_of(barometer_kpa=DAY), known=KNOWN)


class TestWhatIsJudged:
    def test_a_healthy_one_is_left_alone(self) -> None:
        verdict = _weighed(DIESEL_ROUND).verdict
        assert verdict.refusal is None
        assert verdict.first.id == "none"

    @pytest.mark.parametrize("kpa", [-12.0, 12.0])
    def test_an_offset_is_found_and_sized(self, kpa: float) -> None:
        verdict = _weighed(off_by(kpa, DIESEL_ROUND)).verdict
        assert verdict.first.id == "map-offset"
        assert verdict.first.size is not None
        assert verdict.first.size.low <= kpa <= verdict.first.size.high

    def test_no_relation_of_a_throttled_engine_is_asked(self) -> None:
        found = {finding.id for finding in _weighed(off_by(12.0, DIESEL_ROUND)).verdict.findings}
        assert "key-on-baro" in found
        others = ("air-flow-", "throttle-flow-", "fuel-", "trim-", "charge-at-rest-", "idle-pressure", "overrun-floor")
        assert not [one for one in found if one.startswith(others)]

    def test_boost_is_held_against_its_target(self) -> None:
        low = changed(DIESEL_ROUND, "manifold_pressure", lambda v: np.where(v > 1.2 * DAY, v - 40.0, v))
        fine = changed(
            DIESEL_ROUND, "charge_pressure_target", lambda v: v * 0 + DIESEL_ROUND["manifold_pressure"].values
        )
        lost = changed(low, "charge_pressure_target", lambda v: v * 0 + DIESEL_ROUND["manifold_pressure"].values)
        assert _weighed(fine).verdict.first.id == "none"
        causes = _weighed(lost).verdict.causes
        assert causes[0].id in ("boost-leak", "wastegate-stuck-open")

    def test_a_sensor_that_stands_still_while_it_is_driven(self) -> None:
        stuck = changed(DIESEL_ROUND, "manifold_pressure", lambda v: np.full_like(v, 101.0))
        assert _weighed(stuck).verdict.first.id == "map-stuck"

    def test_revving_where_it_stands_accuses_no_sensor(self) -> None:
        """Without load its pressure hardly moves, whatever the pedal does."""
        still = changed(DIESEL_ROUND, "manifold_pressure", lambda v: np.full_like(v, DAY + 2.0))
        standing = changed(still, "vehicle_speed", np.zeros_like)
        assert _weighed(standing).verdict.first.id != "map-stuck"

    def test_codes_alone(self) -> None:
        verdict = _weighed(None, codes=("P0299",)).verdict
        assert verdict.refusal is None
        assert verdict.first.id in ("boost-leak", "wastegate-stuck-open")
        assert not {cause.id for cause in verdict.causes} & set(PETROL_ONLY)


class TestCodesThatAreNotThere:
    def _told(self, profile: EngineProfile) -> set[str]:
        looked = Readiness({"fuel-system": True, "components": True, "evaporative-system": True}, codes_read=True)
        facts = Facts(readiness=looked)
        return {one.id for one in told_of(facts, KNOWN, case_of(DIESEL_ROUND, profile).sizes, fuel=profile.fuel)}

    def test_a_diesel_stores_none_of_the_mixture(self) -> None:
        assert "no code lean" in self._told(TURBO)
        assert not self._told(DIESEL) & {"no code lean", "no code rich", "no code fuel-trim", "no code purge"}
        assert "no code boost-reached" in self._told(DIESEL)

    @pytest.mark.parametrize("profile", [TURBO, DIESEL])
    def test_a_car_without_a_filter_stores_none_of_it(self, profile: EngineProfile) -> None:
        """Nobody knows whether it has one."""
        ours = {"particulate-filter", "exhaust-pressure-sensor", "boost-position"}
        assert not self._told(profile) & {f"no code {family}" for family in ours}


class TestIdleInThePlaceOfRest:
    def test_only_where_nothing_was_seen_at_rest(self) -> None:
        at_rest = seen_engine_off(case_of(DIESEL_ROUND, DIESEL))
        idling = seen_engine_off(case_of(never_at_rest(DIESEL_ROUND), DIESEL))
        throttled = seen_engine_off(case_of(never_at_rest(TURBO_ROUND), TURBO))
        assert at_rest is not None
        assert "key-on-baro" in {one.id for one in at_rest.findings}
        assert idling is not None
        assert AT_IDLE["manifold_pressure"] in {one.id for one in idling.findings}
        assert throttled is not None
        assert not {one.id for one in throttled.findings} & set(AT_IDLE.values())

    def test_what_its_compressor_adds_is_no_offset(self) -> None:
        verdict = _weighed(never_at_rest(DIESEL_ROUND)).verdict
        assert verdict.first.id == "none"
        finding = next(one for one in verdict.findings if one.id == "idle-baro")
        assert finding.value == pytest.approx(IDLE_OVER_DAY, abs=0.2)
        assert not finding.unexpected

    def test_it_tells_less_than_rest_does(self) -> None:
        seen = _weighed(off_by(12.0, DIESEL_ROUND)).verdict
        idling = _weighed(never_at_rest(off_by(12.0, DIESEL_ROUND))).verdict
        healthy = _weighed(never_at_rest(DIESEL_ROUND)).verdict
        offset = [one.probability("map-offset") for one in (healthy, idling, seen)]
        assert offset[0] < offset[1] < offset[2]

    def test_a_freeze_frame_at_idle_is_no_idle(self) -> None:
        frame = FreezeFrame("P0106", {"manifold_pressure": 130.0, "engine_speed": 800.0, "vehicle_speed": 0.0})
        assert (
            from_frames(case_of(without(DIESEL_ROUND, *DIESEL_ROUND.signals), DIESEL), [frame], KNOWN).testimonies == ()
        )

    def test_a_freeze_frame_at_rest_is_heard(self) -> None:
        frame = FreezeFrame("P0106", {"manifold_pressure": 115.0, "engine_speed": 0.0, "vehicle_speed": 0.0})
        told = weigh(
            [],
            DIESEL,
            facts=facts_of(["P0106"], more=Facts(frames=(frame,))),
            barometer=barometer_of(barometer_kpa=DAY),
        )
        assert told.verdict.probability("map-offset") > _weighed(None, codes=("P0106",)).verdict.probability(
            "map-offset"
        )


class TestWhatIsSaid:
    def test_what_is_not_judged_and_what_to_record(self) -> None:
        lines = not_recorded(case_of(without(DIESEL_ROUND, "charge_pressure_target"), DIESEL))
        assert any(line.startswith("of a diesel the pressures") for line in lines)
        assert any(line.startswith("no boost target") for line in lines)
        assert not any("trim" in line or "throttle position" in line or "steady" in line for line in lines)

    def test_a_petrol_engine_hears_none_of_it(self) -> None:
        assert not any("diesel" in line for line in not_recorded(case_of(TURBO_ROUND, TURBO)))

    def test_without_a_recording_no_trims_are_asked_for(self) -> None:
        line = next(
            one for one in _weighed(None, codes=("P0299",)).verdict.cannot_tell if "nothing was recorded" in one
        )
        assert "trims" not in line
        assert "boost target" in line


class TestThePlan:
    def test_a_step_that_looks_for_trims_is_none(self) -> None:
        told = _weighed(None, codes=("P0106",))
        assert "record-idle" in task_from(told, KNOWN, KNOWN.prices).without
        plan = plan_from(told, KNOWN, KNOWN.prices)
        assert plan is not None
        assert "record-idle" not in {step.id for step in plan.next_steps}
        petrol = _weighed(None, TURBO, codes=("P0106",))
        assert "record-idle" not in task_from(petrol, KNOWN, KNOWN.prices).without


@pytest.mark.parametrize("code", ["de", "fr", "es"])
def test_idle_is_told_in_the_reader_s_language_with_units(code: str) -> None:
    says = next(one.says for one in _weighed(never_at_rest(DIESEL_ROUND)).verdict.findings if one.id == "idle-baro")
    assert re.search(r"\(healthy diesels: -\d+\.\d to \+\d+\.\d kPa\)", says)
    assert language(code).words(says).language == code
