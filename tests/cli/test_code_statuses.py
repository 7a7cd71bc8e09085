"""A code with its status, said to `airproof weigh` as it is said to a job and after a repair."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from command_line import Airproof, Car


def heard(airproof: Airproof, *asked: object) -> dict[str, float]:
    ended = airproof("weigh", *asked, "--json")
    assert ended.status == 0, ended.err
    return {one["id"]: one["probability"] for one in json.loads(ended.out)["causes"]}


def test_a_status_beside_a_code_is_that_of_a_reading_file(airproof: Airproof, car: Car, tmp_path: Path) -> None:
    file = tmp_path / "told.toml"
    file.write_text('[[code]]\nid = "P0106"\nstatus = "Pending"\n', encoding="utf-8")
    beside = heard(airproof, "--engine", car.engine, "--code", "p0106=PENDING")
    assert beside == heard(airproof, "--engine", car.engine, "--reading", file)
    stored = heard(airproof, "--engine", car.engine, "--code", "P0106")
    assert stored == heard(airproof, "--engine", car.engine, "--code", "P0106=stored")
    assert beside["map-offset"] < stored["map-offset"]  # one drive says less than two


@pytest.mark.parametrize("typed", ["P0106=perhaps", "P0106=="])
def test_another_status_is_refused_with_those_there_are(airproof: Airproof, car: Car, typed: str) -> None:
    ended = airproof("weigh", "--engine", car.engine, "--code", typed)
    assert ended.status == 2
    assert "one of stored, pending, permanent, present after =" in ended.err
