"""Readings with a meter as evidence: who they speak for, by how much, and that nothing counts twice."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_cases import DAY, NATURAL, TURBO, case_of, changed, without, workshop_round

from airproof.diagnosis import by_meter, testimony
from airproof.diagnosis.bayes import posterior_of
from airproof.diagnosis.case import Case
from airproof.diagnosis.checks import engine_off
from airproof.diagnosis.hypotheses import hypotheses_for
from airproof.diagnosis.meter.judged import judge
from airproof.diagnosis.meter.measured import Measured, Measurements, Sensor
from airproof.diagnosis.meter.typed_values import Point, Taken, taken
from airproof.diagnosis.meter.ways import at_rail, heard, t_row, t_rows
from airproof.diagnosis.readings import EngineOffReading, Outcome
from airproof.diagnosis.weigh import weigh
from airproof.diagnosis.weighing import Barometer
from airproof.knowledge.load import knowledge
from airproof.knowledge.model import NONE

sys.path.append(str(Path(__file__).resolve().parent / "meter"))
from sessions import GOOD_METER, INCHES, KPA_PER_INCH, line, session, volts

KNOWN = knowledge()
ROUND = workshop_round(TURBO)
HYPOTHESES = hypotheses_for(KNOWN, TURBO, frozenset(ROUND), healthy_share=1 / 3)


def bare() -> Case:
    """A case whose recording holds no engine-off pressure: then only the meter speaks of it."""
    return case_of(without(ROUND, "manifold_pressure", "charge_pressure", "barometric_pressure"), TURBO)


BARE = bare()
FULL = case_of(ROUND, TURBO)


def after(testimonies: Sequence[testimony.Testimony]) -> dict[str, float]:
    return dict(posterior_of(HYPOTHESES.log_prior, testimonies).probability)


def size(testimonies: Sequence[testimony.Testimony], cause: str) -> float:
    found = posterior_of(HYPOTHESES.log_prior, testimonies).sizes[cause]
    return float(HYPOTHESES.sizes[cause][int(np.argmax(found))])


def total(testimonies: Sequence[testimony.Testimony], cause: str, of: float | None = None) -> float:
    """Decibans for a cause, at that size or the best, against none."""
    rows = np.sum([one.log_likelihood[cause] for one in testimonies], axis=0)
    sizes = HYPOTHESES.sizes[cause]
    at = int(np.argmax(rows)) if of is None else int(np.argmin(np.abs(sizes - of)))
    none = sum(float(one.log_likelihood[NONE][0]) for one in testimonies)
    return float(10.0 / np.log(10.0) * (rows[at] - none))


def heard_from(measurements: Measurements, case: Case = BARE) -> list[testimony.Testimony]:
    return by_meter.check(case, measurements, KNOWN)


def test_a_sound_sensor_speaks_for_nothing_being_wrong() -> None:
    told = heard_from(session())
    assert {one.finding.id for one in told} == {"meter supply", "meter ground", "meter signal", "meter sweep"}
    before = {c: float(np.exp(np.logaddexp.reduce(p))) for c, p in HYPOTHESES.log_prior.items()}
    now = after(told)
    for cause in ("map-offset", "map-gain", "map-stuck", "map-circuit", "supply-reference"):
        assert now[cause] < before[cause]
    assert now[NONE] > before[NONE]


@pytest.mark.parametrize("offset", [-8.0, 7.0, 12.0])
def test_an_offset_is_found_with_its_size(offset: float) -> None:
    told = heard_from(session(offset=offset, day=98.0))
    now = after(told)
    # The sweep alone does not outweigh every car's being sound: codes and recording come to it. But of all that can be
    # wrong it is the offset that it speaks for.
    assert max(now.keys() - {NONE}, key=lambda c: now[c]) == "map-offset"
    assert total(told, "map-offset", offset) > 10.0
    assert size(told, "map-offset") == pytest.approx(offset, abs=1.5)


@pytest.mark.parametrize("gain", [-0.12, 0.09])
def test_a_wrong_span_is_told_from_an_offset(gain: float) -> None:
    told = heard_from(session(gain=gain, inches=(0, 4, 8, 12, 16)))
    now = after(told)
    assert now["map-gain"] > 5.0 * now["map-offset"]
    assert size(told, "map-gain") == pytest.approx(100.0 * gain, abs=2.5)


def test_the_signal_alone_cannot_tell_offset_from_span() -> None:
    told = heard_from(session(offset=8.0, what=("supply", "signal")))
    now = after(told)
    assert min(total(told, "map-offset"), total(told, "map-gain")) > 8.0
    assert 0.2 < now["map-gain"] / now["map-offset"] < 5.0


def test_a_line_that_may_not_be_the_parts_own_does_not_outweigh_everything() -> None:
    # A sound sensor of another line, taken for a published one that somebody picked: the readings alone do not convict
    # it, and with the maker's own points for the part they weigh more.
    told = heard_from(session(true=line("absolute-300-kpa")))
    assert total(told, "map-gain") < 30.0
    stated = replace(line(), standing="stated by 2 points")
    more = heard_from(session(true=line("absolute-300-kpa"), expected=stated))
    assert total(more, "map-gain") > total(told, "map-gain") + 3.0


def test_a_dead_signal_is_a_broken_circuit() -> None:
    for read in ("0.01 V", "4.99 V"):
        for sensor in (Sensor(line=line()), Sensor()):
            told = heard_from(Measurements((Measured("signal", 1, value=taken(read, "V")),), GOOD_METER, sensor))
            assert total(told, "map-circuit") > 10.0
            assert total(told, "map-circuit") > total(told, "map-offset")


def test_a_frozen_sensor_does_not_follow_the_pump() -> None:
    points = tuple(Point(-KPA_PER_INCH * k, True, "", volts(1.43)) for k in INCHES)
    for sensor in (Sensor(line=line()), Sensor()):
        told = heard_from(Measurements((Measured("sweep", 1, points=points),), GOOD_METER, sensor))
        assert total(told, "map-stuck") > 10.0
        # A circuit that is dead does not follow either; nothing else is as probable.
        others = [total(told, c) for c in HYPOTHESES.sizes if c not in ("map-stuck", "map-circuit")]
        assert total(told, "map-stuck") > max(others) + 3.0


def test_a_supply_that_is_off_speaks_for_itself_alone() -> None:
    told = heard_from(session(supply=4.55, what=("supply", "ground", "signal", "sweep")))
    now = after(told)
    assert max(now, key=lambda c: now[c]) == "supply-reference"
    assert size(told, "supply-reference") == pytest.approx(-0.45, abs=0.1)
    # Signal and sweep are shares of the supply that is there, so they clear the sensor.
    others = [one for one in told if one.finding.id in ("meter signal", "meter sweep")]
    assert total(others, "map-offset", 8.0) < 0.0
    assert total(others, "supply-reference") == pytest.approx(0.0, abs=0.5)


def test_a_dropping_ground_speaks_for_the_supply() -> None:
    told = heard_from(Measurements((Measured("ground", 1, value=taken("0.35 V", "V")),), GOOD_METER))
    assert total(told, "supply-reference") > 5.0
    good = heard_from(Measurements((Measured("ground", 1, value=taken("0.02 V", "V")),), GOOD_METER))
    assert total(good, "supply-reference", 0.5) < 0.0


def test_live_data_against_the_plug_accuses_the_control_unit_or_the_supply() -> None:
    measured = session(what=("supply", "signal"))
    items = tuple(
        replace(one, shown=Taken(112.0, 1.0, "kPa", "112 kPa")) if one.what == "signal" else one
        for one in measured.items
    )
    now = after(heard_from(replace(measured, items=items)))
    before = {c: float(np.exp(np.logaddexp.reduce(p))) for c, p in HYPOTHESES.log_prior.items()}
    assert now["control-unit"] / before["control-unit"] > 5.0
    assert now["control-unit"] / before["control-unit"] > now["map-offset"] / before["map-offset"]


def test_a_thermistor_that_reads_too_hot() -> None:
    table = KNOWN.thermistors["ntc-2500-ohm"]
    item = Measured("thermistor", 1, value=taken("1.15 kohm", "ohm"), temperature_c=20.0)  # its 40 degC
    told = heard_from(Measurements((item,), GOOD_METER, Sensor(thermistor=table)))
    assert size(told, "iat-offset") == pytest.approx(20.0, abs=2.5)
    assert total(told, "iat-offset") > 8.0
    good = replace(item, value=taken("2.50 kohm", "ohm"))
    assert total(heard_from(Measurements((good,), GOOD_METER, Sensor(thermistor=table))), "iat-offset", 20.0) < -5.0


@pytest.mark.parametrize(
    ("item", "cause"),
    [
        (Measured("wiggle", 1, found=True), "map-intermittent"),
        (Measured("sweep", 1, creeps=True), "map-slow"),
        (Measured("sweep", 1, jumps=True), "map-intermittent"),
        (Measured("wire", 1, value=taken("endless", "ohm")), "map-circuit"),
        (Measured("wire", 1, value=taken("2 ohm", "ohm"), to="ground"), "map-circuit"),
        (Measured("digital", 1, value=taken("0.02 V", "V")), "map-circuit"),
    ],
)
def test_what_is_seen_speaks_for_its_cause(item: Measured, cause: str) -> None:
    told = heard_from(Measurements((item,), GOOD_METER, Sensor(line=line())))
    assert total(told, cause) > 8.0
    assert max(HYPOTHESES.sizes, key=lambda c: total(told, c)) == cause


def test_a_wire_measured_to_itself_is_no_witness() -> None:
    far = Measured("wire", 1, value=taken("300 ohm", "ohm"), wire="ground", to="ground")
    assert heard_from(Measurements((far,), GOOD_METER)) == heard_from(Measurements((), GOOD_METER))


def test_many_wires_are_one_witness() -> None:
    wire = Measured("wire", 1, value=taken("0.3 ohm", "ohm"))
    one = heard_from(Measurements((wire,), GOOD_METER))
    three = heard_from(Measurements((wire, replace(wire, wire="ground"), replace(wire, wire="supply")), GOOD_METER))
    assert len(three) == 1
    assert total(three, "map-circuit") == pytest.approx(total(one, "map-circuit"))


# Nothing twice


@pytest.mark.parametrize("offset", [2.5, 4.0])
def test_one_error_seen_in_two_ways_counts_less_than_two(offset: float) -> None:
    # Recording and plug share the sensor's tolerance and the day: a little error of both is one piece of luck.
    seen = case_of(changed(ROUND, "manifold_pressure", lambda v: v + offset), TURBO)
    plug = session(offset=offset, what=("supply", "signal"))
    recorded, apart, given = engine_off.check(seen), heard_from(plug), heard_from(plug, seen)
    assert total(recorded, "map-offset", offset) > 3.0
    assert total(given, "map-offset", offset) < 0.5 * total(apart, "map-offset", offset)


def test_what_a_reading_says_by_itself_is_kept() -> None:
    seen = case_of(changed(ROUND, "manifold_pressure", lambda v: v + 8.0), TURBO)
    told = heard_from(session(offset=8.0, what=("supply", "signal")), seen)
    signal = next(one for one in told if one.finding.id == "meter signal")
    apart = next(
        one for one in heard_from(session(offset=8.0, what=("supply", "signal"))) if one.finding.id == "meter signal"
    )
    assert signal.by_itself["map-offset"] == pytest.approx(apart.log_likelihood["map-offset"])
    assert signal.log_likelihood["map-offset"] != pytest.approx(apart.log_likelihood["map-offset"])


def test_a_sound_plug_against_a_lying_recording_clears_the_sensor() -> None:
    lying = case_of(changed(ROUND, "manifold_pressure", lambda v: v + 9.0), TURBO)
    told = heard_from(session(), lying)
    assert total(told, "map-offset", 9.0) < -8.0


def test_a_day_that_nobody_knows_is_learned_from_the_other_sensors() -> None:
    # At an unknown place the recorded charge pressure and barometer say the day: then the plug is judged by it.
    unknown = Barometer(97.0, 4.5, "nothing is known")
    blind = case_of(
        without(ROUND, "manifold_pressure", "charge_pressure", "barometric_pressure"), TURBO, weather=unknown
    )
    seeing = case_of(ROUND, TURBO, weather=unknown)
    told, better = (heard_from(session(offset=8.0, what=("supply", "signal")), case) for case in (blind, seeing))
    assert total(better, "map-offset", 8.0) != pytest.approx(total(told, "map-offset", 8.0), abs=0.1)
    cleared = heard_from(session(what=("supply", "signal")), seeing)
    assert total(cleared, "map-offset", 8.0) < total(
        heard_from(session(what=("supply", "signal")), blind), "map-offset", 8.0
    )


def test_the_order_of_the_file_moves_nothing() -> None:
    measured = session(offset=5.0, gain=0.02)
    turned = replace(measured, items=measured.items[::-1])
    one, other = after(heard_from(measured, FULL)), after(heard_from(turned, FULL))
    assert one == pytest.approx(other, abs=1e-12)


def test_more_points_say_more() -> None:
    few, many = (heard_from(session(offset=9.0, inches=inches)) for inches in ((0, 20), (0, 5, 10, 15, 20)))
    assert total(many, "map-gain") < total(few, "map-gain") + 1.0
    assert total(many, "map-offset") > 10.0


@settings(max_examples=25, deadline=None)
@given(st.floats(-30.0, 30.0), st.floats(-0.3, 0.3), st.floats(4.0, 5.6), st.integers(0, 2))
def test_whatever_is_read_stays_finite_and_bounded(offset: float, gain: float, supply: float, which: int) -> None:
    case = (BARE, FULL, FULL)[which]
    told = heard_from(session(offset=offset, gain=gain, supply=supply), case)
    for one in told:
        for cause, rows in one.log_likelihood.items():
            assert np.isfinite(rows).all(), (one.finding.id, cause)
            assert rows.shape == HYPOTHESES.sizes[cause].shape
    assert sum(after(told).values()) == pytest.approx(1.0)


# The whole verdict


def test_a_measured_step_is_done_and_its_outcome_counts_once() -> None:
    measured = session(offset=8.0)
    assert by_meter.measured_steps([measured], Barometer(98.0, 0.4, ""), KNOWN) == {
        "measure-supply-5v": False, "measure-sensor-ground": False, "measure-key-on-signal": True,
        "sweep-with-hand-pump": True,
    }  # fmt: skip
    told = [Outcome("measure-key-on-signal", found=True), Outcome("sweep-with-hand-pump", found=True)]
    one = weigh([ROUND], TURBO, readings=[measured], barometer=Barometer(DAY, 0.4, ""))
    same = weigh([ROUND], TURBO, readings=[measured, *told], barometer=Barometer(DAY, 0.4, ""))
    assert {c.id: c.probability for c in one.verdict.causes} == pytest.approx(
        {c.id: c.probability for c in same.verdict.causes}
    )


def test_the_evidence_of_a_verdict_still_adds_up() -> None:
    weighed = weigh(
        [ROUND], TURBO, readings=[session(offset=8.0), EngineOffReading("manifold_pressure", 106.0)],
        barometer=Barometer(DAY, 0.4, ""), codes=["P0106"],
    )  # fmt: skip
    for cause in weighed.verdict.causes:
        if 1e-6 < cause.probability < 1 - 1e-6:
            odds = 10.0 * np.log10(cause.probability / (1.0 - cause.probability))
            assert sum(e.decibans for e in cause.evidence) == pytest.approx(odds, abs=1e-6)
    offset = next(c for c in weighed.verdict.causes if c.id == "map-offset")
    assert any(e.finding == "meter sweep" for e in offset.evidence)


def test_an_engine_that_cannot_have_a_cause_gets_no_row_for_it() -> None:
    case = case_of(workshop_round(NATURAL), NATURAL)
    told = heard_from(session(), case)
    assert all(set(one.log_likelihood) == set(case.sizes) for one in told)


def test_what_cannot_be_told_is_no_step_done() -> None:
    unknown = replace(session(what=("signal",)), sensor=Sensor())
    assert by_meter.steps_done(judge(unknown, None, KNOWN)) == {}


# Ways


def test_rows_of_t_are_densities() -> None:
    at = np.linspace(-400.0, 400.0, 400_001)
    density = np.exp(t_row(at, 1.7)[:, 0])
    assert float(np.trapezoid(density, at)) == pytest.approx(1.0, abs=1e-5)


def test_ways_together_are_the_mixture_of_their_products() -> None:
    draw = np.random.default_rng(0)
    first, second = draw.normal(size=(4, 3)), draw.normal(size=(1, 3))
    rows = heard([(0.7, first), (0.3, second)])
    by_hand = np.log(0.7 * np.exp(first.sum(axis=1)) + 0.3 * np.exp(second.sum(axis=1)))
    assert rows.sum(axis=1) == pytest.approx(by_hand)
    assert rows[:, 0] == pytest.approx(np.log(0.7 * np.exp(first[:, 0]) + 0.3 * np.exp(second[:, 0])))


def test_one_row_of_t_is_students() -> None:
    from scipy.stats import t as student

    assert t_rows(np.array([[1.3]]), np.array([[4.0]]))[0, 0] == pytest.approx(
        float(student.logpdf(1.3 / 2.0, 4) - np.log(2.0))
    )


def test_a_dead_signal_is_a_density_of_the_share() -> None:
    share = np.linspace(-0.01, 1.02, 200_001)
    for high in (False, True):
        assert float(np.trapezoid(np.exp(at_rail(share, high=high)), share)) == pytest.approx(1.0, abs=2e-2)
