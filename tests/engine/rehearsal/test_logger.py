"""The logger: the standard's codes, and what polling does to time and completeness."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError
from smooth_drive import RANGES, smooth_drive

from airproof.engine.rehearsal.trace import Trace
from airproof.engine.rehearsal.written.logger import DataItem, Log, Logger, data_items, log, logger_named, logger_names
from airproof.errors import UnusableRequest
from airproof.recording.signals import glossary

STEP_S = 0.01
ITEMS = {(item.signal, item.item): item for item in data_items()}
USUAL = {item.signal: item for item in data_items() if item.item != "87"}


def without_losses(name: str, **changes: object) -> Logger:
    fields = logger_named(name).model_dump() | {"lost_share": 0.0, "gaps_per_hour": 0.0} | changes
    return Logger.model_validate(fields)


def run(logger: Logger, trace: Trace | None = None, seed: int = 1) -> Log:
    return log(trace or smooth_drive(), logger, np.random.default_rng(seed))


# Codes and values of SAE J1979's own formulas (CHECK_VALUES, section 2), to the digits given there.
EXAMPLES = [
    ("engine_speed", "0C", 0x1AF8, 1726.0, 0.0),
    ("manifold_pressure", "0B", 0x65, 101.0, 0.0),
    ("manifold_pressure", "87", 0x0CA0, 101.0, 0.0),
    ("charge_pressure", "70", 0x0CA0, 101.0, 0.0),
    ("charge_pressure_target", "70", 0x0C80, 100.0, 0.0),
    ("barometric_pressure", "33", 0x62, 98.0, 0.0),
    ("air_flow", "10", 0x01A4, 4.20, 1e-12),
    ("throttle", "11", 0x33, 20.0, 1e-12),
    ("load", "04", 0x80, 50.196, 5e-4),
    ("absolute_load", "43", 0x0040, 25.098, 5e-4),
    ("short_trim_1", "06", 0x8A, 7.8125, 0.0),
    ("short_trim_2", "08", 0x78, -6.25, 0.0),
    ("long_trim_1", "07", 0x99, 19.53125, 0.0),
    ("lambda", "34", 0x8000, 1.0, 0.0),
    ("lambda_target", "44", 0x7333, 0.89999, 5e-6),
    ("ignition_advance", "0E", 0x94, 10.0, 0.0),
    ("vehicle_speed", "0D", 0x32, 50.0, 0.0),
    ("coolant_temperature", "05", 0x7B, 83.0, 0.0),
    ("intake_temperature", "0F", 0x46, 30.0, 0.0),
    ("ambient_temperature", "46", 0x3C, 20.0, 0.0),
    ("egr", "2C", 0x40, 25.098, 5e-4),
    ("fuel_rail_pressure", "23", 0x0FA0, 40000.0, 0.0),
    ("exhaust_pressure", "73", 0x2710, 100.0, 0.0),
    ("supply_voltage", "42", 0x36B0, 14.0, 0.0),
]

# Lowest and highest value, step; SAE J1979's printed ranges (CHECK_VALUES, section 2), steps by its formulas.
PRINTED = {
    "engine_speed": (0, 16383.75, 0.25),
    "manifold_pressure": (0, 255, 1),
    "charge_pressure": (0, 2047.97, 0.03125),
    "barometric_pressure": (0, 255, 1),
    "air_flow": (0, 655.35, 0.01),
    "throttle": (0, 100, 0.39216),
    "absolute_load": (0, 25700, 0.39216),
    "short_trim_1": (-100, 99.22, 0.78125),
    "long_trim_2": (-100, 99.22, 0.78125),
    "lambda": (0, 2, 3.0518e-5),
    "ignition_advance": (-64, 63.5, 0.5),
    "vehicle_speed": (0, 255, 1),
    "coolant_temperature": (-40, 215, 1),
    "intake_temperature": (-40, 215, 1),
    "fuel_rail_pressure": (0, 655350, 10),
    "exhaust_pressure": (0, 655.35, 0.01),
    "supply_voltage": (0, 65.535, 0.001),
    "lamp": (0, 1, 1),
    "code_count": (0, 127, 1),
}


@pytest.mark.parametrize(("signal", "item", "code", "value", "within"), EXAMPLES)
def test_codes_stand_for_what_the_standard_says(signal: str, item: str, code: int, value: float, within: float) -> None:
    coding = ITEMS[signal, item]
    decoded = coding.decoded(np.array([float(code)]))
    assert decoded == pytest.approx([value], abs=within, rel=0)
    near = decoded + np.array([-0.49, 0.0, 0.49]) * coding.step
    np.testing.assert_allclose(coding.coded(near), decoded.repeat(3), rtol=1e-12)


@pytest.mark.parametrize("signal", PRINTED)
def test_values_outside_are_answered_with_the_end_of_the_range(signal: str) -> None:
    low, high, step = PRINTED[signal]
    coded = USUAL[signal].coded(np.array([-np.inf, -1e9, 1e9, np.inf, np.nan]))
    assert coded[:4] == pytest.approx([low, low, high, high], abs=0.005)
    assert np.isnan(coded[4])
    assert USUAL[signal].step == pytest.approx(step, rel=2e-5)


@settings(deadline=None, derandomize=True)
@given(st.sampled_from(list(data_items())), st.floats(-200.0, 800000.0))
def test_nothing_is_nearer_than_what_is_answered(item: DataItem, value: float) -> None:
    answered = item.coded(np.array([value]))[0]
    low, high = item.decoded(np.array([0.0, 2.0**item.bits - 1]))
    if low <= value <= high:
        assert abs(answered - value) <= item.step / 2 * (1 + 1e-9)
    assert item.coded(np.array([answered]))[0] == answered


def test_every_signal_but_time_can_be_answered() -> None:
    assert set(USUAL) == set(glossary().signals) - {"time"}
    for name, item in USUAL.items():  # and what can be answered is not set aside as impossible when a file is read
        low, high = glossary().signals[name].possible
        middle = item.coded(np.array([RANGES[name]], dtype=float))
        assert np.all((low <= middle) & (middle <= high))


def test_the_usual_item_ends_at_255_kpa() -> None:
    trace = smooth_drive()
    trace.items["manifold_pressure"][:] = 280.0
    usual = run(without_losses("grouped"), trace).columns["manifold_pressure"]
    assert set(usual) == {255.0}
    assert set(run(logger_named("fast"), trace).columns["manifold_pressure"]) == {280.0}  # item 87 goes on


def test_a_stated_full_scale_makes_the_step_coarser() -> None:
    (item,) = without_losses("even-rows", manifold_full_scale_kpa=400).items({"manifold_pressure": ()})
    # SAE J1979 items 4F and 0B (CHECK_VALUES): full scale 400 kPa, 80h is 200.78 kPa
    assert item.decoded(np.array([128.0, 255.0])) == pytest.approx([200.78, 400.0], abs=0.005)
    values = run(without_losses("even-rows")).columns["manifold_pressure"]
    codes = values[~np.isnan(values)] * 255 / 400
    np.testing.assert_allclose(codes, np.rint(codes), atol=1e-9)


@st.composite
def loggers(draw: st.DrawFn) -> Logger:
    rows = draw(st.sampled_from(["row per round", "row per answer", "sample-and-hold"]))
    even = rows == "sample-and-hold" or (rows == "row per round" and draw(st.booleans()))
    return Logger(
        name="drawn",
        requests_per_s=draw(st.floats(4.0, 200.0)),
        items_per_request=draw(st.integers(1, 6)),
        pace_jitter=draw(st.floats(0.0, 0.9)),
        latency_s=draw(st.floats(0.05, 0.3)),
        latency_jitter_s=draw(st.floats(0.0, 0.05)),
        often=draw(st.sampled_from([(), ("engine_speed",), ("manifold_pressure", "charge_pressure")])),
        often_times=draw(st.integers(1, 5)),
        lost_share=draw(st.sampled_from([0.0, 0.0, 0.2])),
        gaps_per_hour=draw(st.sampled_from([0.0, 0.0, 300.0])),
        gap_s=(0.5, 3.0),
        rows=rows,
        rows_per_s=draw(st.floats(1.0, 40.0)) if even else None,
        records=draw(st.sampled_from(["all", ("engine_speed", "manifold_pressure", "lamp", "code_count")])),
        manifold_item=draw(st.sampled_from(["0B", "87"])),
        source="drawn by a test",
    )


@settings(max_examples=60, deadline=None, derandomize=True)
@given(loggers(), st.integers(0, 2**32 - 1), st.sampled_from([0.0, 100.0]))
def test_each_cell_was_true_a_little_earlier(logger: Logger, seed: int, start_s: float) -> None:
    trace = smooth_drive(40.0, start_s=start_s)
    stored = run(logger, trace, seed)
    assert list(stored.columns) == [item.signal for item in logger.items(trace.items)]
    assert np.all(np.diff(stored.time) > 0)
    assert stored.time[0] >= start_s
    assert stored.time[-1] <= start_s + 40.0
    items = logger.items(trace.items)
    # No round takes longer than this, however slow the answers.
    slowest = len(logger.round_of(items)) * (1 + logger.pace_jitter) / logger.requests_per_s
    if logger.rows == "row per answer":
        slowest = 0.0
    oldest = logger.latency_s + logger.latency_jitter_s + slowest + 2 * STEP_S
    if logger.rows == "sample-and-hold" and (logger.lost_share or logger.gaps_per_hour):
        oldest = np.inf  # held for as long as nothing comes
    youngest = logger.latency_s - logger.latency_jitter_s
    for item in items:
        true = item.coded(trace.items[item.signal])
        cells = stored.columns[item.signal]
        for row in np.flatnonzero(~np.isnan(cells))[::17]:
            age = stored.time[row] - trace.time
            then = true[(age >= youngest - 1e-9) & (age <= oldest)]
            assert cells[row] in then


@settings(max_examples=40, deadline=None, derandomize=True)
@given(loggers(), st.integers(0, 2**32 - 1))
def test_polling_does_not_depend_on_values_nor_on_how_long_the_drive_is(logger: Logger, seed: int) -> None:
    stored = run(logger, smooth_drive(30.0), seed)
    other = run(logger, smooth_drive(30.0, raised=0.1), seed)
    np.testing.assert_array_equal(stored.time, other.time)
    for name, cells in stored.columns.items():
        np.testing.assert_array_equal(np.isnan(cells), np.isnan(other.columns[name]))
    assert np.any(stored.columns["engine_speed"] != other.columns["engine_speed"])
    longer = run(logger, smooth_drive(45.0), seed)
    np.testing.assert_allclose(longer.time[: stored.time.size], stored.time, atol=1e-9)
    again = run(logger, smooth_drive(30.0), seed)
    for name, cells in stored.columns.items():
        np.testing.assert_array_equal(cells, again.columns[name])
        np.testing.assert_array_equal(cells, longer.columns[name][: stored.time.size])


def test_another_seed_polls_at_other_moments() -> None:
    logger = logger_named("grouped")
    assert not np.array_equal(run(logger, seed=1).time[:50], run(logger, seed=2).time[:50])


@pytest.mark.parametrize("name", logger_names())
def test_as_many_answers_a_second_as_stated(name: str) -> None:
    logger = without_losses(name, rows="row per answer", rows_per_s=None)
    stored = run(logger, smooth_drive(120.0))
    # The jitter of some hundred answers averages out to well below 3 %.
    assert stored.time.size / 120.0 == pytest.approx(logger.requests_per_s, rel=0.03)


def test_those_asked_for_often_are_answered_so_many_times_as_often() -> None:
    logger = without_losses("two-first")
    count = {name: int((~np.isnan(cells)).sum()) for name, cells in run(logger).columns.items()}
    assert count["engine_speed"] == pytest.approx(logger.often_times * count["lambda"], abs=logger.often_times)
    assert abs(count["engine_speed"] - count["manifold_pressure"]) <= 1


@pytest.mark.parametrize("size", [1, 2, 6])
@pytest.mark.parametrize("times", [1, 4, 40])
def test_a_round_asks_for_every_item(size: int, times: int) -> None:
    logger = without_losses("two-first", items_per_request=size, often_times=times)
    items = logger.items(RANGES)
    asked = [item for request in logger.round_of(items) for item in request]
    numbers = {item.item for item in items}
    assert {number: asked.count(number) for number in numbers} == {
        number: times if number in ("0C", "0B") else 1 for number in numbers
    }
    assert max(len(request) for request in logger.round_of(items)) <= size


def test_twenty_rounds_a_second_and_no_more() -> None:
    stored = run(logger_named("fast"))
    assert np.diff(stored.time).mean() == pytest.approx(0.05, rel=0.01)


def test_even_rows_are_even_and_hold() -> None:
    stored = run(without_losses("even-rows"), smooth_drive(20.0))
    np.testing.assert_allclose(np.diff(stored.time), 0.1, atol=1e-9)
    held = np.diff(stored.columns["air_flow"]) == 0  # polled about every second and a half: most rows repeat
    assert held.mean() > 0.7


def test_one_answer_a_row_and_signals_of_one_item_together() -> None:
    columns = run(without_losses("patient")).columns
    filled = {name: ~np.isnan(cells) for name, cells in columns.items()}
    np.testing.assert_array_equal(filled["charge_pressure"], filled["charge_pressure_target"])
    np.testing.assert_array_equal(filled["lamp"], filled["code_count"])
    together = sum(filled[name].astype(int) for name in filled if name not in ("charge_pressure", "lamp"))
    assert set(together) == {1}


def test_lost_answers_leave_empty_cells() -> None:
    stored = run(without_losses("grouped", lost_share=0.3), smooth_drive(300.0))
    empty = np.isnan(np.stack(list(stored.columns.values())))
    # about 700 rounds of 6 requests: the share is known to 0.01
    assert empty.mean() == pytest.approx(0.3, abs=0.03)


def test_nothing_is_stored_while_the_link_is_down() -> None:
    broken = without_losses("two-first", gaps_per_hour=120.0, gap_s=(3.0, 5.0))
    pauses = np.diff(run(broken, smooth_drive(300.0)).time)
    gaps = pauses[pauses > 1.0]
    assert 3 <= gaps.size <= 20  # about 8 are to be expected
    assert gaps.min() > 2.9
    assert gaps[np.argmin(gaps)] < 5.2
    held = run(without_losses("even-rows", gaps_per_hour=120.0, gap_s=(3.0, 5.0)), smooth_drive(300.0))
    np.testing.assert_allclose(np.diff(held.time), 0.1, atol=1e-9)  # the trap: its rows go on
    still = np.stack([np.diff(cells) == 0 for cells in held.columns.values()]).all(axis=0)
    longest = max(len(stretch) for stretch in "".join("x" if s else " " for s in still).split())
    assert longest >= 25


def test_only_what_the_car_has_is_asked_for() -> None:
    trace = smooth_drive(10.0)
    few = Trace(trace.time, {name: trace.items[name] for name in ("lambda", "engine_speed")}, {})
    assert list(run(logger_named("grouped"), few).columns) == ["engine_speed", "lambda"]
    with pytest.raises(UnusableRequest, match="records nothing"):
        run(logger_named("simple"), Trace(trace.time, {"egr": trace.items["egr"]}, {}))


def test_what_the_car_does_not_answer_stays_empty() -> None:
    trace = smooth_drive(20.0)
    trace.items["lambda"][:1000] = np.nan
    cells = run(logger_named("fast"), trace)
    np.testing.assert_array_equal(np.isnan(cells.columns["lambda"])[cells.time < 10.0], True)
    assert not np.isnan(cells.columns["lambda"][cells.time > 10.1]).any()


@pytest.mark.parametrize(
    ("trace", "says"),
    [
        (Trace(np.array([0.0, 0.01, 0.03]), {"engine_speed": np.zeros(3)}, {}), "even steps"),
        (Trace(np.array([0.0]), {"engine_speed": np.zeros(1)}, {}), "even steps"),
        (Trace(np.zeros((2, 2)), {"engine_speed": np.zeros((2, 2))}, {}), "even steps"),
        (Trace(np.arange(9) / 100, {"engine_speed": np.zeros(8)}, {}), "engine_speed not as long"),
        (Trace(np.arange(9) / 100, {"oil_pressure": np.zeros(9)}, {}), "codes oil_pressure"),
        (Trace(np.arange(9) / 100, {"engine_speed": np.zeros(9)}, {}), "no row"),
    ],
)
def test_a_trace_that_cannot_be_logged_is_refused(trace: Trace, says: str) -> None:
    with pytest.raises(UnusableRequest, match=says):
        run(logger_named("grouped"), trace)


@pytest.mark.parametrize(
    "changes",
    [
        {"latency_s": 0.01, "latency_jitter_s": 0.02},
        {"gap_s": (3.0, 1.0)},
        {"rows": "sample-and-hold", "rows_per_s": None},
        {"rows": "row per answer", "rows_per_s": 5.0},
        {"manifold_item": "87", "manifold_full_scale_kpa": 300},
        {"manifold_full_scale_kpa": 255},
        {"items_per_request": 7},
        {"records": ("oil_pressure",)},
        {"often": ("oil_pressure",)},
        {"source": ""},
    ],
)
def test_a_logger_that_cannot_be_is_refused(changes: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        without_losses("grouped", **changes)


def test_an_unknown_logger_is_refused_by_name() -> None:
    with pytest.raises(UnusableRequest, match="simple, patient"):
        logger_named("slow")
