"""Events that the disk or another program has damaged: named, kept as they are, and in nobody's way."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from invented_jobs import PLATE, draft, intake, recording

from airproof.errors import UnusableRequest
from airproof.jobs import events
from airproof.jobs.beside import append_beside
from airproof.jobs.deleting import before_deleting, delete_job
from airproof.jobs.events import EARLIEST, LATEST, Draft, stamp_of, time_of, withdrawal
from airproof.jobs.given import append_with
from airproof.jobs.job_file import export_job
from airproof.jobs.job_file_reading import import_job
from airproof.jobs.kinds import Unreadable
from airproof.jobs.opening import open_store
from airproof.jobs.store import Store
from airproof.jobs.weighing import weigh_job
from airproof.knowledge.load import knowledge
from airproof.report.job_in_words import job_in_words
from airproof.report.language.language import LANGUAGES, language

DAMAGE = [
    ("update events set payload='{' where number=5", 5, "code: it holds '{'"),
    ("update events set payload='[5]' where number=5", 5, "code: it holds '[5]'"),
    ("update events set payload='{\"id\":NaN}' where number=5", 5, "code: it holds"),
    ("update events set payload='{\"text\":5}' where number=3", 3, "complaint: text = 5, where text in quotes belongs"),
    ("update events set payload=cast(x'7bff' as text) where number=5", 5, r"code: it holds '{\\xff'"),
    ("update events set payload=x'7bff' where number=5", 5, "code: it holds"),
    ("update events set at='garbage' where number=4", 4, "place: its time is 'garbage'"),
    ("update events set at='1-01-01T00:00:00.000000Z' where number=1", 1, "car: its time is"),
    ("update events set at=7 where number=1", 1, "car: its time is '7'"),
    ("update events set kind='opinion' where number=5", 5, "opinion: a fact of the kind 'opinion'; A newer"),
    ("update events set version='x' where number=5", 5, "code"),
    ("update events set version=99 where number=5", 5, "newer Airproof"),
    ("update events set uid='x' where number=5", 5, "code: who said it, its own name"),
    ("update events set uid=(select uid from events where number=1) where number=5", 5, "its own name"),
    ("update events set author=x'00' where number=5", 5, "who said it"),
    ("update events set withdraws=99 where number=7", 7, "withdrawal that takes back 99: there is no event 99"),
    ("update events set corrects='x' where number=5", 5, "what it points to is damaged"),
    ("delete from events where number=5", 5, "it is not there any more"),
    ("delete from events where number=8", 8, "it is not there any more"),
]


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """One job of eight events; the seventh takes the sixth back."""
    with open_store(tmp_path / "data") as opened:
        job = opened.new_job(intake(), "one")
        opened.append(job, [withdrawal(6), draft("note", text="the last")], seen=6)
        yield opened


def damage(store: Store, statement: str) -> None:
    with sqlite3.connect(Path(store.where)) as connection:
        connection.execute(statement)
    connection.close()


@pytest.mark.parametrize(("statement", "number", "says"), DAMAGE)
def test_a_damaged_event_is_named_and_the_rest_can_be_used(
    store: Store, tmp_path: Path, statement: str, number: int, says: str
) -> None:
    whole = store.events(1)
    damage(store, statement)
    found = store.events(1)
    assert [event.number for event in found] == list(range(1, 9))
    assert [event for event in found if event.number != number] == [one for one in whole if one.number != number]
    payload = found[number - 1].payload
    assert isinstance(payload, Unreadable)
    assert says in payload.trouble
    shown = job_in_words(store.line(1), found, store.state(1), knowledge(), history=True)
    assert any(f"[{number}] cannot be read" in line for part in shown for line in part.lines)
    assert store.events(1, 6) == found[6:]

    added, _ = append_beside(store, 1, [draft("code", id="P0107")], seen=store.last_event(1))
    assert added[0].number == 9
    assert store.events(1)[:8] == found

    done = export_job(store, 1, tmp_path / "job.zip")
    assert done.unreadable == (f"event {number}: {payload.trouble}",)
    assert import_job(store, tmp_path / "job.zip").how == "here"
    with open_store(tmp_path / "other") as other:
        assert import_job(other, tmp_path / "job.zip").how == "new"
        assert other.events(1) == store.events(1)

    farewell = before_deleting(store, 1, tmp_path / "farewell.zip")
    delete_job(store, farewell, "1", "1")
    assert store.jobs() == []


def test_what_can_be_made_out_goes_along_but_not_without_private_data(store: Store, tmp_path: Path) -> None:
    damage(store, f'update events set payload=\'{{"plate":"{PLATE}"\' where number=1')
    payload = store.events(1)[0].payload
    assert isinstance(payload, Unreadable)
    assert PLATE in str(payload.row["payload"])
    for private, expected in ((True, payload), (False, Unreadable(trouble="[left out]"))):
        export_job(store, 1, tmp_path / f"{private}.zip", private=private)
        job = import_job(store, tmp_path / f"{private}.zip", as_new=True).job
        assert store.events(job)[0].payload == expected


def test_names_in_a_damaged_row_are_left_out_of_the_rest_too(store: Store, tmp_path: Path) -> None:
    store.append(1, [draft("note", text=f"Erika Mustermann rang, {PLATE} again")], seen=8)
    damage(store, f'update events set payload=\'{{"owner":"Erika Mustermann","plate":"{PLATE}",\' where number=1')
    export_job(store, 1, tmp_path / "out.zip", private=False)
    job = import_job(store, tmp_path / "out.zip", as_new=True).job
    text = store.events(job)[8].payload.text  # type: ignore[attr-defined]
    assert "Mustermann" not in text
    assert PLATE not in text


@pytest.mark.parametrize("last", ["3", "'x'", "-1", "7"])
def test_a_wrong_count_of_events_hides_none(store: Store, last: str) -> None:
    damage(store, f"update jobs set last_event={last}")
    assert store.last_event(1) == len(store.events(1)) == 8
    store.append(1, [draft("note", text="x")], seen=8)
    assert store.line(1).last_event == 9


def test_events_that_were_lost_at_the_end_are_missed(store: Store) -> None:
    damage(store, "delete from events where number > 6")
    assert [one.number for one in store.state(1).unreadable] == [7, 8]
    assert store.append(1, [draft("note", text="x")], seen=8)[0].number == 9


def test_one_that_is_there_is_put_right_or_taken_back_and_a_lost_one_said_anew(store: Store) -> None:
    damage(store, "update events set payload='{' where number in (3, 5)")
    damage(store, "delete from events where number=4")
    store.append(1, [withdrawal(3), Draft("code", draft("code", id="P0107").payload, corrects=5)], seen=8)
    state = store.state(1)
    assert [one.number for one in state.unreadable] == [4]
    assert set(state.codes) == {"P0107"}
    for points in (withdrawal(4), Draft("place", draft("place", altitude="1m").payload, corrects=4)):
        with pytest.raises(UnusableRequest, match=r"event 4 is lost.*Say anew"):
            store.append(1, [points], seen=10)


def test_a_verdict_says_what_it_did_not_hear(store: Store) -> None:
    damage(store, "update events set payload='{' where number=4")
    weighed = weigh_job(store, 1, knowledge())
    assert weighed.left_out == ("fact 4 of this job cannot be read, and is not heard",)
    for code in LANGUAGES:
        assert language(code).words(weighed.left_out[0].capitalize()).language == code


def test_a_recording_that_nobody_can_name_any_more_stays_on_the_shelf(store: Store, tmp_path: Path) -> None:
    append_with(store, 1, [], [("car", recording(tmp_path / "drive.csv"))], seen=8)
    (sha256,) = store.uses(1)
    damage(store, "update events set payload='{' where number=9")
    farewell = before_deleting(store, 1, tmp_path / "farewell.zip")
    assert farewell.unspoken == (sha256,)
    delete_job(store, farewell, "1", "1")
    assert store.shelf.original(sha256) is not None


def test_a_store_in_an_older_form_is_brought_to_todays_with_its_damage(store: Store) -> None:
    damage(store, "update events set payload='{' where number=5")
    with store._writes.begin() as connection:
        from airproof.jobs.store import draw_anew

        draw_anew(connection)
    assert store.line(1).last_event == 8


@given(st.datetimes(EARLIEST.replace(tzinfo=None), LATEST.replace(tzinfo=None), timezones=st.just(UTC)))
def test_times_are_written_and_read_exactly(at: datetime) -> None:
    if at < LATEST:
        assert time_of(stamp_of(at)) == at


@pytest.mark.parametrize(
    "stamp", ["1-01-01T00:00:00.000000Z", "2026-1-01T00:00:00.000000Z", "2026-01-01T00:00:00.5Z",
              "\N{ARABIC-INDIC DIGIT TWO}026-01-01T00:00:00.000000Z", "1969-12-31T23:59:59.999999Z"]
)  # fmt: skip
def test_no_other_text_is_a_time(stamp: str) -> None:
    with pytest.raises(ValueError, match=r".*"):
        time_of(stamp)


def test_years_have_four_digits() -> None:
    assert stamp_of(datetime(1, 2, 3, tzinfo=UTC)) == "0001-02-03T00:00:00.000000Z"


def test_a_clock_that_cannot_be_right_writes_nothing(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    class Clock(datetime):
        @classmethod
        def now(cls, tz: object = None) -> Clock:
            return cls(2400, 1, 1, tzinfo=UTC)

    monkeypatch.setattr(events, "datetime", Clock)
    with pytest.raises(UnusableRequest, match=r"clock says 01\.01\.2400"):
        store.append(1, [draft("note", text="x")], seen=8)
