"""The store: jobs and their events, added in whole transactions and never changed.

A writer states the number of the last event it has seen. Where another was quicker, nothing is written and the writer
is told what came in between; readers ask for what came after the event they know.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, fields
from typing import Any

from sqlalchemy import Connection, Engine, Select, delete, func, insert, select, text, update

from airproof.errors import UnusableRequest
from airproof.jobs.event_rows import MOST_EVENTS, events_in, last_event_in, row_of
from airproof.jobs.events import Draft, Event, Rules, new_uid, now, stamp_of, tidy_author
from airproof.jobs.kinds import VERSIONS, Recording, Unreadable, as_data, payload_of
from airproof.jobs.overview import JobLine, drawn_from, folded, number_key, words_of
from airproof.jobs.recordings import Shelf
from airproof.jobs.state import State, state_of
from airproof.jobs.tables import EventRow, JobRow, RecordingUse, WordsRow
from airproof.jobs.trouble import changed, in_our_words

WRITES = "airproof_writes"
"""Execution option of a connection that is going to write."""

USES_LOCK = 0x61697271
"""Any number of our own: PostgreSQL's advisory lock while uses of recordings are written."""

_LINE = tuple(getattr(JobRow, one.name) for one in fields(JobLine))


@dataclass(frozen=True)
class Wanted:
    """What a search asks for; what is empty is not asked."""

    words: str = ""
    plate: str = ""
    vin: str = ""
    owner: str = ""
    code: str = ""
    cause: str = ""
    closed: bool | None = None


class Store:
    """Jobs in one database, with the shelf of their recordings; `where` is its name in messages."""

    def __init__(self, engine: Engine, shelf: Shelf, where: str) -> None:
        self._engine, self.shelf, self.where = engine, shelf, where
        self._writes = engine.execution_options(**{WRITES: True})

    def close(self) -> None:
        """Let go of the database."""
        self._engine.dispose()

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    # Writing

    def new_job(self, drafts: Sequence[Draft] = (), author: str = "", uid: str | None = None) -> int:
        """Open a job with its first facts; its number."""
        return self.take_in(uid or new_uid(), _events_of(drafts, author, []))

    def take_in(self, uid: str, events: Sequence[Event]) -> int:
        """Open a job with events that are made already; its number."""
        with self._writing() as connection:
            opened = stamp_of(events[0].at if events else now())
            row = {"uid": uid, "opened_at": opened, "changed_at": opened, "last_event": 0, **drawn_from([])}
            (number,) = connection.execute(insert(JobRow).values(**row)).inserted_primary_key or (0,)
            connection.execute(insert(WordsRow), {"job": number, "words": ""})
            if events:
                self._add(connection, number, [], events)
        return int(number)

    def append(self, job: int, drafts: Sequence[Draft], *, seen: int, author: str = "") -> list[Event]:
        """Add facts to a job, all of them or none; when this returns they are on the disk.

        `seen` is the number of the last event that the writer knows. Raises ChangedMeanwhile, with what came after,
        where it is not the last; UnusableRequest where there is no such job, or a draft points to nothing.
        """
        with self._writing() as connection:
            before = self._before(connection, job, seen)
            added = _events_of(drafts, author, before)
            if added:
                self._add(connection, job, before, added)
        return added

    def extend(self, job: int, events: Sequence[Event], *, seen: int) -> None:
        """Add events that are made already, numbered on from `seen`; raises as `append` does."""
        with self._writing() as connection:
            before = self._before(connection, job, seen)
            if events:
                self._add(connection, job, before, events)

    def delete(self, job: int, *, seen: int, spare: Collection[str] = ()) -> list[str]:
        """Take a job away for good, and off the shelf what no other job speaks of, but for `spare`; their hashes.

        See deleting.py.
        """
        with self._writing() as connection:
            self._before(connection, job, seen)
            mine = list(connection.scalars(select(RecordingUse.sha256).where(RecordingUse.job == job)))
            connection.execute(delete(JobRow).where(JobRow.number == job))
        return self.let_go([sha256 for sha256 in mine if sha256 not in spare])

    def let_go(self, recordings: Sequence[str]) -> list[str]:
        """Take those off the shelf that no job speaks of; their hashes.

        Uses are written under the same lock, and whoever adds a recording looks afterwards whether it is still there.
        """
        with self._writing() as connection:
            self._hold_uses(connection)
            used = set(connection.scalars(select(RecordingUse.sha256).where(RecordingUse.sha256.in_(recordings))))
            gone = sorted(set(recordings) - used)
            for sha256 in gone:
                self.shelf.remove(sha256)
        return gone

    def _hold_uses(self, connection: Connection) -> None:
        if connection.dialect.name == "postgresql":  # SQLite has one writer at a time as it is
            connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": USES_LOCK})

    def _before(self, connection: Connection, job: int, seen: int) -> list[Event]:
        """The job's events, with its row held against other writers; refuses whoever has not seen the last."""
        held = connection.execute(update(JobRow).where(JobRow.number == job).values(last_event=JobRow.last_event))
        if held.rowcount != 1:
            raise _no_such(str(job))
        events = events_in(connection, job)
        if seen > len(events):
            raise UnusableRequest(
                f"event {seen} of job {job} has not been written", f"a number up to {len(events)}", "Look at it again."
            )
        if seen < len(events):
            raise changed(job, seen, events[seen:])
        return events

    def _add(self, connection: Connection, job: int, before: Sequence[Event], added: Sequence[Event]) -> None:
        if len(before) + len(added) > MOST_EVENTS:
            raise UnusableRequest(f"more than {MOST_EVENTS} events", "one job", "Open a second job for this car.")
        connection.execute(insert(EventRow), [row_of(job, event) for event in added])
        used = {one.payload.sha256: one.payload.bytes for one in added if isinstance(one.payload, Recording)}
        known = set(connection.scalars(select(RecordingUse.sha256).where(RecordingUse.job == job)))
        rows = [{"job": job, "sha256": s, "bytes": size} for s, size in used.items() if s not in known]
        if rows:
            self._hold_uses(connection)
            connection.execute(insert(RecordingUse), rows)
        _draw(connection, job, [*before, *added])

    # Reading

    def events(self, job: int, after: int = 0) -> list[Event]:
        """The job's events with numbers above `after`; raises UnusableRequest where there is no such job."""
        with self._reading() as connection:
            events = events_in(connection, job)
            if not events and not self._exists(connection, job):
                raise _no_such(str(job))
        return events[max(0, after) :]

    def state(self, job: int) -> State:
        """What is so of the job now."""
        return state_of(self.events(job))

    def last_event(self, job: int) -> int:
        """The number of the job's last event, which is cheap to ask for again and again."""
        with self._reading() as connection:
            last = last_event_in(connection, job)
        if last is None:
            raise _no_such(str(job))
        return last

    def line(self, job: int) -> JobLine:
        """The job's line in a list."""
        with self._reading() as connection:
            row = connection.execute(select(*_LINE).where(JobRow.number == job)).first()
        if row is None:
            raise _no_such(str(job))
        return JobLine(*row)

    def jobs(self, wanted: Wanted | None = None, *, limit: int | None = None, skip: int = 0) -> list[JobLine]:
        """The jobs that a search wants, the one changed last first."""
        query = _narrowed(select(*_LINE), wanted or Wanted())
        query = query.order_by(JobRow.changed_at.desc(), JobRow.number.desc()).limit(limit).offset(skip or None)
        with self._reading() as connection:
            return [JobLine(*row) for row in connection.execute(query)]

    def count(self, wanted: Wanted | None = None) -> int:
        """How many jobs a search wants."""
        query = _narrowed(select(func.count()).select_from(JobRow), wanted or Wanted())
        with self._reading() as connection:
            return connection.scalar(query) or 0

    def called(self, uid: str) -> int | None:
        """The number of the job with that name of its own, or None."""
        with self._reading() as connection:
            return connection.scalar(select(JobRow.number).where(JobRow.uid == uid))

    def uses(self, job: int) -> list[str]:
        """The recordings that any event of the job ever spoke of, by their SHA-256."""
        query = select(RecordingUse.sha256).where(RecordingUse.job == job).order_by(RecordingUse.sha256)
        with self._reading() as connection:
            return list(connection.scalars(query))

    def recorded_bytes(self, job: int | None = None) -> int:
        """Bytes of all recordings, or of one job's."""
        each = select(RecordingUse.sha256, func.max(RecordingUse.bytes).label("bytes")).group_by(RecordingUse.sha256)
        if job is not None:
            each = each.where(RecordingUse.job == job)
        with self._reading() as connection:
            return int(connection.scalar(select(func.sum(each.subquery().c.bytes))) or 0)

    def _exists(self, connection: Connection, job: int) -> bool:
        return connection.scalar(select(JobRow.number).where(JobRow.number == job)) is not None

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        with in_our_words(self.where), self._writes.begin() as connection:
            yield connection

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        with in_our_words(self.where), self._engine.connect() as connection:
            yield connection


def draw_anew(connection: Connection) -> None:
    """Write what lists and searches look in from the events, for every job: after the tables have changed."""
    for number in list(connection.scalars(select(JobRow.number))):
        if connection.scalar(select(WordsRow.job).where(WordsRow.job == number)) is None:
            connection.execute(insert(WordsRow), {"job": number, "words": ""})
        _draw(connection, number, events_in(connection, number))


def _draw(connection: Connection, job: int, events: Sequence[Event]) -> None:
    changed_at = {"changed_at": stamp_of(max(event.at for event in events))} if events else {}
    values = {"last_event": len(events), **changed_at, **drawn_from(events)}
    connection.execute(update(JobRow).where(JobRow.number == job).values(values))
    connection.execute(update(WordsRow).where(WordsRow.job == job).values(words=words_of(events)))


def _events_of(drafts: Sequence[Draft], author: str, before: Sequence[Event]) -> list[Event]:
    rules, at, who = Rules.after(before), now(), tidy_author(author)
    lost = {event.number for event in before if isinstance(event.payload, Unreadable) and not event.payload.row}
    events = []
    for number, draft in enumerate(drafts, start=len(before) + 1):
        for gone in {draft.corrects, draft.withdraws} & lost:
            raise UnusableRequest(
                f"event {gone} is lost", "an event that is there", "Say anew what it said; nothing stands of it."
            )
        rules.admit(draft.kind, draft.corrects, draft.withdraws)
        payload = payload_of(draft.kind, as_data(draft.payload))
        version = VERSIONS[draft.kind]
        events.append(Event(number, new_uid(), at, who, draft.kind, version, payload, draft.corrects, draft.withdraws))
    return events


def _narrowed(query: Select[*tuple[Any, ...]], wanted: Wanted) -> Select[*tuple[Any, ...]]:
    words = folded(wanted.words).split()
    if words:
        query = query.join(WordsRow, WordsRow.job == JobRow.number)
        for word in words:
            query = query.where(WordsRow.words.contains(word, autoescape=True))
    if wanted.plate:
        query = query.where(JobRow.plate_key.contains(number_key(wanted.plate), autoescape=True))
    if wanted.vin:
        query = query.where(JobRow.vin_key.contains(number_key(wanted.vin), autoescape=True))
    if wanted.owner:
        query = query.where(func.lower(JobRow.owner).contains(wanted.owner.lower(), autoescape=True))
    if wanted.code:
        query = query.where(JobRow.codes.contains(f" {wanted.code.strip().upper()} ", autoescape=True))
    if wanted.cause:
        query = query.where(JobRow.cause.contains(wanted.cause.strip(), autoescape=True))
    if wanted.closed is not None:
        query = query.where(JobRow.closed != "" if wanted.closed else JobRow.closed == "")
    return query


def _no_such(job: str) -> UnusableRequest:
    way_out = 'Take one of the list. "airproof job list" prints it.'
    return UnusableRequest(f"there is no job {job}", "the number of a job", way_out)
