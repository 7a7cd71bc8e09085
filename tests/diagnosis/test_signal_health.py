"""The pressure signal itself: frozen, railed, dropping out; and several sensors jumping together."""

from __future__ import annotations

import numpy as np
import pytest
from small_cases import NATURAL, TURBO, Floats, case_of, changed, without, workshop_round

from airproof.diagnosis.case import Case
from airproof.diagnosis.checks import shared_supply, signal_health
from airproof.diagnosis.testimony import Testimony as Told  # under its own name it would be collected as a test
from airproof.recording.recording import Recording

RECORDING = workshop_round(NATURAL)


def told(recording: Recording) -> dict[str, Told]:
    return {one.finding.id: one for one in signal_health.check(case_of(recording, NATURAL))}


def favours(one: Told, cause: str) -> float:
    """Decibans for a cause, its sizes taken as equally likely, over `none`."""
    mean = np.logaddexp.reduce(one.log_likelihood[cause]) - np.log(one.log_likelihood[cause].size)
    return float(10 / np.log(10) * (mean - one.log_likelihood["none"][0]))


def test_a_healthy_signal_moves_stays_in_range_and_never_drops_out() -> None:
    said = told(RECORDING)
    assert list(said) == ["pressure-moves", "pressure-in-range", "dropouts"]
    assert not any(one.finding.unexpected for one in said.values())
    assert favours(said["pressure-moves"], "map-stuck") < -10
    assert favours(said["pressure-in-range"], "map-circuit") < -5
    assert favours(said["dropouts"], "map-intermittent") < 0


@pytest.mark.parametrize("level", [30.0, 60.0, 98.0])
def test_frozen(level: float) -> None:
    said = told(changed(RECORDING, "manifold_pressure", lambda v: 0 * v + level))
    moves = said["pressure-moves"]
    assert moves.finding.value == 0.0
    assert moves.finding.unexpected
    assert "stands still" in moves.finding.says
    assert favours(moves, "map-stuck") > 20
    case = case_of(RECORDING, NATURAL)
    assert case.sizes["map-stuck"][int(np.argmax(moves.log_likelihood["map-stuck"]))] == pytest.approx(level, abs=2.0)
    assert favours(moves, "map-offset") == pytest.approx(0.0, abs=1e-9)


def test_frozen_within_its_rounding_is_frozen() -> None:
    def hum(v: Floats) -> Floats:
        return 60.0 + (np.arange(v.size) % 7 == 0)

    recording = changed(RECORDING, "manifold_pressure", hum)
    recording = Recording({**recording.signals, "manifold_pressure": rounded(recording, 1.0)})
    assert favours(told(recording)["pressure-moves"], "map-stuck") > 20


def rounded(recording: Recording, step: float) -> object:
    from dataclasses import replace

    return replace(recording["manifold_pressure"], resolution=step)


def test_a_still_pressure_on_an_engine_that_only_idles_proves_little() -> None:
    idle = RECORDING.between(15.0, 70.0)
    still = told(changed(idle, "manifold_pressure", lambda v: 0 * v + 34.0))["pressure-moves"]
    moved = told(changed(RECORDING, "manifold_pressure", lambda v: 0 * v + 34.0))["pressure-moves"]
    assert favours(still, "map-stuck") < favours(moved, "map-stuck") - 15


@pytest.mark.parametrize(("level", "boosted"), [(255.0, False), (255.0, True), (2.0, False), (140.0, False)])
def test_railed(level: float, boosted: bool) -> None:
    profile = TURBO if boosted else NATURAL
    case = case_of(changed(workshop_round(profile), "manifold_pressure", lambda v: 0 * v + level), profile)
    said = {one.finding.id: one for one in signal_health.check(case)}
    assert said["pressure-in-range"].finding.value == pytest.approx(100.0)
    assert favours(said["pressure-in-range"], "map-circuit") > 20
    total = sum(favours(one, "map-circuit") for one in said.values())
    assert total > sum(favours(one, "map-stuck") for one in said.values())


def test_high_boost_is_no_rail() -> None:
    case = case_of(workshop_round(TURBO, boost=2.4), TURBO)
    said = {one.finding.id: one for one in signal_health.check(case)}
    assert said["pressure-in-range"].finding.value == 0.0


STEADY = np.array([150, 190, 320, 380, 420, 800, 850, 900])  # samples in the middle of idle and of steady drives


def broken(width: int, level: float, places: np.ndarray = STEADY) -> Recording:
    def cut(v: Floats) -> Floats:
        for place in places:
            v[place : place + width] = level
        return v

    return changed(RECORDING, "manifold_pressure", cut)


@pytest.mark.parametrize("width", [1, 2, 3])
@pytest.mark.parametrize("level", [0.0, 110.0])
def test_dropouts_are_counted(width: int, level: float) -> None:
    one = told(broken(width, level))["dropouts"]
    # idle, drives at 0.40 and 0.52 and 0.68 of the barometer: 110 kPa is a jump from all of them
    minutes = 245.0 / 60.0
    assert one.finding.value == pytest.approx(STEADY.size / minutes, rel=0.05)
    assert f"{STEADY.size} times" in one.finding.says
    assert len(one.finding.intervals) == STEADY.size
    assert favours(one, "map-intermittent") > 15


def test_the_rate_is_found_within_the_uncertainty_of_a_count() -> None:
    case = case_of(broken(1, 0.0), NATURAL)
    one = signal_health.check(case)[2]
    rows, sizes = one.log_likelihood["map-intermittent"], np.abs(case.sizes["map-intermittent"])
    best = float(sizes[int(np.argmax(rows))])
    seen_per_s = STEADY.size / 245.0
    assert seen_per_s < best * 1.05  # not every break is caught by a polled recording
    assert best < 5 * seen_per_s


def test_a_snap_of_the_throttle_is_no_dropout() -> None:
    recording = broken(2, 95.0)

    def blip(v: Floats) -> Floats:
        for place in STEADY:
            v[place - 1 : place + 2] += 40.0
        return v

    assert told(changed(recording, "throttle", blip))["dropouts"].finding.value == 0.0


def test_a_lasting_step_is_no_dropout() -> None:
    assert told(broken(40, 90.0))["dropouts"].finding.value == 0.0


def test_too_little_to_judge() -> None:
    assert signal_health.check(case_of(without(RECORDING, "engine_speed"), NATURAL)) == []
    assert signal_health.check(case_of(without(RECORDING, "manifold_pressure"), NATURAL)) == []
    assert signal_health.check(case_of(RECORDING.between(20.0, 24.0), NATURAL)) == []
    assert signal_health.check(case_of(RECORDING.between(0.0, 10.0), NATURAL)) == []  # the engine stands


class TestSharedSupply:
    def case(self, *names: str, share: float = 0.6) -> Case:
        recording = workshop_round(TURBO)
        for name in names:

            def dip(v: Floats) -> Floats:
                v[STEADY] *= share
                return v

            recording = changed(recording, name, dip)
        return case_of(recording, TURBO)

    def supply(self, case: Case) -> tuple[float, float]:
        (one,) = shared_supply.check(case)
        return one.finding.value, favours(one, "supply-reference")

    def test_sensors_that_jump_together_accuse_their_supply(self) -> None:
        value, decibans = self.supply(self.case("manifold_pressure", "charge_pressure", "throttle"))
        assert value > 1.0
        assert decibans > 5.0

    def test_one_sensor_alone_does_not(self) -> None:
        for name in ("manifold_pressure", "charge_pressure"):
            value, decibans = self.supply(self.case(name))
            assert value == 0.0
            assert decibans < 0.0

    def test_a_healthy_car_speaks_a_little_against_it(self) -> None:
        value, decibans = self.supply(case_of(workshop_round(TURBO), TURBO))
        assert value == 0.0
        assert -3.0 < decibans < 0.0

    def test_it_takes_two_sensors_and_the_speed(self) -> None:
        recording = workshop_round(NATURAL)
        alone = without(recording, "throttle", "pedal")
        assert shared_supply.check(case_of(alone, NATURAL)) == []
        assert shared_supply.check(case_of(without(recording, "engine_speed"), NATURAL)) == []
