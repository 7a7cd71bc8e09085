"""Recordings that hold what cannot be used: refused in one line with the way out, not passed over in silence."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

from airproof.errors import UnusableFile
from airproof.recording.readers import read_recording


def written(folder: Path, text: str) -> Path:
    path = folder / "drive.csv"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("heading", "said"),
    [
        ("Manifold pressure (furlong)", "'furlong' is no unit of manifold pressure"),
        ("Manifold pressure (degC)", "does not fit"),
        ("Engine speed (bananas)", "'bananas' is no unit of engine speed"),
    ],
)
def test_an_unknown_unit_of_what_everything_rests_on(tmp_path: Path, heading: str, said: str) -> None:
    other = "Engine speed (1/min)" if "pressure" in heading else "Manifold pressure (kPa)"
    rows = "".join(f"{t},{800 + t},{35 + t}\n" for t in range(20))
    with pytest.raises(UnusableFile) as refused:
        read_recording(written(tmp_path, f"time (s),{heading},{other}\n{rows}"))
    line = str(refused.value)
    assert said in line.casefold() or said in line
    assert "--signals" in line
    assert "\n" not in line


def test_an_unknown_unit_of_something_else_is_only_reported(tmp_path: Path) -> None:
    rows = "".join(f"{t},{800 + t},{35 + t},{7 + t}\n" for t in range(20))
    heading = "time (s),Engine speed (1/min),Manifold pressure (kPa),Air flow (furlong)\n"
    recording = read_recording(written(tmp_path, heading + rows))
    assert "air_flow" not in recording
    (left_out,) = [c for c in recording.report.columns if c.how == "left out"]
    assert "furlong" in left_out.says


def test_a_clock_that_stands_still(tmp_path: Path) -> None:
    rows = "".join(f"5,{800 + k},{35 + k}\n" for k in range(6))
    with pytest.raises(UnusableFile, match="stands still at 5 s"):
        read_recording(written(tmp_path, "time (s),Engine speed (1/min),Manifold pressure (kPa)\n" + rows))


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such pipes")
def test_a_pipe_is_no_file(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(UnusableFile, match="pipe"):
        read_recording(tmp_path / "pipe")
