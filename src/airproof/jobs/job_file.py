"""A whole job as one file, "airproof.job-file/1": a zip of JSON and Parquet.

job.json holds the events and a list of all other files with their sizes and hashes; recordings/HASH.original is a file
as it was given, recordings/HASH.parquet the signals read from it (signals_file.py). The same job gives the same bytes:
names in order, one date for all, nothing of the machine in it.

A file that comes in is not trusted: its names are compared with those we would give, sizes are counted while reading,
every hash is checked, and every event must be one that could have been written here. docs/jobs.md has the format.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import uuid
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, BinaryIO, Literal

from pydantic import BaseModel, ConfigDict, Field, JsonValue

from airproof.diagnosis.place_as_typed import the_barometer
from airproof.errors import AirproofError, UnusableRequest
from airproof.jobs.events import Event, stamp_of
from airproof.jobs.kinds import Hash, Recording, Unreadable, as_data
from airproof.jobs.private import Private
from airproof.jobs.recordings import BLOCK, sync_folder
from airproof.jobs.signals_file import write_signals
from airproof.jobs.state import State, state_of
from airproof.jobs.store import Store
from airproof.jobs.trouble import in_our_words

SCHEMA = "airproof.job-file/1"
JOB = "job.json"
LONG_AGO = (1980, 1, 1, 0, 0, 0)
"""The earliest date a zip can hold: the same for every file in it."""

LEVEL = 6
Uid = Annotated[str, Field(pattern="^[0-9a-f]{32}$")]
Size = Annotated[int, Field(ge=0)]


class _Model(BaseModel):
    model_config = ConfigDict(extra="forbid")


class FileInside(_Model):
    """One file beside job.json."""

    name: Annotated[str, Field(max_length=100)]
    bytes: Size
    sha256: Hash


class EventInside(_Model):
    """One event as job.json has it."""

    number: Annotated[int, Field(ge=1)]
    uid: Uid
    at: Annotated[str, Field(max_length=27)]
    author: Annotated[str, Field(max_length=100)]
    kind: Annotated[str, Field(max_length=40)]
    version: Annotated[int, Field(ge=1)]
    payload: dict[str, JsonValue]
    corrects: int | None = None
    withdraws: int | None = None


class JobInside(_Model):
    """job.json. `private` says whether VIN, plate and owner are in it."""

    version: Annotated[Literal["airproof.job-file/1"], Field(alias="schema")]
    uid: Uid
    private: bool
    events: list[EventInside]
    events_sha256: Hash
    files: list[FileInside]


@dataclass(frozen=True)
class Exported:
    """What was written; `missing`: recordings whose file is not there, by name.

    `unreadable`: events that nobody can read any more, with why; `unspoken`: recordings that only such events spoke of,
    by their SHA-256, which are not in the file.
    """

    bytes: int
    sha256: str
    last_event: int
    missing: tuple[str, ...]
    unreadable: tuple[str, ...] = ()
    unspoken: tuple[str, ...] = ()


def original_name(sha256: str) -> str:
    """The name of a recording as it was given, in a job file."""
    return f"recordings/{sha256}.original"


def signals_name(sha256: str) -> str:
    """The name of the signals of a recording, in a job file."""
    return f"recordings/{sha256}.parquet"


def events_as_json(events: Sequence[Mapping[str, Any]]) -> str:
    """Events as one line of JSON, always the same for the same events."""
    return json.dumps(list(events), sort_keys=True, separators=(",", ":"), allow_nan=False)


def export_job(store: Store, job: int, target: Path, *, private: bool = True) -> Exported:
    """Write a job to a new file, whole or not at all; when this returns it is on the disk.

    Without `private`, VIN, plate and owner are left out, wherever they stand in what was written, and so are the
    recordings as they were given (their headings may name the car): their signals go along instead. Raises
    UnusableRequest where the file is there already.
    """
    if target.exists():
        raise UnusableRequest(f"{target} is there already", "a new file", "Name another one, or move it away.")
    line, events = store.line(job), store.events(job)
    half = target.with_name(f".{uuid.uuid4().hex}.half")
    with in_our_words(str(target)):
        try:
            with half.open("xb") as file:
                missing = _write(store, line.uid, events, file, private=private)
                file.flush()
                os.fsync(file.fileno())
            digest, size = _hash_of(half)
            half.replace(target)
            sync_folder(target.parent)
        finally:
            half.unlink(missing_ok=True)
    unreadable = tuple(
        f"event {event.number}: {event.payload.trouble}" for event in events if isinstance(event.payload, Unreadable)
    )
    spoken = {event.payload.sha256 for event in events if isinstance(event.payload, Recording)}
    unspoken = tuple(sha256 for sha256 in store.uses(job) if sha256 not in spoken)
    return Exported(size, digest, len(events), missing, unreadable, unspoken)


def _write(store: Store, uid: str, events: Sequence[Event], file: BinaryIO, *, private: bool) -> tuple[str, ...]:
    state = state_of(events)
    hidden = None if private else Private.of(events)
    said = [_event_object(event, hidden) for event in events]
    inside: dict[str, Path | bytes] = {}
    missing = []
    for recording in _recordings(events, state):
        sha256 = recording.sha256
        original, alone = store.shelf.original(sha256), store.shelf.alone(sha256)
        if private and original is not None:
            inside[original_name(sha256)] = original
        signals = alone.read_bytes() if original is None and alone is not None else None
        if original is not None:
            signals = _signals(store, recording, state, hidden)
        if signals is not None:
            inside[signals_name(sha256)] = signals
        elif original is None or not private:
            missing.append(recording.name)
    files = [FileInside(name=name, **_measure(inside[name])) for name in sorted(inside)]
    job = {
        "schema": SCHEMA,
        "uid": uid if hidden is None else hidden.uid(uid),
        "private": private,
        "events": said,
        "events_sha256": hashlib.sha256(events_as_json(said).encode()).hexdigest(),
        "files": [one.model_dump() for one in files],
    }
    with zipfile.ZipFile(file, "w") as archive:
        text = json.dumps(job, indent=1, sort_keys=True, allow_nan=False) + "\n"
        _put(archive, JOB, text.encode(), zipfile.ZIP_DEFLATED)
        for name in sorted(inside):  # Parquet is packed already
            _put(archive, name, inside[name], zipfile.ZIP_STORED if name.endswith(".parquet") else zipfile.ZIP_DEFLATED)
    return tuple(missing)


def _event_object(event: Event, hidden: Private | None) -> dict[str, Any]:
    said: dict[str, Any] = {
        "number": event.number,
        "uid": event.uid,
        "at": stamp_of(event.at),
        "author": event.author,
        "kind": event.kind,
        "version": event.version,
        "payload": as_data(event.payload),
    }
    if event.corrects is not None:
        said["corrects"] = event.corrects
    if event.withdraws is not None:
        said["withdraws"] = event.withdraws
    return said if hidden is None else hidden.without(said)


def _recordings(events: Sequence[Event], state: State) -> list[Recording]:
    """Each recording that any event speaks of, as it stands now or as it was last said."""
    said = {event.payload.sha256: event.payload for event in events if isinstance(event.payload, Recording)}
    said |= {sha256: fact.payload for sha256, fact in state.recordings.items()}
    return [said[sha256] for sha256 in sorted(said)]


def _signals(store: Store, recording: Recording, state: State, hidden: Private | None) -> bytes | None:
    try:
        day = the_barometer(state.place.altitude, state.place.barometer)
        kpa = None if day is None else day.kpa
        read = store.shelf.signals(recording.sha256, recording.name, recording.signals, kpa)
    except AirproofError:
        return None  # nothing can be read from it here: the original goes along alone
    file = io.BytesIO()
    write_signals(read if hidden is None else hidden.recording(read), file)
    return file.getvalue()


def _measure(content: Path | bytes) -> dict[str, Any]:
    if isinstance(content, bytes):
        return {"bytes": len(content), "sha256": hashlib.sha256(content).hexdigest()}
    digest, size = _hash_of(content)
    return {"bytes": size, "sha256": digest}


def _put(archive: zipfile.ZipFile, name: str, content: Path | bytes, how: int) -> None:
    entry = zipfile.ZipInfo(name, LONG_AGO)
    entry.compress_type, entry.external_attr, entry.create_system = how, 0o600 << 16, 3
    entry.file_size = len(content) if isinstance(content, bytes) else content.stat().st_size
    # The level of a ZipInfo is set by its archive; the public way is one call for each file.
    archive.compresslevel = LEVEL
    with archive.open(entry, "w") as inside:
        if isinstance(content, bytes):
            inside.write(content)
            return
        with content.open("rb") as file:
            while block := file.read(BLOCK):
                inside.write(block)


def _hash_of(path: Path) -> tuple[str, int]:
    digest, size = hashlib.sha256(), 0
    with path.open("rb") as file:
        while block := file.read(BLOCK):
            digest.update(block)
            size += len(block)
    return digest.hexdigest(), size
