"""A job that lies prepared: opened once, whole or not at all."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from invented_jobs import draft

from airproof.errors import AirproofError, UnusableFile
from airproof.jobs.opening import open_store
from airproof.jobs.prepared import AUTHOR, NOTE, open_prepared
from airproof.jobs.store import Store
from airproof.knowledge.load import knowledge

DEMO = Path(__file__).parents[2] / "examples" / "demo-job"


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path / "data") as opened:
        yield opened


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the demo job that may be harmed."""
    return Path(shutil.copytree(DEMO, tmp_path / "demo"))


def test_the_demo_job_is_opened_with_all_it_holds(store: Store) -> None:
    state = store.state(open_prepared(store, DEMO, knowledge()))
    assert state.complaint is not None
    assert state.complaint.payload.text.startswith("lamp on for a week")
    assert set(state.codes) == {"P0106"}
    assert set(state.noted) == {("symptom", "hesitation")}
    assert (state.place.altitude, state.place.ambient) == ("350m", "18C")
    assert state.engine is not None
    assert [fact.payload.text for fact in state.notes] == [NOTE]
    (recording,) = state.recordings_as("car")
    assert (recording.payload.name, recording.author) == ("recording.csv", AUTHOR)
    kept = store.shelf.original(recording.payload.sha256)
    assert kept is not None
    assert kept.read_bytes() == (DEMO / "recording.csv").read_bytes()


def test_twice_it_is_the_same_job(store: Store, folder: Path) -> None:
    first = open_prepared(store, DEMO, knowledge())
    held = store.events(first)
    assert open_prepared(store, DEMO, knowledge()) == first
    assert open_prepared(store, folder, knowledge()) == first  # wherever it lies
    assert store.events(first) == held
    assert len(store.jobs()) == 1


def test_what_was_said_of_it_meanwhile_stays(store: Store) -> None:
    job = open_prepared(store, DEMO, knowledge())
    store.append(job, [draft("note", text="mine")], seen=store.last_event(job))
    assert open_prepared(store, DEMO, knowledge()) == job
    assert store.state(job).notes[-1].payload.text == "mine"


def test_another_recording_makes_another_job(store: Store, folder: Path) -> None:
    first = open_prepared(store, folder, knowledge())
    with (folder / "recording.csv").open("a", encoding="utf-8") as file:
        file.write("\n")
    assert open_prepared(store, folder, knowledge()) != first


def test_one_that_is_of_a_real_car_has_no_note_that_it_is_not(store: Store, folder: Path) -> None:
    text = (folder / "job.toml").read_text(encoding="utf-8").replace("invented = true", "invented = false")
    (folder / "job.toml").write_text(text, encoding="utf-8")
    assert store.state(open_prepared(store, folder, knowledge())).notes == ()


class TestWhatCannotBeOpened:
    @pytest.mark.parametrize("name", ["job.toml", "engine.toml", "recording.csv"])
    def test_a_file_that_is_missing_is_named(self, store: Store, folder: Path, name: str) -> None:
        (folder / name).unlink()
        with pytest.raises(UnusableFile, match=name):
            open_prepared(store, folder, knowledge())
        assert store.jobs() == []

    @pytest.mark.parametrize(
        ("old", "new"),
        [('"P0106"', '"P01"'), ('"hesitation"', '"haste"'), ('"350m"', '"350 furlongs"'), ("invented = true", ""),
         ("invented = true", "invented = 1"), ('"engine.toml"', '"."'), ('["recording.csv"]', '["engine.toml"]'),
         ("complaint =", "lament =")],
    )  # fmt: skip
    def test_a_wrong_word_is_refused_and_no_half_job_stays(
        self, store: Store, folder: Path, old: str, new: str
    ) -> None:
        text = (folder / "job.toml").read_text(encoding="utf-8")
        assert old in text
        (folder / "job.toml").write_text(text.replace(old, new), encoding="utf-8")
        with pytest.raises(AirproofError):
            open_prepared(store, folder, knowledge())
        assert store.jobs() == []
        assert [path for path in store.shelf.folder.rglob("*") if path.is_file()] == []

    def test_a_folder_without_a_job_says_what_is_wanted(self, store: Store, tmp_path: Path) -> None:
        with pytest.raises(UnusableFile, match=r"job\.toml.*Check the path|a prepared job"):
            open_prepared(store, tmp_path / "nowhere", knowledge())

    def test_a_second_recording_that_cannot_be_read_takes_the_first_with_it(self, store: Store, folder: Path) -> None:
        (folder / "second.csv").write_text("no table", encoding="utf-8")
        text = (folder / "job.toml").read_text(encoding="utf-8")
        (folder / "job.toml").write_text(
            text.replace('"recording.csv"', '"recording.csv", "second.csv"'), encoding="utf-8"
        )
        with pytest.raises(UnusableFile, match=r"second\.csv"):
            open_prepared(store, folder, knowledge())
        assert store.jobs() == []
        assert [path for path in store.shelf.folder.rglob("*") if path.is_file()] == []
