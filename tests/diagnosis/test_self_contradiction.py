"""What one good sensor, or the engine as it was described, cannot show."""

from __future__ import annotations

import numpy as np
import pytest
from small_cases import NATURAL, TURBO, Floats, case_of, changed, without, workshop_round

from airproof.diagnosis.checks import engine_off
from airproof.diagnosis.conditions import UNKNOWN_PLACE
from airproof.diagnosis.self_contradiction import drifted, unboosted, unplaced
from airproof.diagnosis.weigh import weigh
from airproof.knowledge.model import NONE
from airproof.recording.recording import Recording


def drifting(recording: Recording, kpa: float, *signals: str) -> Recording:
    """The later half reads so much more."""
    for name in signals:
        recording = changed(recording, name, lambda v: v + np.where(np.arange(v.size) > v.size / 2, kpa, 0.0))
    return recording


def test_a_sensor_that_reads_two_days_with_the_engine_off_is_to_be_cleared_up() -> None:
    case = case_of(drifting(workshop_round(NATURAL), 9.0, "manifold_pressure"), NATURAL)
    (says,) = drifted(case, "valve-timing")
    assert "first reads 98.0 kPa absolute and later 107.0 kPa" in says
    assert "barometer did not go along" in says
    assert drifted(case, "map-offset") == ()  # it says as much itself
    alone = case_of(without(case.recording, "barometric_pressure"), NATURAL)
    (says,) = drifted(alone, "valve-timing")
    assert "unless the car went up or down by some 750 m" in says


def test_a_hill_is_no_drift_and_a_steady_sensor_none() -> None:
    both = drifting(workshop_round(NATURAL), 9.0, "manifold_pressure", "barometric_pressure")
    assert drifted(case_of(both, NATURAL), NONE) == ()
    assert drifted(case_of(workshop_round(TURBO), TURBO), NONE) == ()


def test_the_verdict_names_it_first() -> None:
    recording = without(drifting(workshop_round(NATURAL), -9.0, "manifold_pressure"), "barometric_pressure")
    verdict = weigh([recording], NATURAL).verdict
    drifts = any("with the engine off, manifold pressure first reads" in one for one in verdict.doubts)
    assert drifts or verdict.first.id in ("map-offset", "map-gain")


def test_the_place_is_asked_for_before_anything_is_taken_apart() -> None:
    recording = without(workshop_round(NATURAL), "barometric_pressure")
    nowhere = case_of(recording, NATURAL, weather=UNKNOWN_PLACE)
    cams = {"valve-timing": 0.9, "map-offset": 0.09}
    (says,) = unplaced(nowhere, cams, "valve-timing")
    assert "the 98.0 kPa absolute that the manifold pressure sensor reads with the engine off" in says
    assert unplaced(nowhere, {**cams, "map-offset": 0.01}, "valve-timing") == ()
    assert unplaced(nowhere, cams, "map-offset") == ()  # then it is in question anyway
    assert unplaced(case_of(recording, NATURAL), cams, "valve-timing") == ()
    assert unplaced(case_of(workshop_round(NATURAL), NATURAL, weather=UNKNOWN_PLACE), cams, "valve-timing") == ()


def test_a_charged_engine_without_any_boost_may_be_another() -> None:
    def flat(pressure: Floats) -> Floats:
        return np.minimum(pressure, 98.0)

    another = changed(workshop_round(TURBO), "manifold_pressure", flat)
    (says,) = unboosted(case_of(another, TURBO), NONE)
    assert "never rises above 98 kPa absolute, the air outside having 98 kPa: no boost at all" in says
    assert unboosted(case_of(another, TURBO), "boost-leak") == ()
    assert unboosted(case_of(workshop_round(TURBO), TURBO), NONE) == ()
    assert unboosted(case_of(workshop_round(NATURAL), NATURAL), NONE) == ()


@pytest.mark.parametrize(("off", "side"), [(-10.0, "below"), (10.0, "above")])
def test_a_sensor_judged_given_another_says_how_far_it_stands_from_it(off: float, side: str) -> None:
    recording = changed(workshop_round(NATURAL), "barometric_pressure", lambda v: v + off)
    manifold, barometer = engine_off.check(case_of(recording, NATURAL))
    assert barometer.finding.says.endswith(f"expected of the day, and 10.0 kPa {side} manifold pressure")
    assert "manifold pressure," not in manifold.finding.says
