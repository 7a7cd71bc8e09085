"""Carrying out the commands of `airproof job`, except those that weigh (job_weighing.py)."""

from __future__ import annotations

import getpass
import os
import sys
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any, cast

from airproof.cli.streams import say, say_parts
from airproof.cli.typed import once, one_path, path_of, paths_of
from airproof.diagnosis.facts import Kind
from airproof.errors import UnusableRequest
from airproof.jobs.adding import (
    append_with,
    code_said,
    engine_said,
    facts_said,
    in_place,
    noted_said,
    place_said,
    step_said,
    taken_back,
)
from airproof.jobs.deleting import before_deleting, delete_job
from airproof.jobs.events import Draft, Event
from airproof.jobs.job_file import export_job
from airproof.jobs.job_file_reading import import_job
from airproof.jobs.kinds import Closed, Complaint, Note, Place, Role, payload_of
from airproof.jobs.opening import open_store
from airproof.jobs.place import barometer_at
from airproof.jobs.state import State
from airproof.jobs.store import Store, Wanted
from airproof.jobs.vin import doubts_of
from airproof.knowledge.load import knowledge
from airproof.knowledge.model import Knowledge
from airproof.recording.mapping import read_signal_map
from airproof.report.in_words import Part
from airproof.report.job_as_json import done_as_json, job_as_json, jobs_as_json
from airproof.report.job_in_words import event_in_words, job_in_words, list_in_words

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


@dataclass(frozen=True)
class Said:
    """What was typed for `new` and `add`."""

    car: Mapping[str, Many] = field(default_factory=dict)
    place: Mapping[str, Many] = field(default_factory=dict)
    engine: Many = None
    complaint: Many = None
    codes: Many = None
    noted: Mapping[str, Many] = field(default_factory=dict)
    readings: Many = None
    recordings: Mapping[str, Many] = field(default_factory=dict)
    signals: Many = None
    step: Many = None
    minutes: Many = None
    money: Many = None
    closed: Many = None
    proved: bool = False
    notes: Many = None
    correct: Many = None
    withdraw: Many = None


def where(data: Many, by: Many, *, json: bool) -> Where:
    """From the options that all commands share."""
    author = once("--by", by) or os.environ.get(AUTHOR, "").strip()
    return Where(one_path("--data", data, "a folder"), author or _user(), json)


def open_job(at: Where, said: Said) -> None:
    """Open a job and say its number."""
    known = knowledge()
    drafts = _drafts(said, State(), known)
    with at.store() as store:
        job = store.new_job(drafts, at.author)
        _tell_added(at, job, store.events(job), store.state(job), known, f"Job {job} is open.")


def add_to_job(at: Where, typed: str, said: Said, seen: Many) -> None:
    """Add what was typed, all of it or nothing."""
    known, job = knowledge(), number_of(typed)
    with at.store() as store:
        events = store.events(job)
        last = _seen(seen, len(events))
        state = store.state(job)
        drafts = _in_its_place(_drafts(said, state, known), said, state)
        drafts += taken_back([_number("--withdraw", one) for one in said.withdraw or ()])
        files = [(cast("Role", role), path) for role, many in said.recordings.items() for path in paths_of(role, many)]
        if not drafts and not files:
            raise UnusableRequest("nothing was said", "a fact to add", '"airproof job add --help" lists what there is.')
        map_file = one_path("--signals", said.signals)
        added = append_with(
            store,
            job,
            drafts,
            files,
            seen=last,
            author=at.author,
            mapping=None if map_file is None else read_signal_map(map_file),
            barometer_kpa=_barometer_kpa(drafts, state.place),
        )
        _tell_added(at, job, added, store.state(job), known, f"Added to job {job}:")


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
        say_parts([Part("exported", "", (f"It is in {target}, whole and read through.", *lost))])
        first = _asked(f"Delete job {job} with its recordings? Type its number: ")
        second = _asked("For good? Type it again: ") if first.strip() == str(job) else ""
        delete_job(store, farewell, first, second)
    say(f'Job {job} is deleted. "airproof job import {target}" brings it back.')


def number_of(typed: str) -> int:
    """The number of a job as typed."""
    return _number("JOB", typed)


def _drafts(said: Said, state: State, known: Knowledge) -> list[Draft]:
    drafts: list[Draft] = []
    car: dict[str, Any] = {name: value for name, many in said.car.items() if (value := once(f"--{name}", many))}
    if "year" in car:
        car["year"] = _number("--year", car["year"])
    if car:
        drafts.append(Draft("car", payload_of("car", car)))
    engine = one_path("--engine", said.engine)
    if engine is not None:
        drafts.append(engine_said(engine))
    complaint = once("--complaint", said.complaint)
    if complaint is not None:
        drafts.append(Draft("complaint", payload_of("complaint", Complaint(text=complaint).model_dump())))
    place = {name: value for name, many in said.place.items() if (value := once(f"--{name}", many)) is not None}
    if place:
        drafts.append(place_said(Place(**place), state.place))
    drafts += [code_said(typed, known) for typed in said.codes or ()]
    for kind, many in said.noted.items():
        drafts += [noted_said(cast("Kind", kind), typed, known) for typed in many or ()]
    for path in paths_of("--reading", said.readings):
        drafts += facts_said(path, state, known)
    step = once("--step", said.step)
    if step is not None:
        minutes, money = _amount("--minutes", said.minutes), _amount("--money", said.money)
        drafts.append(step_said(step, known, minutes, money))
    elif said.minutes or said.money:
        raise UnusableRequest("--minutes or --money alone", "the step that took them", "Add --step STEP=...")
    cause = once("--closed", said.closed)
    if cause is not None:
        drafts.append(Draft("closed", Closed(cause=cause, standing="proved" if said.proved else "believed")))
    elif said.proved:
        raise UnusableRequest("--proved alone", "the cause that was found", "Add --closed CAUSE.")
    drafts += [Draft("note", Note(text=text)) for text in said.notes or ()]
    return drafts


def _barometer_kpa(drafts: Sequence[Draft], place: Place) -> float | None:
    """The pressure of the day, as it stands with what is being said."""
    for draft in drafts:
        if isinstance(draft.payload, Place):
            place = place.model_copy(update=draft.payload.model_dump(exclude_none=True))
    day = barometer_at(place)
    return None if day is None else day.kpa


def _in_its_place(drafts: list[Draft], said: Said, state: State) -> list[Draft]:
    target = once("--correct", said.correct)
    if target is None:
        return in_place(drafts, state)
    if len(drafts) != 1:
        raise UnusableRequest(
            f"--correct with {len(drafts)} facts", "the one fact that takes its place", "Correct one after the other."
        )
    return [replace(drafts[0], corrects=_number("--correct", target))]


def _tell_added(at: Where, job: int, added: Sequence[Event], state: State, known: Knowledge, heading: str) -> None:
    doubts = doubts_of(state.car.vin or "") if any(event.kind == "car" for event in added) else ()
    if at.json:
        say(done_as_json(job, added, doubts))
        return
    parts = [Part("added", heading, tuple(event_in_words(event, known) for event in added))]
    if doubts:
        parts.append(Part("doubts", "To look at again", doubts))
    say_parts(parts if added else [Part("added", "", (heading,))])


def _seen(many: Many, last: int) -> int:
    typed = once("--seen", many)
    return last if typed is None else _number("--seen", typed)


def _target(option: str, many: Many) -> Path:
    target = one_path(option, many)
    if target is None:
        raise UnusableRequest(f"{option} is missing", "the file to write", f"Add {option} job.zip.")
    return target


def _asked(question: str) -> str:
    sys.stderr.write(question)
    sys.stderr.flush()
    return sys.stdin.readline()


def _number(option: str, typed: str) -> int:
    digits = typed.strip().removeprefix("#")
    if not (digits.isascii() and digits.isdigit() and len(digits) <= 9):
        raise UnusableRequest(f"{typed[:40]!r}", "a whole number", "airproof job list shows the jobs.", where=option)
    return int(digits)


def _amount(option: str, many: Many) -> float | None:
    typed = once(option, many)
    if typed is None:
        return None
    try:
        return float(typed.replace(",", "."))
    except ValueError as fault:
        raise UnusableRequest(f"{typed[:40]!r}", "a plain number", "Leave the unit out.", where=option) from fault


def _say_json(what: str, values: Mapping[str, Any]) -> None:
    import json

    say(json.dumps({"schema": f"airproof.{what}/1", **values}, indent=1))


def _user() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):  # a machine without users
        return ""
