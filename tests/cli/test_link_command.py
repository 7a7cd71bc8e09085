"""`airproof link`: what is refused before any car is asked, and logs with bytes of real cars."""

from __future__ import annotations

import json
import re

import pytest
from command_line import Airproof, Car

from airproof.cli.link import app
from airproof.vehicle.stand_in.manners import all_manners

COMMANDS = [str(one.name) for one in app.registered_commands]


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help_with_an_example(airproof: Airproof, command: str) -> None:
    ended = airproof("link", command, "--help")
    assert ended.status == 0
    assert re.search(rf"^ +airproof link {command} ", ended.out, re.MULTILINE)


def test_the_help_names_all_manners(airproof: Airproof) -> None:
    said = " ".join(airproof("link", "stand-in", "--help").out.split())
    assert all(name in said for name in all_manners())


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["find"], "no adapter is named"),
        (["find", "--adapter", "telepathy:0"], "names no kind of adapter"),
        (["find", "--adapter", "slcan:x", "--bitrate", "fast"], "500000 or 250000"),
        (["find", "--adapter", "slcan:/dev/there-is-none"], "cannot be opened"),
        (["find", "--adapter", "slcan:x", "--option", "speed"], "an option without ="),
        (["find", "--adapter", "virtual:nobody"], "no stand-in answers"),
        (["record", "--adapter", "virtual:nobody"], "--out is missing"),
        (["record", "--adapter", "slcan:x", "--pace", "5", "--out", "new.csv"], "a car has its own time"),
        (["record", "--adapter", "virtual:nobody", "--seconds", "soon", "--out", "new.csv"], "a number from 1"),
        (["clear", "--adapter", "virtual:nobody"], "--out is missing"),
        (["stand-in"], "no engine"),
        (["read", "nothing.log"], "nothing.log"),
    ],
)
def test_what_cannot_be_done_is_said_in_one_line(airproof: Airproof, words, says, tmp_path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    ended = airproof("link", *words)
    assert ended.status == 2
    assert says in ended.line
    assert list(tmp_path.iterdir()) == []


def test_nothing_is_written_over(airproof: Airproof, tmp_path) -> None:
    there = tmp_path / "there.csv"
    there.write_text("mine")
    for command in ("codes", "record", "clear"):
        ended = airproof("link", command, "--adapter", "virtual:nobody", "--out", there)
        assert ended.status == 2
        assert "already" in ended.line
    assert there.read_text() == "mine"


def test_a_stand_in_refuses_manners_and_cars_it_has_not(airproof: Airproof, car: Car) -> None:
    engine = ["--engine", car.engine]
    assert "one of polite" in airproof("link", "stand-in", *engine, "--manners", "nice").line
    assert "where a car may be" in airproof("link", "stand-in", *engine, "--adapter", "slcan:COM5").line


def test_a_log_with_the_codes_of_a_real_car_is_read(airproof: Airproof, tmp_path) -> None:
    """43 02 01 02 01 13, air flow sensor unplugged: a forum thread quoting a real car (CHECK_VALUES 2C); the VIN is the
    worked one of section 3 (constructed)."""
    log = tmp_path / "capture.log"
    frames = ["7DF#0103000000000000", "7E8#0643020102011300", "7DF#0209020000000000", "7E8#1014490201314D38",
              "7E0#3000000000000000", "7E8#2147444D3941584B", "7E8#2250303432373838"]  # fmt: skip
    log.write_text("".join(f"({n / 10:.6f}) can0 {frame}\n" for n, frame in enumerate(frames)))
    ended = airproof("link", "read", log, "--json", "--out", tmp_path / "car.toml")
    read = json.loads(ended.out)
    assert read["units"][0]["codes"] == {"stored": ["P0102", "P0113"], "pending": None, "permanent": None}
    assert read["vin"] == "1M8GDM9AXKP042788"
    assert 'id = "P0102"' in (tmp_path / "car.toml").read_text()
    said = airproof("link", "read", log).out
    assert "P0102, stored" in said
