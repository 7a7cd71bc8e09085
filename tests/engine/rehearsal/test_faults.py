"""What a cause written on the command line becomes, and when it acts."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from simulated_cars import BREATHING_BY_DENSITY, TURBO, WITH_EGR

from airproof.engine.rehearsal import faults as places
from airproof.engine.rehearsal.air.build import Details
from airproof.engine.rehearsal.faults import CAUSES, UNSIZED, Fault, act, fault_record, parse_fault
from airproof.errors import UnusableRequest
from airproof.knowledge.load import knowledge


def test_every_cause_of_the_design_but_none_can_be_rehearsed() -> None:
    assert set(CAUSES) == set(knowledge().causes) - {"none"}
    for place, cause in enumerate(CAUSES):
        assert getattr(places, cause.upper().replace("-", "_")) == place


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("vacuum-leak=4mm", Fault("vacuum-leak", 4.0)),
        ("vacuum-leak = 0.16 in", Fault("vacuum-leak", 4.064)),
        ("map-offset=-12kPa", Fault("map-offset", -12.0)),
        ("map-offset=1 psi", Fault("map-offset", 6.894757)),
        ("map-gain=-9,5%", Fault("map-gain", -9.5)),
        ("intake-restriction=6x", Fault("intake-restriction", 6.0)),
        ("map-circuit", Fault("map-circuit", 1.0)),
        ("ignition=12%", Fault("ignition", 12.0)),
        ("map-offset=12kPa:from=60s:over=30s", Fault("map-offset", 12.0, 60.0, 30.0)),
        ("maf-scale=-20%:from=1min", Fault("maf-scale", -20.0, 60.0)),
        ("ignition:on=5s:off=20", Fault("ignition", 8.0, on_s=5.0, off_s=20.0)),
    ],
)
def test_a_cause_as_it_is_written(text: str, expected: Fault) -> None:
    fault = parse_fault(text, TURBO, WITH_EGR)
    assert fault.cause == expected.cause
    assert fault.size == pytest.approx(expected.size, rel=1e-6)
    assert (fault.from_s, fault.over_s) == (expected.from_s, expected.over_s)
    assert (fault.on_s, fault.off_s) == (expected.on_s, expected.off_s)


@pytest.mark.parametrize("cause", CAUSES)
def test_without_a_size_the_usual_one_is_taken(cause: str) -> None:
    sizes = knowledge().causes[cause].size
    expected = UNSIZED[cause][1] if sizes is None else sizes.typical
    assert parse_fault(cause, TURBO, WITH_EGR).size == expected


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("map-ofset=8kPa", "map-offset"),
        ("", "one of"),
        ("vacuum-leak=400mm", "from 0 to 30"),
        ("vacuum-leak=-4mm", "from 0 to 30"),
        ("intake-restriction=0.2x", "from 1 to"),
        ("vacuum-leak=4kPa", "a length"),
        ("map-gain=nine", "a size"),
        ("map-gain=9kPa", "a size"),
        ("fuel-delivery=-100%", "from -60"),
        ("ignition:on=5s", "both on= and off="),
        ("ignition:sometimes", "after a colon"),
        ("map-offset=8kPa:from=-5s", "0 to 86400"),
    ],
)
def test_what_cannot_be_meant_is_refused_in_one_line(text: str, says: str) -> None:
    with pytest.raises((UnusableRequest, ValueError), match=says) as told:
        parse_fault(text, TURBO, WITH_EGR)
    assert "\n" not in str(told.value)
    assert f"--cause {text}" in str(told.value)


@pytest.mark.parametrize(
    ("cause", "profile", "details"),
    [
        ("boost-leak", BREATHING_BY_DENSITY, Details()),
        ("wastegate-stuck-open", BREATHING_BY_DENSITY, Details()),
        ("maf-scale", BREATHING_BY_DENSITY, Details()),
        ("egr-stuck-open", TURBO, Details()),
        ("baro-sensor", TURBO, Details(barometer="key-on manifold pressure")),
    ],
)
def test_a_cause_that_the_engine_cannot_have_is_refused(cause: str, profile: object, details: Details) -> None:
    with pytest.raises(UnusableRequest, match="an engine"):
        parse_fault(cause, profile, details)  # type: ignore[arg-type]


def acting(fault: Fault, when: float) -> float:
    record = fault_record([fault])
    act(record, when)
    return float(record.now[CAUSES.index(fault.cause)])


def test_a_fault_that_grows() -> None:
    fault = Fault("vacuum-leak", 4.0, from_s=60.0, over_s=30.0)
    sizes = [acting(fault, when) for when in (0.0, 59.9, 60.0, 75.0, 90.0, 500.0)]
    assert sizes == pytest.approx([0.0, 0.0, 0.0, 2.0, 4.0, 4.0])


def test_a_factor_grows_from_one() -> None:
    fault = Fault("exhaust-restriction", 5.0, from_s=10.0, over_s=10.0)
    assert [acting(fault, when) for when in (0.0, 15.0, 20.0)] == pytest.approx([1.0, 3.0, 5.0])


def test_what_sticks_sticks_at_once() -> None:
    fault = Fault("map-stuck", 100.0, from_s=10.0, over_s=100.0)
    assert [acting(fault, when) for when in (9.0, 11.0)] == [0.0, 100.0]


@settings(max_examples=60, deadline=None)
@given(on=st.floats(1.0, 30.0), off=st.floats(1.0, 30.0), when=st.floats(0.0, 600.0))
def test_a_fault_that_comes_and_goes_does_so_for_ever(on: float, off: float, when: float) -> None:
    fault = Fault("map-offset", 9.0, on_s=on, off_s=off)
    place = when % (on + off)
    if abs(place - on) > 1e-6 and min(place, on + off - place) > 1e-6:
        assert acting(fault, when) == (9.0 if place < on else 0.0)


def test_two_faults_act_side_by_side_and_the_rest_does_nothing() -> None:
    record = fault_record([Fault("map-offset", 5.0), Fault("vacuum-leak", 3.0)])
    act(record, 1.0)
    expected = np.zeros(23)
    expected[places.MAP_OFFSET], expected[places.VACUUM_LEAK] = 5.0, 3.0
    expected[places.INTAKE_RESTRICTION] = expected[places.EXHAUST_RESTRICTION] = 1.0
    np.testing.assert_array_equal(record.now, expected)
