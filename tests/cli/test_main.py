"""Help, version, and every way a command can end."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from command_line import Airproof, Car

from airproof import __version__
from airproof.cli import main
from airproof.cli.main import COMMANDS
from airproof.errors import BrokenKnowledge


def airproof_process(*words: object, **environment: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "airproof", *map(str, words)],
        capture_output=True,
        check=False,
        env={**os.environ, **environment},
    )


def test_version(airproof: Airproof) -> None:
    assert airproof("--version").out == f"airproof {__version__}\n"


@pytest.mark.parametrize("words", [(), ("--help",), ("-h",)])
def test_help_teaches_by_example(airproof: Airproof, words: tuple[str, ...]) -> None:
    ended = airproof(*words)
    assert ended.status == 0
    assert "airproof weigh drive.csv --engine engine.toml" in ended.out
    for name, _ in COMMANDS:
        assert f"\n  {name} " in ended.out


@pytest.mark.parametrize("name", [name for name, _ in COMMANDS])
def test_every_command_has_help_with_an_example(airproof: Airproof, name: str) -> None:
    ended = airproof(name, "--help")
    assert ended.status == 0
    assert f"airproof {name} " in ended.out
    assert "--json" in ended.out or name == "serve"  # the pages print nothing for other programs


def test_the_options_of_weigh_are_the_agreed_ones(airproof: Airproof) -> None:
    said = airproof("weigh", "--help").out
    for option in (
        "--engine",
        "--baseline",
        "--signals",
        "--code",
        "--symptom",
        "--altitude",
        "--barometer",
        "--ambient",
        "--reading",
        "--prices",
        "--json",
        "--exhibits",
    ):
        assert f"  {option} " in said


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys\nfrom airproof.cli.main import run\ntry:\n run(['--help'])\nexcept SystemExit: pass\n"
        "heavy = {'numpy', 'polars', 'scipy', 'pydantic', 'matplotlib', 'rich'} & set(sys.modules)\n"
        "assert not heavy, heavy"
    )
    ended = subprocess.run([sys.executable, "-c", code], capture_output=True, check=False)
    assert ended.returncode == 0, ended.stderr


def test_weighing_loads_no_drawing_library(car: Car) -> None:
    code = (
        "import sys\nfrom airproof.cli.main import run\n"
        f"try:\n run(['weigh', {str(car.lying)!r}, '--engine', {str(car.engine)!r}, '--json'])\n"
        "except SystemExit: pass\nassert 'matplotlib' not in sys.modules"
    )
    ended = subprocess.run([sys.executable, "-c", code], capture_output=True, check=False)
    assert ended.returncode == 0, ended.stderr


def test_explain_in_words_and_in_json(airproof: Airproof) -> None:
    ended = airproof("explain", "p0106", "rough idle", "P0106")
    assert ended.status == 0
    assert ended.out.startswith("P0106: Manifold pressure: implausible\n")
    assert "\nCheck first\n" in ended.out
    assert "\nrough-idle: Rough idle\n" in ended.out
    found = json.loads(airproof("explain", "P0106", "map-offset", "--json").out)
    assert found["schema"] == "airproof.explanation/1"
    assert [entry["kind"] for entry in found["entries"]] == ["code", "cause"]


def test_a_fault_of_our_own_asks_for_a_report(airproof: Airproof, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("by zero")

    monkeypatch.setattr("airproof.report.explained.explain", broken)
    ended = airproof("explain", "P0106")
    assert ended.status == 1
    assert ended.out == ""
    lines = ended.err.splitlines()
    assert lines[0] == "airproof: a fault of our own: ZeroDivisionError: by zero"
    assert "please report it" in lines[1]
    assert "airproof explain P0106" in lines[1]
    assert __version__ in lines[1]
    assert "Traceback" in ended.err


def test_broken_data_of_ours_is_our_fault(airproof: Airproof, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise BrokenKnowledge("no source", "one", "Report it.", where="causes.toml")

    monkeypatch.setattr("airproof.report.explained.explain", broken)
    ended = airproof("explain", "P0106")
    assert ended.status == 1
    assert ended.err.splitlines()[0] == "airproof: causes.toml: no source; wanted: one. Report it."
    assert "please report it" in ended.err


def test_stopping_by_hand_is_clean(airproof: Airproof, monkeypatch: pytest.MonkeyPatch) -> None:
    def stopped(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("airproof.report.explained.explain", stopped)
    ended = airproof("explain", "P0106")
    assert ended.status == 130
    assert ended.line.startswith("airproof: stopped")


@pytest.mark.parametrize(
    "words", [("explain", "P0106", "P0299", "map-offset"), ("explain", "P0106", "--json"), ("--help",)]
)
def test_a_reader_that_leaves_is_no_fault(words: tuple[str, ...]) -> None:
    with subprocess.Popen(
        [sys.executable, "-m", "airproof", *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as going:
        assert going.stdout is not None
        assert going.stderr is not None
        going.stdout.close()
        assert going.stderr.read() == b""
    assert going.returncode == 0


@pytest.mark.parametrize("encoding", ["ascii", "cp437"])
def test_a_console_that_lacks_letters(encoding: str, car: Car) -> None:
    strange = car.lying.with_name("h\N{LATIN SMALL LETTER U WITH DIAERESIS}\N{SNOWMAN}.csv")
    strange.write_bytes(
        car.lying.read_bytes().replace(b"Vehicle speed (km/h)", "Gr\N{DEGREE SIGN}\N{SNOWMAN}".encode())
    )
    for words in ((strange,), (strange.with_name("no\N{SNOWMAN}.csv"),)):
        ended = airproof_process("weigh", *words, "--engine", car.engine, PYTHONIOENCODING=encoding, PYTHONUTF8="0")
        assert b"Traceback" not in ended.stderr
        assert ended.returncode == (2 if "no" in words[0].name else 0), ended.stderr


@pytest.mark.skipif(os.name == "nt", reason="Windows gives letters, not bytes")
def test_letters_that_the_terminals_encoding_hides_are_kept(tmp_path: Path) -> None:
    plain = {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0", "AIRPROOF_DATA": str(tmp_path / "jobs")}
    umlauts = "\N{LATIN CAPITAL LETTER A WITH DIAERESIS}\N{SNOWMAN}"
    for words in (("new", "--plate", umlauts), ("export", "1", "--out", tmp_path / f"{umlauts}.zip")):
        ended = airproof_process("job", *words, **plain)
        assert ended.returncode == 0, ended.stderr
    assert (tmp_path / f"{umlauts}.zip").is_file()
    (line,) = json.loads(airproof_process("job", "list", umlauts, "--json", **plain).stdout)["jobs"]
    assert line["plate"] == umlauts
    begin = os.fsencode(sys.executable), b"-m", b"airproof", b"job", b"new"
    latin = subprocess.run(
        [*begin, b"--plate", b"\xc4 1"], capture_output=True, check=False, env={**os.environ, **plain}
    )
    assert latin.returncode == 2
    assert b"neither in the terminal's encoding, ascii, nor in UTF-8" in latin.stderr


def test_no_colour_when_it_is_not_wanted(car: Car) -> None:
    words = ("weigh", car.lying, "--engine", car.engine)
    plain = airproof_process(*words, NO_COLOR="1", FORCE_COLOR="")
    assert plain.returncode == 0, plain.stderr
    assert b"\x1b[3" not in plain.stdout
    assert plain.stderr == b""


def test_streams_that_are_not_there(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stderr", None)
    assert main.status_of(["--nonsense"]) == 2
