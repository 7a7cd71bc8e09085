"""MAP.toml: what it names is taken, and each mistake in it is one clear line."""

from __future__ import annotations

from pathlib import Path

import pytest

from airproof.errors import UnusableFile
from airproof.recording.mapping import SignalMap, read_signal_map
from airproof.recording.readers import read_recording

BENCH = """time,p_one,p_two,speed_x
0.0,101000,30000,80
0.1,101100,30100,81
0.2,101200,30200,82
"""


def files(tmp_path: Path, text: str, csv: str = BENCH) -> tuple[Path, Path]:
    (tmp_path / "rec.csv").write_text(csv)
    (tmp_path / "MAP.toml").write_text(text)
    return tmp_path / "rec.csv", tmp_path / "MAP.toml"


def test_headings_that_nobody_could_guess(tmp_path: Path) -> None:
    recording_path, map_path = files(
        tmp_path,
        """[signals]
charge_pressure = {heading = "p_one", unit = "Pa"}
manifold_pressure = {heading = "p_two", unit = "Pa"}
engine_speed = {heading = "SPEED_X", unit = "rad/s"}
""",
    )
    recording = read_recording(recording_path, signals=map_path)
    assert recording["manifold_pressure"].values.tolist() == [30.0, 30.1, 30.2]
    assert recording["charge_pressure"].values[0] == 101.0
    # 80 rad/s x 60 / (2 pi) = 763.94
    assert recording["engine_speed"].values[0] == pytest.approx(763.94, abs=0.005)
    assert {c.how for c in recording.report.columns} == {"mapped"}


def test_map_overrules_what_is_recognised(tmp_path: Path) -> None:
    csv = "time (s),MAP (kPa),Logged pressure\n0,30,95\n1,31,96\n"
    paths = files(tmp_path, '[signals]\nmanifold_pressure = {heading = "Logged pressure", unit = "kPa"}\n', csv)
    recording = read_recording(paths[0], signals=paths[1])
    assert recording["manifold_pressure"].values.tolist() == [95.0, 96.0]


def test_rate_for_a_file_without_time(tmp_path: Path) -> None:
    paths = files(tmp_path, "rate_hz = 10\n", "RPM,MAP (kPa)\n800,30\n810,31\n820,32\n")
    recording = read_recording(paths[0], signals=paths[1])
    assert recording["engine_speed"].time.tolist() == pytest.approx([0.0, 0.1, 0.2])


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[signals]\nmanifold_presure = {heading = "p_two"}', "manifold_pressure"),
        ('[signals]\nmanifold_pressure = {heading = "p_two", unit = "furlong"}', "furlong"),
        ('[signals]\nmanifold_pressure = {heading = "p_two", unit = "degC"}', "turned into kPa"),
        ('[signals]\nmanifold_pressure = {heading = "p_tow", unit = "Pa"}', "'p_two'"),
        ('[signals]\nmanifold_pressure = {head = "p_two"}', "manifold_pressure"),
        ('[signals]\nmanifold_pressure = "p_two"\ncharge_pressure = "p_two"', "both"),
        ("[signals\n", "is not TOML"),
        ("", "names no signal"),
        ("[signals]\nmanifold_pressure = 3\n", "manifold_pressure"),
        ("rate_hz = -1\n", "rate_hz"),
        ("[columns]\na = 1\n", "columns"),
    ],
)
def test_each_mistake_is_one_clear_line(tmp_path: Path, text: str, words: str) -> None:
    paths = files(tmp_path, text)
    with pytest.raises(UnusableFile) as caught:
        read_recording(paths[0], signals=paths[1])
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_map_that_does_not_exist(tmp_path: Path) -> None:
    with pytest.raises(UnusableFile, match="cannot be read"):
        read_signal_map(tmp_path / "none.toml")


def test_heading_alone_is_enough(tmp_path: Path) -> None:
    found = SignalMap.model_validate({"signals": {"manifold_pressure": "MAP (kPa)"}})
    assert found.signals["manifold_pressure"].heading == "MAP (kPa)"
