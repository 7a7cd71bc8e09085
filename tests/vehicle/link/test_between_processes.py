"""A whole session between processes, over multicast that stays on this computer, and over the kernel's vcan."""

from __future__ import annotations

import json
import os
import queue
import re
import signal
import socket
import subprocess
import sys
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime
from pathlib import Path

import pytest
from invented_car import ENGINE_TOML

from airproof.errors import AirproofError
from airproof.recording.readers import read_recording
from airproof.vehicle.link.adapter import Adapter, open_adapter

READY = "stands in at"
PATIENCE_S = 120.0
"""For a first run, in which the rehearsal is compiled."""


@pytest.fixture(scope="module")
def port() -> int:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as free:
        free.bind(("127.0.0.1", 0))
        found: int = free.getsockname()[1]
    try:
        open_adapter(Adapter("udp_multicast", options={"port": found}), None, False).shutdown()
    except AirproofError as fault:
        pytest.skip(f"multicast on this computer: {fault}")
    return found


@pytest.fixture(scope="module")
def files(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("session")
    (folder / "engine.toml").write_text(ENGINE_TOML)
    speeds = (
        [0] * 15 + [min(2 * n, 50) for n in range(40)] + [50] * 20 + [max(50 - 4 * n, 0) for n in range(15)] + [0] * 10
    )
    rows = "\n".join(f"{at},{speed}" for at, speed in enumerate(speeds))
    (folder / "round.csv").write_text(f"Time (s),Vehicle speed (km/h)\n{rows}\n")
    return folder


def command(*words: object) -> list[str]:
    return [sys.executable, "-m", "airproof", "link", *map(str, words)]


def run(*words: object, expect: int = 0, patience_s: float = 90.0) -> subprocess.CompletedProcess[str]:
    done = subprocess.run(
        command(*words), capture_output=True, text=True, timeout=patience_s, check=False, stdin=subprocess.DEVNULL
    )
    assert done.returncode == expect, done.stderr
    return done


class StandInProcess:
    """A stand-in in a process of its own, ready once it is entered."""

    def __init__(self, *words: object) -> None:
        self.words = words

    def __enter__(self) -> StandInProcess:
        self.process = subprocess.Popen(
            command("stand-in", *self.words), stderr=subprocess.PIPE, stdin=subprocess.DEVNULL, text=True
        )
        lines: queue.Queue[str] = queue.Queue()

        def read() -> None:
            assert self.process.stderr is not None
            for line in self.process.stderr:
                lines.put(line)
            lines.put("")

        self.reader = threading.Thread(target=read, daemon=True)
        self.reader.start()
        said: list[str] = []
        try:
            while not said or READY not in said[-1]:
                said.append(lines.get(timeout=PATIENCE_S))
                assert said[-1], said
        except BaseException:
            self.__exit__()  # nothing is left behind where it never got ready
            raise
        return self

    def __exit__(self, *_: object) -> None:
        self.process.terminate()
        self.process.wait(10)
        self.reader.join(10)
        assert self.process.stderr is not None
        self.process.stderr.close()


def at(port: int) -> list[object]:
    return ["--adapter", "udp_multicast", "--option", f"port={port}"]


def car(files: Path, *more: object) -> list[object]:
    engine, drive = files / "engine.toml", files / "round.csv"
    return ["--engine", engine, "--cause", "map-offset=15kPa", "--seed", 3, "--drive", drive, *more]


def test_found_read_recorded_cleared_and_weighed(port, files, tmp_path):
    out = tmp_path / "drive.csv"
    with StandInProcess(*car(files, "--rests", 900), *at(port)):
        found = json.loads(run("find", *at(port), "--json").stdout)
        assert [unit["id"] for unit in found["units"]] == ["7E8", "7E9"]
        read = json.loads(run("codes", *at(port), "--out", tmp_path / "car.toml", "--json").stdout)
        assert "P0069" in read["units"][0]["codes"]["stored"]
        done = run("clear", *at(port), "--out", tmp_path / "before.json", "--sure", "--sure", "--json")
        after = json.loads(done.stdout)["after"]["units"][0]["codes"]
        assert after["stored"] == after["pending"] == []
        assert json.loads((tmp_path / "before.json").read_text())["units"][0]["codes"]["stored"]
    with StandInProcess(*car(files, "--pace", 10), *at(port)):
        run("record", *at(port), "--pace", 10, "--out", out, "--engine", files / "engine.toml", "--seconds", 150)
    words = ["weigh", out, "--engine", files / "engine.toml", "--reading", tmp_path / "drive.facts.toml",
             "--altitude", "100m", "--json"]  # fmt: skip
    weighed = subprocess.run(
        [sys.executable, "-m", "airproof", *map(str, words)], capture_output=True, text=True, timeout=120, check=True
    )
    first = json.loads(weighed.stdout)["causes"][0]
    assert first["id"] == "map-offset"
    assert first["size"]["low"] <= 15.0 <= first["size"]["high"]


def test_clearing_is_refused_where_nobody_says_so_twice(port, files, tmp_path):
    with StandInProcess(*car(files, "--rests", 900), *at(port)):
        for number, sure in enumerate([[], ["--sure"]]):
            done = run("clear", *at(port), "--out", tmp_path / f"before{number}.json", *sure, expect=2)
            assert "not asked for twice" in done.stderr
        assert json.loads(run("codes", *at(port), "--json").stdout)["units"][0]["codes"]["stored"]


def test_what_is_read_is_kept_in_a_job(port, files, tmp_path):
    def job(*words: object) -> str:
        whole = [sys.executable, "-m", "airproof", "job", *map(str, words), "--data", str(tmp_path / "jobs")]
        return subprocess.run(whole, capture_output=True, text=True, timeout=90, check=True).stdout

    job("new", "--complaint", "lamp on", "--engine", files / "engine.toml")
    with StandInProcess(*car(files), *at(port)):
        run("codes", *at(port), "--job", 1, "--data", tmp_path / "jobs")
        in_job = ["--job", 1, "--data", tmp_path / "jobs"]
        run("record", *at(port), "--out", tmp_path / "drive.csv", "--seconds", 4, *in_job)
        assert "no job" in run("codes", *at(port), "--job", 7, "--data", tmp_path / "jobs", expect=2).stderr
    shown = job("show", 1)
    assert "P0069" in shown
    assert "00RHEARS3ED000001" in shown
    assert "drive" in shown


def test_two_testers_read_the_same_at_once(port, files):
    with StandInProcess(*car(files), *at(port)), ThreadPoolExecutor(2) as both:
        testers = [both.submit(run, "codes", *at(port), "--json") for _ in range(2)]
        read = [json.loads(tester.result().stdout) for tester in testers]
    assert read[0]["units"][0]["codes"] == read[1]["units"][0]["codes"]
    assert "P0069" in read[0]["units"][0]["codes"]["stored"]
    assert read[0]["vin"] == read[1]["vin"]


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="this system has no kill -9")
def test_a_recording_survives_being_killed_to_the_last_second(port, files, tmp_path):
    out = tmp_path / "drive.csv"
    with StandInProcess(*car(files), *at(port)):
        recorder = subprocess.Popen(command("record", *at(port), "--out", out), stderr=subprocess.DEVNULL,
                                    stdin=subprocess.DEVNULL)  # fmt: skip
        ends = time.monotonic() + 60.0
        while (not out.exists() or out.stat().st_size < 20_000) and time.monotonic() < ends:
            time.sleep(0.05)
        time.sleep(1.0)
        killed = time.time()
        os.kill(recorder.pid, signal.SIGKILL)
        recorder.wait(10)
    began = json.loads((tmp_path / "drive.notes.jsonl").read_text().splitlines()[0])["wall"]
    recorded_s = killed - datetime.fromisoformat(began).timestamp()
    recording = read_recording(out)
    assert recording["engine_speed"].time[-1] >= recorded_s - 1.0
    lines = out.read_bytes().split(b"\n")
    assert lines[-1] == b"", "every line is whole"
    assert len({line.count(b",") for line in lines[:-1]}) == 1


@pytest.mark.skipif(sys.platform == "win32", reason="a console of its own would be needed to send Ctrl-C")
def test_ctrl_c_ends_a_recording_and_says_what_it_holds(port, files, tmp_path):
    out = tmp_path / "drive.csv"
    with StandInProcess(*car(files), *at(port)):
        recorder = subprocess.Popen(command("record", *at(port), "--out", out), stdout=subprocess.PIPE,
                                    stderr=subprocess.PIPE, stdin=subprocess.DEVNULL, text=True)  # fmt: skip
        ends = time.monotonic() + 60.0
        while (not out.exists() or out.stat().st_size < 5_000) and time.monotonic() < ends:
            time.sleep(0.05)
        recorder.send_signal(signal.SIGINT)
        said, complained = recorder.communicate(timeout=30)
    assert recorder.returncode == 0, complained
    assert "Still missing" in said
    assert f"airproof weigh {out}" in " ".join(said.split())
    assert '"kind": "ended"' in (tmp_path / "drive.notes.jsonl").read_text()


def test_a_stand_in_never_answers_where_a_car_may_be(files):
    done = run("stand-in", *car(files), "--adapter", "socketcan:can0", expect=2)
    assert "where a car may be" in done.stderr


def test_over_a_virtual_bus_of_the_kernel(files):
    try:
        open_adapter(Adapter("socketcan", "vcan0"), None, False).shutdown()
    except AirproofError as fault:
        pytest.skip(f"the kernel has no vcan0: {re.sub(' +', ' ', str(fault))[:120]}")
    with StandInProcess(*car(files), "--adapter", "socketcan:vcan0"):
        read = json.loads(run("codes", "--adapter", "socketcan:vcan0", "--json").stdout)
    assert "P0069" in read["units"][0]["codes"]["stored"]
