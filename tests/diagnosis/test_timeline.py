"""When was the trouble there? Windows, the chain that joins them, and faults switched on in the middle."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from small_cases import DAY, TURBO, case_of, workshop_round

from airproof.diagnosis.timeline import presence, spells, walk, windows_of
from airproof.quantities.gas_flow import hole_area, orifice_flow
from airproof.recording.recording import Recording, Signal

GOOD = workshop_round(TURBO, seed=1)


def twice(first: Recording, second: Recording) -> tuple[Recording, float]:
    """One round after the other, and when the second begins."""
    begins = first.duration_s + 0.2
    signals = {}
    for name in first:
        a, b = first[name], second[name]
        signals[name] = Signal(
            name, a.unit, np.concatenate([a.time, b.time + begins]), np.concatenate([a.values, b.values])
        )
    return Recording(signals), begins


def lying(cause: str) -> Recording:
    """The round with one lie; the loops' answer (trims) where the cause asks for one."""
    healthy = workshop_round(TURBO, seed=2)
    values = {name: healthy[name].values.copy() for name in healthy}
    turning = values["engine_speed"] > 0
    if cause == "map-offset":
        values["manifold_pressure"] += 9.0
    elif cause == "map-gain":
        values["manifold_pressure"] *= 0.88
    elif cause == "maf-scale":
        values["air_flow"] *= 0.85
        values["long_trim_1"] = np.where(turning, 100.0 * (1.0 / 0.85 - 1.0), 0.0)
        values["fuel_rate"] = values["fuel_rate"] * 1.0
    else:
        pascal = values["manifold_pressure"] * 1e3
        leak = np.asarray(orifice_flow(hole_area(2e-3), DAY * 1e3, pascal, 297.15, discharge=0.7)) * 1e3
        metered = np.where(turning, values["air_flow"] - leak, 0.0)
        values["long_trim_1"] = np.where(turning, 100 * (values["air_flow"] / np.maximum(metered, 0.1) - 1), 0.0)
        values["air_flow"] = metered
    return Recording({n: Signal(n, healthy[n].unit, healthy[n].time, values[n]) for n in healthy})


SIZES = {"map-offset": 9.0, "map-gain": -12.0, "maf-scale": -15.0, "vacuum-leak": 2.0}


@pytest.mark.parametrize("cause", SIZES)
def test_a_fault_that_comes_in_the_middle_is_dated_within_half_a_minute(cause: str) -> None:
    recording, begins = twice(workshop_round(TURBO, seed=3), lying(cause))
    case = case_of(recording, TURBO, baselines=[GOOD])
    edges, there = windows_of(case), presence(case, cause, SIZES[cause])
    before, after = edges[1:] < begins - 30.0, edges[:-1] > begins + 30.0
    assert (there[before] < 0.3).all()
    assert (there[after] > 0.7).all()
    # the last window of a healthy engine and the first of an ill one, between which it came
    first = edges[int(np.argmax(there > 0.5))]
    assert first == pytest.approx(begins, abs=30.0)


@pytest.mark.parametrize("cause", SIZES)
def test_a_healthy_recording_stays_low_throughout(cause: str) -> None:
    case = case_of(workshop_round(TURBO, seed=3), TURBO, baselines=[GOOD])
    assert presence(case, cause, SIZES[cause]).max() < 0.2


def test_a_fault_that_was_there_throughout_stays_high() -> None:
    case = case_of(lying("map-gain"), TURBO, baselines=[GOOD])
    there = presence(case, "map-gain", -12.0)
    assert there.min() > 0.5
    assert np.median(there) > 0.95


class TestWindows:
    def test_ten_seconds_each_and_all_covered(self) -> None:
        case = case_of(GOOD, TURBO)
        edges = windows_of(case)
        np.testing.assert_allclose(np.diff(edges), 10.0)
        assert edges[0] == GOOD.start_s
        assert edges[-1] >= GOOD.end_s

    def test_a_very_long_recording_has_wider_windows(self) -> None:
        from dataclasses import replace

        long = Recording({n: replace(s, time=s.time * 120.0) for n, s in GOOD.signals.items()})
        case = replace(case_of(GOOD, TURBO), recording=long)
        assert windows_of(case).size <= 722


def test_walk() -> None:
    case = case_of(lying("map-gain"), TURBO, baselines=[GOOD])
    moments = walk(case, {"none": 0.05, "map-gain": 0.9, "map-offset": 0.04, "ignition": 0.01}, {"map-gain": -12.0}, {})
    assert len(moments) == windows_of(case).size - 1
    for moment in moments:
        assert set(moment.causes) == {"map-gain", "map-offset"}  # what is hardly possible is not followed
        assert moment.p_wrong == pytest.approx(min(sum(moment.causes.values()), 1.0), abs=2e-4)
        assert 0.0 <= moment.p_wrong <= 1.0
        assert moment.causes["map-gain"] <= 0.9
    for one, following in itertools.pairwise(moments):
        assert one.to_s == pytest.approx(following.from_s)


def test_of_a_cause_that_comes_and_goes_each_window_has_the_part_it_was_there() -> None:
    case = case_of(GOOD, TURBO)
    there = ((12.0, 18.0), (35.0, 52.0))
    moments = walk(case, {"none": 0.2, "maf-scale": 0.8}, {"maf-scale": -9.0}, {"maf-scale": there})
    parts = [moment.causes["maf-scale"] for moment in moments[:7]]
    np.testing.assert_allclose(parts, [0.0, 0.48, 0.0, 0.4, 0.8, 0.16, 0.0], atol=1e-4)


def test_spells_are_the_stretches_in_which_it_was_rather_there() -> None:
    case = case_of(GOOD, TURBO)
    there = np.zeros(windows_of(case).size - 1)
    there[2:5] = 0.9
    there[8] = 0.6
    assert spells(case, there) == ((20.0, 50.0), (80.0, 90.0))
    assert spells(case, np.zeros(there.size)) == ()
