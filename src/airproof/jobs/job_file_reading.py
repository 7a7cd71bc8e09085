"""Taking a job in from a file that nobody vouches for."""

from __future__ import annotations

import hashlib
import json
import struct
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, BinaryIO, cast

from pydantic import ValidationError

from airproof.errors import AirproofError, UnusableFile
from airproof.jobs.event_rows import MOST_EVENTS
from airproof.jobs.events import Event, Rules, new_uid, tidy_author, time_of
from airproof.jobs.job_file import JOB, FileInside, JobInside, events_as_json, original_name, signals_name
from airproof.jobs.kinds import VERSIONS, Recording, payload_of
from airproof.jobs.recordings import BLOCK, LARGEST
from airproof.jobs.store import Store
from airproof.jobs.trouble import in_our_words
from airproof.toml_files import in_words

WANTED = "a job file, airproof.job-file/1"
WAY_OUT = "Export the job again, and copy the file whole."

LARGEST_JSON = 256 << 20
LARGEST_DIRECTORY = 4 << 20
LARGEST_JOB = 16 << 30
BOMB_BYTES, BOMB_RATIO = 100 << 20, 200.0
"""A file that grows so much when unpacked is no recording: text of numbers shrinks to a fifth, seldom to a fiftieth."""

_FAULTS = (
    zipfile.BadZipFile,
    zipfile.LargeZipFile,
    zlib.error,
    struct.error,
    NotImplementedError,
    RuntimeError,
    EOFError,
    ValueError,
    KeyError,
    OverflowError,
)


@dataclass(frozen=True)
class Imported:
    """What became of a job file: `how` is "new", "continued" (events were added to the job that is here) or "here"."""

    job: int
    how: str
    added: int
    missing: tuple[str, ...]


@dataclass(frozen=True)
class _Inside:
    uid: str
    events: tuple[Event, ...]
    recordings: tuple[str, ...]
    names: frozenset[str]


def check_job_file(path: Path) -> int:
    """Read a job file through and check every hash; the number of its events. Raises UnusableFile."""
    with _opened(path) as (archive, inside, job):
        for file in job.files:
            with _checked(archive, file, path) as source:
                _read_through(source)
        return len(inside.events)


def import_job(store: Store, path: Path, *, as_new: bool = False) -> Imported:
    """Take a job in.

    A job that is here already is continued where the file goes on from what is here, and left alone where it holds
    nothing more; `as_new` makes another job of it. Raises UnusableFile for what is no job file, is damaged, or says
    otherwise than the job that is here.
    """
    with _opened(path) as (archive, inside, job):
        here = None if as_new else store.called(inside.uid)
        new, seen = (inside.events, 0) if here is None else _going_on(store, here, inside.events, path)
        put: list[str] = []
        try:
            with in_our_words(store.where):
                for file in job.files:
                    put.append(_of(file.name))  # before: a half of it would have to go as well
                    _keep(store, archive, file, inside.names, path)
            if here is None:
                number = store.take_in(new_uid() if as_new else inside.uid, new)
            else:
                number = here
                store.extend(here, new, seen=seen)
        except BaseException:
            store.let_go(put)
            raise
        for file in job.files:  # a job that was deleted meanwhile may have had the same recording
            if not _there(store, _of(file.name)):
                _keep(store, archive, file, inside.names, path)
    how = "new" if here is None else "continued" if new else "here"
    found = [sha256 for sha256 in inside.recordings if _there(store, sha256)]
    missing = tuple(sha256 for sha256 in inside.recordings if sha256 not in found)
    return Imported(number, how, len(new), missing)


def _there(store: Store, sha256: str) -> bool:
    return store.shelf.original(sha256) is not None or store.shelf.alone(sha256) is not None


def _of(name: str) -> str:
    """The recording that a file within the file is of."""
    return name.partition("/")[2][:64]


def _keep(store: Store, archive: zipfile.ZipFile, file: FileInside, names: frozenset[str], path: Path) -> None:
    """Put a recording on the shelf; signals that stand beside their original are only checked."""
    recording = _of(file.name)
    with _checked(archive, file, path) as source:
        if file.name == original_name(recording):
            store.shelf.put(cast("BinaryIO", source), most=file.bytes, where=str(path))
        elif original_name(recording) in names or store.shelf.original(recording) is not None:
            _read_through(source)
        else:
            store.shelf.put_alone(recording, cast("BinaryIO", source), most=file.bytes, where=str(path))


def _read_through(source: _Checked) -> None:
    while source.read(BLOCK):
        pass


class _Checked:
    """A file within the file, counted and hashed while it is read."""

    def __init__(self, source: IO[bytes], size: int, sha256: str, path: Path) -> None:
        self._source, self._left, self._sha256, self._path = source, size, sha256, path
        self._digest = hashlib.sha256()

    def read(self, size: int) -> bytes:
        """The next bytes; raises UnusableFile at the end where they were not those that were announced."""
        try:
            block = self._source.read(size)
        except (*_FAULTS, OSError) as fault:
            raise _refused(self._path, f"it is damaged ({fault})") from fault
        self._left -= len(block)
        self._digest.update(block)
        if self._left < 0:
            raise _refused(self._path, "a file in it is larger than it says")
        if not block and (self._left or self._digest.hexdigest() != self._sha256):
            raise _refused(self._path, "a file in it is not the one that was exported: its hash is another")
        return block


@contextmanager
def _checked(archive: zipfile.ZipFile, file: FileInside, path: Path) -> Iterator[_Checked]:
    try:
        opened = archive.open(file.name)
    except (*_FAULTS, OSError) as fault:
        raise _refused(path, f"it is damaged ({fault})") from fault
    with opened:
        yield _Checked(opened, file.bytes, file.sha256, path)


@contextmanager
def _opened(path: Path) -> Iterator[tuple[zipfile.ZipFile, _Inside, JobInside]]:
    try:
        size = path.stat().st_size
        _refuse_huge_directory(path, size)
        archive = zipfile.ZipFile(path)
    except OSError as fault:
        found = f"it cannot be read ({fault.strerror or fault})"
        raise UnusableFile(found, WANTED, "Check the path.", where=str(path)) from fault
    except AirproofError:  # said in our words already
        raise
    except _FAULTS as fault:
        raise _refused(path, f"it is no zip file, or a damaged one ({fault})") from fault
    with archive:
        job = _job_of(archive, path)
        yield archive, _inside(job, archive, path), job


def _refuse_huge_directory(path: Path, size: int) -> None:
    """The list of names is read whole when a zip is opened: its size is looked at before (APPNOTE 6.3, 4.3.16)."""
    with path.open("rb") as file:
        file.seek(max(0, size - 22 - 0xFFFF))
        tail = file.read()
    end = tail.rfind(b"PK\x05\x06")
    if end < 0 or len(tail) - end < 22:
        raise _refused(path, "it is no zip file, or a damaged one")
    listed = int.from_bytes(tail[end + 12 : end + 16], "little")
    large = tail[max(0, end - 20) : end].startswith(b"PK\x06\x07")
    if (large and size < 1 << 32) or (listed > LARGEST_DIRECTORY and not large):
        raise _refused(path, "its list of names is larger than any job's")


def _job_of(archive: zipfile.ZipFile, path: Path) -> JobInside:
    entries = archive.infolist()
    names = [entry.filename for entry in entries]
    if len(set(names)) != len(names):
        raise _refused(path, "a name is in it twice")
    if JOB not in names:
        raise _refused(path, f"there is no {JOB} in it")
    for entry in entries:
        if entry.flag_bits & 0x1 or entry.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise _refused(path, "it is packed or locked in a way that job files are not")
    total = sum(entry.file_size for entry in entries)
    packed = max(1, path.stat().st_size)
    if total > LARGEST_JOB or (total > BOMB_BYTES and total > BOMB_RATIO * packed):
        raise _refused(path, f"it would grow from {packed:,} to {total:,} bytes when unpacked")
    if archive.getinfo(JOB).file_size > LARGEST_JSON:
        raise _refused(path, f"{JOB} is larger than any job's")
    try:
        with archive.open(JOB) as opened:
            text = opened.read(LARGEST_JSON + 1)
        job = JobInside.model_validate(json.loads(text, parse_constant=_no_number))
    except ValidationError as fault:
        schema = "" if b'"airproof.job-file/1"' in text else " (is it of a newer Airproof?)"
        raise _refused(path, f"{JOB}: {in_words(fault)}{schema}") from fault
    except (*_FAULTS, OSError) as fault:
        raise _refused(path, f"{JOB} cannot be read ({' '.join(str(fault).split())[:80]})") from fault
    if set(names) != {JOB, *(file.name for file in job.files)} or len(job.files) != len(names) - 1:
        raise _refused(path, "the files in it are not those that it lists")
    for file in job.files:
        if file.bytes != archive.getinfo(file.name).file_size or file.bytes > LARGEST:
            raise _refused(path, f"{file.name} is not as large as it says")
    return job


def _no_number(text: str) -> float:
    raise ValueError(f"{text} is no number")


def _inside(job: JobInside, archive: zipfile.ZipFile, path: Path) -> _Inside:
    said = [one.model_dump(exclude_unset=True) for one in job.events]
    if hashlib.sha256(events_as_json(said).encode()).hexdigest() != job.events_sha256:
        raise _refused(path, "the events in it are not those that were exported: their hash is another")
    if len(said) > MOST_EVENTS:
        raise _refused(path, f"it holds more than {MOST_EVENTS:,} events")
    events = _events(job, path)
    recordings = {event.payload.sha256 for event in events if isinstance(event.payload, Recording)}
    originals, signals = map(original_name, recordings), map(signals_name, recordings)
    names = frozenset(archive.namelist()) - {JOB}
    strange = names - {*originals, *signals}
    if strange:
        raise _refused(path, f"{min(strange)[:80]!r} is in it, which no event speaks of")
    for file in job.files:
        if file.name == original_name(file.sha256) or file.name.endswith(".parquet"):
            continue
        raise _refused(path, f"{file.name} does not hold what its name says")
    return _Inside(job.uid, events, tuple(sorted(recordings)), names)


def _events(job: JobInside, path: Path) -> tuple[Event, ...]:
    rules, uids, events = Rules(), set(), []
    for number, one in enumerate(job.events, start=1):
        where = f"{path}, event {number}"
        if one.number != number or one.uid in uids:
            raise _refused(path, f"event {number} is out of order or there twice")
        uids.add(one.uid)
        try:
            rules.admit(one.kind, one.corrects, one.withdraws)
            payload = payload_of(one.kind, one.payload, one.version, where=where)
            at = time_of(one.at)
        except AirproofError as fault:
            raise UnusableFile(fault.given, fault.wanted, fault.way_out, where=where) from fault
        except ValueError as fault:
            raise _refused(
                path, f"event {number} was said at {one.at!r}, which is no time, or an absurd one"
            ) from fault
        author = tidy_author(one.author)
        events.append(
            Event(number, one.uid, at, author, one.kind, VERSIONS[one.kind], payload, one.corrects, one.withdraws)
        )
    return tuple(events)


def _going_on(store: Store, job: int, events: Sequence[Event], path: Path) -> tuple[tuple[Event, ...], int]:
    """What the file has beyond the job that is here; refuses where the two went different ways."""
    here = store.events(job)
    common = min(len(here), len(events))
    apart = next((n for n in range(common) if here[n] != events[n]), None)
    if apart is not None:
        raise UnusableFile(
            f"it is job {job}, which is here, but from event {apart + 1} on the two say different things",
            "a job that is not here, or goes on from what is here",
            "Say by hand, in the job here, what the file has beyond it. Or take it in beside that with --as-new.",
            where=str(path),
        )
    return tuple(events[len(here) :]), len(here)


def _refused(path: Path, given: str) -> UnusableFile:
    return UnusableFile(given, WANTED, WAY_OUT, where=str(path))
