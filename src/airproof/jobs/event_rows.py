"""Events as rows of the store, written and read.

What the disk, or somebody with another program, has damaged is never guessed at, and keeps nobody from the rest: in the
place of an event that cannot be read stands one of the kind "unreadable", which says why and holds the row as it is. So
numbers stay what they were, and a job with a gap in it can be shown, weighed, exported and deleted.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping, Set
from dataclasses import fields
from datetime import datetime
from types import NoneType
from typing import Any

from sqlalchemy import Connection, func, select

from airproof.errors import UnusableRequest
from airproof.jobs.events import EARLIEST, Event, Rules, stamp_of, tidy_author, time_of
from airproof.jobs.kinds import UNREADABLE, VERSIONS, Unreadable, as_data, payload_of
from airproof.jobs.tables import EventRow, JobRow

MOST_EVENTS = 100_000
"""Of one job; judged: Airproof authors: no car is talked about so much, and each is read when one is added."""

_NAMES = tuple(one.name for one in fields(Event))
_EVENT = tuple(getattr(EventRow, name) for name in _NAMES)
_UID = re.compile(r"[0-9a-f]{32}")
SHOWN = 60  # signs of what was found in the place of something else
LONGEST_TROUBLE = 300


def row_of(job: int, event: Event) -> dict[str, object]:
    """The row of an event."""
    return {
        "job": job,
        "number": event.number,
        "uid": event.uid,
        "at": stamp_of(event.at),
        "author": event.author,
        "kind": event.kind,
        "version": event.version,
        "payload": json.dumps(as_data(event.payload), separators=(",", ":"), allow_nan=False),
        "corrects": event.corrects,
        "withdraws": event.withdraws,
    }


def last_event_in(connection: Connection, job: int) -> int | None:
    """The number of the job's last event, or None where there is no such job."""
    said = connection.execute(select(JobRow.last_event).where(JobRow.number == job)).first()
    if said is None:
        return None
    there = connection.scalar(select(func.max(EventRow.number)).where(EventRow.job == job, _countable()))
    return max(_count(said[0]), _count(there))


def events_in(connection: Connection, job: int) -> list[Event]:
    """All events of the job, numbered from 1 without a gap."""
    last = last_event_in(connection, job) or 0  # before the rows: one that comes in between is more, and none is missed
    query = select(*_EVENT).where(EventRow.job == job, _countable()).order_by(EventRow.number)
    rows = {row.number: dict(zip(_NAMES, row, strict=True)) for row in connection.execute(query)}
    events: list[Event] = []
    rules, uids = Rules(), set[str]()
    for number in range(1, max(last, *rows, 0) + 1):
        row = rows.get(number, {})
        try:
            event = _event(row, rules, uids)
        except _Unreadable as fault:
            before = events[-1].at if events else EARLIEST
            event = _in_place_of(row, job, number, str(fault)[:LONGEST_TROUBLE], before, uids)
            rules.admit(event.kind, None, None)
        uids.add(event.uid)
        events.append(event)
    return events


class _Unreadable(Exception):
    """Why a row is no event."""


def _countable() -> Any:
    return EventRow.number.between(1, MOST_EVENTS)


def _count(said: object) -> int:
    return said if isinstance(said, int) and 0 <= said <= MOST_EVENTS else 0


def _event(row: Mapping[str, Any], rules: Rules, uids: Set[str]) -> Event:
    if not row:
        raise _Unreadable("it is not there any more")
    kind, uid, author, corrects, withdraws = (row[name] for name in ("kind", "uid", "author", "corrects", "withdraws"))
    points = (
        f" that {does} {to}" for does, to in (("corrects", corrects), ("takes back", withdraws)) if to is not None
    )
    what = " ".join(f"{kind}{''.join(points)}".split())[:SHOWN]
    try:
        at = time_of(row["at"])
    except (ValueError, TypeError) as fault:
        raise _Unreadable(f"{what}: its time is {_shown(row['at'])}") from fault
    sound = isinstance(author, str) and isinstance(uid, str) and _UID.fullmatch(uid) and uid not in uids
    if not sound or not all(isinstance(one, (int, NoneType)) for one in (corrects, withdraws)):
        raise _Unreadable(f"{what}: who said it, its own name or what it points to is damaged")
    try:
        said = json.loads(row["payload"], parse_constant=_refuse_number)
        if not isinstance(said, dict):
            raise TypeError  # as what is no JSON at all
        payload = payload_of(kind, said, row["version"])
        rules.admit(kind, corrects, withdraws)
    except UnusableRequest as fault:
        newer = f"; {fault.way_out}" if "newer" in fault.way_out else ""
        raise _Unreadable(f"{what}: {fault.given.removeprefix(f'{kind}: ')}{newer}") from fault
    except (ValueError, TypeError, RecursionError) as fault:
        raise _Unreadable(f"{what}: it holds {_shown(row['payload'])}") from fault
    return Event(
        row["number"], uid, at, tidy_author(author), kind, VERSIONS[kind], payload, corrects, withdraws
    )  # fmt: skip


def _refuse_number(text: str) -> float:
    raise ValueError(text)


def _shown(found: object) -> str:
    text = repr(found)
    return text if len(text) <= SHOWN else f"{text[:SHOWN]}..."


def _in_place_of(
    row: Mapping[str, Any], job: int, number: int, trouble: str, before: datetime, uids: Set[str]
) -> Event:
    """What stands for a row that is no event; the same row always gives the same."""
    try:
        at = time_of(row["at"])
    except (KeyError, ValueError, TypeError):
        at = before  # nobody knows better
    uid = row.get("uid")
    if not isinstance(uid, str) or not _UID.fullmatch(uid) or uid in uids:
        uid = hashlib.sha256(f"{job}:{number}".encode()).hexdigest()[:32]
    author = tidy_author(row["author"]) if isinstance(row.get("author"), str) else "nobody knows who"
    as_it_is = {name: one if isinstance(one, (str, int, NoneType)) else repr(one) for name, one in row.items()}
    return Event(number, uid, at, author, UNREADABLE, VERSIONS[UNREADABLE], Unreadable(trouble=trouble, row=as_it_is))
