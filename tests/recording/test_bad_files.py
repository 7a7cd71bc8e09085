"""Whatever a file holds, the outcome is a Recording or one clear line of our own."""

from __future__ import annotations

import gzip
import os
import random
import sys
from pathlib import Path

import numpy as np
import pytest
from csv_styles import Style, text_of
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from airproof.errors import AirproofError, UnusableFile
from airproof.recording.readers import read_recording
from airproof.recording.recording import Recording

GOOD = text_of(
    np.arange(60) / 2,
    {"engine_speed": 800.0 + np.arange(60), "manifold_pressure": 30.0 + np.arange(60) % 7},
    Style(),
)


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="names are letters there, not bytes")
def test_a_file_whose_name_is_no_letters_is_read(tmp_path: Path) -> None:
    path = tmp_path / os.fsdecode(b"l\xe4uft.csv")
    path.write_text(GOOD, encoding="utf-8")
    assert len(read_recording(path)["manifold_pressure"]) == 60


def refusal(path: Path, **how: object) -> UnusableFile:
    with pytest.raises(UnusableFile) as caught:
        read_recording(path, **how)  # type: ignore[arg-type]
    error = caught.value
    assert "\n" not in str(error)
    assert all((error.given, error.wanted, error.way_out))
    assert path.name in str(error)
    assert error.exit_status == 2
    return error


def written(tmp_path: Path, content: str | bytes, name: str = "rec.csv") -> Path:
    path = tmp_path / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def test_missing_file(tmp_path: Path) -> None:
    assert "no such file" in str(refusal(tmp_path / "gone.csv"))


def test_folder(tmp_path: Path) -> None:
    assert "folder" in str(refusal(tmp_path))


@pytest.mark.parametrize("content", [b"", b"\n", b" \r\n\n"])
def test_empty(tmp_path: Path, content: bytes) -> None:
    assert "empty" in str(refusal(written(tmp_path, content)))


def test_gzip_of_nothing(tmp_path: Path) -> None:
    assert "empty" in str(refusal(written(tmp_path, gzip.compress(b""))))


def test_binary(tmp_path: Path) -> None:
    assert "binary" in str(refusal(written(tmp_path, bytes(range(256)) * 40)))


@pytest.mark.parametrize(
    ("start", "word"), [(b"PK\x03\x04", "spreadsheet"), (b"%PDF-1.7", "PDF"), (b"BZh91AY", "bzip2")]
)
def test_other_kinds_are_named(tmp_path: Path, start: bytes, word: str) -> None:
    assert word in str(refusal(written(tmp_path, start + b"rest")))


def test_prose(tmp_path: Path) -> None:
    refusal(written(tmp_path, "Dear sir,\nthe engine stutters at idle.\nYours\n"))


def test_headings_only(tmp_path: Path) -> None:
    assert "no line of numbers" in str(refusal(written(tmp_path, "Time (s),Engine speed (rpm)\n")))


def test_numbers_without_headings(tmp_path: Path) -> None:
    assert "line of headings" in str(refusal(written(tmp_path, "0,800\n1,810\n2,805\n")))


def test_no_time_column(tmp_path: Path) -> None:
    error = refusal(written(tmp_path, "Engine speed (rpm),MAP (kPa)\n800,30\n810,31\n"))
    assert "time" in error.given
    assert "rate_hz" in error.way_out


def test_no_known_heading(tmp_path: Path) -> None:
    error = refusal(written(tmp_path, "Time (s),Blood pressure,Mood\n0,120,3\n1,121,4\n"))
    assert "Blood pressure" in error.given


def test_known_heading_without_numbers(tmp_path: Path) -> None:
    error = refusal(written(tmp_path, "Time (s),MAP (kPa),Mood\n0,,3\n1,,4\n"))
    assert "no column gives a usable signal" in error.given


def test_stamps_that_are_none(tmp_path: Path) -> None:
    error = refusal(written(tmp_path, "Time,MAP (kPa),RPM\nsoon,30,800\nlater,31,810\nnever,32,805\n"))
    assert "soon" in error.given


def test_more_values_than_headings(tmp_path: Path) -> None:
    error = refusal(written(tmp_path, "Time (s),RPM\n0,800,30\n1,810,31\n2,820,32\n"))
    assert "nobody can match them" in error.given


def test_truncated_gzip_is_saved_as_far_as_it_goes(tmp_path: Path) -> None:
    rows = "".join(f"{n},{800 + n % 50},{30 + n % 9}\n" for n in range(20000))
    whole = gzip.compress(("Time (s),RPM,MAP (kPa)\n" + rows).encode())
    recording = read_recording(written(tmp_path, whole[: len(whole) // 2], "rec.csv.gz"))
    assert 5000 < recording.report.rows_read < 15000
    assert "breaks off" in recording.report.remarks[0]
    assert np.all(np.diff(recording["engine_speed"].time) == 1.0)


def test_damaged_gzip_without_a_row(tmp_path: Path) -> None:
    refusal(written(tmp_path, gzip.compress(GOOD.encode())[:14], "rec.csv.gz"))


def test_two_cars_by_their_numbers(tmp_path: Path) -> None:
    rows = "".join(f"{n},800,{'WVWZZZ1JZXW000001' if n < 5 else 'WVWZZZ1JZXW000002'}\n" for n in range(10))
    error = refusal(written(tmp_path, "Time (s),RPM,VIN\n" + rows))
    assert "two cars" in error.given
    assert "plit" in error.way_out


def test_second_header_with_other_columns(tmp_path: Path) -> None:
    first = "Time (s),RPM,MAP (kPa)\n" + "".join(f"{n},800,30\n" for n in range(10))
    second = "Time (s),Vehicle speed (km/h),RPM\n" + "".join(f"{n},50,2000\n" for n in range(10))
    error = refusal(written(tmp_path, first + second))
    assert "line 12" in error.given


def test_second_header_of_the_same_kind_is_a_restart(tmp_path: Path) -> None:
    part = "Time (s),RPM,MAP (kPa)\n" + "".join(f"{n},{800 + n},30\n" for n in range(10))
    recording = read_recording(written(tmp_path, part + part))
    assert len(recording["engine_speed"]) == 20
    assert any("starts again" in remark for remark in recording.report.remarks)


def test_words_among_the_numbers_are_counted(tmp_path: Path) -> None:
    rows = "".join(f"{n},{'error' if n == 7 else 800 + n}\n" for n in range(20))
    recording = read_recording(written(tmp_path, "Time (s),RPM\n" + rows))
    assert len(recording["engine_speed"]) == 19
    assert any("1 cell" in remark for remark in recording.report.remarks)


def outcome(path: Path) -> Recording | AirproofError:
    """A Recording that keeps its promises, or an error of our own; anything else fails the test."""
    try:
        recording = read_recording(path)
    except AirproofError as error:
        refused = error
    else:
        refused = None
    if refused is not None:
        assert "\n" not in str(refused)
        return refused
    for signal in recording.signals.values():
        assert len(signal)
        assert np.isfinite(signal.values).all()
        assert np.isfinite(signal.time).all()
        assert np.all(np.diff(signal.time) >= 0)
    return recording


FUZZ = settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture], derandomize=True
)


@FUZZ
@given(st.binary(max_size=400))
def test_random_bytes(tmp_path: Path, content: bytes) -> None:
    outcome(written(tmp_path, content))


@FUZZ
@given(st.text(max_size=300))
def test_random_text(tmp_path: Path, content: str) -> None:
    outcome(written(tmp_path, content.encode("utf-8", "replace")))


@FUZZ
@given(st.text(alphabet='0123456789.,;:"\n\t TimeRPM-e()%', max_size=300))
def test_random_tables(tmp_path: Path, content: str) -> None:
    outcome(written(tmp_path, "Time (s),RPM\n" + content))


@FUZZ
@given(st.integers(0, len(GOOD)), st.binary(max_size=20), st.integers(0, 30))
def test_good_file_with_damage(tmp_path: Path, place: int, what: bytes, lost: int) -> None:
    raw = GOOD.encode()
    outcome(written(tmp_path, raw[:place] + what + raw[place + lost :]))


@FUZZ
@given(st.integers(0, 400))
def test_good_file_cut_off(tmp_path: Path, length: int) -> None:
    outcome(written(tmp_path, GOOD.encode()[:length]))
    packed = gzip.compress(GOOD.encode())
    outcome(written(tmp_path, packed[: min(length, len(packed))], "rec.csv.gz"))


@FUZZ
@given(st.integers(0, 2**32))
def test_shuffled_lines(tmp_path: Path, seed: int) -> None:
    head, *rows = GOOD.splitlines(keepends=True)
    random.Random(seed).shuffle(rows)
    found = outcome(written(tmp_path, head + "".join(rows)))
    assert isinstance(found, Recording)
    assert found["engine_speed"].values.tolist() == [800.0 + n for n in range(60)]


@pytest.mark.parametrize("magic", [b"PAR1", b"MDF     4.10    "])
def test_garbage_behind_a_known_start(tmp_path: Path, magic: bytes) -> None:
    refusal(written(tmp_path, magic + bytes(range(256)) * 8, "rec.bin"))


@pytest.mark.parametrize("cell", ['"', '"800', '8"00', '""', '"8,0"', '"800""'])
def test_a_stray_quote_spoils_its_own_row_only(tmp_path: Path, cell: str) -> None:
    rows = "".join(f'"{n}",{cell if n == 3 else 800 + n},"{30 + n}"\n' for n in range(9))
    found = outcome(written(tmp_path, "Time (s),RPM,MAP (kPa)\n" + rows))
    assert isinstance(found, Recording)
    assert found.report.rows_read == 9
    kept = found["engine_speed"]
    assert kept.values[kept.time != 3].tolist() == [800.0 + n for n in range(9) if n != 3]
