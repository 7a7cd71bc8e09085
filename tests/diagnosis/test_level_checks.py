"""Idle, overrun, full load, boost, temperatures and response: values and signs on small recordings."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from small_cases import DAY, NATURAL, TURBO, Floats, case_of, changed, without, workshop_round

from airproof.diagnosis.case import Case
from airproof.diagnosis.checks import boost_control, exhaust, full_load, idle, overrun, response, temperatures
from airproof.diagnosis.testimony import Testimony as Told  # under its own name it would be collected as a test
from airproof.recording.regimes import Regime

NATURAL_ROUND = workshop_round(NATURAL)
TURBO_ROUND = workshop_round(TURBO)


def only(told: Sequence[Told], name: str) -> Told:
    return next(one for one in told if one.finding.id == name)


def decibans(case: Case, one: Told, cause: str, size: float) -> float:
    at = int(np.argmin(np.abs(case.sizes[cause] - size)))
    return float(10 / np.log(10) * (one.log_likelihood[cause][at] - one.log_likelihood["none"][0]))


class TestIdle:
    def said(self, name: str, signal: str | None = None, off: float = 0.0) -> tuple[Case, Told]:
        recording = changed(NATURAL_ROUND, signal, lambda v: v + off) if signal else NATURAL_ROUND
        case = case_of(recording, NATURAL)
        return case, only(idle.check(case), name)

    def test_pressure_is_a_share_of_the_barometer(self) -> None:
        _, one = self.said("idle-pressure")
        assert one.finding.value == pytest.approx(35.0, abs=0.05)
        assert one.finding.unit == "%"
        assert not one.finding.unexpected
        # 15 to 22 inHg of vacuum at sea level, 27 to 50 kPa absolute (US Army course OD1001; makers' texts), are normal
        assert one.finding.expected[0] < 27.0
        assert one.finding.expected[1] == pytest.approx(50.0, abs=1.5)

    @pytest.mark.parametrize("off", [-14.0, 20.0])
    def test_a_lying_pressure_is_undone_at_its_size(self, off: float) -> None:
        case, one = self.said("idle-pressure", "manifold_pressure", off)
        assert one.finding.unexpected
        assert one.finding.value == pytest.approx(35.0 + 100.0 * off / DAY, abs=0.1)
        assert decibans(case, one, "map-offset", off) > 3.0
        assert decibans(case, one, "map-offset", -off) < 0.0

    def test_speed(self) -> None:
        _, one = self.said("idle-speed")
        assert one.finding.value == pytest.approx(780.0, abs=5.0)
        stated = case_of(NATURAL_ROUND, NATURAL.model_copy(update={"idle_rpm": 600.0}))
        assert only(idle.check(stated), "idle-speed").finding.unexpected

    def test_a_leak_may_raise_the_idle_and_deposits_lower_it(self) -> None:
        def faster(v: Floats) -> Floats:
            return np.where((v > 0) & (v < 900), v + 160.0, v)

        stated = NATURAL.model_copy(update={"idle_rpm": 780.0})
        case = case_of(changed(NATURAL_ROUND, "engine_speed", faster), stated)
        one = only(idle.check(case), "idle-speed")
        assert decibans(case, one, "vacuum-leak", 6.0) > 2.0
        assert decibans(case, one, "vacuum-leak", 6.0) > decibans(case, one, "throttle-deposits", 40.0) + 1.0

    def test_unsteadiness_speaks_for_misfire(self) -> None:
        rng = np.random.default_rng(3)

        def shaky(v: Floats) -> Floats:
            return np.where((v > 0) & (v < 900), v + 70.0 * rng.normal(size=v.size), v)

        steady_case, steady = self.said("idle-unsteadiness")
        assert steady.finding.value == pytest.approx(0.8, abs=0.15)  # the round is made with 0.8 %
        assert decibans(steady_case, steady, "ignition", 0.0) < 0.0
        case = case_of(changed(NATURAL_ROUND, "engine_speed", shaky), NATURAL)
        one = only(idle.check(case), "idle-unsteadiness")
        assert one.finding.value > 5.0
        assert decibans(case, one, "ignition", 0.0) > 4.0

    def test_pressure_noise_counts_beyond_rounding(self) -> None:
        _, one = self.said("idle-pressure-noise")
        assert one.finding.value == pytest.approx(0.0, abs=1e-6)
        rng = np.random.default_rng(4)
        case = case_of(
            changed(NATURAL_ROUND, "manifold_pressure", lambda v: v + 2.0 * rng.normal(size=v.size)), NATURAL
        )
        noisy = only(idle.check(case), "idle-pressure-noise")
        assert 1.4 < noisy.finding.value < 2.2

    def test_a_cold_engine_is_not_judged(self) -> None:
        cold = changed(NATURAL_ROUND, "coolant_temperature", lambda v: 0 * v + 20.0)
        assert idle.check(case_of(cold, NATURAL)) == []

    def test_no_idle_no_word(self) -> None:
        assert idle.check(case_of(NATURAL_ROUND.between(85.0, 110.0), NATURAL)) == []


class TestOverrun:
    def test_floor_and_a_lying_pressure(self) -> None:
        case = case_of(NATURAL_ROUND, NATURAL)
        (one,) = overrun.check(case)
        assert one.finding.value == pytest.approx(20.0, abs=0.1)
        assert not one.finding.unexpected
        off = case_of(changed(NATURAL_ROUND, "manifold_pressure", lambda v: v + 15.0), NATURAL)
        (high,) = overrun.check(off)
        assert high.finding.unexpected
        assert decibans(off, high, "map-offset", 15.0) > 4.0
        assert decibans(off, high, "map-offset", -15.0) < 0.0
        # a wrong span hardly shows where the pressure is small
        assert decibans(off, high, "map-gain", 15.0) < decibans(off, high, "map-offset", 15.0)

    def test_none_recorded(self) -> None:
        assert overrun.check(case_of(NATURAL_ROUND.between(0.0, 70.0), NATURAL)) == []


class TestFullLoad:
    def test_without_boost_it_is_nearly_the_barometer(self) -> None:
        # within 2 to 7 kPa below it (common practice, no source)
        (one,) = full_load.check(case_of(NATURAL_ROUND, NATURAL))
        assert one.finding.value == pytest.approx(-0.04 * DAY, abs=0.05)
        assert -8.5 < one.finding.expected[0] < -7.0
        assert -2.0 < one.finding.expected[1] < 0.5

    @pytest.mark.parametrize(("cause", "size"), [("map-offset", 10.0), ("map-gain", -12.0), ("supply-reference", 0.5)])
    def test_a_lying_pressure_at_full_load(self, cause: str, size: float) -> None:
        how = {
            "map-offset": lambda v: v + size,
            "map-gain": lambda v: v * (1 + size / 100),
            "supply-reference": lambda v: v * (1 + size / 5),
        }[cause]
        case = case_of(changed(NATURAL_ROUND, "manifold_pressure", how), NATURAL)
        (one,) = full_load.check(case)
        assert one.finding.unexpected
        assert decibans(case, one, cause, size) > 6.0
        assert decibans(case, one, cause, -size) < 0.0

    def test_a_choked_filter_lowers_it(self) -> None:
        def choked(v: Floats) -> Floats:
            return np.where(np.abs(v - 0.96 * DAY) < 0.1, v - 8.0, v)

        case = case_of(changed(NATURAL_ROUND, "manifold_pressure", choked), NATURAL)
        (one,) = full_load.check(case)
        assert one.finding.value == pytest.approx(-0.04 * DAY - 8.0, abs=0.1)
        assert decibans(case, one, "intake-restriction", 5.0) > 5.0

    def test_on_boost_manifold_and_charge_nearly_agree(self) -> None:
        case = case_of(TURBO_ROUND, TURBO)
        (one,) = full_load.check(case)
        assert one.finding.id == "full-load-charge"
        assert one.finding.value == pytest.approx(-2.0, abs=0.05)  # the round has 2 % between them
        charge = case_of(changed(TURBO_ROUND, "charge_pressure", lambda v: 1.1 * v), TURBO)
        (high,) = full_load.check(charge)
        assert high.finding.value == pytest.approx(-2.0 - 100 * np.log(1.1), abs=0.1)
        assert decibans(charge, high, "boost-sensor-scale", 10.0) > 6.0
        assert decibans(charge, high, "map-gain", -9.1) > 6.0
        assert decibans(charge, high, "map-gain", 9.1) < 0.0

    def test_none_recorded(self) -> None:
        assert full_load.check(case_of(NATURAL_ROUND.between(0.0, 70.0), NATURAL)) == []
        assert full_load.check(case_of(workshop_round(TURBO, boost=1.0), TURBO)) == []


class TestBoost:
    def error(self, off: float) -> tuple[Case, Told]:
        def short(v: Floats) -> Floats:
            return np.where(v > 1.3 * DAY, v + off, v)

        case = case_of(changed(TURBO_ROUND, "charge_pressure", short), TURBO)
        (one,) = boost_control.check(case)
        return case, one

    def test_follows_its_target(self) -> None:
        _, one = self.error(0.0)
        assert one.finding.id == "boost-error"
        assert one.finding.value == pytest.approx(-1.0, abs=0.1)
        assert not one.finding.unexpected

    def test_too_little_and_too_much(self) -> None:
        case, low = self.error(-30.0)
        assert low.finding.unexpected
        assert "below its target" in low.finding.says
        assert decibans(case, low, "wastegate-stuck-open", 40.0) > 5.0
        assert decibans(case, low, "wastegate-stuck-open", 40.0) > decibans(case, low, "wastegate-stuck-closed", 40.0)
        case, high = self.error(30.0)
        assert "above its target" in high.finding.says
        assert decibans(case, high, "wastegate-stuck-closed", 40.0) > 5.0
        assert decibans(case, high, "wastegate-stuck-open", 40.0) < 0.0

    def test_too_little_boost_does_not_accuse_a_wastegate_that_boosts_too_much(self) -> None:
        case, low = self.error(-30.0)
        assert decibans(case, low, "wastegate-stuck-closed", 40.0) < 0.0

    def test_without_a_target_the_rated_boost_speaks(self) -> None:
        case = case_of(without(TURBO_ROUND, "charge_pressure_target"), TURBO)
        (one,) = boost_control.check(case)
        assert one.finding.id == "boost-reached"
        # 1.75 barometers in the manifold, 2 % more before the throttle, rated 80 kPa gauge
        assert one.finding.value == pytest.approx(1.75 * np.exp(0.02) * DAY - DAY - 80.0, abs=0.5)
        unrated = TURBO.model_copy(update={"rated_boost_kpa": None})
        assert boost_control.check(case_of(without(TURBO_ROUND, "charge_pressure_target"), unrated)) == []

    def test_a_pull_too_short_for_boost_to_come_up_says_nothing_of_it(self) -> None:
        recording = without(TURBO_ROUND, "charge_pressure_target")
        (start, end), *_ = case_of(recording, TURBO).regimes.intervals(Regime.FULL_LOAD)
        assert end - start > boost_control.SPOOLING_S
        short = case_of(recording.between(0.0, start + boost_control.SPOOLING_S - 0.1), TURBO)
        assert short.regimes.intervals(Regime.FULL_LOAD)
        assert boost_control.check(short) == []

    def test_a_dead_charge_sensor_is_no_missing_boost(self) -> None:
        case = case_of(changed(TURBO_ROUND, "charge_pressure", lambda v: 0.0 * v), TURBO)
        (one,) = boost_control.check(case)  # the manifold stands in for it
        assert one.finding.value > -8.0
        assert decibans(case, one, "wastegate-stuck-closed", 40.0) < 3.0
        assert decibans(case, one, "wastegate-stuck-open", 40.0) < 3.0

    def test_no_boost_no_word(self) -> None:
        assert boost_control.check(case_of(NATURAL_ROUND, NATURAL)) == []


class TestExhaust:
    def case(self, over: float, turbo: bool = False) -> Case:
        from airproof.recording.recording import Recording, Signal

        profile, recording = (TURBO, TURBO_ROUND) if turbo else (NATURAL, NATURAL_ROUND)
        time = recording["manifold_pressure"].time
        signal = Signal("exhaust_pressure", "kPa", time, np.full(time.size, DAY + over))
        return case_of(Recording({**recording.signals, "exhaust_pressure": signal}), profile)

    def test_normal_and_choked(self) -> None:
        # 5 to 30 kPa over the barometer on road cars (common practice, no source)
        for over in (5.0, 25.0):
            (one,) = exhaust.check(self.case(over))
            assert one.finding.value == pytest.approx(over)
            assert not one.finding.unexpected
        choked = self.case(60.0)
        (one,) = exhaust.check(choked)
        assert one.finding.unexpected
        assert decibans(choked, one, "exhaust-restriction", 4.0) > 8.0
        assert decibans(choked, one, "intake-restriction", 4.0) == pytest.approx(0.0, abs=1e-9)

    def test_before_a_turbine_the_pressure_follows_boost(self) -> None:
        assert exhaust.check(self.case(60.0, turbo=True)) == []

    def test_not_recorded(self) -> None:
        assert exhaust.check(case_of(NATURAL_ROUND, NATURAL)) == []


class TestTemperatures:
    def test_driving_against_the_outside(self) -> None:
        case = case_of(NATURAL_ROUND, NATURAL)
        (one,) = temperatures.check(case)
        assert one.finding.id == "air-temperature"
        assert one.finding.value == pytest.approx(8.0)
        hot = case_of(changed(NATURAL_ROUND, "intake_temperature", lambda v: v + 35.0), NATURAL)
        (high,) = temperatures.check(hot)
        assert high.finding.unexpected
        assert decibans(hot, high, "iat-offset", 35.0) > 3.0
        assert decibans(hot, high, "iat-offset", -35.0) < 0.0

    def test_the_outside_may_be_told(self) -> None:
        recording = without(NATURAL_ROUND, "ambient_temperature")
        assert temperatures.check(case_of(recording, NATURAL)) == []
        (one,) = temperatures.check(case_of(recording, NATURAL, ambient_c=20.0))
        assert one.finding.value == pytest.approx(12.0)

    def test_after_a_soak_all_temperatures_agree(self) -> None:
        cold = changed(NATURAL_ROUND, "coolant_temperature", lambda v: 0 * v + 25.0)
        told = temperatures.check(case_of(changed(cold, "intake_temperature", lambda v: 0 * v + 24.0), NATURAL))
        assert only(told, "cold-agreement").finding.value == pytest.approx(-1.0)
        off = case_of(changed(cold, "intake_temperature", lambda v: 0 * v + 50.0), NATURAL)
        one = only(temperatures.check(off), "cold-agreement")
        assert one.finding.unexpected
        assert decibans(off, one, "iat-offset", 25.0) > 5.0

    def test_a_warm_start_is_no_soak(self) -> None:
        told = temperatures.check(case_of(NATURAL_ROUND, NATURAL))
        assert "cold-agreement" not in [one.finding.id for one in told]


class TestResponse:
    """Throttle steps of a made-up engine whose settled pressure is known, answered through a first-order delay."""

    def recording(self, delay_s: float, hertz: float = 10.0) -> object:
        from airproof.recording.recording import Recording, Signal

        rng = np.random.default_rng(5)
        time = np.arange(0.0, 400.0, 1.0 / hertz)
        level = np.repeat(rng.uniform(5.0, 30.0, 100), int(4 * hertz))[: time.size]
        settled = 97.0 * (0.25 + 0.02 * level)
        pressure = np.empty(time.size)
        state = settled[0]
        for k in range(time.size):
            state += (settled[k] - state) * (1.0 - np.exp(-1.0 / hertz / max(delay_s, 1e-3)))
            pressure[k] = state
        signals = {
            "engine_speed": ("1/min", np.full(time.size, 2000.0)),
            "manifold_pressure": ("kPa", pressure),
            "throttle": ("%", level),
            "barometric_pressure": ("kPa", np.full(time.size, 97.0)),
        }
        return Recording({n: Signal(n, unit, time, values) for n, (unit, values) in signals.items()})

    @pytest.mark.parametrize("delay", [0.1, 0.4, 1.0])
    def test_the_delay_is_measured(self, delay: float) -> None:
        case = case_of(self.recording(delay), NATURAL)  # type: ignore[arg-type]
        (one,) = response.check(case)
        assert one.finding.value == pytest.approx(delay, abs=0.12)
        assert one.finding.sd < 0.2

    def test_a_late_answer_speaks_for_a_slow_sensor(self) -> None:
        slow, quick = case_of(self.recording(1.2), NATURAL), case_of(self.recording(0.1), NATURAL)  # type: ignore[arg-type]
        assert decibans(slow, response.check(slow)[0], "map-slow", 0.9) > 6.0
        assert decibans(quick, response.check(quick)[0], "map-slow", 0.9) < -5.0
        assert response.check(slow)[0].finding.unexpected

    def test_too_seldom_polled_to_tell(self) -> None:
        case = case_of(self.recording(0.3, hertz=1.0), NATURAL)  # type: ignore[arg-type]
        assert response.check(case) == []

    def test_without_a_throttle_nothing_can_be_told(self) -> None:
        assert response.check(case_of(without(NATURAL_ROUND, "throttle"), NATURAL)) == []
