"""Bad input: one clear line with the way out, exit status 2, nothing written."""

from __future__ import annotations

import gzip
import shutil
from pathlib import Path

import pytest
from command_line import Airproof, Car


def refused(airproof: Airproof, *words: object) -> str:
    ended = airproof("weigh", *words)
    assert ended.status == 2, ended
    assert ended.out == ""
    assert ended.line.startswith("airproof: ")
    assert "; wanted: " in ended.line
    assert ended.line.endswith((".", '"')) or ended.line[-1].isalnum()
    return ended.line


def content(kind: str, folder: Path, car: Car) -> Path:
    path = folder / f"{kind}.csv"
    match kind:
        case "folder":
            path.mkdir()
        case "empty":
            path.write_bytes(b"")
        case "binary":
            path.write_bytes(bytes(range(256)) * 40)
        case "nothing-but-gzip-head":
            path.write_bytes(gzip.compress(car.healthy.read_bytes())[:12])
        case "no-time":
            path.write_text("Engine speed (1/min),Manifold pressure (kPa)\n800,33\n810,34\n", encoding="utf-8")
        case "no-signal":
            path.write_text("Time (s),colour\n0,red\n1,blue\n", encoding="utf-8")
        case "headings-only":
            path.write_text("Time (s),Engine speed (1/min)\n", encoding="utf-8")
    return path


@pytest.mark.parametrize(
    "kind", ["missing", "folder", "empty", "binary", "nothing-but-gzip-head", "no-time", "no-signal", "headings-only"]
)
def test_a_file_that_is_no_recording(airproof: Airproof, car: Car, tmp_path: Path, kind: str) -> None:
    line = refused(airproof, content(kind, tmp_path, car), "--engine", car.engine)
    assert f"{kind}.csv" in line


@pytest.mark.parametrize(("name", "says"), [("", "an empty name"), ("https://a.b/c.csv", "https://a.b/c.csv is an")])
def test_a_name_that_is_none(airproof: Airproof, car: Car, name: str, says: str) -> None:
    assert says in refused(airproof, name, "--engine", car.engine)


def test_the_same_value_twice_is_no_contradiction(airproof: Airproof, car: Car) -> None:
    twice = ("--altitude", "350m", "--altitude", "350m")
    assert airproof("weigh", car.lying, "--engine", car.engine, *twice, "--json").status == 0


def test_headings_of_another_language_get_the_lines_to_write(airproof: Airproof, car: Car, tmp_path: Path) -> None:
    path = tmp_path / "toerental.csv"
    path.write_text("Tijd (s);Toerental;Inlaatdruk\n0;800;35\n1;810;36\n2;820;36\n", encoding="utf-8")
    line = refused(airproof, path, "--engine", car.engine)
    assert "Toerental" in line
    assert 'engine_speed = {heading = "...", unit = "1/min"}' in line
    assert len(line) < 500


def test_a_broken_baseline_is_named(airproof: Airproof, car: Car, tmp_path: Path) -> None:
    bad = content("empty", tmp_path, car)
    assert "empty.csv" in refused(airproof, car.lying, "--engine", car.engine, "--baseline", bad)


ENGINES = {
    "impossible": "[engine]\ndisplacement_l = 99\ncylinders = 4\ninduction = 'turbocharged'\nair_metering = 'both'\n",
    "incomplete": "[engine]\ndisplacement_l = 2.0\n",
    "unknown-key": "[engine]\ndisplacement_l = 2.0\nturbos = 2\n",
    "no-toml": "[engine\n",
}


@pytest.mark.parametrize("kind", [*ENGINES, "missing", "folder"])
def test_an_engine_that_cannot_be(airproof: Airproof, car: Car, tmp_path: Path, kind: str) -> None:
    path = tmp_path / f"{kind}.toml"
    if kind == "folder":
        path.mkdir()
    elif kind in ENGINES:
        path.write_text(ENGINES[kind], encoding="utf-8")
    assert f"{kind}.toml" in refused(airproof, car.lying, "--engine", path)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--altitude", "350m", "--barometer", "60kPa"), "350 m"),
        (("--altitude", "350"), "no unit"),
        (("--altitude", "12 furlongs"), "furlongs"),
        (("--altitude", "20000m"), "altitude"),
        (("--altitude", "1e300m"), "altitude"),
        (("--altitude", "9" * 300 + "m"), "301 letters"),
        (("--altitude", "1.000,5m"), "both a point and a comma"),
        (("--altitude", "350m", "--altitude", "1600m"), "--altitude: given 2 times"),
        (("--barometer", "97kPa", "--barometer", "98kPa"), "--barometer: given 2 times"),
        (("--engine", "other.toml"), "--engine: given 2 times"),
        (("--exhibits", ""), "--exhibits: an empty name"),
        (("--prices", " "), "--prices: an empty name"),
        (("--baseline", ""), "--baseline: an empty name"),
        (("--signals", "https://a.b/map.toml"), "https://a.b/map.toml is an address"),
        (("--barometer", "18C"), "temperature"),
        (("--barometer", "5 psi gauge"), "absolute"),
        (("--ambient", "warm"), "no number"),
        (("--ambient", "-300C"), "absolute zero"),
        (("--code", "P9999"), "P9999"),
        (("--code", "P1234"), "P1234"),
        (("--code", "hello"), "hello"),
        (("--symptom", "wobbly"), "rough-idle"),
    ],
)
def test_a_word_that_cannot_be(airproof: Airproof, car: Car, words: tuple[str, ...], says: str) -> None:
    assert says in refused(airproof, car.lying, "--engine", car.engine, *words)


@pytest.mark.parametrize(
    ("option", "text"),
    [
        ("--prices", "labour = 3\n"),
        ("--prices", "x = [\n"),
        ("--prices", "[parts]\nunobtainium = 3\n"),
        ("--prices", "labour_per_hour = -3\n"),
        ("--reading", '[[reading]]\nstep = "dance"\nfound = true\n'),
        ("--reading", '[[reading]]\nsignal = "manifold_pressure"\nvalue = "106"\n'),
        ("--signals", '[signals]\nloudness = {heading = "x"}\n'),
        ("--signals", '[signals]\nmanifold_pressure = {heading = "not there", unit = "kPa"}\n'),
        ("--signals", '[signals]\nmanifold_pressure = {heading = "Engine speed (1/min)", unit = "furlongs"}\n'),
    ],
)
def test_a_file_beside_it_that_is_broken(airproof: Airproof, car: Car, tmp_path: Path, option: str, text: str) -> None:
    path = tmp_path / "broken.toml"
    path.write_text(text, encoding="utf-8")
    assert "broken.toml" in refused(airproof, car.lying, "--engine", car.engine, option, path)
    assert "nowhere.toml" in refused(airproof, car.lying, "--engine", car.engine, option, tmp_path / "nowhere.toml")


def test_exhibits_into_a_file(airproof: Airproof, car: Car, tmp_path: Path) -> None:
    file = tmp_path / "mine.txt"
    file.write_text("mine", encoding="utf-8")
    assert "mine.txt" in refused(airproof, car.lying, "--engine", car.engine, "--exhibits", file)
    assert file.read_text(encoding="utf-8") == "mine"


def test_nothing_is_written_when_the_recording_is_unusable(airproof: Airproof, car: Car, tmp_path: Path) -> None:
    bad = content("binary", tmp_path, car)
    refused(airproof, bad, "--engine", car.engine, "--exhibits", tmp_path / "pictures")
    assert not (tmp_path / "pictures").exists()


def test_the_same_recording_twice(airproof: Airproof, car: Car, tmp_path: Path) -> None:
    copy = tmp_path / "copy.csv"
    shutil.copy(car.lying, copy)
    for words in (
        (car.lying, "--baseline", car.lying),
        (car.lying, "--baseline", copy),
        (car.lying, car.lying),
        (car.lying, "--baseline", car.healthy, "--baseline", car.healthy),
    ):
        assert "same recording" in refused(airproof, *words, "--engine", car.engine)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--nonsense",), "there is no option --nonsense"),
        (("wiegh",), "Did you mean weigh?"),
        (("weigh",), "--engine is missing"),
        (("weigh", "a.csv"), "--engine is missing"),
        (("weigh", "a.csv", "--engine"), "--engine has nothing after it"),
        (("weigh", "a.csv", "--engine", "e.toml", "--cod", "P0106"), "there is no option --cod"),
        (("weigh", "a.csv", "--engine", "e.toml", "--json=yes"), "--json"),
        (("explain",), "WHAT is missing"),
        (("explain", "P9999"), "nothing is known of 'P9999'"),
        (("explain", "P0106", "nonsense"), "nothing is known of 'nonsense'"),
    ],
)
def test_a_command_line_that_cannot_be(airproof: Airproof, words: tuple[str, ...], says: str) -> None:
    ended = airproof(*words)
    assert ended.status == 2
    assert ended.out == ""
    assert says in ended.line
    assert ended.line.count("airproof: ") == 1


@pytest.mark.parametrize(
    ("row", "way_out"),
    [("time,a,b", "Write MAP.toml with the line [signals]"), ("rpm (1/min),map (kPa),b", 'time = {heading = "...", ')],
)
def test_what_a_map_must_say_is_told_by_what_is_missing(
    airproof: Airproof, car: Car, tmp_path: Path, row: str, way_out: str
) -> None:
    path = tmp_path / "odd.csv"
    path.write_text("\n".join([row, *(f"{n},{800 + n % 7},{30 + n % 3}" for n in range(60))]), encoding="utf-8")
    ended = airproof("weigh", path, "--engine", car.engine)
    assert ended.status == 2
    assert way_out in ended.line
