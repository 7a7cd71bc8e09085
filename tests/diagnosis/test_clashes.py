"""Facts that no cause explains together are named; what one cause or two explain is not."""

from __future__ import annotations

import pytest
from small_cases import TURBO, workshop_round

from airproof.diagnosis.conditions import barometer_of
from airproof.diagnosis.facts import Facts, Noted, StoredCode
from airproof.diagnosis.readings import EngineOffReading, Outcome
from airproof.diagnosis.verdict import Verdict
from airproof.diagnosis.weigh import weigh
from airproof.knowledge.load import knowledge

PLACE = barometer_of(barometer_kpa=98.0)


def verdict(facts: Facts) -> Verdict:
    return weigh([], TURBO, facts=facts, barometer=PLACE).verdict


CLASHING = {
    "a code that is present, and a signal that is right": Facts(
        (StoredCode("P0107", "present"),), readings=(Outcome("measure-key-on-signal", False),)
    ),
    "out of range now, and the pressure of the day on the meter": Facts(
        (StoredCode("P0108", "present"),), readings=(EngineOffReading("manifold_pressure", 98.0),)
    ),
}


@pytest.mark.parametrize("what", CLASHING)
def test_the_clash_is_named_by_its_facts(what: str) -> None:
    found = verdict(CLASHING[what])
    assert len(found.clashes) == 1
    (clash,) = found.clashes
    code = CLASHING[what].codes[0].id
    assert f"code {code}" in clash.facts
    assert len(clash.facts) == 2
    assert clash.decibans > 8.0
    assert "is stored as present" in clash.says
    assert "yet" in clash.says
    assert "old or wrong" in clash.says
    assert found.cannot_tell[0] == clash.says


EXPLAINED = {
    "stored, not present: it comes and goes": Facts(
        (StoredCode("P0107"),), readings=(Outcome("measure-key-on-signal", False),)
    ),
    "one cause": Facts((StoredCode("P0106"),), readings=(EngineOffReading("manifold_pressure", 106.0),)),
    "two faults that have nothing to do with each other": Facts(
        (StoredCode("P0107"), StoredCode("P0011")), noted=(Noted("symptom", "rough-idle"),)
    ),
    "nothing found anywhere": Facts(readings=(Outcome("look-hoses", False), Outcome("smoke-test-intake", False))),
    "nothing at all but a code": Facts((StoredCode("P0106"),)),
}


@pytest.mark.parametrize("what", EXPLAINED)
def test_what_has_an_explanation_is_no_clash(what: str) -> None:
    assert verdict(EXPLAINED[what]).clashes == ()


def test_a_step_that_found_nothing_beside_a_detail_that_was_seen() -> None:
    found = verdict(Facts(noted=(Noted("look", "plug-loose"),), readings=(Outcome("look-plug-and-wiring", False),)))
    (clash,) = found.clashes
    assert clash.facts == ("step look-plug-and-wiring", "look plug-loose")
    assert "sound" in clash.says


def test_a_recording_with_the_engine_off_clashes_as_a_reading_does() -> None:
    facts = Facts((StoredCode("P0107", "present"),))
    found = weigh([workshop_round(TURBO)], TURBO, facts=facts, barometer=PLACE).verdict
    assert ("code P0107", "key-on-baro") in {tuple(sorted(clash.facts)) for clash in found.clashes}


def test_no_single_code_beside_a_complaint_clashes() -> None:
    known = knowledge()
    for code in ("P0106", "P0171", "P0299", "P0300", "P0507"):
        facts = Facts((StoredCode(code),), (Noted("symptom", "lamp-on"),))
        assert verdict(facts).clashes == (), known.codes[code].title
