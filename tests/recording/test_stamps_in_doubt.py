"""Stamps that put rows minutes apart: their unit is asked for, unless a map has answered."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

from airproof.errors import UnusableFile
from airproof.recording.mapping import SignalMap
from airproof.recording.readers import read_recording

STEPS_MS = 356


def written(folder: Path, heading: str, kind: str, scale: float = 1.0) -> Path:
    table = {
        heading: [n * STEPS_MS * scale for n in range(200)],
        "Engine speed (1/min)": [780.0 + n % 9 for n in range(200)],
        "MAP (kPa)": [34.0 + n % 7 for n in range(200)],
    }
    path = folder / f"drive.{kind}"
    frame = pl.DataFrame(table)
    (frame.write_csv if kind == "csv" else frame.write_parquet)(path)
    return path


@pytest.mark.parametrize("kind", ["csv", "parquet"])
@pytest.mark.parametrize(("scale", "meant"), [(1.0, "ms"), (1.001, "ms"), (1000.0, "us")])
def test_rows_minutes_apart_are_not_judged(tmp_path: Path, kind: str, scale: float, meant: str) -> None:
    with pytest.raises(UnusableFile, match=f"as if the stamps were in {meant}") as refused:
        read_recording(written(tmp_path, "Time (s)", kind, scale))
    assert "--signals" in str(refused.value)


def test_seconds_under_minutes(tmp_path: Path) -> None:
    with pytest.raises(UnusableFile, match="as if the stamps were in s"):
        read_recording(written(tmp_path, "Time (min)", "csv", 1e-3))


@pytest.mark.parametrize("kind", ["csv", "parquet"])
@pytest.mark.parametrize("unit", ["s", "ms"])
def test_what_a_map_says_is_taken(tmp_path: Path, kind: str, unit: str) -> None:
    signals = SignalMap.model_validate({"signals": {"time": {"heading": "Time (s)", "unit": unit}}})
    recording = read_recording(written(tmp_path, "Time (s)", kind), signals=signals)
    assert recording.duration_s == pytest.approx(199 * STEPS_MS * (1.0 if unit == "s" else 1e-3))


def test_a_row_every_ten_seconds_is_a_recording(tmp_path: Path) -> None:
    assert read_recording(written(tmp_path, "Time (s)", "csv", 10 / STEPS_MS)).duration_s == pytest.approx(1990.0)


def test_milliseconds_that_say_so_are_read_as_before(tmp_path: Path) -> None:
    assert read_recording(written(tmp_path, "Time (ms)", "csv")).duration_s == pytest.approx(199 * 0.356)
