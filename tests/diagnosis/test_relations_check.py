"""The relations by load: values, signs and patterns on small recordings, and what they say for which cause."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest
from small_cases import DAY, NATURAL, TURBO, Floats, case_of, changed, without, workshop_round

from airproof.diagnosis.case import Case
from airproof.diagnosis.checks import relations
from airproof.engine.profile import EngineProfile
from airproof.quantities.gas_flow import hole_area, orifice_flow
from airproof.recording.recording import Recording

TURBO_ROUND = workshop_round(TURBO)
NATURAL_ROUND = workshop_round(NATURAL)


class Heard:
    """What the check says of a case, worked out once."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self.told = {one.finding.id: one for one in relations.check(case)}

    def decibans(self, cause: str, size: float, prefix: str = "") -> float:
        """For that size of a cause over `none`, all findings of a relation together."""
        at = int(np.argmin(np.abs(self.case.sizes[cause] - size)))
        rows = [one.log_likelihood for name, one in self.told.items() if name.startswith(prefix)]
        return 10 / np.log(10) * sum(float(row[cause][at] - row["none"][0]) for row in rows)

    def best(self, cause: str, prefix: str = "") -> float:
        """The same for the size of the cause that fits best."""
        rows = [one.log_likelihood for name, one in self.told.items() if name.startswith(prefix)]
        total = np.sum([row[cause] - row["none"][0] for row in rows], axis=0)
        return float(10 / np.log(10) * np.max(total))

    def values(self, prefix: str) -> dict[str, float]:
        """Values by load of one relation."""
        return {n.removeprefix(prefix + "-"): t.finding.value for n, t in self.told.items() if n.startswith(prefix)}


@pytest.mark.parametrize(("profile", "recording"), [(TURBO, TURBO_ROUND), (NATURAL, NATURAL_ROUND)])
def test_a_healthy_engine_shows_nothing(profile: EngineProfile, recording: Recording) -> None:
    for name, one in Heard(case_of(recording, profile)).told.items():
        assert one.finding.value == pytest.approx(0.0, abs=1.0), name
        assert not one.finding.unexpected
        assert one.finding.unit == "%"
        assert "steady points" in one.finding.says
        assert np.isfinite(one.finding.sd)
        for rows in one.log_likelihood.values():
            assert np.isfinite(rows).all()


def test_loads_that_were_visited_are_judged_and_no_other() -> None:
    found = {name.removeprefix("trim-") for name in Heard(case_of(TURBO_ROUND, TURBO)).told if name.startswith("trim-")}
    assert found == {"idle", "light-load", "part-load", "high-load"}
    idle = Heard(case_of(TURBO_ROUND.between(0.0, 70.0), TURBO)).told
    assert "air-flow-idle" in idle
    assert not any(name.endswith(("part-load", "high-load", "on-boost")) for name in idle)
    assert Heard(case_of(TURBO_ROUND.between(0.0, 11.0), TURBO)).told == {}


def test_intervals_are_the_stretches_the_number_rests_on() -> None:
    one = Heard(case_of(TURBO_ROUND, TURBO)).told["air-flow-idle"]
    covered = sum(end - start for start, end in one.finding.intervals)
    assert covered > 60.0
    for start, end in one.finding.intervals:
        assert (start >= 12.0 and end <= 73.0) or start >= 200.0  # the two stretches of idle


class TestAirFlowSensor:
    def heard(self, share: float, baseline: bool = True) -> Heard:
        recording = changed(TURBO_ROUND, "air_flow", lambda v: v * share)
        recording = changed(recording, "long_trim_1", lambda v: v + 100.0 * (1.0 / share - 1.0))
        return Heard(case_of(recording, TURBO, baselines=[TURBO_ROUND] if baseline else []))

    @pytest.mark.parametrize("share", [0.85, 1.1])
    def test_flat_over_load_and_the_trims_answer(self, share: float) -> None:
        heard = self.heard(share)
        for found in heard.values("air-flow").values():
            assert found == pytest.approx(100.0 * (share - 1.0), abs=1.0)
        for found in [*heard.values("trim").values(), *heard.values("fuel").values()]:
            assert found == pytest.approx(100.0 * (1.0 / share - 1.0), abs=1.5)
        size = 100.0 * (share - 1.0)
        assert heard.decibans("maf-scale", size) > 20.0
        assert heard.decibans("maf-scale", -size) < 0.0
        for other in ("vacuum-leak", "map-offset", "map-gain", "iat-offset", "fuel-delivery"):
            assert heard.best(other) < heard.decibans("maf-scale", size) - 5.0, other

    def test_a_good_recording_sharpens_it(self) -> None:
        without_good, with_good = self.heard(0.85, False), self.heard(0.85)
        assert with_good.decibans("maf-scale", -15.0) > without_good.decibans("maf-scale", -15.0) + 5.0
        wide, narrow = (one.told["air-flow-idle"].finding.expected for one in (without_good, with_good))
        assert narrow[1] - narrow[0] < 0.5 * (wide[1] - wide[0])


@pytest.fixture(scope="module")
def leaky() -> Heard:
    """A hole of 2 mm, sized by the orifice formula: unmetered air, answered by the trims."""
    pressure = TURBO_ROUND["manifold_pressure"].values * 1e3
    leak = np.asarray(orifice_flow(hole_area(2e-3), DAY * 1e3, pressure, 297.15, discharge=0.7)) * 1e3
    turning = TURBO_ROUND["engine_speed"].values > 0
    flow = TURBO_ROUND["air_flow"].values
    metered = np.where(turning, flow - leak, 0.0)
    trim = np.where(turning, 100.0 * (flow / np.maximum(metered, 0.1) - 1.0), 0.0)
    short = np.clip(trim, -15.0, 15.0)
    recording = changed(TURBO_ROUND, "air_flow", lambda v: metered)
    recording = changed(recording, "short_trim_1", lambda v: short)
    recording = changed(recording, "long_trim_1", lambda v: 100.0 * ((1 + trim / 100) / (1 + short / 100) - 1))
    return Heard(case_of(recording, TURBO, baselines=[TURBO_ROUND]))


class TestLeak:
    def test_large_at_idle_and_gone_at_load(self, leaky: Heard) -> None:
        trim, flow = leaky.values("trim"), leaky.values("air-flow")
        assert trim["idle"] > 2 * trim["part-load"] > 0
        assert trim["high-load"] < 0.25 * trim["idle"]
        assert flow["idle"] < 2 * flow["part-load"] < 0
        assert leaky.decibans("vacuum-leak", 2.0) > 20.0

    def test_no_other_cause_explains_it_as_well(self, leaky: Heard) -> None:
        for other in ("maf-scale", "map-offset", "map-gain", "fuel-delivery", "egr-stuck-open"):
            assert leaky.best(other) < leaky.decibans("vacuum-leak", 2.0) - 5.0, other


class TestLyingPressure:
    @pytest.mark.parametrize(("cause", "size"), [("map-offset", 8.0), ("map-gain", -10.0)])
    def test_offset_and_span_differ_by_load(self, cause: str, size: float) -> None:
        how = {"map-offset": lambda v: v + size, "map-gain": lambda v: v * (1 + size / 100)}[cause]
        heard = Heard(case_of(changed(TURBO_ROUND, "manifold_pressure", how), TURBO, baselines=[TURBO_ROUND]))
        flow = heard.values("air-flow")
        if cause == "map-offset":
            assert flow["idle"] < 1.3 * flow["high-load"] < 1.3 * flow["on-boost"] < 0
        else:
            assert flow["on-boost"] > 7.0
            assert flow["idle"] == pytest.approx(flow["high-load"], abs=5.0)
        other = "map-gain" if cause == "map-offset" else "map-offset"
        assert heard.decibans(cause, size, "air-flow") > 8.0
        assert heard.best(other, "air-flow") < heard.decibans(cause, size, "air-flow")

    def test_trims_of_a_car_that_meters_by_pressure_answer_it(self) -> None:
        # 5 kPa low at 34 kPa: the control unit injects for 29 kPa, the mixture asks for 17 % more
        def answer(v: Floats) -> Floats:
            pressure = NATURAL_ROUND["manifold_pressure"].values
            return np.where(NATURAL_ROUND["engine_speed"].values > 0, 100.0 * (pressure / (pressure - 5.0) - 1.0), 0.0)

        recording = changed(NATURAL_ROUND, "manifold_pressure", lambda v: v - 5.0)
        heard = Heard(case_of(changed(recording, "long_trim_1", answer), NATURAL))
        trim = heard.values("trim")
        assert trim["idle"] > trim["part-load"] > trim["high-load"] > 0
        assert heard.decibans("map-offset", -5.0, "trim") > 5.0
        assert heard.decibans("map-offset", 5.0, "trim") < 0.0
        # T10: it is no vacuum leak, which shows no trim on such a car
        assert heard.decibans("vacuum-leak", 3.0, "trim") == pytest.approx(0.0, abs=0.5)

    def test_trims_that_do_not_answer_do_not_clear_the_sensor(self) -> None:
        heard = Heard(case_of(changed(NATURAL_ROUND, "manifold_pressure", lambda v: v - 8.0), NATURAL))
        # the unit may go by more than the pressure, or limit its learning: 15 % of the time, so 8.2 decibans at most
        most = 10 * np.log10(relations.TRIMS_UNANSWERED) - 0.01
        assert most <= heard.decibans("map-offset", -8.0, "trim") < 0.0


class TestTrims:
    @pytest.mark.parametrize("percent", [-15.0, 12.0])
    def test_a_flat_trim_speaks_for_fuel(self, percent: float) -> None:
        heard = Heard(case_of(changed(NATURAL_ROUND, "long_trim_1", lambda v: v + percent), NATURAL))
        assert all(found == pytest.approx(percent, abs=0.1) for found in heard.values("trim").values())
        size = 100.0 * (1.0 / (1.0 + percent / 100.0) - 1.0)
        assert heard.decibans("fuel-delivery", size) > 5.0
        assert heard.decibans("fuel-delivery", -size) < 0.0

    def test_no_trims_no_word(self) -> None:
        heard = Heard(case_of(without(NATURAL_ROUND, "short_trim_1", "long_trim_1"), NATURAL))
        assert heard.values("trim") == {}


def test_a_fuel_rate_in_another_unit_is_left_to_a_good_recording() -> None:
    odd = changed(TURBO_ROUND, "fuel_rate", lambda v: 4.0 * v)
    assert Heard(case_of(odd, TURBO)).values("fuel") == {}
    with_good = Heard(case_of(odd, TURBO, baselines=[odd])).values("fuel")
    assert with_good
    assert all(found == pytest.approx(0.0, abs=2.0) for found in with_good.values())


def test_single_far_off_points_do_not_move_the_mean() -> None:
    def spiked(v: Floats) -> Floats:
        v[100:110] *= 3.0  # two seconds of idle
        return v

    heard = Heard(case_of(changed(TURBO_ROUND, "air_flow", spiked), TURBO))
    assert heard.values("air-flow")["idle"] == pytest.approx(0.0, abs=1.0)


def test_merged() -> None:
    starts, ends = np.array([0.0, 1.0, 5.0, 6.0]), np.array([1.0, 2.0, 6.0, 7.5])
    assert relations.merged(starts, ends) == ((0.0, 2.0), (5.0, 7.5))
    assert relations.merged(np.empty(0), np.empty(0)) == ()


@pytest.mark.parametrize("name", ["air_flow", "throttle", "charge_pressure", "intake_temperature", "fuel_rate"])
def test_a_missing_signal_takes_only_its_relations_away(name: str) -> None:
    gone: Mapping[str, str] = {"air_flow": "air-flow", "throttle": "throttle-flow", "charge_pressure": "charge-at-rest",
                               "fuel_rate": "fuel"}  # fmt: skip
    heard = Heard(case_of(without(TURBO_ROUND, name), TURBO))
    assert heard.values("trim")
    if name in gone:
        assert not any(one.startswith(gone[name]) for one in heard.told)
