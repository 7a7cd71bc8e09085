"""What cannot be told, and what to record instead."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
from small_cases import NATURAL, TURBO, case_of, without, workshop_round

from airproof.diagnosis import testimony
from airproof.diagnosis.bayes import Posterior
from airproof.diagnosis.conditions import UNKNOWN_PLACE, barometer_of
from airproof.diagnosis.facts import Facts, Noted, StoredCode
from airproof.diagnosis.finding import Finding
from airproof.diagnosis.gaps import cannot_tell, too_little
from airproof.diagnosis.readings import Outcome
from airproof.diagnosis.weigh import weigh
from airproof.diagnosis.weighing import Barometer
from airproof.engine.profile import EngineProfile
from airproof.knowledge.load import knowledge
from airproof.recording.recording import ColumnReading, Recording

KNOWN = knowledge()
SURE = {"none": 0.95, "map-offset": 0.03, "vacuum-leak": 0.02}
BEFORE = {"none": 0.4, "map-offset": 0.2, "vacuum-leak": 0.3, "map-gain": 0.1}


def judged(probability: Mapping[str, float]) -> Posterior:
    return Posterior(probability, BEFORE, {}, {}, ())


def lines(recording: Recording, profile: EngineProfile, weather: Barometer | None = None) -> str:
    return "\n".join(cannot_tell(case_of(recording, profile, weather=weather), judged(SURE), [], KNOWN))


def test_a_whole_round_leaves_nothing_to_ask_for() -> None:
    assert lines(workshop_round(TURBO), TURBO) == ""
    assert lines(workshop_round(NATURAL), NATURAL) == ""


@pytest.mark.parametrize(
    ("signal", "asked"),
    [
        ("manifold_pressure", "no manifold pressure"),
        ("air_flow", "no air flow"),
        ("charge_pressure", "no charge pressure"),
        ("throttle", "no throttle position"),
    ],
)
def test_a_signal_that_was_not_recorded(signal: str, asked: str) -> None:
    assert asked in lines(without(workshop_round(TURBO), signal), TURBO)


@pytest.mark.parametrize("held", [0.0, 13.0])
def test_what_a_lost_signal_explains_is_not_called_unexplained(held: float) -> None:
    """That the other sensors agree with the day speaks for it; and where the wire is open nothing else is frozen."""
    whole = workshop_round(TURBO)
    signal = whole["manifold_pressure"]
    lost = replace(signal, values=np.full(len(signal), held))
    recording = replace(whole, signals={**whole.signals, "manifold_pressure": lost})
    verdict = weigh([recording], TURBO, barometer=barometer_of(barometer_kpa=98.0)).verdict
    assert verdict.first.id in ("map-circuit", "map-stuck")
    assert not any("not explained" in line for line in verdict.cannot_tell)


def test_a_code_that_is_a_reason_for_the_foremost_cause_is_not_called_unexplained() -> None:
    """P0106 is stored three times as often as by chance where charge air escapes, if oftener still with others."""
    told = Facts(
        codes=(StoredCode("P0299"), StoredCode("P0106")),
        noted=(Noted("look", "hose-off"), Noted("symptom", "whistle")),
        readings=(Outcome("pressure-test-charge-path", True),),
    )
    verdict = weigh([], TURBO, facts=told).verdict
    assert verdict.first.id == "boost-leak"
    alone = {one.finding: one.alone for one in verdict.first.evidence}
    assert (alone["code P0106"] or 0.0) > 4.5  # it stands among the reasons
    assert not any("not explained" in one for one in verdict.cannot_tell)


def test_what_an_engine_does_not_have_is_not_asked_for() -> None:
    said = lines(workshop_round(NATURAL), NATURAL)
    assert "air flow" not in said
    assert "charge pressure" not in said


def test_regimes_that_were_not_visited() -> None:
    driving = workshop_round(NATURAL).between(73.0, 120.0)
    said = lines(driving, NATURAL)
    assert "no engine-off interval" in said
    assert "too little idle" in said
    assert "no full-load interval" in said
    assert "passenger" in said  # the one who drives does not read


def test_trims() -> None:
    said = lines(without(workshop_round(NATURAL), "short_trim_1", "long_trim_1"), NATURAL)
    assert "no fuel trims" in said


def test_the_place() -> None:
    recording = without(workshop_round(NATURAL), "barometric_pressure")
    assert "neither altitude nor barometer is known" in lines(recording, NATURAL, UNKNOWN_PLACE)
    assert "--altitude" not in lines(recording, NATURAL)
    assert "neither altitude" not in lines(workshop_round(NATURAL), NATURAL, UNKNOWN_PLACE)


def test_a_barometric_reading_that_may_be_a_copy() -> None:
    assert "--altitude or --barometer" in lines(workshop_round(NATURAL), NATURAL, UNKNOWN_PLACE)


def test_two_causes_that_stay_level_are_named_with_what_tells_them_apart() -> None:
    case = case_of(workshop_round(TURBO), TURBO)
    level = {"none": 0.02, "map-offset": 0.5, "vacuum-leak": 0.4, "map-gain": 0.08}
    (line,) = cannot_tell(case, judged(level), [], KNOWN)
    assert "nearly level" in line
    assert KNOWN.causes["vacuum-leak"].title[1:] in line
    assert any(step.title[1:] in line for step in KNOWN.steps.values() if step.tells)
    clear = {"none": 0.02, "map-offset": 0.85, "vacuum-leak": 0.11, "map-gain": 0.02}
    assert cannot_tell(case, judged(clear), [], KNOWN) == ()  # more than five to one


def test_what_the_evidence_is_blind_to_is_named() -> None:
    case = case_of(workshop_round(TURBO), TURBO)
    # against nothing wrong, a leak is where it was before (3 to 4), a wrong offset is not
    (line,) = cannot_tell(
        case, judged({"none": 0.56, "map-offset": 0.01, "vacuum-leak": 0.42, "map-gain": 0.009}), [], KNOWN
    )
    assert "says next to nothing about" in line
    assert KNOWN.causes["vacuum-leak"].title[1:] in line
    assert KNOWN.causes["map-offset"].title[1:] not in line


def told(name: str, unit: str = "kPa", **rows: float) -> testimony.Testimony:
    finding = Finding(name, 1.0, 0.1, unit, (0.0, 2.0), (), f"{name} says so")
    return testimony.Testimony(finding, {cause: np.full(1, rows.get(cause, 0.0)) for cause in BEFORE})


@pytest.mark.parametrize(("gap_decibans", "said"), [(10.0, False), (20.0, True)])
def test_evidence_against_the_foremost_cause_is_not_passed_over(gap_decibans: float, said: bool) -> None:
    case = case_of(workshop_round(TURBO), TURBO)
    nepers = -gap_decibans * np.log(10.0) / 10.0
    sizes = {cause: np.ones(1) for cause in BEFORE}
    leak = Posterior({"vacuum-leak": 0.9, "map-offset": 0.05, "none": 0.05}, BEFORE, sizes, {}, ())
    lines = cannot_tell(case, leak, [told("engine-off", **{"vacuum-leak": nepers})], KNOWN)
    assert any("engine-off says so" in line and "second one" in line for line in lines) is said


def test_what_somebody_saw_stands_against_nothing_being_wrong() -> None:
    case = case_of(workshop_round(TURBO), TURBO)
    sizes = {cause: np.ones(1) for cause in BEFORE}
    none = Posterior({"none": 0.9, "vacuum-leak": 0.1}, BEFORE, sizes, {}, ())
    (line, *_) = cannot_tell(case, none, [told("smoke", unit="", none=-2.2)], KNOWN)
    assert line.startswith("against nothing being wrong stands: smoke says so")


def test_a_pressure_without_a_unit_is_asked_for_by_its_heading() -> None:
    """Its heading need not say pressure: what was said of it does."""
    says = "manifold pressure (absolute), unit not stated, and its values fit psi and inHg alike; state it"
    recording = without(workshop_round(NATURAL), "manifold_pressure")
    report = replace(recording.report, columns=(ColumnReading("MAP", None, None, "left out", says),))
    asked = too_little(case_of(replace(recording, report=report), NATURAL), anything_else=False)
    assert asked is not None
    assert "'MAP' was left out" in asked
    assert "fit psi and inHg alike" in asked
