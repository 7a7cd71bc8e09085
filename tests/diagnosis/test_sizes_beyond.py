"""Sizes beyond the largest that is reckoned with: said to be at least so large, never boxed in beside the truth."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from airproof.diagnosis.conditions import barometer_of
from airproof.diagnosis.verdict import Size
from airproof.diagnosis.weigh import weigh
from airproof.engine.profile import EngineProfile
from airproof.engine.rehearsal.compare import as_recording
from airproof.engine.rehearsal.many import logged
from airproof.engine.rehearsal.rehearse import Request, Scene, rehearse
from airproof.knowledge.load import knowledge
from airproof.recording.recording import Recording

CAR = EngineProfile(displacement_l=2.0, cylinders=4, induction="turbocharged", air_metering="air-flow sensor")
ALTITUDE_M = 350.0


@cache
def healthy() -> Recording:
    """The workshop round of a car of our own invention."""
    return as_recording(logged(rehearse(Request(CAR, scene=Scene(altitude_m=ALTITUDE_M))), "two-first"), "healthy")


def found(cause: str, signal: str, off_kpa: float) -> Size:
    """The size of the cause where that signal reads so much too high."""
    there = healthy()[signal]
    read = replace(there, values=np.maximum(there.values + off_kpa, 0.0))
    recording = replace(healthy(), signals={**healthy().signals, signal: read})
    first = weigh([recording], CAR, barometer=barometer_of(altitude_m=ALTITUDE_M)).verdict.first
    assert (first.id, first.size is None) == (cause, False)
    assert first.size is not None
    return first.size


@pytest.mark.parametrize(("off", "beyond"), [(8.0, False), (30.0, False), (45.0, True), (60.0, True)])
def test_a_pressure_that_reads_far_too_high(off: float, beyond: bool) -> None:
    size = found("map-offset", "manifold_pressure", off)
    assert size.beyond == beyond
    assert size.low < off
    assert beyond or off < size.high


@pytest.mark.parametrize(("off", "beyond"), [(-5.0, False), (-47.0, False), (-83.0, False), (-120.0, True)])
def test_a_barometer_that_reads_what_no_place_has(off: float, beyond: bool) -> None:
    size = found("baro-sensor", "barometric_pressure", off)
    day = float(np.median(healthy()["barometric_pressure"].values))
    assert size.beyond == beyond
    assert size.low < max(off, -day) < size.high or (beyond and size.high > -day)


def test_a_share_of_the_whole_ends_at_the_whole() -> None:
    assert {cause.id for cause in knowledge().causes.values() if cause.size and cause.size.whole} == {
        "wastegate-stuck-open"
    }
