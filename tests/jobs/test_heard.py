"""What a log of a bus tells goes into the job with it: as facts with time and source, and never over what was told."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest
from invented_jobs import VIN, draft

from airproof.diagnosis.facts_file import load_facts
from airproof.errors import UnusableFile
from airproof.jobs.events import Draft
from airproof.jobs.facts_written import written
from airproof.jobs.given import append_with
from airproof.jobs.heard import read_from_car
from airproof.jobs.opening import open_store
from airproof.jobs.proving import said_of
from airproof.jobs.store import Store
from airproof.knowledge.load import knowledge
from airproof.vehicle.readout.from_log import readout_of_log
from airproof.vehicle.recordings import read_with_facts

BEGAN = 1_700_000_000.0  # 2023-11-14 22:13:20 UTC
TOLD = (
    "7DF 02 09 02", "7E8 10 14 49 02 01 31 4D 38", "7E0 30 00 00", "7E8 21 47 44 4D 39 41 58 4B",
    "7E8 22 50 30 34 32 37 38 38",
    "7DF 01 03", "7E8 06 43 02 01 06 92 34", "7DF 01 07", "7E8 04 47 01 02 99",
    "7DF 03 02 02 00", "7E8 05 42 02 00 01 06", "7DF 03 02 0C 00", "7E8 05 42 0C 00 0C 80",
    "7DF 03 02 0B 00", "7E8 04 42 0B 00 34", "7DF 02 01 01", "7E8 06 41 01 82 07 65 04",
)  # fmt: skip
"""VIN 1M8GDM9AXKP042788, P0106 and B1234 stored, P0299 pending, the frame of P0106, readiness."""
CLEARED = ("7DF 01 04", "7E8 01 44", "7DF 01 03", "7E8 02 43 00", "7DF 01 07", "7E8 02 47 00",
           "7DF 02 01 30", "7E8 03 41 30 02", "7DF 02 01 31", "7E8 04 41 31 00 19")  # fmt: skip


def log(path: Path, frames: Sequence[str], *, live: int = 40, began: float = BEGAN) -> Path:
    """A log: live data of a car that stands with its key on, then those frames, 10 ms apart."""
    drive = [
        frame
        for n in range(live)
        for frame in ("7E0 02 01 0C", "7E8 04 41 0C 00 00", "7E0 02 01 0B", f"7E8 03 41 0B {0x60 + n % 2:02X}")
    ]
    lines = []
    for turn, frame in enumerate([*drive, *frames]):
        identifier, *data = frame.split()
        lines.append(f"({began + 0.01 * turn:.6f}) can0 {identifier}#{''.join(data)}")
    path.write_text("\n".join(lines) + "\n", encoding="ascii")
    return path


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path / "data") as opened:
        yield opened


def job_with(store: Store, *drafts: Draft) -> int:
    return store.new_job([draft("engine", engine={"displacement_l": 2.0, "cylinders": 4,
                                                  "induction": "turbocharged", "air_metering": "air-flow sensor"}),
                          *drafts], "me")  # fmt: skip


def give(store: Store, job: int, path: Path, *told: Draft, role: str = "car") -> tuple[str, ...]:
    return append_with(store, job, told, [(role, path)], seen=store.last_event(job), author="me").remarks  # type: ignore[list-item]


def test_all_that_a_log_tells_is_in_the_job(store: Store, tmp_path: Path) -> None:
    job = job_with(store)
    assert give(store, job, log(tmp_path / "drive.log", TOLD)) == ()
    state = store.state(job)
    assert [one.payload.name for one in state.recordings_as("car")] == ["drive.log"]
    assert {id_: fact.payload.status for id_, fact in state.codes.items()} == {
        "P0106": "stored",
        "B1234": "stored",  # not weighed here, and kept all the same
        "P0299": "pending",
    }
    # The pending codes came 168 frames of 10 ms after the first one.
    assert state.codes["P0106"].payload.source == "7E8 in drive.log, 1.7 s into it, 2023-11-14 22:13:21 UTC"
    (frame,) = state.frames.values()
    assert frame.payload.values == {"engine_speed": "800 1/min", "manifold_pressure": "52 kPa"}
    assert (frame.payload.source or "").startswith("7E8 in drive.log, 1.7 s")
    assert state.readiness is not None
    assert state.readiness.payload.codes_read
    assert state.readiness.payload.monitors["evaporative-system"] == "incomplete"
    assert (state.car.vin, (state.car.vin_source or "")[:20]) == (VIN, "7E8 in drive.log, 1.")


def test_the_job_is_weighed_as_the_log_alone(store: Store, tmp_path: Path) -> None:
    path = log(tmp_path / "drive.log", TOLD)
    job = job_with(store)
    give(store, job, path)
    _, facts = read_with_facts(path, knowledge())
    says = written(store.state(job), knowledge())
    (tmp_path / "facts.toml").write_text(says.facts, encoding="utf-8")
    kept = load_facts([tmp_path / "facts.toml"], knowledge())
    assert set(kept.codes) == set(facts.codes)
    assert (kept.frames, kept.readiness) == (facts.frames, facts.readiness)
    assert any("B1234" in one for one in says.left_out)


def test_what_was_told_by_hand_stands_and_the_difference_is_said(store: Store, tmp_path: Path) -> None:
    told = (
        draft("code", id="P0106", status="pending"),
        draft("code", id="P0300"),
        draft("freeze_frame", code="P0106", values={"engine_speed": "900 1/min"}),
        draft("readiness", codes_read=False, monitors={"misfire": "incomplete"}),
        draft("car", vin="11111111111111111", plate="AB-C 123"),
    )
    job = job_with(store, *told)
    before = store.state(job)
    said = " | ".join(give(store, job, log(tmp_path / "drive.log", TOLD)))
    state = store.state(job)
    assert state.codes["P0106"] == before.codes["P0106"]
    assert (state.frames, state.readiness, state.car) == (before.frames, before.readiness, before.car)
    assert state.codes["P0299"].payload.status == "pending"  # of what was not told the log's is taken
    number = before.codes["P0106"].number
    assert "P0106 differs: pending, as told by hand; stored, 7E8 in drive.log, 1.7 s into it" in said
    assert f"What the job holds stands (fact {number})" in said
    assert "the freeze frame of P0106 differs" in said
    assert "readiness differs" in said
    assert f"the VIN differs: 11111111111111111 in the job, {VIN} in drive.log" in said
    assert "P0300: in the job, and not told by drive.log, which told all its codes" in said


def test_what_is_told_in_the_same_breath_counts_before_the_log(store: Store, tmp_path: Path) -> None:
    job = job_with(store)
    said = give(store, job, log(tmp_path / "drive.log", TOLD), draft("code", id="P0106", status="permanent"))
    assert store.state(job).codes["P0106"].payload.status == "permanent"
    assert any("P0106 differs: permanent, as told by hand" in one for one in said)


def test_a_log_given_twice_adds_nothing(store: Store, tmp_path: Path) -> None:
    job = job_with(store)
    path = log(tmp_path / "drive.log", TOLD)
    give(store, job, path)
    events = len(store.events(job))
    (said,) = give(store, job, path)
    assert "is in the job already" in said
    assert len(store.events(job)) == events
    # Blanks and dashes make no other VIN.
    other = job_with(store, draft("car", vin="1m8gdm9a-xkp 042788"))
    assert give(store, other, path) == ()


def test_a_log_without_live_data_gives_its_facts_alone(store: Store, tmp_path: Path) -> None:
    job = job_with(store)
    path = log(tmp_path / "codes.log", TOLD, live=0, began=0.5)
    said = give(store, job, path)
    state = store.state(job)
    assert not state.recordings
    assert state.codes["P0106"].payload.source == "7E8 in codes.log, 0.1 s into it"  # no date: its stamps are none
    assert said[0] == "codes.log holds no live data: what the car tells in it was taken, and no recording"
    with pytest.raises(UnusableFile, match="no live data"):
        give(store, job, path, role="good")


def test_codes_cleared_within_a_log(store: Store, tmp_path: Path) -> None:
    job = job_with(store)
    said = give(store, job, log(tmp_path / "drive.log", [*TOLD, *CLEARED]))
    assert "P0106" in store.state(job).codes
    assert any("codes of 7E8 were cleared within it" in one for one in said)


def test_after_the_repair_the_log_tells_how_the_car_was_left(store: Store, tmp_path: Path) -> None:
    job = job_with(store, draft("car", vin=VIN), draft("code", id="P0106"))
    give(store, job, log(tmp_path / "after.log", [*TOLD, *CLEARED]), role="after")
    state = store.state(job)
    assert set(state.codes) == {"P0106"}  # of before the repair
    said = said_of(state)
    assert (said.codes, said.codes_read, said.warm_ups, said.distance_km) == ({}, True, 2, 25.0)
    # What is told by hand at the same time counts.
    give(store, job, log(tmp_path / "again.log", TOLD), draft("checked", codes={"P0171": "pending"}), role="after")
    assert said_of(store.state(job)).codes == {"P0171": "pending"}


def test_a_good_recording_that_tells_of_codes_is_doubted(store: Store, tmp_path: Path) -> None:
    job = job_with(store)
    said = give(store, job, log(tmp_path / "good.log", TOLD), role="good")
    assert said == ("good.log was given as a good one, and tells of P0106, B1234, P0299",)
    assert not store.state(job).codes


def test_a_car_read_now_corrects_what_was_told_and_says_so(store: Store, tmp_path: Path) -> None:
    job = job_with(store, draft("code", id="P0106", status="pending"), draft("car", vin=VIN))
    readout = readout_of_log(log(tmp_path / "now.log", TOLD))
    heard = read_from_car(readout, store.state(job), knowledge())
    store.append(job, heard.drafts, seen=store.last_event(job), author="me")
    state = store.state(job)
    assert state.codes["P0106"].payload.status == "stored"
    assert (state.codes["P0106"].payload.source or "").startswith("read from 7E8 on 2023-11-14 22:13 UTC")
    assert any("P0106 differs: pending, as told by hand; stored, read from 7E8" in one for one in heard.remarks)
    assert any("The car counts; fact 2 is corrected" in one for one in heard.remarks)
    again = read_from_car(readout, state, knowledge())
    assert again.drafts == ()
    assert again.remarks == ()
