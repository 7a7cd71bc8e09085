"""The car after the repair weighed by itself: what a verdict would hardly call healthy is not handed back as mended."""

from __future__ import annotations

import pytest
from rehearsed_repairs import CAR, HERE, before, drive, judged

from airproof.diagnosis.weigh import weigh
from airproof.knowledge.load import knowledge
from airproof.knowledge.model import NONE
from airproof.recording.recording import Recording
from airproof.repair.proof.alone import doubt_alone
from airproof.repair.proof.judged import judged as numbers
from airproof.repair.proof.prove import AfterRepair, Done, prove


def doubts(after: Recording) -> list[str]:
    return [one.says for one in doubt_alone([after], CAR, HERE, None, known=knowledge())]


def test_a_healthy_car_is_not_doubted() -> None:
    assert doubts(drive(day=2)) == []


@pytest.mark.parametrize(("cause", "size"), [("vacuum-leak", 5.0), ("boost-sensor-scale", 12.0), ("ignition", -8.0)])
def test_doubt_is_what_the_verdict_says_of_the_same_recording(cause: str, size: float) -> None:
    after = drive(cause, size, day=2)
    verdict = weigh([after], CAR, barometer=HERE).verdict
    first = next(one for one in verdict.causes if one.id != NONE)
    assert verdict.probability(NONE) < numbers().healthy_over_faulty * first.probability
    (says,) = doubts(after)
    assert first.title.lower() in says.lower()
    assert f"{100 * first.probability:.0f} in 100" in says or "99 in 100" in says
    assert says.endswith("look there, and record again")


def test_what_lies_outside_healthy_cars_is_said_and_waited_for_only_where_no_verdict_can_be_asked() -> None:
    hot = drive("iat-offset", 30.0, day=2)
    for fuel in (None, "e10"):
        after = AfterRepair((hot,), HERE, 18.0, fuel=fuel)  # another fuel: its trims would mislead a verdict
        proof = prove(before("map-offset", 9.0), after, Done(("replace-map-sensor",)), CAR)
        odd = [one for one in proof.missing if one.says.startswith("outside what healthy cars show: ")]
        assert any("intake air" in one.says for one in odd)
        assert {one.needed for one in odd} == {fuel is not None}


def test_a_car_that_shows_something_new_is_never_proved() -> None:
    proof = judged("map-offset", 9.0, drive("ignition", -8.0, day=2), "replace-map-sensor")
    assert proof.judgement != "proved"
