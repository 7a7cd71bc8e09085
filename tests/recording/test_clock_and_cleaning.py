"""Clocks of every kind, and what is put apart when a clock or a line to the car was broken."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from airproof.recording.cleaning import PART_GAP_S, hold_of, ordered, refreshed, resolution_of
from airproof.recording.clock import from_numbers, from_texts, spread_repeats
from airproof.recording.readers import read_recording
from airproof.recording.units_stated import stated_unit


def texts(*stamps: str) -> list[float]:
    found = from_texts(pl.Series(stamps))
    assert found is not None
    return np.round(found.seconds - found.seconds[0], 6).tolist()


@pytest.mark.parametrize(
    "stamps",
    [
        ("23:59:59.500", "00:00:00.500", "00:00:02.000"),
        ("23:59:59,5", "00:00:00,5", "00:00:02,0"),
        ("11:59:59.5 PM", "12:00:00.5 AM", "12:00:02.0 AM"),
        ("2024-02-28T23:59:59.5", "2024-02-29T00:00:00.5", "2024-02-29T00:00:02"),
        ("2024-02-28T23:59:59.5Z", "2024-02-29T00:00:00.5Z", "2024-02-29T00:00:02Z"),
        ("28.02.2024 23:59:59.5", "29.02.2024 00:00:00.5", "29.02.2024 00:00:02.0"),
        ("2/28/2024 11:59:59.5 PM", "2/29/2024 12:00:00.5 AM", "2/29/2024 12:00:02.0 AM"),
        ("28-Feb-2024 23:59:59.500", "29-Feb-2024 00:00:00.500", "29-Feb-2024 00:00:02.000"),
        ("9:59:59.5", "10:00:00.5", "10:00:02.0"),
        ("59:59.5", "60:00.5", "60:02.0"),
    ],
)
def test_stamps_as_text(stamps: tuple[str, ...]) -> None:
    assert texts(*stamps) == [0.0, 1.0, 2.5]


def test_words_are_no_stamps() -> None:
    assert from_texts(pl.Series(["soon", "later"])) is None


@pytest.mark.parametrize(
    ("numbers", "unit", "expected"),
    [
        ([0.0, 0.5, 1.0], None, [0.0, 0.5, 1.0]),
        ([0.0, 100.0, 200.0], None, [0.0, 0.1, 0.2]),
        ([0.0, 1.0, 2.0], None, [0.0, 1.0, 2.0]),
        ([0.0, 1.0, 2.0], "min", [0.0, 60.0, 120.0]),
        ([1.7e9, 1.7e9 + 1, 1.7e9 + 2], None, [0.0, 1.0, 2.0]),
        ([1.7e12, 1.7e12 + 100, 1.7e12 + 200], None, [0.0, 0.1, 0.2]),
    ],
)
def test_stamps_as_numbers(numbers: list[float], unit: str | None, expected: list[float]) -> None:
    found = from_numbers(np.array(numbers), stated_unit(unit) if unit else None)
    assert (found.seconds - found.seconds[0]).tolist() == pytest.approx(expected, abs=1e-6)
    assert found.says


def test_repeated_stamps_are_spread_and_a_stalled_clock_runs_on() -> None:
    stamps = np.array([0.0] * 12 + [1, 1, 2, 2, 3, 3, 4, 4, 5, 5], dtype=float)
    spread, says = spread_repeats(stamps)
    assert np.all(np.diff(spread) > 0)
    np.testing.assert_allclose(np.diff(spread), 0.5)
    assert "stood still" in says


@given(arrays(np.float64, st.integers(1, 60), elements=st.floats(0, 1e4)))
def test_ordered_time_never_falls_and_keeps_each_kept_row_once(stamps: np.ndarray) -> None:
    time, rows, _ = ordered(stamps)
    assert np.all(np.diff(time) >= 0)
    kept = np.arange(stamps.size)[rows]
    assert kept.size == time.size
    assert np.unique(kept).size == kept.size


def test_one_stray_stamp_is_set_aside() -> None:
    stamps = np.arange(50.0)
    for wrong in (0.0, 1000.0):
        broken = stamps.copy()
        broken[20] = wrong
        time, rows, says = ordered(broken)
        assert time.size == 49
        assert 20 not in np.arange(50)[rows]
        assert "set aside" in says[0]


def test_a_restarted_clock_gives_parts_one_after_the_other() -> None:
    stamps = np.concatenate((np.arange(30.0), np.arange(40.0)))
    time, rows, says = ordered(stamps)
    assert time.size == 70
    assert np.arange(70)[rows].tolist() == list(range(70))
    assert time[30] - time[29] == PART_GAP_S
    assert "starts again" in says[0]


def test_newest_first_is_turned_round() -> None:
    time, rows, says = ordered(np.arange(30.0)[::-1])
    assert time.tolist() == list(range(30))
    assert np.arange(30)[rows].tolist() == list(range(29, -1, -1))
    assert "backwards" in says[0]


def test_held_values_are_thinned_to_what_can_be_new() -> None:
    rng = np.random.default_rng(0)
    fresh = rng.integers(0, 50, (200, 2)).astype(float)
    columns = [np.repeat(fresh[:, 0], 4), np.roll(np.repeat(fresh[:, 1], 4), 1)]
    hold = hold_of(columns)
    assert hold is not None
    assert hold.cycle == 4
    assert refreshed(columns, hold)[0].tolist() == list(range(0, 800, 4))


@given(
    st.integers(2, 20).flatmap(
        lambda cycle: st.tuples(st.just(cycle), st.lists(st.integers(0, cycle - 1), min_size=2, max_size=5))
    ),
    st.integers(1, 4),
)
def test_each_column_is_new_in_its_own_rows_whatever_the_turns(turns: tuple[int, list[int]], written: int) -> None:
    """Also where every row is written several times, so that no two neighbouring rows both bring something."""
    cycle, firsts = turns
    rng = np.random.default_rng(5)
    columns = [
        np.repeat(np.roll(np.repeat(rng.permutation(70).astype(float), cycle), first), written) for first in firsts
    ]
    hold = hold_of(columns)
    assert hold is not None
    assert hold.cycle == cycle * written
    assert (hold.together is not None) == (len(set(firsts)) == 1)
    every, height = cycle * written, 70 * cycle * written
    for first, rows in zip(firsts, refreshed(columns, hold), strict=True):
        own = {0, *range(first * written, height, every)}
        assert rows.tolist() == sorted(own)


def test_columns_updated_together_are_all_new_in_each_update() -> None:
    """Coarse values, which stay the same in a third of the updates, and updates that are a row early or late."""
    rng = np.random.default_rng(0)
    steps = rng.choice([4, 5], 400, p=[0.1, 0.9])
    columns = [np.repeat(values, steps) for values in rng.integers(0, 3, (4, 400)).astype(float)]
    hold = hold_of(columns)
    assert hold is not None
    assert hold.together is not None
    updates = np.cumsum(steps) - steps
    for rows in refreshed(columns, hold):
        # An update in which nothing moved is looked for a whole cycle after the one before it.
        assert rows.size == 400
        assert np.abs(rows - updates).max() <= 1


def in_turns() -> list[str]:
    """3000 rows of three columns, each updated every ten rows, but four, three and three rows after one another."""
    rng = np.random.default_rng(1)
    rpm = np.repeat(800 + rng.normal(0, 9, 300).round(0), 10)
    pressure = np.roll(np.repeat((35 + rng.normal(0, 2, 300)).round(2), 10), 4)
    throttle = np.roll(np.repeat((5 + rng.normal(0, 2, 300)).round(1), 10), 7)
    return [
        f"{row / 10},{','.join(map(str, each))}"
        for row, each in enumerate(zip(rpm.tolist(), pressure.tolist(), throttle.tolist(), strict=True))
    ]


IN_TURNS = "Time (s),Engine speed (1/min),Manifold pressure (kPa),Throttle position (%)"


def test_columns_in_turns_that_never_change_in_neighbouring_rows(tmp_path: Path) -> None:
    recording = recording_of(tmp_path, in_turns(), IN_TURNS)
    for signal, first in (("engine_speed", 0.0), ("manifold_pressure", 0.4), ("throttle", 0.7)):
        assert 300 <= len(recording[signal]) <= 302
        # each its own: the first row, then one in each second (a value that stays the same is looked for on time)
        assert np.round(recording[signal].time[-200:] % 1.0, 6).tolist() == [first] * 200


def test_free_values_are_not_taken_for_held() -> None:
    rng = np.random.default_rng(0)
    assert hold_of([rng.normal(size=500), rng.normal(size=500)]) is None
    assert hold_of([np.zeros(500), np.zeros(500)]) is None


@given(st.sampled_from([0.1, 0.25, 0.392157, 1.0, 5.0]), st.integers(0, 2**32 - 1))
def test_resolution_of_rounded_values(step: float, seed: int) -> None:
    values = step * np.random.default_rng(seed).integers(-20, 20, 400)
    found = resolution_of(values)
    assert found == pytest.approx(step, rel=1e-3)


def test_no_resolution_where_none_can_be_seen() -> None:
    assert resolution_of(np.random.default_rng(0).normal(size=400)) is None
    assert resolution_of(np.ones(400)) is None


def recording_of(tmp_path: Path, rows: list[str], heads: str = "time (s),RPM,MAP (kPa),Speed (km/h),Throttle (%)"):
    path = tmp_path / "rec.csv"
    path.write_text("\n".join([heads, *rows]) + "\n")
    return read_recording(path)


def test_impossible_and_infinite_values_are_set_aside_and_counted(tmp_path: Path) -> None:
    rows = [f"{n},{-5 if n == 3 else 'inf' if n == 4 else 800},30" for n in range(10)]
    recording = recording_of(tmp_path, rows, "time (s),RPM,MAP (kPa)")
    assert len(recording["engine_speed"]) == 8
    assert len(recording["manifold_pressure"]) == 10
    assert any("impossible" in remark for remark in recording.report.remarks)


def test_rows_that_are_there_twice_are_set_aside(tmp_path: Path) -> None:
    rows = [f"{n / 10},{800 + n},30" for n in range(20)]
    recording = recording_of(tmp_path, [*rows[:9], rows[8], *rows[9:], "1.9,999,30"], "time (s),RPM,MAP (kPa)")
    assert len(recording["engine_speed"]) == 21
    assert recording.report.rows_set_aside == 1
    said = " ".join(recording.report.remarks)
    assert "there twice" in said
    assert "share their stamp" in said


@pytest.mark.parametrize("times", [2, 3])
@pytest.mark.parametrize("held", [True, False])
def test_a_file_in_which_every_row_is_there_twice_reads_as_if_once(tmp_path: Path, times: int, held: bool) -> None:
    """Its stamps repeat, but that is no coarse clock, over which the rows would have to be spread."""
    rows = in_turns() if held else [f"{n / 10},{800 + n % 7},{30 + n % 5},{n % 11}" for n in range(300)]
    once = recording_of(tmp_path, rows, IN_TURNS)
    more = recording_of(tmp_path, [row for row in rows for _ in range(times)], IN_TURNS)
    assert more.report.rows_set_aside == (times - 1) * len(rows)
    said = " ".join(more.report.remarks)
    assert "there twice" in said
    assert "spread" not in said
    for name, signal in once.signals.items():
        np.testing.assert_array_equal(more[name].time, signal.time)
        np.testing.assert_array_equal(more[name].values, signal.values)


def test_rows_that_are_alike_between_two_ticks_of_a_coarse_clock_are_kept(tmp_path: Path) -> None:
    """Five rows a second under stamps of whole seconds, of which the engine at rest makes many alike."""
    rows = [f"{n // 5},{0 if n < 200 else 800 + n % 7},{30 + n % 3 * (n >= 200)}" for n in range(400)]
    recording = recording_of(tmp_path, rows, "time (s),RPM,MAP (kPa)")
    assert recording.report.rows_set_aside == 0
    assert "spread evenly" in " ".join(recording.report.remarks)
    np.testing.assert_allclose(np.diff(recording["engine_speed"].time), 0.2)


def test_a_railed_sensor_is_evidence_and_kept(tmp_path: Path) -> None:
    recording = recording_of(tmp_path, [f"{n},800,{0 if n == 5 else 30}" for n in range(10)], "time (s),RPM,MAP (kPa)")
    assert recording["manifold_pressure"].values.min() == 0.0


def test_stuck_polling_is_set_aside(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)

    def row(n: int) -> str:
        m = 300 if 300 <= n < 450 else n
        noise = rng.integers(0, 9) if m == n else 0
        return f"{n / 5},{900 + m % 50 + noise},{30 + m % 7},{50 + m % 5},{12 + m % 9}"

    recording = recording_of(tmp_path, [row(n) for n in range(800)])
    assert recording.report.rows_set_aside == 148
    assert any("polling stuck" in remark for remark in recording.report.remarks)


def test_a_steady_engine_off_is_not_stuck_polling(tmp_path: Path) -> None:
    rows = [
        f"{n / 5},{0 if n < 300 else 900 + n % 50},{101 if n < 300 else 30 + n % 7},{n % 5},{12 + n % 9}"
        for n in range(800)
    ]
    rows = [r if n >= 300 else f"{n / 5},0,101,0,12" for n, r in enumerate(rows)]
    assert recording_of(tmp_path, rows).report.rows_set_aside == 0


def test_elapsed_time_keeps_the_file_s_own_zero_and_a_clock_starts_at_nought(tmp_path: Path) -> None:
    assert recording_of(tmp_path, ["0.1,800", "0.2,810"], "time (s),RPM").start_s == 0.1
    assert recording_of(tmp_path, ["10:00:01.0,800", "10:00:02.5,810"], "time,RPM").end_s == 1.5


@pytest.mark.parametrize(("least", "gauge"), [(0.0, True), (-3.0, True), (24.0, False), (14.0, False)])
def test_a_charge_pressure_is_gauge_only_where_it_falls_to_nothing(tmp_path: Path, least: float, gauge: bool) -> None:
    """One that never does is another column under its heading, or another unit: no barometer is added to that."""
    rows = "".join(f"{n},{780 + n % 9},{least + (n % 20):.1f},98.0\n" for n in range(200))
    path = tmp_path / "drive.csv"
    path.write_text(f"Time (s),Engine speed (1/min),Boost pressure (kPa),Barometric pressure (kPa)\n{rows}")
    recording = read_recording(path)
    name = "charge_pressure" if "charge_pressure" in recording else "manifold_pressure"
    assert recording[name].values.min() == pytest.approx(least + (98.0 if gauge else 0.0))
