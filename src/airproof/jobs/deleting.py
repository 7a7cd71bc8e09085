"""Deleting a job: exported first, asked twice, and only what was exported."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from airproof.errors import UnusableRequest
from airproof.jobs.job_file import export_job
from airproof.jobs.job_file_reading import check_job_file
from airproof.jobs.store import Store
from airproof.jobs.trouble import in_our_words


@dataclass(frozen=True)
class Farewell:
    """A job that may be deleted: it stands whole in `file`, as it was after `last_event`."""

    job: int
    last_event: int
    file: Path
    sha256: str
    missing: tuple[str, ...] = ()
    unreadable: tuple[str, ...] = ()
    unspoken: tuple[str, ...] = ()


def before_deleting(store: Store, job: int, file: Path) -> Farewell:
    """Export the job, all of it, and read the file through again.

    Recordings whose files are not there any more are in `missing`, by name; `unreadable` and `unspoken` as of
    `Exported`: those recordings stay on the shelf, because they are nowhere else. Raises UnusableRequest where `file`
    is there already.
    """
    done = export_job(store, job, file)
    check_job_file(file)
    return Farewell(job, done.last_event, file, done.sha256, done.missing, done.unreadable, done.unspoken)


def delete_job(store: Store, farewell: Farewell, first: str, second: str) -> None:
    """Delete the job for good. `first` and `second` are what was answered when it was asked, twice: the job's number.

    Raises UnusableRequest for any other answer or where the file has changed, ChangedMeanwhile where the job has.
    """
    wanted = str(farewell.job)
    if first.strip() != wanted or second.strip() != wanted:
        raise UnusableRequest(
            f"{first.strip()[:20]!r} and {second.strip()[:20]!r}", f"{wanted}, twice", "Nothing was deleted."
        )
    with in_our_words(str(farewell.file)):
        digest = hashlib.sha256(farewell.file.read_bytes()).hexdigest()
    if digest != farewell.sha256:
        raise UnusableRequest(f"{farewell.file} has changed", "the file as it was exported", "Nothing was deleted.")
    store.delete(farewell.job, seen=farewell.last_event, spare=farewell.unspoken)
