"""`airproof weigh` on a log of a bus: the drive of the invented car, asked item by item over CAN."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import can
import pytest
from command_line import Airproof, Car

from airproof.recording.readers import read_recording
from airproof.vehicle.answers.codes import PENDING, STORED, codes_answer
from airproof.vehicle.answers.live import live_answer, live_request
from airproof.vehicle.items import encode_one, items_table

WEIGHED = ("--altitude", "350m", "--ambient", "18C", "--json")
ASKED = (0x0C, 0x0B, 0x10, 0x11, 0x06, 0x07, 0x0F, 0x05, 0x0D, 0x33)
ITEM_S = 0.02


def frames(recording: Path, codes: list[str]) -> Iterator[tuple[float, int, bytes]]:
    """Each item asked once a second, as the recording has it; before that, the codes."""
    for at, service, held in ((0.0, STORED, codes), (0.1, PENDING, [])):
        yield at, 0x7DF, bytes([1, service])
        answer = codes_answer(service, held)
        yield at + 0.01, 0x7E8, bytes([len(answer)]) + answer
    drive = read_recording(recording)
    for second in drive["engine_speed"].time:
        for turn, number in enumerate(ASKED):
            (value,) = [one for one in items_table()[number].values if one.signal in drive and "A" in one.at]
            assert value.signal is not None
            true = float(drive[value.signal].at(drive["engine_speed"].time[drive["engine_speed"].time == second])[0])
            answer = live_answer([(number, encode_one(items_table()[number], {value.name: true}))])
            at = 1.0 + float(second) + ITEM_S * turn
            yield at, 0x7DF, bytes([2, *live_request([number])])
            yield at + 0.01, 0x7E8, bytes([len(answer)]) + answer


@pytest.fixture
def log(car: Car, tmp_path: Path) -> Path:
    path = tmp_path / "lying.log"
    with can.Logger(str(path)) as logger:
        for at, identifier, data in frames(car.lying, ["P0106"]):
            logger.on_message_received(
                can.Message(timestamp=at, arbitration_id=identifier, is_extended_id=False, data=data.ljust(8, b"\0"))
            )
    return path


def test_a_log_gives_the_verdict_of_its_recording_and_its_codes(airproof: Airproof, car: Car, log: Path) -> None:
    by_file = airproof("weigh", car.lying, "--engine", car.engine, "--code", "P0106", *WEIGHED)
    by_log = airproof("weigh", log, "--engine", car.engine, *WEIGHED)
    assert (by_log.status, by_log.err) == (0, "")
    told, heard = json.loads(by_file.out), json.loads(by_log.out)
    assert heard["causes"][0]["id"] == told["causes"][0]["id"] == "map-offset"
    assert heard["causes"][0]["size"]["value"] == pytest.approx(told["causes"][0]["size"]["value"], abs=0.5)
    assert heard["inputs"]["recordings"] == ["lying.log"]
    assert {"manifold_pressure", "air_flow", "barometric_pressure"} <= set(heard["inputs"]["signals"])
    assert any("P0106" in one["says"] for cause in heard["causes"] for one in cause["evidence"])


def test_where_a_log_says_something_else_than_what_was_told(
    airproof: Airproof, car: Car, log: Path, tmp_path: Path
) -> None:
    facts = tmp_path / "facts.toml"
    facts.write_text('[[code]]\nid = "P0106"\nstatus = "pending"\n', encoding="utf-8")
    ended = airproof("weigh", log, "--engine", car.engine, "--reading", facts, *WEIGHED)
    assert ended.status == 0
    assert ended.line == "airproof: P0106 is pending as told, stored in the log: what was told counts"


def test_a_log_added_to_a_job_brings_what_the_car_tells(
    airproof: Airproof, car: Car, log: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("AIRPROOF_DATA", str(tmp_path / "jobs"))
    assert airproof("job", "new", "--engine", car.engine, "--code", "P0106=pending", "--code", "P0300").status == 0
    ended = airproof("job", "add", "1", "--recording", log)
    assert ended.status == 0
    said = " ".join(ended.out.split())
    assert "P0106 differs: pending, as told by hand; stored, 7E8 in lying.log, 0.1 s into it" in said
    assert "P0300: in the job, and not told by lying.log, which told all its codes" in said
    shown = " ".join(airproof("job", "show", "1").out.split())
    assert "P0106, pending" in shown
    assert "readiness: all codes were read" in shown
    assert "(7E8 in lying.log" in shown
