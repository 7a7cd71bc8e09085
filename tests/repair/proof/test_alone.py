"""The car after the repair weighed by itself: what a verdict would hardly call healthy is not handed back as mended."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from rehearsed_repairs import CAR, HERE, drive, judged

from airproof.diagnosis.facts import Facts, StoredCode
from airproof.diagnosis.weigh import weigh
from airproof.engine.profile import EngineProfile
from airproof.engine.rehearsal.compare import as_recording
from airproof.engine.rehearsal.faults import Fault
from airproof.engine.rehearsal.many import logged
from airproof.engine.rehearsal.rehearse import Request, Scene, rehearse
from airproof.knowledge.load import knowledge
from airproof.knowledge.model import NONE
from airproof.recording.recording import Recording
from airproof.repair.proof.after import Said
from airproof.repair.proof.alone import ByItself, weighed_by_itself
from airproof.repair.proof.judged import judged as numbers
from airproof.repair.proof.prove import AfterRepair, Before, Done, prove
from airproof.repair.proof.usual_fuel import on_usual_fuel
from airproof.report.language.language import language


def by_itself(after: Recording) -> ByItself:
    found = weighed_by_itself([after], CAR, HERE, None, known=knowledge())
    assert found is not None
    return found


def test_a_healthy_car_is_not_doubted() -> None:
    assert by_itself(drive(day=2)).calls_it_healthy


def test_where_no_verdict_can_be_given_it_says_nothing() -> None:
    whole = drive(day=2)
    assert (
        weighed_by_itself([whole.between(whole.start_s, whole.start_s + 1.0)], CAR, HERE, None, known=knowledge())
        is None
    )


@pytest.mark.parametrize(("cause", "size"), [("vacuum-leak", 5.0), ("boost-sensor-scale", 12.0), ("ignition", -8.0)])
def test_doubt_is_what_the_verdict_says_of_the_same_recording(cause: str, size: float) -> None:
    after = drive(cause, size, day=2)
    verdict = weigh([after], CAR, barometer=HERE).verdict
    first = next(one for one in verdict.causes if one.id != NONE)
    assert verdict.probability(NONE) < numbers().healthy_over_faulty * first.probability
    found = by_itself(after)
    assert not found.calls_it_healthy
    assert found.finds_nothing_but(cause) == (found.cause == cause)
    assert "still shows it" in found.doubt(found.cause).says
    says = found.doubt("map-offset").says
    assert "may show something else" in says
    assert first.title.lower() in says.lower()
    assert f"{100 * first.probability:.0f} in 100" in says or "99 in 100" in says
    assert says.endswith("look there, and record again")


def test_what_lies_outside_healthy_cars_is_said_and_holds_up_no_proof_by_itself() -> None:
    proof = judged("map-offset", 9.0, drive("iat-offset", 30.0, day=2), "replace-map-sensor")
    odd = [one for one in proof.missing if one.says.startswith("outside what healthy cars show: ")]
    assert any("intake air" in one.says for one in odd)
    assert not any(one.needed for one in odd)
    assert proof.judgement == "fixed, but something else shows"


def test_another_fuel_is_no_fault_to_a_verdict_by_itself() -> None:
    """E10 needs some 4 % more of itself for the same air; the ratios are those of the engine profile."""
    usual = drive(day=2)
    more = CAR.stoichiometric / CAR.model_copy(update={"fuel": "e10"}).stoichiometric
    trim, rate = usual["long_trim_1"], usual["fuel_rate"]
    changed = {
        "long_trim_1": replace(trim, values=100.0 * ((1.0 + trim.values / 100.0) * more - 1.0)),
        "fuel_rate": replace(rate, values=rate.values * more),
    }
    other = replace(usual, signals={**usual.signals, **changed})
    back = on_usual_fuel(other, CAR, "e10")
    for name in usual:
        np.testing.assert_allclose(back[name].values, usual[name].values, atol=1e-9, rtol=1e-12)
    assert on_usual_fuel(other, CAR, None) is other
    short = on_usual_fuel(
        replace(usual, signals={n: s for n, s in usual.signals.items() if n != "long_trim_1"}), CAR, "e10"
    )
    assert np.all(short["short_trim_1"].values < usual["short_trim_1"].values)


def test_a_car_that_shows_something_new_is_never_proved() -> None:
    proof = judged("map-offset", 9.0, drive("ignition", -8.0, day=2), "replace-map-sensor")
    assert proof.judgement != "proved"


SUPERCHARGED = EngineProfile(
    displacement_l=2.0, cylinders=4, induction="supercharged", air_metering="air-flow sensor", rated_boost_kpa=60.0
)


def blown(*faults: Fault, day: int) -> Recording:
    """A supercharged car of our own invention, which loses through a leak what no sensor sees the pressure of."""
    scene = Scene(altitude_m=350.0, ambient_c=18.0)
    done = rehearse(Request(SUPERCHARGED, faults=faults, scene=scene, day=day))
    return as_recording(logged(done, "two-first"), f"day {day}")


@pytest.mark.parametrize(
    ("left", "answers"),
    [
        ((), {"proved"}),
        ((Fault("boost-leak", 8.0),), {"not proved yet", "not fixed"}),
        ((Fault("boost-leak", 16.0),), {"not fixed"}),
        ((Fault("maf-scale", 8.0),), {"fixed, but something else shows"}),
    ],
)
def test_something_else_is_asked_of_the_recording_after_by_itself(left: tuple[Fault, ...], answers: set[str]) -> None:
    """A large leak of charge air cannot be undone well: held against the recording before, the air flow sensor of a
    well repaired car seems wrong.
    """
    weighing = weigh([blown(Fault("boost-leak", 16.0), day=1)], SUPERCHARGED, barometer=HERE, ambient_c=18.0)
    after = AfterRepair((blown(*left, day=2),), HERE, 18.0)
    proof = prove(Before.weighed(weighing, HERE, 18.0, {}), after, Done(("mend-charge-path",)), SUPERCHARGED)
    assert proof.judgement in answers
    assert sum(proof.probabilities.values()) == pytest.approx(1.0)
    assert bool(proof.something_else) == (proof.judgement == "fixed, but something else shows")
    if not left:
        assert proof.reasons[-1].startswith("by itself the recording after shows a healthy car (")
        assert "it would seem that air flow sensor reads" in proof.reasons[-1]
        assert {language(code).words(proof.reasons[-1]).language for code in ("de", "fr", "es")} == {"de", "fr", "es"}


@pytest.mark.parametrize("code", ["P0101", "P0455"])
def test_a_code_that_came_holds_up_the_proof_and_is_named(code: str) -> None:
    """SAE J2012: P0101 is the air flow sensor's range or performance, P0455 a large leak of the evaporative system."""
    weighing = weigh([blown(Fault("boost-leak", 16.0), day=1)], SUPERCHARGED, barometer=HERE, ambient_c=18.0)
    said = Said(codes={code: "pending"}, codes_read=True, cleared=True)
    after = AfterRepair((blown(day=2),), HERE, 18.0, said)
    proof = prove(Before.weighed(weighing, HERE, 18.0, {}), after, Done(("mend-charge-path",)), SUPERCHARGED)
    assert proof.judgement == "not proved yet"
    assert f"{code} is new, pending" in proof.says
    heard = [
        weighed_by_itself([blown(day=2)], SUPERCHARGED, HERE, 18.0, facts=facts, known=knowledge())
        for facts in (None, Facts(codes=(StoredCode(code, "stored"),)))
    ]
    without, with_code = (one.healthy for one in heard if one is not None)
    assert with_code < without
