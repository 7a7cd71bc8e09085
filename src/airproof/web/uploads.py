"""Files that come in: streamed to the disk, limited in size and time, read, and added to their job.

A name from outside is shown to people and never used to find a file; nothing that comes in is ever carried out.
"""

from __future__ import annotations

import asyncio
import os
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import cast, get_args
from urllib.parse import unquote

from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse

from airproof.diagnosis.place_as_typed import the_barometer
from airproof.errors import AirproofError, UnknownHeadings, UnusableRequest
from airproof.jobs.beside import append_beside
from airproof.jobs.given import Given, once_only, put_back, recording_said, shown_name
from airproof.jobs.job_file_reading import import_job
from airproof.jobs.kinds import Recording, Role
from airproof.jobs.recordings import LARGEST
from airproof.jobs.state import state_of
from airproof.recording.mapping import SignalMap
from airproof.report.wording import duration, for_a_page, signals
from airproof.web.bench import Bench
from airproof.web.faults import reported
from airproof.web.marks import in_words
from airproof.web.waiting import Waiting

SILENT_S = 60.0
"""A sender that says nothing for so long has gone; judged: Airproof authors: a phone that walks out and returns."""

MOST_OF_A_NAME = 64  # letters of what names a page of a browser
NEEDED = ("engine_speed", "manifold_pressure")
ENDINGS = 16  # letters of a file's ending that are kept, since readers go by it


@dataclass(frozen=True)
class Received:
    """A file that has come in whole."""

    path: Path
    name: str


async def take_recording(bench: Bench, job: int, request: Request) -> JSONResponse:
    """A recording for a job; the answer says what was understood, or why it was not taken."""
    return await _take(request, lambda received: _recording(bench, job, request, received))


async def take_job_file(bench: Bench, request: Request) -> JSONResponse:
    """A job from a file."""
    return await _take(request, lambda received: _job_file(bench, received))


class _Waits(Exception):
    """A file whose columns somebody has to name: what was wrong with it, and the page that asks."""

    def __init__(self, fault: UnknownHeadings, page: str) -> None:
        super().__init__(page)
        self.fault, self.page = fault, page


def _recording(bench: Bench, job: int, request: Request, received: Received) -> str:
    role = request.headers.get("x-role", "car")
    if role not in get_args(Role):
        raise UnusableRequest(f"the role {role[:20]!r}", "one of those on the page", "Load the page again.")
    page, as_ = request.headers.get("x-page", "")[:MOST_OF_A_NAME], cast("Role", role)
    try:
        return _read_in(bench, job, as_, received, page)
    except UnknownHeadings as fault:
        if not fault.headings:
            raise
        plain = UnknownHeadings(fault.given, fault.wanted, fault.way_out, headings=fault.headings)
        key = bench.waiting.keep(job, as_, received.name, plain, received.path)
        raise _Waits(fault, f"/job/{job}/headings/{key}") from fault


def take_waiting(bench: Bench, waiting: Waiting, mapping: SignalMap) -> str:
    """Read a file that waited, its columns as somebody has said; raises as if it were given so."""
    try:
        return _read_in(bench, waiting.job, waiting.role, Received(waiting.path, waiting.name), "", mapping)
    except AirproofError as fault:
        if isinstance(fault, UnknownHeadings) or not fault.where:
            raise
        raise UnusableRequest(fault.given, fault.wanted, fault.way_out, where=waiting.name) from fault


def _read_in(
    bench: Bench, job: int, role: Role, received: Received, page: str, mapping: SignalMap | None = None
) -> str:
    store = bench.store
    events = store.events(job)
    state = state_of(events)
    day = the_barometer(state.place.altitude, state.place.barometer)
    kpa = None if day is None else day.kpa
    given = recording_said(
        store,
        received.path,
        role,
        mapping,
        kpa,
        received.name,
        bench.settings.map_for,
        state=state,
        known=bench.known,
    )
    kept = [] if given.sha256 is None else [given.sha256]
    given = once_only(given, state, len(events))
    if not given.drafts:
        return " ".join(map(_said, given.remarks))
    try:
        with bench.adding_on(page) as added:
            added(append_beside(store, job, given.drafts, seen=len(events), author=bench.speaker)[0])
    except BaseException:
        store.let_go(kept)
        raise
    put_back(store, dict.fromkeys(kept, received.path))
    return f"{received.name}: {_taken(given)}"


def _taken(given: Given) -> str:
    """What is in the job now, and what is not."""
    recordings = [draft.payload for draft in given.drafts if isinstance(draft.payload, Recording)]
    said = [
        f"{duration(one.seconds or 0.0)}, {signals(len(one.holds))} understood. It is in the job."
        + _lacks(one, given.remarks)
        for one in recordings
    ]
    facts = len(given.drafts) - len(recordings)
    if facts:
        said.append(f"What the car tells in it is in the job: {facts} fact{'s' * (facts != 1)}.")
    return " ".join([*said, *map(_said, given.remarks)])


def _lacks(one: Recording, remarks: Sequence[str]) -> str:
    """What a recording is hardly weighed without, where it was not understood and no remark is about it."""
    names = (name.replace("_", " ") for name in NEEDED if name not in one.holds)
    lacking = [name for name in names if not any(name in remark for remark in remarks)]
    if not lacking:
        return ""
    return f" No {' and no '.join(lacking)} was found in it: where a column is that, say so on the recording's page."


def _said(remark: str) -> str:
    """A remark as a page says it; whole where all of it looks like an option, as a file's name may."""
    return for_a_page(f"{remark}.") or f"{remark}."


def _job_file(bench: Bench, received: Received) -> str:
    done = import_job(bench.store, received.path)
    how = {"new": "taken in", "continued": "continued", "here": "here already, with all that the file holds"}[done.how]
    missing = f" Without its recordings {', '.join(done.missing)}." if done.missing else ""
    return f"{received.name}: job {done.job} was {how}.{missing}"


async def _take(request: Request, use: object) -> JSONResponse:
    name = shown_name(unquote(request.headers.get("x-name", "")) or "recording")
    ending = "".join(Path(name).suffixes[-2:])[-ENDINGS:]
    ending = ending if ending.replace(".", "").isalnum() else ""
    handle, path = tempfile.mkstemp(prefix="airproof-in-", suffix=ending)
    try:
        with os.fdopen(handle, "wb") as file:
            size = 0
            parts = request.stream()
            while True:
                async with asyncio.timeout(SILENT_S):
                    part = await anext(parts, None)
                if part is None:
                    break
                size += len(part)
                if size > LARGEST:
                    raise UnusableRequest(f"more than {LARGEST // 2**30} GiB", "a recording", "Send a shorter one.")
                await asyncio.to_thread(file.write, part)
        return _answer(200, await asyncio.to_thread(use, Received(Path(path), name)))  # type: ignore[arg-type]
    except _Waits as waits:
        says = f"{name} was not taken. {_told(waits.fault, Path(path), name)} It waits here while you say more:"
        return _answer(422, says, waits.page, "what its columns are")
    except AirproofError as fault:
        return _answer(422, f"{name} was not taken. {_told(fault, Path(path), name)}")
    except TimeoutError:
        return _answer(408, f"{name}: nothing came for a minute; send it again.")
    except ClientDisconnect:
        return _answer(400, "stopped")
    except Exception as fault:  # one file must not take the page with it
        return _answer(500, reported(fault))
    finally:
        Path(path).unlink(missing_ok=True)


def _told(fault: AirproofError, path: Path, name: str) -> str:
    """What was wrong, without the name under which the file passed through."""
    told = in_words(fault)
    for passing in (str(path), path.name):
        told = told.removeprefix(f"{passing}: ").replace(passing, name)
    return told[:1].upper() + told[1:]


def _answer(status: int, says: str, page: str = "", leads: str = "") -> JSONResponse:
    """What came of it, and where to go on."""
    return JSONResponse({"says": says, **({"page": page, "leads": leads} if page else {})}, status_code=status)
