"""What disturbs a drive: nothing unless asked for, as much as in ordinary cars at level 1, and no code from it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from airproof.engine.rehearsal.records import as_mapping
from airproof.engine.rehearsal.rehearse import Rehearsal, rehearse
from airproof.engine.rehearsal.road.drives import named_drive, of_stretches
from airproof.engine.rehearsal.road.unrest import SECONDS, unrest_of
from airproof.engine.rehearsal.spread import draw

STANDING = of_stretches("standing", [(4.0, "off", 0.0), (1.6, "crank", 0.0), (120.0, "idle", 0.0)])


def rehearsed(place: int, unrest: float, *, standing: bool) -> Rehearsal:
    request = draw(20261125, place, faults=()).request
    drive = STANDING if standing else named_drive("workshop")
    return rehearse(replace(request, drive=drive, scene=replace(request.scene, unrest=unrest)))


def steps_of_idle(done: Rehearsal) -> NDArray[np.float64]:
    """By how much the idle speed moves from one second to the next, 1/min."""
    return np.abs(np.diff(done.trace.items["engine_speed"][2500::100]))


def test_at_level_none_nothing_disturbs() -> None:
    for values in as_mapping(unrest_of(0.0, 2.0, 750.0, np.random.default_rng(1))).values():
        np.testing.assert_array_equal(values, np.zeros(SECONDS))


def test_twice_the_level_is_twice_of_everything() -> None:
    one, two = (as_mapping(unrest_of(level, 2.0, 750.0, np.random.default_rng(4))) for level in (0.7, 1.4))
    for name, values in one.items():
        np.testing.assert_allclose(2.0 * np.asarray(values), np.asarray(two[name]), atol=1e-12)


@pytest.mark.parametrize("place", range(6))
def test_an_idle_wanders_more_than_a_calm_one_and_the_engine_runs_on(place: int) -> None:
    calm, moved = (rehearsed(place, level, standing=True) for level in (0.0, 1.0))
    assert np.median(steps_of_idle(moved)) > np.median(steps_of_idle(calm))
    assert moved.trace.items["engine_speed"][2500:].min() > 350.0


def test_on_average_an_idle_moves_as_in_the_healthy_road_recordings() -> None:
    # carOBD (IEEE 8891367): medians of 3 to 24 1/min from second to second in healthy drives, the middle one 10
    middle = np.median([np.median(steps_of_idle(rehearsed(place, 1.0, standing=True))) for place in range(12)])
    assert 5.0 < middle < 20.0


@pytest.mark.parametrize("place", range(8))
def test_it_sets_no_code(place: int) -> None:
    codes = rehearsed(place, 1.0, standing=False).codes
    assert codes.pending | codes.confirmed == set()
