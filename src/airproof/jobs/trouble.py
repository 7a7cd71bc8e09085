"""What can go wrong with a store, in the user's words."""

from __future__ import annotations

import contextlib
import errno
import shutil
from collections.abc import Iterator, Sequence
from pathlib import Path

from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from airproof.errors import UnusableFile, UnusableRequest
from airproof.jobs.events import Event

FULL, DISK_ERROR = "disk is full", "disk i/o error"
LITTLE_ROOM = 1 << 20
"""Bytes; judged: Airproof authors: what SQLite puts beside a store takes a tenth of it."""

WANTED = "a store of jobs that can be read and written"
NO_ROOM = "Make room. Or name another folder with --data. What was acknowledged before is kept."
NO_WRITING = "May this user write there? Else name another folder with --data."
BUSY = "Wait until the other one is done, and try again; nothing was written."


class ChangedMeanwhile(UnusableRequest):
    """Somebody else wrote to the job after the writer last looked; `events` are what they wrote."""

    def __init__(self, given: str, wanted: str, way_out: str, *, where: str = "", events: Sequence[Event] = ()) -> None:
        self.events = tuple(events)
        super().__init__(given, wanted, way_out, where=where)


def changed(job: int, seen: int, events: Sequence[Event]) -> ChangedMeanwhile:
    """The refusal of a writer who had seen `seen` events, when `events` came after."""
    said = "; ".join(f"{event.number} {event.kind} by {event.author}" for event in events[:5])
    more = f"; and {len(events) - 5} more" if len(events) > 5 else ""
    return ChangedMeanwhile(
        f"job {job} has changed since event {seen}: {said}{more}",
        "a writer who has seen the last event",
        f'Look at it, then say again what still holds; nothing was written. "airproof job show {job}" shows it.',
        events=events,
    )


@contextlib.contextmanager
def in_our_words(where: str) -> Iterator[None]:
    """Turn the trouble of the database and the disk into one line; `where` names the store."""
    try:
        yield
    except SQLAlchemyError as fault:
        raise _said(fault, where) from fault
    except OverflowError as fault:  # of the driver, for a number that no column holds
        wanted, way_out = "the number of a job", 'Take one of the list. "airproof job list" prints it.'
        raise UnusableRequest("there is no number as large as that", wanted, way_out) from fault
    except OSError as fault:
        raise _of_disk(fault, where) from fault


def lacks_room(fault: Exception, file: str) -> bool:
    """Whether the store in that file could not be opened or written because its disk is full."""
    said = str(fault).lower()
    if FULL in said or DISK_ERROR not in said:  # the second is all that SQLite says where its index finds no room
        return FULL in said
    try:
        return shutil.disk_usage(Path(file).parent).free < LITTLE_ROOM
    except OSError:
        return False


def _said(fault: SQLAlchemyError, where: str) -> UnusableFile:
    origin = str(fault.orig if isinstance(fault, DBAPIError) and fault.orig is not None else fault)
    text = " ".join(origin.split())
    low = text.lower()
    for words, given, way_out in (
        (("is full", "no space", "could not extend"), "there is no room left on the disk", NO_ROOM),
        (("readonly", "read-only", "unable to open", "permission denied"), "it cannot be written", NO_WRITING),
        (("locked", "busy", "lock timeout", "deadlock"), "another program is writing to it", BUSY),
        (
            ("not a database", "malformed", "file is encrypted"),
            "the file is damaged, or is no store",
            "Put a copy of it in its place, or import the jobs that were exported.",
        ),
        (
            ("fatal:", "no password"),
            "the database server refuses",
            "Check the database's name, the user and the pass word.",
        ),
        (
            ("connection refused", "could not connect", "connection failed", "could not translate", "timeout expired"),
            "the database server does not answer",
            "Is it running, and are address, user and pass word right?",
        ),
        ((DISK_ERROR,), "there is no room left on the disk" if lacks_room(fault, where) else "the disk fails", NO_ROOM),
    ):
        if any(word in low for word in words):
            return UnusableFile(given, WANTED, way_out, where=where)
    return UnusableFile(f"the database says: {text[:200]}", WANTED, "Report this line if it stays.", where=where)


def _of_disk(fault: OSError, where: str) -> UnusableFile:
    if fault.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        return UnusableFile("there is no room left on the disk", WANTED, NO_ROOM, where=where)
    if fault.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return UnusableFile("it cannot be written", WANTED, NO_WRITING, where=where)
    if fault.errno in (errno.ENOTDIR, errno.EEXIST, errno.EISDIR):
        return UnusableFile("there is a file in the place of the folder", WANTED, NO_WRITING, where=where)
    return UnusableFile(f"it cannot be used ({fault.strerror or fault})", WANTED, NO_WRITING, where=where)
