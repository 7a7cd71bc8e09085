"""Carrying out the commands of `airproof job`, but those that add (job_adding.py) and weigh (job_weighing.py)."""

from __future__ import annotations

import getpass
import os
import sys
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from airproof.cli.streams import say, say_parts
from airproof.cli.typed import as_typed, once, one_path, path_of
from airproof.errors import UnusableRequest
from airproof.jobs.deleting import Farewell, before_deleting, delete_job
from airproof.jobs.job_file import Exported, export_job
from airproof.jobs.job_file_reading import import_job
from airproof.jobs.opening import open_store
from airproof.jobs.store import Store, Wanted
from airproof.knowledge.load import knowledge
from airproof.report.in_words import Part
from airproof.report.job_as_json import job_as_json, jobs_as_json
from airproof.report.job_in_words import job_in_words, list_in_words

LISTED = 50
Many = Sequence[str] | None
AUTHOR = "AIRPROOF_AUTHOR"


@dataclass(frozen=True)
class Where:
    """Where the jobs are, who speaks, and how it is told."""

    folder: Path | None
    author: str
    json: bool

    def store(self) -> Store:
        """The store, opened."""
        return open_store(self.folder)


def where(data: Many, by: Many, *, json: bool) -> Where:
    """From the options that all commands share."""
    author = once("--by", by) or as_typed(os.environ.get(AUTHOR, "")).strip()
    return Where(one_path("--data", data, "a folder"), author or _user(), json)


def tell_list(
    at: Where, words: Sequence[str], searched: Mapping[str, Many], *, only_open: bool, only_closed: bool, all_: bool
) -> None:
    """List the jobs that a search wants."""
    if only_open and only_closed:
        raise UnusableRequest("--open and --closed", "one of them", "Leave one out, or both.")
    fields: dict[str, str] = {name: once(f"--{name}", many) or "" for name, many in searched.items()}
    closed = False if only_open else True if only_closed else None
    wanted = Wanted(words=" ".join(words), closed=closed, **fields)
    with at.store() as store:
        lines, count = store.jobs(wanted, limit=None if all_ else LISTED), store.count(wanted)
    if at.json:
        say(jobs_as_json(lines, count))
    else:
        say_parts(list_in_words(lines, count))


def tell_job(at: Where, typed: str, *, history: bool) -> None:
    """Show one job."""
    job = number_of(typed)
    with at.store() as store:
        line, events, state = store.line(job), store.events(job), store.state(job)
    if at.json:
        say(job_as_json(line, events, state))
    else:
        say_parts(job_in_words(line, events, state, knowledge(), history=history))


def export_and_tell(at: Where, typed: str, out: Many, *, private: bool) -> None:
    """Export a job."""
    job, target = number_of(typed), _target("--out", out)
    with at.store() as store:
        done = export_job(store, job, target, private=private)
    if at.json:
        _say_json("exported", {"job": job, "file": str(target), "private": private, **asdict(done)})
        return
    lines = [f"Job {job} is in {target} ({done.bytes:,} bytes, {done.last_event} events)."]
    if not private:
        lines.append("VIN, plate and owner are left out. Read through the notes yourself before you pass it on.")
    lines += [f"Not in it, because the file is not there: {name}." for name in done.missing]
    lines += _unreadable(done, private=private)
    say_parts([Part("exported", "", tuple(lines))])


def import_and_tell(at: Where, typed: str, *, as_new: bool) -> None:
    """Import a job."""
    with at.store() as store:
        done = import_job(store, path_of("FILE.zip", typed), as_new=as_new)
    if at.json:
        _say_json("imported", asdict(done))
        return
    how = {
        "new": f"It is job {done.job} here.",
        "continued": f"It goes on from job {done.job}: {done.added} events were added.",
        "here": f"It is job {done.job}, which holds all of it already.",
    }
    lost = [f"Its recording {sha256[:12]} did not come along." for sha256 in done.missing]
    say_parts([Part("imported", "", (how[done.how], *lost))])


def delete_and_tell(at: Where, typed: str, out: Many) -> None:
    """Export, ask twice, delete."""
    job, target = number_of(typed), _target("--export", out)
    with at.store() as store:
        line = store.line(job)
        farewell = before_deleting(store, job, target)
        say_parts(list_in_words([line], 1))
        lost = [f"Not in the file, because it is not there: {name}." for name in farewell.missing]
        lost += _unreadable(farewell)
        say_parts([Part("exported", "", (f"It is in {target}, whole and read through.", *lost))])
        first = _asked(f"Delete job {job} with its recordings? Type its number: ")
        second = _asked("For good? Type it again: ") if first.strip() == str(job) else ""
        delete_job(store, farewell, first, second)
    say(f'Job {job} is deleted. "airproof job import {target}" brings it back.')


def _unreadable(done: Exported | Farewell, *, private: bool = True) -> list[str]:
    """What could not be read of a job that was exported, and what became of it."""
    alone = "nothing of it goes along, but what it may have told of owner or plate can stand in other words"
    with_it = "its row goes along as it stands" if private else alone
    return [
        *(f"Cannot be read, {with_it}: {one}." for one in done.unreadable),
        *(
            f"Not in it, and kept among the recordings: {one[:12]}; what spoke of it is unreadable."
            for one in done.unspoken
        ),
    ]


def number_of(typed: str) -> int:
    """The number of a job as typed."""
    return number("JOB", typed)


def _target(option: str, many: Many) -> Path:
    target = one_path(option, many)
    if target is None:
        raise UnusableRequest(f"{option} is missing", "the file to write", f"Add {option} job.zip.")
    return target


def _asked(question: str) -> str:
    sys.stderr.write(question)
    sys.stderr.flush()
    return sys.stdin.readline()


def number(option: str, typed: str) -> int:
    """A whole number as typed after an option."""
    digits = typed.strip().removeprefix("#")
    if not (digits.isascii() and digits.isdigit() and len(digits) <= 9):
        raise UnusableRequest(f"{typed[:40]!r}", "a whole number", "airproof job list shows the jobs.", where=option)
    return int(digits)


def _say_json(what: str, values: Mapping[str, Any]) -> None:
    import json

    say(json.dumps({"schema": f"airproof.{what}/1", **values}, indent=1))


def _user() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):  # a machine without users
        return ""
