"""What no working control unit reports: set aside and counted, and asked about where it is much."""

from __future__ import annotations

from pathlib import Path

import pytest

from airproof.recording.readers import read_recording
from airproof.recording.recording import Recording


def read(folder: Path, trims: list[float]) -> Recording:
    rows = "".join(f"{n},{780 + n % 9},{34 + n % 7},{trim}\n" for n, trim in enumerate(trims))
    path = folder / "drive.csv"
    path.write_text(f"Time (s),Engine speed (1/min),MAP (kPa),Long term fuel trim bank 1 (%)\n{rows}")
    return read_recording(path)


@pytest.mark.parametrize("value", [-99.0, -100.0, 99.2])
def test_a_trim_that_stands_beyond_all_stops_is_asked_about(tmp_path: Path, value: float) -> None:
    recording = read(tmp_path, [value] * 100)
    assert "long_trim_1" not in recording
    (says,) = recording.report.implausible
    assert f"100 of 100 values, of {value:g} %, are beyond what any control unit reports (-60 to 60 %)" in says
    assert "look whether the heading is right" in says


def test_a_few_are_only_counted(tmp_path: Path) -> None:
    recording = read(tmp_path, [-100.0] * 2 + [3.0 + n % 3 for n in range(98)])
    assert len(recording["long_trim_1"]) == 98
    assert recording.report.implausible == ()
    assert [one for one in recording.report.remarks if "2 of 100 values, of -100 %" in one]


@pytest.mark.parametrize("value", [-50.0, -35.0, 0.0, 25.0, 50.0])
def test_a_trim_at_its_stop_is_evidence(tmp_path: Path, value: float) -> None:
    recording = read(tmp_path, [value] * 100)
    assert len(recording["long_trim_1"]) == 100
    assert not [one for one in recording.report.remarks if "control unit" in one]
