"""The shelf: whole files by their hash, signals as they were read, and what is damaged is made anew or refused."""

from __future__ import annotations

import hashlib
import io
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from invented_jobs import draft, recording

from airproof.errors import UnusableFile
from airproof.jobs.given import append_with, shown_name
from airproof.jobs.opening import open_store
from airproof.jobs.recordings import Shelf
from airproof.jobs.signals_file import COLUMNS, read_signals, write_signals
from airproof.recording.mapping import MappedSignal, SignalMap
from airproof.recording.readers import read_recording
from airproof.recording.recording import ReadReport, Recording, Signal

settings.register_profile(
    "files", suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, derandomize=True
)


def same(one: Recording, other: Recording) -> bool:
    """The same signals to the last bit, and the same report."""
    return (
        sorted(one) == sorted(other)
        and one.label == other.label
        and one.report == other.report
        and all(
            np.array_equal(one[name].time, other[name].time)
            and np.array_equal(one[name].values, other[name].values)
            and one[name].resolution == other[name].resolution
            and one[name].unit == other[name].unit
            for name in one
        )
    )


def test_a_file_is_kept_as_given_under_its_hash(tmp_path: Path) -> None:
    shelf, given_ = Shelf(tmp_path / "shelf"), recording(tmp_path / "a.csv")
    with given_.open("rb") as file:
        kept = shelf.put(file)
    assert kept.sha256 == hashlib.sha256(given_.read_bytes()).hexdigest()
    original = shelf.original(kept.sha256)
    assert original is not None
    assert original.read_bytes() == given_.read_bytes()
    assert list((tmp_path / "shelf" / "incoming").iterdir()) == []


def test_signals_come_back_to_the_last_bit_read_or_kept(tmp_path: Path) -> None:
    shelf, path = Shelf(tmp_path / "shelf"), recording(tmp_path / "a.csv")
    with path.open("rb") as file:
        sha256 = shelf.put(file).sha256
    expected = read_recording(path)
    assert same(shelf.signals(sha256, "a.csv"), expected)  # read from the original
    (parquet,) = (tmp_path / "shelf").rglob("*.parquet")
    assert same(shelf.signals(sha256, "a.csv"), expected)  # from the Parquet that was made
    parquet.write_bytes(parquet.read_bytes()[:-20])
    assert same(shelf.signals(sha256, "a.csv"), expected)  # damaged: made anew
    assert same(read_signals(parquet), expected)
    assert shelf.signals(sha256, "of Monday").label == "of Monday"


def test_an_original_that_the_disk_has_changed_is_refused(tmp_path: Path) -> None:
    shelf, path = Shelf(tmp_path / "shelf"), recording(tmp_path / "a.csv")
    with path.open("rb") as file:
        sha256 = shelf.put(file).sha256
    original = shelf.original(sha256)
    assert original is not None
    original.write_bytes(original.read_bytes().replace(b"780", b"680"))
    with pytest.raises(UnusableFile, match="the disk has changed it"):
        shelf.signals(sha256, "a.csv")
    with path.open("rb") as file:
        shelf.put(file)  # given again
    assert same(shelf.signals(sha256, "a.csv"), read_recording(path))


def test_on_a_full_disk_signals_come_from_the_original(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shelf, path = Shelf(tmp_path / "shelf"), recording(tmp_path / "a.csv")
    with path.open("rb") as file:
        sha256 = shelf.put(file).sha256

    def full(*_: object, **__: object) -> None:  # as Polars says it
        said = "parquet: File out of specification: underlying IO error: No space left on device (os error 28)"
        raise pl.exceptions.ComputeError(said)

    monkeypatch.setattr(pl.DataFrame, "write_parquet", full)
    assert same(shelf.signals(sha256, "a.csv"), read_recording(path))
    assert list((tmp_path / "shelf").rglob("*.parquet")) == []
    assert list((tmp_path / "shelf" / "incoming").iterdir()) == []


def test_another_way_of_reading_makes_another_file(tmp_path: Path) -> None:
    shelf, path = Shelf(tmp_path / "shelf"), recording(tmp_path / "a.csv")
    with path.open("rb") as file:
        sha256 = shelf.put(file).sha256
    mapping = SignalMap(signals={"intake_temperature": MappedSignal(heading="throttle [%]", unit="degC")})
    assert "intake_temperature" not in shelf.signals(sha256, "a")
    assert "intake_temperature" in shelf.signals(sha256, "a", mapping)
    assert len(list((tmp_path / "shelf").rglob("*.parquet"))) == 2
    shelf.remove(sha256)
    assert [path for path in (tmp_path / "shelf").rglob("*") if path.is_file()] == []


@st.composite
def signals(draw: st.DrawFn) -> Recording:
    names = draw(st.lists(st.sampled_from(["engine_speed", "manifold_pressure", "lambda"]), unique=True, min_size=1))
    units = {"engine_speed": "1/min", "manifold_pressure": "kPa", "lambda": "1"}
    found = {}
    for name in names:
        finite = st.floats(allow_nan=False, allow_infinity=False)
        values = draw(st.lists(finite, max_size=20))
        time = sorted(draw(st.lists(finite, min_size=len(values), max_size=len(values))))
        step = draw(st.none() | st.floats(0.001, 10))
        found[name] = Signal(name, units[name], np.array(time, float), np.array(values, float), step)
    return Recording(found, label=draw(st.text(st.characters(codec="utf-8"))), report=ReadReport("x", rows_read=3))


@settings(settings.get_profile("files"))
@given(signals())
def test_any_signals_survive_the_way(tmp_path: Path, one: Recording) -> None:
    with (tmp_path / "s.parquet").open("wb") as file:
        write_signals(one, file)
    assert same(read_signals(tmp_path / "s.parquet"), one)


@pytest.mark.parametrize(
    "change",
    [
        {"signal": pl.lit("boost_of_my_own")},
        {"unit": pl.lit("psi")},
        {"time": pl.lit([2.0, 1.0])},
        {"value": pl.lit([1.0])},
        {"value": pl.lit([1.0, float("nan")])},
        {"about": pl.lit("[" * 100_000)},
        {"about": pl.lit('{"report": {"nonsense": 1}}')},
        {"signal": pl.lit(None, pl.String)},
    ],
)
def test_signals_that_cannot_be_are_refused(tmp_path: Path, change: dict[str, pl.Expr]) -> None:
    row = {"signal": "lambda", "unit": "1", "time": [1.0, 2.0], "value": [1.0, 1.0], "resolution": None, "about": "{}"}
    frame = pl.DataFrame([row], schema=COLUMNS).with_columns(**change).cast(dict(COLUMNS))  # type: ignore[arg-type]
    frame.write_parquet(tmp_path / "s.parquet")
    with pytest.raises(UnusableFile):
        read_signals(tmp_path / "s.parquet")


def test_what_is_no_recording_is_refused_and_leaves_nothing(tmp_path: Path) -> None:
    with open_store(tmp_path / "data") as store:
        job = store.new_job([draft("note", text="x")])
        for content in (b"", b"not a recording", b"\x89PNG"):
            (tmp_path / "bad").write_bytes(content)
            with pytest.raises(UnusableFile):
                append_with(store, job, [], [("car", tmp_path / "bad")], seen=1)
        with pytest.raises(UnusableFile, match="larger than 10 bytes"):
            store.shelf.put(io.BytesIO(b"x" * 11), most=10)
        with pytest.raises(UnusableFile, match="not among the files"):
            store.shelf.signals("a" * 64, "lost.csv")
        with pytest.raises(UnusableFile, match="is no SHA-256"):
            store.shelf.original("../../etc/passwd")
        assert [path for path in store.shelf.folder.rglob("*") if path.is_file()] == []
        assert store.last_event(job) == 1


def test_of_a_refused_writer_no_file_stays_but_a_shared_one_does(tmp_path: Path) -> None:
    path = recording(tmp_path / "a.csv")
    with open_store(tmp_path / "data") as store:
        one, two = store.new_job(), store.new_job([draft("note", text="x")])
        with pytest.raises(Exception, match="has changed"):
            append_with(store, two, [], [("car", path)], seen=0)
        assert list(store.shelf.folder.rglob("*.original")) == []
        append_with(store, one, [], [("car", path)], seen=0)
        with pytest.raises(Exception, match="has changed"):
            append_with(store, two, [], [("car", path)], seen=0)
        assert len(list(store.shelf.folder.rglob("*.original"))) == 1
        append_with(store, two, [], [("car", path)], seen=1)
        assert store.recorded_bytes() == path.stat().st_size == store.recorded_bytes(one)
        store.delete(one, seen=1)
        assert len(list(store.shelf.folder.rglob("*.original"))) == 1
        store.delete(two, seen=2)
        assert list(store.shelf.folder.rglob("*.original")) == []


def test_names_are_for_people_only() -> None:
    assert shown_name("/a/b/../c.csv") == shown_name("C:\\x\\c.csv") == "c.csv"
    assert shown_name("a\n\x1b[31m.csv") == "a??[31m.csv"
    assert shown_name("") == "recording"
    assert len(shown_name("x" * 999)) <= 200


@pytest.mark.skipif(sys.platform == "win32", reason="limits of a process are of POSIX")
def test_a_disk_without_room_for_a_recording(tmp_path: Path) -> None:
    """The limit that a process sets on its own files stands in for the end of the disk."""
    path = recording(tmp_path / "a.csv")
    code = (
        "import resource, signal, sys\nfrom pathlib import Path\nfrom airproof.errors import UnusableFile\n"
        "from airproof.jobs.given import append_with\nfrom airproof.jobs.opening import open_store\n"
        f"store = open_store(Path({str(tmp_path / 'data')!r})); job = store.new_job()\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\nresource.setrlimit(resource.RLIMIT_FSIZE, (9000, 9000))\n"
        f"try: append_with(store, job, [], [('car', Path({str(path)!r}))], seen=0)\n"
        "except UnusableFile as fault: print(fault)\n"
    )
    ended = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert "there is no room left on the disk" in ended.stdout, ended.stderr
    assert "What is acknowledged" in ended.stdout or "What was acknowledged" in ended.stdout
    assert list((tmp_path / "data" / "recordings").rglob("*.original")) == []
    assert list((tmp_path / "data" / "recordings" / "incoming").iterdir()) == []


def test_equality_of_this_file_is_not_blind(tmp_path: Path) -> None:
    one = read_recording(recording(tmp_path / "a.csv"))
    assert not same(one, replace(one, label="b"))
    assert not same(one, read_recording(recording(tmp_path / "b.csv", offset_kpa=1.0)))


def test_a_recording_given_in_another_role_says_so(tmp_path: Path) -> None:
    path = recording(tmp_path / "a.csv")
    with open_store(tmp_path / "data") as store:
        job = store.new_job()
        assert append_with(store, job, [], [("car", path)], seen=0).remarks == ()
        twice = append_with(store, job, [], [("car", path)], seen=1)
        assert twice.events == ()
        assert twice.remarks == (
            "a.csv is in the job already, as one of the car before a repair; it was not added again",
        )
        (said,) = append_with(store, job, [], [("after", path)], seen=1).remarks
        assert said == (
            "a.csv was in the job already, as one of the car before a repair; now it is one of the car after a repair, "
            "and no longer one of the car before a repair"
        )
        assert store.state(job).recordings_as("car") == []
        assert [event.corrects for event in store.events(job)] == [None, 1]  # it stands once, as what it is now


def test_a_recording_given_twice_at_once_is_one(tmp_path: Path) -> None:
    path = recording(tmp_path / "a.csv")
    with open_store(tmp_path / "data") as store:
        job = store.new_job()
        added = append_with(store, job, [], [("car", path), ("car", path)], seen=0)
        assert [event.kind for event in added.events] == ["recording"]
        assert "not added again" in added.remarks[0]
