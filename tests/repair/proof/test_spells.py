"""A fault that came and went: proved gone only once it had the time to come, and never while it still comes."""

from __future__ import annotations

import math
from functools import cache

import pytest
from rehearsed_repairs import ALTITUDE_M, CAR, HERE, drive

from airproof.diagnosis.examine import examine
from airproof.diagnosis.weigh import weigh
from airproof.engine.rehearsal.compare import as_recording
from airproof.engine.rehearsal.faults import Fault
from airproof.engine.rehearsal.many import logged
from airproof.engine.rehearsal.rehearse import Request, Scene, rehearse
from airproof.engine.rehearsal.road.drives import drive_from
from airproof.recording.recording import Recording
from airproof.repair.proof.proof import Proof
from airproof.repair.proof.prove import AfterRepair, Before, Done, prove
from airproof.repair.proof.spells import running_s, time_to_come
from airproof.repair.proof.stretches import drive as stretches

LEAK = Fault("vacuum-leak", 5.0, on_s=10.0, off_s=20.0)


@cache
def driven(*faults: Fault, day: int = 1) -> Recording:
    """Ten minutes of town and country; with LEAK a hose opens and shuts."""
    scene = Scene(altitude_m=ALTITUDE_M, ambient_c=18.0)
    request = Request(CAR, faults=faults, scene=scene, day=day, drive=drive_from("mixed"))
    return as_recording(logged(rehearse(request), "two-first"), f"day {day}")


@cache
def before() -> Before:
    weighing = weigh([driven(LEAK)], CAR, barometer=HERE, ambient_c=18.0)
    return Before.weighed(weighing, HERE, 18.0, {"P0171": "stored"})


def judged(after: Recording, before: Before) -> Proof:
    return prove(before, AfterRepair((after,), HERE, 18.0), Done(("mend-vacuum-leak",)), CAR)


def test_it_is_known_to_have_come_and_gone() -> None:
    there = before().there
    assert there is not None
    assert len(there) >= 3


def test_mended_it_is_proved() -> None:
    assert judged(driven(day=2), before()).judgement == "proved"


def test_what_still_comes_and_goes_is_as_it_was_by_its_spells_on_both_sides() -> None:
    proof = judged(driven(LEAK, day=2), before())
    assert proof.judgement == "not fixed"
    size = proof.first_change
    assert size is not None
    for side in (size.before, size.after):
        assert side.low is not None
        assert side.high is not None
        assert side.low <= LEAK.size <= side.high
    assert proof.holding is not None
    assert proof.holding.probability < 0.1
    assert any("still comes and goes, seen about" in one.says for one in proof.missing if one.needed)


def test_a_healthy_car_is_not_said_to() -> None:
    assert not any("comes and goes" in one.says for one in judged(driven(day=2), before()).missing)


@pytest.mark.parametrize("every_s", [15.0, 60.0, 200.0, 1000.0])
def test_it_must_have_had_the_time_to_come_with_all_but_five_in_a_hundred(every_s: float) -> None:
    needs = stretches().causes["vacuum-leak"]
    after = examine([drive(day=2)], CAR).case
    there = [(n * every_s, n * every_s + 5.0) for n in range(4)]
    ran, found = running_s(after), time_to_come(needs, there, after)
    if math.exp(-ran / every_s) <= 0.05:
        assert not found
        return
    (missing,) = found
    assert missing.needed
    assert missing.seconds is not None
    assert math.exp(-(ran + missing.seconds) / every_s) == pytest.approx(0.05)
    assert f"about every {every_s:.0f} s" in missing.says
    assert not time_to_come(needs, there[:2], after)
    assert not time_to_come(needs, None, after)
