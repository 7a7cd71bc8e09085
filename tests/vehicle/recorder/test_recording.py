"""Recording the stand-in on a simulated bus: what is written, how it is stamped, what happens at a break."""

from __future__ import annotations

import errno
import gc
import json
import os
import tracemalloc

import numpy as np
import pytest
from invented_car import PROFILE, RESTS_S, SimulatedCar

from airproof.diagnosis.place_as_typed import the_barometer
from airproof.diagnosis.weigh import weigh
from airproof.errors import UnusableFile
from airproof.recording.readers import read_recording
from airproof.recording.recording import Recording
from airproof.recording.regimes import Regime, find_regimes
from airproof.recording.signals import glossary
from airproof.vehicle.recorder import live
from airproof.vehicle.recorder.recorder import Status
from airproof.vehicle.recorder.recording_file import RecordingFile, heading, notes_path
from airproof.vehicle.stand_in.manners import Manners, manners_named


@pytest.fixture(scope="module")
def drive(rehearsal, tmp_path_factory) -> tuple[Recording, list[Status]]:
    """A whole round of the car, recorded once."""
    at = SimulatedCar(rehearsal, "slow")
    path = tmp_path_factory.mktemp("recorded") / "drive.csv"
    recorder = at.recorder(path, {"map-offset": 0.5, "none": 0.5})
    statuses = list(recorder.run(every_s=10.0, for_s=at.car.round_s))
    return read_recording(path), statuses


def test_a_recorded_drive_names_the_injected_cause(drive):
    recording, statuses = drive
    assert all(column.how != "left out" for column in recording.report.columns)
    verdict = weigh([recording], PROFILE, barometer=the_barometer("100m", None)).verdict
    assert verdict.causes[0].id == "map-offset"
    size = verdict.causes[0].size
    assert size.low <= 15.0 <= size.high
    assert statuses[-1].state == "stopped"
    assert Regime.FULL_LOAD not in {one.regime for one in statuses[-1].missing}


def test_regimes_seen_live_are_those_of_the_finished_recording(drive):
    recording, statuses = drive
    after = find_regimes(recording).seconds()
    for regime in (Regime.IDLE, Regime.CRUISE, Regime.FULL_LOAD):
        assert statuses[-1].seconds[regime] == pytest.approx(after[regime], abs=8.0)


def test_every_value_is_stamped_when_the_car_had_it(simulated, tmp_path):
    """The recorded values lie nearest to the car's trace where that is read at their stamps."""
    at = simulated("slow", gearbox=False)
    recorder = at.recorder(tmp_path / "drive.csv")
    list(recorder.run(for_s=60.0))
    began = recorder._began_s
    recording = read_recording(tmp_path / "drive.csv")
    speed = recording["engine_speed"]
    trace = at.car.rehearsal.trace
    into = speed.time + began - RESTS_S + at.car.begins_s
    driving = into > at.car.begins_s + 1.0

    def worst(shift_s: float) -> float:
        true = np.interp(into[driving] + shift_s, trace.time, trace.items["engine_speed"])
        return float(np.sqrt(np.mean((speed.values[driving] - true) ** 2)))

    shifts = np.arange(-0.08, 0.081, 0.01)
    best = shifts[int(np.argmin([worst(shift) for shift in shifts]))]
    assert abs(best) < 0.015


def test_markers_and_breaks_stand_beside_the_recording(simulated, tmp_path):
    at = simulated()
    recorder = at.recorder(tmp_path / "drive.csv")
    states = []
    for status in recorder.run(every_s=0.5, for_s=20.0):
        states.append(status.state)
        if len(states) == 4:
            recorder.mark("hesitated")
        if len(states) == 8:
            at.pull_out()
        if len(states) == 14:
            at.plugged_in = True
    notes = [json.loads(line) for line in notes_path(tmp_path / "drive.csv").read_text().splitlines()]
    kinds = [note["kind"] for note in notes]
    assert kinds == ["began", "mark", "gone", "back", "ended"]
    assert notes[1]["text"] == "hesitated"
    assert "the adapter is gone" in states
    assert states[-2] == "recording"
    time = read_recording(tmp_path / "drive.csv")["engine_speed"].time
    gap = np.diff(time).max()
    assert gap == pytest.approx(notes[3]["at_s"] - notes[2]["at_s"], abs=0.5)
    assert time[-1] > 19.0


def test_a_car_that_falls_silent_is_waited_for(simulated, tmp_path):
    at = simulated()
    recorder = at.recorder(tmp_path / "drive.csv")
    states = []
    for status in recorder.run(every_s=1.0, for_s=30.0):
        states.append(status.state)
        if len(states) == 3:
            at.stand_in.manners = Manners(source="t", silent_share=1.0)
        if len(states) == 12:
            at.stand_in.manners = manners_named("polite")
    assert "the car is silent" in states
    assert states[-2] == "recording"
    assert len(recorder._polling.dropped) == 0, "silence of the whole car gives up no item"


def test_stopping_ends_it_at_once(simulated, tmp_path):
    at = simulated()
    recorder = at.recorder(tmp_path / "drive.csv")
    for _ in recorder.run(every_s=1.0):
        recorder.stop()
    assert recorder.status().state == "stopped"
    assert at.clock.now() < 10.0


def test_a_recording_is_never_written_over(simulated, tmp_path):
    path = tmp_path / "drive.csv"
    path.write_text("mine")
    with pytest.raises(UnusableFile):
        simulated().recorder(path)
    assert path.read_text() == "mine"


def test_newer_cars_are_recorded_alike(simulated, tmp_path):
    at = simulated(newer=True)
    list(at.recorder(tmp_path / "drive.csv").run(for_s=10.0))
    recording = read_recording(tmp_path / "drive.csv")
    assert len(recording["manifold_pressure"]) > 100
    assert recording["manifold_pressure"].values[0] == pytest.approx(at.car.value("manifold_pressure", 1.0), abs=1.5)


@pytest.mark.parametrize("manners", ["busy", "rude", "plain"])
def test_bad_manners_cost_values_and_never_truth(simulated, tmp_path, manners):
    at = simulated(manners, seed=4)
    last = list(at.recorder(tmp_path / "drive.csv").run(for_s=25.0))[-1]
    recording = read_recording(tmp_path / "drive.csv")
    assert last.rows > 50
    trace = at.car.rehearsal.trace.items
    for name in ("manifold_pressure", "engine_speed", "charge_pressure"):
        if name in recording:
            assert recording[name].values.min() >= trace[name].min() - 1.0
            assert recording[name].values.max() <= trace[name].max() + 1.0


def test_a_full_disk_is_told_and_what_was_written_stays(simulated, tmp_path, monkeypatch):
    recorder = simulated().recorder(tmp_path / "drive.csv")
    statuses = recorder.run(every_s=1.0)
    next(statuses)
    rows = recorder.status().rows

    def full(*_):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "write", full)
    with pytest.raises(UnusableFile, match="No space left"):
        list(statuses)
    monkeypatch.undo()
    assert len((tmp_path / "drive.csv").read_bytes().splitlines()) >= rows
    assert recorder.status().state == "stopped"


def test_headings_are_known_to_our_reader(tmp_path):
    signals = [name for name in glossary().signals if name != "time"]
    with RecordingFile(tmp_path / "all.csv", signals, dict.fromkeys(signals, 1.0)) as file:
        for at in range(20):
            file.add(float(at), dict.fromkeys(signals, 1.0))
    report = read_recording(tmp_path / "all.csv").report
    found = {column.signal for column in report.columns if column.how != "left out"}
    assert found >= set(signals), set(signals) - found
    assert heading("manifold_pressure") == "Manifold pressure (kPa)"


def test_a_line_cut_short_loses_itself_alone(simulated, tmp_path):
    at = simulated()
    path = tmp_path / "drive.csv"
    list(at.recorder(path).run(for_s=10.0))
    whole = read_recording(path)
    data = path.read_bytes()
    path.write_bytes(data[:-17])
    cut = read_recording(path)
    assert cut.report.rows_read >= whole.report.rows_read - 1
    assert np.array_equal(cut["engine_speed"].values[:-1], whole["engine_speed"].values[: len(cut["engine_speed"]) - 1])


def test_memory_stays_as_it_is_however_long_it_records(simulated, tmp_path, monkeypatch):
    monkeypatch.setattr(live, "WINDOW_S", 60.0)
    at = simulated(gearbox=False)
    recorder = at.recorder(tmp_path / "drive.csv")
    at.stand_in.manners = Manners(source="t", pending_share=1.0, pending_s=0.6)
    statuses = recorder.run(every_s=60.0)
    held = []
    tracemalloc.start()
    for _ in range(6):
        next(statuses)
        gc.collect()
        held.append(tracemalloc.get_traced_memory()[0])
    tracemalloc.stop()
    recorder.stop()
    list(statuses)
    assert held[-1] - held[1] < 30_000, "bytes; the answers of these four minutes alone would take three times as much"
