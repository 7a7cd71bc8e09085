"""`airproof rehearse` as a user meets it: files, table, many at once, and one clear line for what cannot be."""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path

import pytest
from command_line import Airproof

from airproof.recording.readers import read_recording

ENGINE = """[engine]
displacement_l = 2.0
cylinders = 4
induction = "turbocharged"
air_metering = "air-flow sensor"
rated_boost_kpa = 110
"""
SPEED = "Time (s),Vehicle speed (km/h)\n" + "".join(
    f"{t},{v}\n" for t, v in enumerate([0] * 8 + [*range(0, 45, 3)] + [45] * 10)
)


@pytest.fixture
def engine(tmp_path: Path) -> Path:
    path = tmp_path / "engine.toml"
    path.write_text(ENGINE, encoding="utf-8")
    return path


@pytest.fixture
def short(tmp_path: Path) -> Path:
    path = tmp_path / "road.csv"
    path.write_text(SPEED, encoding="utf-8")
    return path


def test_it_writes_the_recording_and_the_truth(airproof: Airproof, engine: Path, tmp_path: Path) -> None:
    out = tmp_path / "leak.csv"
    ended = airproof("rehearse", "--engine", engine, "--cause", "vacuum-leak=4mm", "--seed", 7, "--out", out)
    assert ended.status == 0
    assert "Unmetered air enters between throttle and valves: 4 mm" in ended.out
    recording = read_recording(out)
    assert {"engine_speed", "manifold_pressure", "air_flow", "short_trim_1"} <= set(recording)
    assert recording.duration_s > 300.0
    truth = json.loads((tmp_path / "leak.truth.json").read_text("utf-8"))
    assert truth["schema"] == "airproof.truth/1"
    assert truth["invented"] is True
    assert truth["causes"] == [{"id": "vacuum-leak", "size": 4.0, "unit": "mm"}]
    assert "P0171" in truth["codes"]["confirmed"]
    assert truth["lamp"] is True
    assert {frame["code"] for frame in truth["freeze_frames"]} >= set(truth["codes"]["confirmed"])
    assert truth["readiness"]["fuel"] is True


def test_the_same_command_writes_the_same_file(airproof: Airproof, engine: Path, short: Path, tmp_path: Path) -> None:
    files = [tmp_path / "one.csv", tmp_path / "two.csv"]
    for out in files:
        assert airproof("rehearse", "--engine", engine, "--drive", short, "--seed", 3, "--out", out).status == 0
    assert files[0].read_bytes() == files[1].read_bytes()


def test_what_it_writes_can_be_weighed(airproof: Airproof, engine: Path, tmp_path: Path) -> None:
    out = tmp_path / "high.csv"
    assert (
        airproof(
            "rehearse", "--engine", engine, "--cause", "map-offset=12kPa", "--altitude", "350m", "--out", out
        ).status
        == 0
    )
    assert json.loads(out.with_suffix(".truth.json").read_text(encoding="utf-8"))["scene"]["altitude_m"] == 350.0
    ended = airproof("weigh", out, "--engine", engine, "--altitude", "350m", "--code", "P0069", "--json")
    first = json.loads(ended.out)["causes"][0]
    assert first["id"] == "map-offset"
    assert first["size"]["low"] <= 12.0 <= first["size"]["high"]


def test_comparing_says_what_moves_and_what_stays(airproof: Airproof, engine: Path, tmp_path: Path) -> None:
    pictures = tmp_path / "pictures"
    ended = airproof("rehearse", "--engine", engine, "--cause", "map-offset=12kPa", "--compare", "--exhibits", pictures)
    assert ended.status == 0
    flat = " ".join(ended.out.split())
    assert re.search(r"manifold pressure shows \d+ kPa instead of \d+ \(\+12\)", flat)
    assert "What stays as it was" in flat
    assert "P0106" in flat
    assert (pictures / "compared.svg").read_text("utf-8").startswith("<?xml")


def test_json_is_one_object_and_nothing_else(airproof: Airproof, engine: Path, tmp_path: Path) -> None:
    out = tmp_path / "high.csv"
    words = ("--cause", "map-offset=12kPa", "--compare", "--out", out, "--json")
    told = json.loads(airproof("rehearse", "--engine", engine, *words).out)
    assert told["schema"] == "airproof.truth/1"
    assert told == json.loads((tmp_path / "high.truth.json").read_text("utf-8")) | {"comparison": told["comparison"]}
    moved = {(move["regime"], move["signal"]): move for move in told["comparison"]["moves"]}
    at_idle = moved["idle", "manifold_pressure"]
    assert at_idle["faulty"] - at_idle["healthy"] == pytest.approx(12.0, abs=0.6)
    assert "total_trim_1" in [still["signal"] for still in told["comparison"]["still"]]


def test_a_drive_from_a_file_and_another_logger(airproof: Airproof, engine: Path, short: Path, tmp_path: Path) -> None:
    out = tmp_path / "drive.csv"
    words = ("--drive", short, "--logger", "grouped", "--written", "decimal-commas", "--out", out)
    assert airproof("rehearse", "--engine", engine, *words).status == 0
    assert b";" in out.read_bytes().splitlines()[0]
    speed = read_recording(out)["vehicle_speed"]
    assert speed.values.max() == pytest.approx(45.0, abs=6.0)


@pytest.mark.parametrize("name", ["road.csv", "mine.csv"])
def test_what_no_rehearsal_wrote_is_never_written_over(
    airproof: Airproof, engine: Path, short: Path, tmp_path: Path, name: str
) -> None:
    (tmp_path / "mine.csv").write_text("mine", encoding="utf-8")
    before = (tmp_path / name).read_bytes()
    refused = airproof("rehearse", "--engine", engine, "--drive", short, "--out", tmp_path / name)
    assert refused.status == 2
    assert name in refused.line
    assert "Name another" in refused.line
    assert (tmp_path / name).read_bytes() == before


def test_nor_is_somebody_elses_truth(airproof: Airproof, engine: Path, tmp_path: Path) -> None:
    truth = tmp_path / "x.truth.json"
    truth.write_text("{}", encoding="utf-8")
    assert (
        "x.truth.json: is there already" in airproof("rehearse", "--engine", engine, "--out", tmp_path / "x.csv").line
    )
    assert truth.read_text(encoding="utf-8") == "{}"


def test_a_rehearsal_may_be_made_anew_but_not_while_it_is_driven(
    airproof: Airproof, engine: Path, short: Path, tmp_path: Path
) -> None:
    out = tmp_path / "one.csv"
    for seed in (1, 2):
        words = ("--drive", short, "--seed", seed, "--out", out)
        assert airproof("rehearse", "--engine", engine, *words).status == 0
    assert json.loads((tmp_path / "one.truth.json").read_text("utf-8"))["seed"] == 2
    assert "for both" in airproof("rehearse", "--engine", engine, "--drive", out, "--out", out).line


def test_many_go_beside_nothing_of_somebody_else(airproof: Airproof, engine: Path, short: Path, tmp_path: Path) -> None:
    folder = tmp_path / "cases"
    words = ("rehearse", "--many", 1, "--engine", engine, "--drive", short, "--out", folder)
    for _ in range(2):  # those of before may be made anew
        assert airproof(*words).status == 0
    for name in ("0001.csv.gz", "0001.engine.toml", "cases.csv"):
        (folder / name).unlink()
        (folder / name.replace("csv.gz", "truth.json")).unlink(missing_ok=True)
        (folder / name).write_bytes(b"mine")
        assert f"{name}: is there already" in airproof(*words).line
        assert (folder / name).read_bytes() == b"mine"
        (folder / name).unlink()


def test_a_picture_or_sheet_of_somebody_else_stays(airproof: Airproof, engine: Path, tmp_path: Path) -> None:
    for option, name in (("--exhibits", "compared.svg"), ("--sheet", "sheet.html"), ("--sheet", "exhibit-2.png")):
        folder = tmp_path / name
        folder.mkdir()
        (folder / name).write_text("<svg>mine</svg>", encoding="utf-8")
        words = ("--engine", engine, "--cause", "vacuum-leak", "--compare", option, folder)
        assert f"{name}: is there already" in airproof("rehearse", *words).line


def test_many_are_listed_with_engines_and_truths(airproof: Airproof, tmp_path: Path) -> None:
    folder = tmp_path / "cases"
    ended = airproof("rehearse", "--many", 3, "--spread", "--seed", 5, "--out", folder)
    assert ended.status == 0
    with (folder / "cases.csv").open(encoding="utf-8") as table:
        rows = list(csv.DictReader(table))
    assert [row["recording"] for row in rows] == ["0001.csv.gz", "0002.csv.gz", "0003.csv.gz"]
    for row in rows:
        truth = json.loads((folder / row["recording"].replace(".csv.gz", ".truth.json")).read_text("utf-8"))
        assert row["causes"].split()[0] == truth["causes"][0]["id"]
        assert (folder / row["engine"]).exists()
        assert "engine_speed" in read_recording(folder / row["recording"])


def test_a_case_does_not_depend_on_how_many_are_made(airproof: Airproof, tmp_path: Path) -> None:
    for number in (1, 2):
        assert airproof("rehearse", "--many", number, "--spread", "--out", tmp_path / str(number)).status == 0
    files = [tmp_path / number / "0001.truth.json" for number in ("1", "2")]
    assert files[0].read_bytes() == files[1].read_bytes()


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ((), "no engine"),
        (("--engine", "{engine}"), "neither --out nor --compare"),
        (("--engine", "{engine}", "--out", "x.csv", "--cause", "vacum-leak=4mm"), "vacuum-leak"),
        (("--engine", "{engine}", "--out", "x.csv", "--cause", "vacuum-leak=4kPa"), "For example: 4mm"),
        (("--engine", "{engine}", "--out", "x.csv", "--cause", "vacuum-leak=99mm"), "0 to 30"),
        (("--engine", "{engine}", "--out", "x.csv", "--cause", "egr-stuck-open=6mm"), "egr = true"),
        (("--engine", "{engine}", "--out", "x.csv", "--cause", "ignition", "--cause", "ignition"), "twice"),
        (("--engine", "{engine}", "--out", "x.csv", "--drive", "motorwy"), "workshop, mixed"),
        (("--engine", "{engine}", "--out", "x.csv", "--drive", "nothere.csv"), "nothere.csv"),
        (("--engine", "{engine}", "--out", "x.csv", "--drive", "{engine}"), "engine.toml"),
        (("--engine", "{engine}", "--out", "x.csv", "--seed", "seven"), "a whole number"),
        (("--engine", "{engine}", "--out", "x.csv", "--logger", "quick"), "simple"),
        (("--engine", "{engine}", "--out", "x.csv", "--written", "nicely"), "plain"),
        (("--engine", "{engine}", "--out", "x.csv", "--altitude", "90km"), "altitude"),
        (("--engine", "{engine}", "--out", "nofolder/x.csv"), "nofolder"),
        (("--engine", "{engine}", "--exhibits", "x", "--out", "x.csv"), "--compare"),
        (("--engine", "nothere.toml", "--out", "x.csv"), "nothere.toml"),
        (("--many", "3"), "--out"),
        (("--many", "0", "--spread", "--out", "x"), "from 1"),
        (("--many", "3", "--out", "x"), "--spread"),
        (("--many", "3", "--spread", "--out", "x", "--ambient", "18C"), "places are drawn"),
        (("--spread", "--engine", "{engine}", "--out", "x"), "--many"),
    ],
)
def test_what_cannot_be_is_one_clear_line(
    airproof: Airproof, engine: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], says: str
) -> None:
    monkeypatch.chdir(tmp_path)
    ended = airproof("rehearse", *(word.replace("{engine}", str(engine)) for word in words))
    assert ended.status == 2
    assert ended.out == ""
    assert ended.err.count("\n") == 1
    assert says in ended.err


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ('fuel = "diesel"', "diesel"),
        ("displacement_l = 0.0", "displacement_l"),
        ("[rehearsal]\nmanifold_l = 0.0", "manifold_l"),
        ("[rehearsal]\nthrottle_mm = 900", "throttle_mm"),
        ('[rehearsal]\ninjection = "both"', "injection"),
    ],
)
def test_an_engine_that_cannot_be_is_refused(airproof: Airproof, tmp_path: Path, line: str, says: str) -> None:
    path = tmp_path / "engine.toml"
    text = ENGINE if "displacement" not in line else ENGINE.replace("displacement_l = 2.0\n", "")
    path.write_text(text + line + "\n", encoding="utf-8")
    ended = airproof("rehearse", "--engine", path, "--out", tmp_path / "x.csv")
    assert ended.status == 2
    assert says in ended.err
    assert ended.err.count("\n") == 1
