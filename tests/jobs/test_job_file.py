"""A job as one file: there and back, the same bytes, nothing private, and whatever comes in is looked at twice."""

from __future__ import annotations

import contextlib
import hashlib
import json
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from invented_jobs import OWNER, PLATE, VIN, draft, intake, recording

from airproof.errors import AirproofError, UnusableFile, UnusableRequest
from airproof.jobs.deleting import before_deleting, delete_job
from airproof.jobs.events import withdrawal
from airproof.jobs.given import append_with
from airproof.jobs.job_file import JOB, events_as_json, export_job, signals_name
from airproof.jobs.job_file_reading import check_job_file, import_job
from airproof.jobs.opening import open_store
from airproof.jobs.store import Store
from airproof.jobs.trouble import ChangedMeanwhile

Change = Callable[[dict[str, Any]], None]


@pytest.fixture(scope="module")
def there(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """A store with one whole job."""
    folder = tmp_path_factory.mktemp("there")
    with open_store(folder / "data") as store:
        job = store.new_job([*intake(), draft("note", text=f"{PLATE.lower()} was here, says meier")], OWNER)
        path = recording(folder / f"{PLATE} drive.csv", preamble=f"# {VIN}\n")
        append_with(store, job, [], [("car", path)], seen=7)
        store.append(job, [withdrawal(7, "gossip"), draft("code", id="P0107")], seen=8)
        yield store


@pytest.fixture
def here(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path / "here") as store:
        yield store


@pytest.fixture(scope="module")
def whole(there: Store, tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("file") / "job.zip"
    export_job(there, 1, file)
    return file


def test_there_and_back_nothing_is_lost_and_the_bytes_are_the_same(there: Store, here: Store, whole: Path) -> None:
    here.new_job()
    done = import_job(here, whole)
    assert (done.job, done.how, done.added, done.missing) == (2, "new", 10, ())
    assert here.events(2) == there.events(1)
    assert here.line(2).uid == there.line(1).uid
    again = whole.with_name("again.zip")
    export_job(here, 2, again)
    assert again.read_bytes() == whole.read_bytes()
    again.unlink()
    export_job(there, 1, again)
    assert again.read_bytes() == whole.read_bytes()
    assert sorted(path.name for path in whole.parent.iterdir()) == ["again.zip", "job.zip"]
    with pytest.raises(UnusableRequest, match="is there already"):
        export_job(there, 1, again)
    again.unlink()


def test_a_file_for_other_programs_is_plain(whole: Path) -> None:
    with zipfile.ZipFile(whole) as archive:
        job = json.loads(archive.read(JOB))
        assert archive.testzip() is None
        assert {entry.date_time for entry in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
    assert job["schema"] == "airproof.job-file/1"
    assert [event["kind"] for event in job["events"]][:3] == ["car", "engine", "complaint"]
    assert [file["name"].rpartition(".")[2] for file in job["files"]] == ["original", "parquet"]


def test_what_goes_on_continues_what_is_here_and_what_went_apart_is_refused(
    there: Store, here: Store, whole: Path, tmp_path: Path
) -> None:
    import_job(here, whole)
    assert import_job(here, whole).how == "here"
    here.append(1, [draft("note", text="more")], seen=10)
    assert (import_job(here, whole).how, here.last_event(1)) == ("here", 11)
    longer = tmp_path / "longer.zip"
    export_job(here, 1, longer)
    with open_store(tmp_path / "third") as third:
        import_job(third, whole)
        done = import_job(third, longer)
        assert (done.job, done.how, done.added) == (1, "continued", 1)
        assert third.events(1) == here.events(1)
    with open_store(tmp_path / "fourth") as fourth:
        import_job(fourth, whole)
        fourth.append(1, [draft("note", text="other")], seen=10)
        with pytest.raises(UnusableFile, match="from event 11 on the two say different things"):
            import_job(fourth, longer)
        assert import_job(fourth, longer, as_new=True).job == 2
        assert fourth.events(2) == here.events(1)


class TestWithoutPrivateData:
    def test_nothing_that_names_the_car_is_in_it(self, there: Store, here: Store, tmp_path: Path) -> None:
        file = tmp_path / "open.zip"
        export_job(there, 1, file, private=False)
        with zipfile.ZipFile(file) as archive:
            content = b"".join(archive.read(name) for name in archive.namelist())
            assert sorted(archive.namelist())[0] == JOB
            assert all(name.endswith((".parquet", ".json")) for name in archive.namelist())
        for private in (VIN, PLATE, "abc123", "ab-c 123", OWNER, "Meier", "meier", "nal Meier", there.line(1).uid):
            assert private.encode() not in content
            assert json.dumps(private)[1:-1].encode() not in content
        done = import_job(here, file)
        state = here.state(done.job)
        assert (state.car.make, state.car.vin, state.car.plate, state.car.owner) == ("Invented", None, None, None)
        (one,) = state.recordings.values()
        assert one.payload.name == "[left out] drive.csv"
        again = there.shelf.signals(one.payload.sha256, one.payload.name, None, None)
        assert set(here.shelf.signals(one.payload.sha256, "x")) == set(again)

    def test_exported_again_it_is_the_same(self, there: Store, here: Store, tmp_path: Path) -> None:
        first, second = tmp_path / "1.zip", tmp_path / "2.zip"
        export_job(there, 1, first, private=False)
        job = import_job(here, first).job
        export_job(here, job, second)
        with zipfile.ZipFile(first) as one, zipfile.ZipFile(second) as two:
            was, now = json.loads(one.read(JOB)), json.loads(two.read(JOB))
        assert was | {"private": True} == now

    def test_it_stands_beside_the_whole_one(self, there: Store, here: Store, whole: Path, tmp_path: Path) -> None:
        file = tmp_path / "open.zip"
        export_job(there, 1, file, private=False)
        assert [import_job(here, one).job for one in (whole, file)] == [1, 2]

    def test_a_name_spelt_like_a_word_of_ours_harms_nothing(self, here: Store, tmp_path: Path) -> None:
        verdict = {"causes": [{"id": "map-offset", "probability": 1.0, "evidence": [{"says": "Map says so"}]}]}
        said = [
            draft("car", plate="P0106", owner="Map and Sons"),
            draft("code", id="P0106"),
            draft("note", text="sand and map; Sons"),
            draft("verdict", verdict=verdict, program="x", facts_sha256="0" * 64),
        ]
        export_job(here, here.new_job(said), tmp_path / "f.zip", private=False)
        state = here.state(import_job(here, tmp_path / "f.zip").job)
        assert set(state.codes) == {"P0106"}
        assert state.notes[0].payload.text == "sand and [left out]; [left out]"
        assert state.verdicts[0].payload.verdict["causes"] == [
            {"id": "map-offset", "probability": 1.0, "evidence": [{"says": "[left out] says so"}]}
        ]

    def test_a_car_with_nothing_private_is_left_as_it_is(self, here: Store, tmp_path: Path) -> None:
        job = here.new_job([draft("car", make="A", plate="-"), draft("note", text="a - b")])
        export_job(here, job, tmp_path / "f.zip", private=False)
        with zipfile.ZipFile(tmp_path / "f.zip") as archive:
            assert "a - b" in archive.read(JOB).decode()


# Whatever comes in


def remade(whole: Path, target: Path, change: Change = lambda job: None, **files: bytes | None) -> Path:
    """The job file with its job.json changed, or other files in it; None takes one out."""
    with zipfile.ZipFile(whole) as archive:
        content = {name: archive.read(name) for name in archive.namelist()}
    job = json.loads(content[JOB])
    change(job)
    content[JOB] = json.dumps(job).encode()
    content |= {name: data for name, data in files.items() if data is not None}
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in content.items():
            if files.get(name, b"") is not None:
                archive.writestr(name, data)
    return target


def sealed(job: dict[str, Any]) -> None:
    """As whoever forges a file would."""
    job["events_sha256"] = hashlib.sha256(events_as_json(job["events"]).encode()).hexdigest()


def also(*path: str | int, to: Any, seal: bool = True) -> Change:
    def change(job: dict[str, Any]) -> None:
        place: Any = job
        for part in path[:-1]:
            place = place[part]
        place[path[-1]] = to
        if seal:
            sealed(job)

    return change


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (also("schema", to="airproof.job-file/2"), "schema"),
        (also("events", 0, "payload", "vin", to="X"), "car"),
        (also("events", 0, "payload", "vin", to="X", seal=False), "their hash is another"),
        (also("events", 0, "payload", "make", to=7), "make"),
        (also("events", 0, "payload", "wheels", to=4), "wheels is not a known key"),
        (also("events", 1, "payload", "engine", "cylinders", to=99), "cylinders"),
        (also("events", 3, "kind", to="opinion"), "kind 'opinion'"),
        (also("events", 3, "version", to=2), "form 2"),
        (also("events", 3, "at", to="yesterday"), "no time"),
        (also("events", 0, "at", to="0001-01-01T00:00:00.000000Z"), "event 1 .* absurd"),
        (also("events", 0, "at", to="2222-01-01T00:00:00.000000Z"), "absurd"),
        (also("events", 0, "at", to="2026-1-1T00:00:00.000000Z"), "no time"),
        (also("events", 3, "number", to=9), "out of order"),
        (also("events", 3, "uid", to="0" * 31), "uid"),
        (also("events", 8, "withdraws", to=9), "no event 9"),
        (also("events", 8, "withdraws", to=-1), "no event -1"),
        (also("events", 8, "withdraws", to=None), "withdrawal"),
        (also("events", 9, "corrects", to=1), "correction"),
        (also("files", 0, "bytes", to=5), "not as large"),
        (also("files", 0, "sha256", to="0" * 64), "not hold what its name says|hash is another"),
        (also("files", 0, "name", to="../../x"), "not those that it lists"),
        (also("files", to=[]), "not those that it lists"),
        (also("events", to=[]), "no event speaks of"),
        (also("more", to=1), "more is not a known key"),
        (also("events", 3, "payload", "altitude", to=float("nan"), seal=False), "NaN is no number"),
        (also("events", 7, "payload", "bytes", to=10**30), "bytes"),
    ],
)
def test_a_changed_file_is_refused_in_one_line(
    here: Store, whole: Path, tmp_path: Path, change: Change, says: str
) -> None:
    bad = remade(whole, tmp_path / "bad.zip", change)
    if says == "car":  # a car may have another VIN: only the seal would tell
        assert import_job(here, bad).how == "new"
        return
    with pytest.raises(AirproofError, match=says) as refused:
        import_job(here, bad)
    assert "\n" not in str(refused.value)
    assert here.jobs() == []
    assert [path for path in here.shelf.folder.rglob("*") if path.is_file()] == []


@pytest.mark.parametrize(
    "name", ["../evil", "/etc/evil", "recordings/../../evil", "C:\\evil", "recordings/evil", "job.json/"]
)
def test_names_from_outside_are_never_used(here: Store, whole: Path, tmp_path: Path, name: str) -> None:
    with pytest.raises(UnusableFile, match="not those that it lists"):
        import_job(here, remade(whole, tmp_path / "bad.zip", **{name: b"x"}))

    def listed(job: dict[str, Any]) -> None:
        digest = "2d711642b726b04401627ca9fbac32f5c8530fb1903cc4db02258717921a4881"
        job["files"].append({"name": name, "bytes": 1, "sha256": digest})

    with pytest.raises(UnusableFile, match=r"no event speaks of|not hold what its name says|list"):
        import_job(here, remade(whole, tmp_path / "bad.zip", listed, **{name: b"x"}))
    assert not list(tmp_path.rglob("evil"))


def test_bombs(here: Store, whole: Path, tmp_path: Path) -> None:
    zeros = b"\0" * (150 << 20)
    with pytest.raises(UnusableFile, match="it would grow from"):
        import_job(here, remade(whole, tmp_path / "bomb.zip", x=zeros))
    many = tmp_path / "many.zip"
    with zipfile.ZipFile(many, "w") as archive:
        for number in range(50_000):
            archive.writestr(f"{number:060}", b"")
    with pytest.raises(UnusableFile, match="list of names"):
        import_job(here, many)
    with zipfile.ZipFile(tmp_path / "deep.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(JOB, "[" * 5_000_000)
    with pytest.raises(UnusableFile, match="cannot be read"):
        import_job(here, tmp_path / "deep.zip")


def test_what_is_no_zip_at_all_is_told_once(here: Store, tmp_path: Path) -> None:
    (tmp_path / "engine.toml").write_text("[engine]\n", encoding="utf-8")
    with pytest.raises(UnusableFile) as refused:
        import_job(here, tmp_path / "engine.toml")
    assert str(refused.value).count("it is no zip file") == 1


def test_a_size_that_lies_is_caught_while_reading(here: Store, whole: Path, tmp_path: Path) -> None:
    """The sizes in the zip's list are what the program goes by: one that is too small must not be believed."""
    data = bytearray(whole.read_bytes())
    with zipfile.ZipFile(whole) as archive:
        original = next(entry for entry in archive.infolist() if entry.filename.endswith(".original"))
    place = data.rfind(original.filename.encode()) - 46  # its entry in the list (APPNOTE 4.3.12): size at 24
    assert data[place : place + 4] == b"PK\x01\x02"
    data[place + 24 : place + 28] = (original.file_size - 1).to_bytes(4, "little")
    (tmp_path / "lie.zip").write_bytes(data)
    with pytest.raises(UnusableFile):
        import_job(here, tmp_path / "lie.zip")
    assert here.jobs() == []


def test_another_recording_under_the_hash_is_refused(here: Store, there: Store, whole: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(whole) as archive:
        name = next(name for name in archive.namelist() if name.endswith(".original"))
        data = archive.read(name)
    with pytest.raises(UnusableFile, match="hash is another"):
        import_job(here, remade(whole, tmp_path / "bad.zip", **{name: data[:-2] + b"9\n"}))
    assert [path for path in here.shelf.folder.rglob("*") if path.is_file()] == []


def test_signals_alone_are_read_before_they_are_kept(here: Store, there: Store, tmp_path: Path) -> None:
    file = tmp_path / "open.zip"
    export_job(there, 1, file, private=False)
    (sha256,) = there.state(1).recordings
    bad = b"PAR1 is not all there is to it PAR1"
    digest = hashlib.sha256(bad).hexdigest()
    change = also("files", 0, to={"name": signals_name(sha256), "bytes": len(bad), "sha256": digest})
    with pytest.raises(UnusableFile, match="damaged"):
        import_job(here, remade(file, tmp_path / "bad.zip", change, **{signals_name(sha256): bad}))
    assert here.jobs() == []


@settings(deadline=None, derandomize=True, max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_any_bytes_changed_are_refused_or_change_nothing(
    here: Store, whole: Path, tmp_path: Path, data: st.DataObject
) -> None:
    content = bytearray(whole.read_bytes())
    for _ in range(data.draw(st.integers(1, 4))):
        # Lists and headers lie at both ends, where a change says most.
        place = data.draw(st.integers(0, 400) | st.integers(-400, -1) | st.integers(0, len(content) - 1))
        content[place] = data.draw(st.integers(0, 255))
    cut = data.draw(st.none() | st.integers(0, len(content)))
    file = tmp_path / "fuzzed.zip"
    file.write_bytes(content[:cut])
    try:
        check_job_file(file)
        done = import_job(here, file)
    except AirproofError:
        pass
    else:
        assert here.events(done.job)[0].payload == draft("car", **dict(intake()[0].payload)).payload
        here.delete(done.job, seen=here.last_event(done.job))
    assert here.jobs() == []


@settings(deadline=None, derandomize=True, max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_any_job_json_is_refused_or_taken_in_whole(
    here: Store, whole: Path, tmp_path: Path, data: st.DataObject
) -> None:
    anything = st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=9), inner, max_size=3),
        max_leaves=5,
    )

    def change(job: dict[str, Any]) -> None:
        for _ in range(data.draw(st.integers(1, 3))):
            place: Any = job
            while isinstance(place, (dict, list)) and place:
                key = data.draw(st.sampled_from(sorted(place) if isinstance(place, dict) else range(len(place))))
                if not isinstance(place[key], (dict, list)) or not place[key] or data.draw(st.integers(0, 3)) == 0:
                    place[key] = data.draw(anything)
                    break
                place = place[key]
        with contextlib.suppress(KeyError, TypeError, ValueError):
            sealed(job)

    file = remade(whole, tmp_path / "fuzzed.zip", change)
    try:
        done = import_job(here, file)
    except AirproofError:
        pass
    else:
        here.jobs()
        here.delete(done.job, seen=here.last_event(done.job))
    assert here.jobs() == []


@pytest.mark.parametrize("content", [b"", b"PK", b"PK\x05\x06" + b"\0" * 18, b"x" * 100_000])
def test_what_is_no_job_file(here: Store, tmp_path: Path, content: bytes) -> None:
    (tmp_path / "x.zip").write_bytes(content)
    with pytest.raises(UnusableFile):
        import_job(here, tmp_path / "x.zip")
    for path in (tmp_path, tmp_path / "missing.zip"):
        with pytest.raises(UnusableFile, match="cannot be read"):
            import_job(here, path)


class TestDeleting:
    def test_exported_first_and_asked_twice(self, here: Store, whole: Path, tmp_path: Path) -> None:
        import_job(here, whole)
        farewell = before_deleting(here, 1, tmp_path / "last.zip")
        for first, second in (("", ""), ("1", ""), ("", "1"), ("1", "2"), ("yes", "yes")):
            with pytest.raises(UnusableRequest, match="Nothing was deleted"):
                delete_job(here, farewell, first, second)
        assert here.last_event(1) == 10
        delete_job(here, farewell, "1", " 1 ")
        assert here.jobs() == []
        assert [path for path in here.shelf.folder.rglob("*") if path.is_file()] == []
        assert import_job(here, tmp_path / "last.zip").job == 2  # a number is not given twice
        export_job(here, 2, tmp_path / "again.zip")
        assert (tmp_path / "again.zip").read_bytes() == whole.read_bytes()

    def test_only_what_was_exported(self, here: Store, tmp_path: Path) -> None:
        job = here.new_job(intake())
        farewell = before_deleting(here, job, tmp_path / "last.zip")
        here.append(job, [draft("note", text="wait")], seen=6)
        with pytest.raises(ChangedMeanwhile):
            delete_job(here, farewell, "1", "1")
        with pytest.raises(UnusableRequest, match="is there already"):
            before_deleting(here, job, tmp_path / "last.zip")
        farewell = before_deleting(here, job, tmp_path / "new.zip")
        (tmp_path / "new.zip").write_bytes(b"")
        with pytest.raises(UnusableRequest, match="has changed"):
            delete_job(here, farewell, "1", "1")
        assert here.last_event(job) == 7
