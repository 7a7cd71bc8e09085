"""Rows with more values than headings: refused where most are, counted where a few are."""

from __future__ import annotations

import gzip
from pathlib import Path

import numpy as np
import pytest

from airproof.errors import UnusableFile
from airproof.recording.readers import read_recording

HEADINGS = "time (s),Engine speed (1/min),MAP (kPa),Throttle (%)"


def rows(count: int = 1000) -> list[str]:
    return [f"{n / 10:.1f},{800 + n % 90},{30 + n % 7}.5,{12 + n % 5}" for n in range(count)]


def written(folder: Path, lines: list[str], *, packed: bool = False) -> Path:
    text = "\n".join([HEADINGS, *lines, ""]).encode()
    path = folder / ("drive.csv.gz" if packed else "drive.csv")
    path.write_bytes(gzip.compress(text) if packed else text)
    return path


def test_decimal_commas_between_commas_are_named(tmp_path: Path) -> None:
    lines = [row.replace(".", ",") for row in rows()]
    with pytest.raises(UnusableFile, match="decimal comma while a comma parts the cells"):
        read_recording(written(tmp_path, lines))


def test_decimal_commas_where_most_cells_are_empty_are_named(tmp_path: Path) -> None:
    """Each row holds one value in turn, so that hardly any row reaches beyond the last heading."""
    lines = []
    for n, row in enumerate(rows()):
        cells = row.split(",")
        lines.append(",".join([cells[0], *(cell if k == n % 9 else "" for k, cell in enumerate(cells[1:]))]))
    with pytest.raises(UnusableFile, match="decimal comma"):
        read_recording(written(tmp_path, [line.replace(".", ",") for line in lines]))


@pytest.mark.parametrize("packed", [False, True])
@pytest.mark.parametrize("first", [20, 400])
def test_most_rows_too_wide_wherever_they_begin(tmp_path: Path, first: int, *, packed: bool) -> None:
    lines = [row if n < first else f"0,{row}" for n, row in enumerate(rows())]
    with pytest.raises(UnusableFile, match="4 headings stand above") as refused:
        read_recording(written(tmp_path, lines, packed=packed))
    assert "decimal comma" not in str(refused.value)


@pytest.mark.parametrize("packed", [False, True])
@pytest.mark.parametrize("hole", ["", "-"])
def test_a_few_wide_rows_are_left_out_and_counted(tmp_path: Path, hole: str, *, packed: bool) -> None:
    """The shifted value would be a pressure of 800 kPa; cells without a number make the reader look twice."""
    lines = [f"0,{row}" if n in (500, 700) else row for n, row in enumerate(rows())]
    lines[300] = f"30.0,{hole},31.5,12"
    recording = read_recording(written(tmp_path, lines, packed=packed))
    (remark,) = [one for one in recording.report.remarks if "more values" in one]
    assert "2 of 1000, the first in line 502" in remark
    pressure = recording["manifold_pressure"]
    assert len(pressure) == 998
    assert pressure.values.max() < 40.0
    assert np.all(np.diff(pressure.time) > 0)


def test_a_quoted_comma_makes_no_row_wide(tmp_path: Path) -> None:
    lines = [row if n % 2 else row.replace(".5", ",5").replace(f",{30 + n % 7},5", f',"{30 + n % 7},5"') for n, row in
             enumerate(rows())]  # fmt: skip
    recording = read_recording(written(tmp_path, lines))
    assert not [one for one in recording.report.remarks if "more values" in one]


@pytest.mark.parametrize("end", [",", ",,"])
def test_a_last_delimiter_in_every_row_is_harmless(tmp_path: Path, end: str) -> None:
    recording = read_recording(written(tmp_path, [row + end for row in rows()]))
    assert len(recording["manifold_pressure"]) == 1000
    assert [one for one in recording.report.remarks if "one more delimiter" in one]


def test_a_last_delimiter_in_a_few_rows_is_not_said_of_each(tmp_path: Path) -> None:
    recording = read_recording(written(tmp_path, [row + "," * (n == 0) for n, row in enumerate(rows())]))
    assert not [one for one in recording.report.remarks if "delimiter" in one]
