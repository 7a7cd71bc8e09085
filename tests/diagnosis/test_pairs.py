"""Two causes at once, on rehearsals of an invented car: found where there are two, not where there is one."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from small_cases import TURBO, case_of, workshop_round

from airproof.diagnosis.checks import relations
from airproof.diagnosis.conditions import barometer_of
from airproof.diagnosis.verdict import Verdict
from airproof.diagnosis.weigh import weigh
from airproof.engine.profile import EngineProfile
from airproof.engine.rehearsal.compare import as_recording
from airproof.engine.rehearsal.faults import Fault
from airproof.engine.rehearsal.many import logged
from airproof.engine.rehearsal.rehearse import Request, Scene, rehearse
from airproof.recording.recording import Recording

CAR = EngineProfile(
    displacement_l=2.0, cylinders=4, induction="turbocharged", air_metering="air-flow sensor", rated_boost_kpa=110.0
)


@cache
def drive(*faults: tuple[str, float], day: int = 2) -> Recording:
    request = Request(
        CAR, faults=tuple(Fault(*fault) for fault in faults), scene=Scene(altitude_m=350.0), seed=1, day=day
    )
    return as_recording(logged(rehearse(request), "grouped"), f"day {day}")


def weighed(*faults: tuple[str, float]) -> Verdict:
    return weigh([drive(*faults)], CAR, baselines=[drive(day=1)], barometer=barometer_of(altitude_m=350.0)).verdict


@pytest.mark.parametrize(
    "faults",
    [
        (("map-offset", 8.0), ("vacuum-leak", 4.0)),
        (("maf-scale", -12.0), ("map-gain", 10.0)),
        (("boost-sensor-scale", 12.0), ("maf-scale", 12.0)),
    ],
)
def test_two_faults_are_both_named(faults: tuple[tuple[str, float], ...]) -> None:
    verdict = weighed(*faults)
    assert verdict.pairs
    assert set(verdict.pairs[0].causes) == {cause for cause, _ in faults}
    assert any(line.startswith("two at once may be there") for line in verdict.cannot_tell)


@pytest.mark.parametrize("fault", [None, ("map-offset", 8.0), ("vacuum-leak", 4.0), ("maf-scale", -12.0)])
def test_one_fault_is_no_pair(fault: tuple[str, float] | None) -> None:
    assert weighed(*([] if fault is None else [fault])).pairs == ()


def test_with_next_to_nothing_of_one_cause_a_pair_is_the_other_alone() -> None:
    case = case_of(workshop_round(CAR), TURBO)
    sizes = np.array([4.0, 8.0])
    one = relations.both(case, ("map-offset", sizes), ("maf-scale", np.full(2, 1e-9)))
    other = relations.both(case, ("map-offset", sizes), ("fuel-delivery", np.full(2, 1e-9)))
    assert one == pytest.approx(other, abs=1e-6)
    assert one[0] > one[1]
