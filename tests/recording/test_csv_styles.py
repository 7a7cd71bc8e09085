"""Any table of numbers, written in any of the styles that files come in, reads back the same."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from csv_styles import WRITTEN, Style, write
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from airproof.recording.readers import read_recording

RANGES = {
    "engine_speed": (0, 8000),
    "manifold_pressure": (10, 250),
    "coolant_temperature": (-40, 130),
    "throttle": (0, 100),
    "vehicle_speed": (0, 250),
    "air_flow": (0, 400),
    "long_trim_1": (-40, 40),
}

STYLES = st.builds(
    Style,
    delimiter=st.sampled_from([",", ";", "\t", "|"]),
    decimal=st.sampled_from([".", ","]),
    units=st.sampled_from(["brackets", "comma", "underscore", "row", "cells"]),
    stamps=st.sampled_from(["s", "ms", "min", "clock", "clock-comma", "iso", "german", "epoch"]),
    trailing=st.booleans(),
    quoted=st.booleans(),
    preamble=st.integers(0, 3),
    comments=st.just(0),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"]),
    newline=st.sampled_from(["\n", "\r\n"]),
    gzipped=st.booleans(),
    missing=st.sampled_from(["", "-", "n/a", "NaN", "null"]),
    spaces=st.booleans(),
    last_newline=st.booleans(),
)


@st.composite
def tables(draw: st.DrawFn) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    count = draw(st.integers(3, 40))
    seed = draw(st.integers(0, 2**32 - 1))
    names = draw(st.lists(st.sampled_from(sorted(WRITTEN)), min_size=1, max_size=5, unique=True))
    rng = np.random.default_rng(seed)
    times = np.cumsum(rng.integers(20, 900, count)) / 1000.0
    table = {name: np.round(rng.uniform(*RANGES[name], count), 2) for name in names}
    holes = draw(st.sampled_from([0.0, 0.3]))
    for values in table.values():
        empty = rng.random(count) < holes
        empty[:2] = False
        values[empty] = np.nan
    return times, table


@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture], derandomize=True
)
@given(tables(), STYLES)
def test_any_table_in_any_style_reads_back_the_same(tmp_path: Path, drawn: tuple, style: Style) -> None:
    times, table = drawn
    if style.decimal == "," and style.delimiter == "," and not style.quoted:
        style = Style(**{**style.__dict__, "decimal": "."})
    recording = read_recording(write(tmp_path / "table.csv", times, table, style))
    assert recording.report.rows_read == times.size
    assert set(recording) == set(table)
    elapsed = style.stamps in ("s", "ms", "min")
    start = 0.0 if elapsed else times[0]
    for name, values in table.items():
        known = ~np.isnan(values)
        np.testing.assert_allclose(recording[name].values, values[known], rtol=0, atol=1e-9)
        # epoch seconds carry 2e-7 s of rounding in a double, minutes to seven digits 3e-6 s
        np.testing.assert_allclose(recording[name].time, times[known] - start, rtol=0, atol=5e-6)


@pytest.mark.parametrize("comments", [1, 3])
def test_comment_lines_are_skipped(tmp_path: Path, comments: int) -> None:
    times = np.array([0.0, 0.5, 1.0])
    table = {"engine_speed": np.array([800.0, 810.0, 805.0])}
    recording = read_recording(write(tmp_path / "t.csv", times, table, Style(comments=comments)))
    assert recording["engine_speed"].values.tolist() == [800.0, 810.0, 805.0]
    assert any("comment" in remark or "before the headings" in remark for remark in recording.report.remarks)


def test_thousands_marks_in_cells_are_understood(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    path.write_text("Time [s];Engine speed [rpm]\n0,0;1.234,5\n1,0;2.345,5\n2,0;987,5\n")
    assert read_recording(path)["engine_speed"].values.tolist() == [1234.5, 2345.5, 987.5]


def test_twice_encoded_degree_sign_is_mended(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    sign = "°".encode().decode("cp1252").encode().decode("cp1252")
    path.write_text(f"Time [s],Coolant temperature [{sign}C]\n0,80\n1,81\n", encoding="utf-8")
    recording = read_recording(path)
    assert recording["coolant_temperature"].values.tolist() == [80.0, 81.0]
    assert recording.report.columns[0].how == "stated"


def test_old_line_ends_alone(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    path.write_bytes(b"Time [s],Engine speed [rpm]\r0,800\r1,810\r2,820\r")
    assert read_recording(path)["engine_speed"].values.tolist() == [800.0, 810.0, 820.0]


def test_progress_is_told_and_ends_at_one(tmp_path: Path) -> None:
    times = np.arange(2000) / 10
    table = {"engine_speed": 800 + np.arange(2000.0)}
    told: list[float] = []
    read_recording(write(tmp_path / "t.csv", times, table, Style()), progress=told.append)
    assert told
    assert told == sorted(told)
    assert told[-1] == 1.0


def test_blocks_are_joined_without_losing_a_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("airproof.recording.line_blocks.BLOCK_BYTES", 4096)
    count = 5000
    times = np.arange(count) / 10
    table = {"engine_speed": 800 + np.arange(count) % 977 + 0.25, "manifold_pressure": 30 + np.arange(count) % 71 + 0.5}
    for style in (
        Style(),
        Style(gzipped=True, newline="\r\n"),
        Style(encoding="utf-16"),
        Style(delimiter=";", decimal=",", units="cells"),
    ):
        recording = read_recording(write(tmp_path / "t.csv", times, table, style))
        assert recording.report.rows_read == count
        for name, values in table.items():
            np.testing.assert_array_equal(recording[name].values, values)


def read(tmp_path: Path, text: str):
    path = tmp_path / "rec.csv"
    path.write_text(text, encoding="utf-8")
    return read_recording(path)


def test_rows_cut_short_lose_only_what_they_lack(tmp_path: Path) -> None:
    rows = "".join(f"{n},{800 + n}\n" if n % 5 == 0 else f"{n},{800 + n},{30 + n},50,,\n" for n in range(60))
    recording = read(tmp_path, "Time (s),RPM,MAP (kPa),Speed (km/h)\n" + rows)
    assert recording["engine_speed"].values.tolist() == [800.0 + n for n in range(60)]
    assert recording["manifold_pressure"].values.tolist() == [30.0 + n for n in range(60) if n % 5]


def test_one_signal_a_row(tmp_path: Path) -> None:
    rows = "".join(f"{n / 4},{800 + n if n % 2 else ''},{'' if n % 2 else 30 + n}\n" for n in range(300))
    recording = read(tmp_path, "Time (s),RPM,MAP (kPa)\n" + rows)
    assert recording["engine_speed"].time.tolist() == [n / 4 for n in range(1, 300, 2)]
    assert recording["manifold_pressure"].values.tolist() == [30.0 + n for n in range(0, 300, 2)]


def test_of_two_clocks_the_one_that_can_be_read_is_taken(tmp_path: Path) -> None:
    rows = "".join(f"at noon and {n} beats,2024-05-01 12:00:{n:02d}.250,{800 + n}\n" for n in range(30))
    recording = read(tmp_path, "GPS time,Local time,RPM\n" + rows)
    assert recording["engine_speed"].time.tolist() == [float(n) for n in range(30)]


def test_decimal_commas_that_begin_late(tmp_path: Path) -> None:
    rows = "".join(f"{n};{30 + n % 4}{',5' if n > 60 else ''}\n" for n in range(120))
    recording = read(tmp_path, "Time (s);MAP (kPa)\n" + rows)
    assert recording["manifold_pressure"].values[-1] == 30.5 + 119 % 4


def test_words_that_stand_for_numbers(tmp_path: Path) -> None:
    rows = "".join(f"{n},{'Closed loop' if n > 5 else 'OL'},{'ON' if n > 8 else 'off'}\n" for n in range(20))
    recording = read(tmp_path, "Time (s),Fuel system status,MIL\n" + rows)
    # SAE J1979 item 03: 1 open loop (cold), 2 closed loop
    assert recording["fuel_system_status"].values.tolist() == [1.0] * 6 + [2.0] * 14
    assert recording["lamp"].values.tolist() == [0.0] * 9 + [1.0] * 11


def test_blank_lines_are_no_rows(tmp_path: Path) -> None:
    recording = read(tmp_path, "Time (s),RPM\n0,800\n\n1,810\n\n\n2,820\n\n")
    assert recording.report.rows_read == 3
    assert not any("stamp" in remark for remark in recording.report.remarks)


def test_a_stated_rate_stands_in_for_time(tmp_path: Path) -> None:
    recording = read(tmp_path, "# sampled at 20 Hz\nRPM,MAP (kPa)\n800,30\n810,31\n820,32\n")
    assert recording["engine_speed"].time.tolist() == [0.0, 0.05, 0.1]
    assert any("20 a second" in remark for remark in recording.report.remarks)


def test_cells_in_several_units_are_turned_into_one(tmp_path: Path) -> None:
    cells = ["100 kPa", "1 bar", "1000 hPa", "-", "100 degC", "100 kPa"]
    recording = read(tmp_path, "Time (s);MAP\n" + "".join(f"{n};{cell}\n" for n, cell in enumerate(cells)))
    assert recording["manifold_pressure"].values.tolist() == pytest.approx([100.0, 100.0, 100.0, 100.0])
    assert any("several units" in remark for remark in recording.report.remarks)
    assert any("1 cell without" in remark for remark in recording.report.remarks)


def test_cells_that_contradict_their_heading_are_not_believed_blindly(tmp_path: Path) -> None:
    recording = read(tmp_path, "Time (s);MAP (kPa)\n" + "".join(f"{n};{n + 1},0 bar\n" for n in range(3)))
    assert recording["manifold_pressure"].values.tolist() == pytest.approx([100.0, 200.0, 300.0])
    assert "otherwise" in recording.report.columns[0].says


def test_petrol_by_volume_is_turned_into_mass_at_the_density_used_everywhere(tmp_path: Path) -> None:
    recording = read(tmp_path, "Time (s),Engine fuel rate (L/h)\n" + "".join(f"{n},7.2\n" for n in range(9)))
    # 7.2 L/h is 2 cm3/s; 0.745 kg/L lies inside the 0.720 to 0.775 of EN 228 (from memory of it)
    assert recording["fuel_rate"].values == pytest.approx(np.full(9, 2 * 0.745))
    assert any("0.745 kg/L" in column.says for column in recording.report.columns)


@pytest.mark.parametrize("block", [1 << 20, 512])
def test_units_in_cells_that_change_far_down_are_all_turned_into_the_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, block: int
) -> None:
    monkeypatch.setattr("airproof.recording.line_blocks.BLOCK_BYTES", block)
    cells = ["-"] * 150 + ["1 bar", "100,5 kPa"] * 20 + ["99.5 kPa", "inf kPa", "98"] * 40
    lines = "".join(f"{n};{cell};{800 + n},5 1/min\n" for n, cell in enumerate(cells))
    recording = read(tmp_path, "Time (s);MAP;RPM\n" + lines)
    expected = {"1 bar": 100.0, "100,5 kPa": 100.5, "99.5 kPa": 99.5, "98": 9800.0}
    found = recording["manifold_pressure"]
    wanted = np.array([expected.get(cells[round(time)], np.nan) for time in found.time])
    np.testing.assert_allclose(found.values, wanted)
    assert len(found) == 40 + 40
    assert recording["engine_speed"].values[:3].tolist() == [800.5, 801.5, 802.5]
    assert any("40 cells without a readable number" in remark for remark in recording.report.remarks)
    assert any("several units" in remark for remark in recording.report.remarks)
