"""The shelf of recordings: each file as it was given, by the SHA-256 of its bytes, and beside it, as Parquet, the
signals that were read from it.

The original is kept because nothing else can be read again: with headings put right, with the barometer that turns
gauge pressures into absolute ones, by a better reader. The Parquet is made from it when it is first needed and whenever
one of these has changed; it may be thrown away at any time. Where a job came without its originals, the Parquet stands
alone. A file is written under another name, brought to the disk and then renamed: what bears its name is whole.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
import time
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from airproof.errors import UnusableFile

if TYPE_CHECKING:
    from airproof.recording.mapping import SignalMap
    from airproof.recording.recording import Recording

READER = "1"
"""Goes up when recordings are read differently, so that Parquet made before is made anew."""

LARGEST = 4 * 2**30
"""Bytes of one recording; judged: Airproof authors: days of driving at a hundred rows a second."""

BLOCK = 1 << 20
FORGOTTEN_S = 24 * 3600.0
"""A half-written file this old belongs to a program that is gone."""

ORIGINAL, ALONE = "original", "alone.parquet"
_HASH = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True)
class Kept:
    """A file on the shelf."""

    sha256: str
    bytes: int


class Shelf:
    """The folder of recordings."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._incoming = folder / "incoming"
        self._incoming.mkdir(parents=True, exist_ok=True, mode=0o700)
        self._sweep()

    def _sweep(self) -> None:
        for half in self._incoming.iterdir():
            with contextlib.suppress(OSError):
                if time.time() - half.stat().st_mtime > FORGOTTEN_S:
                    half.unlink()

    def holds_any(self) -> bool:
        """Whether any recording lies on it."""
        return any(self.folder.glob("[0-9a-f][0-9a-f]/*"))

    def put(self, source: BinaryIO, *, most: int = LARGEST, where: str = "") -> Kept:
        """Keep the bytes of `source`; when this returns they are on the disk.

        Raises UnusableFile where they are none, or more than `most`.
        """
        with self._half_written() as (half, file):
            digest, size = hashlib.sha256(), 0
            while block := source.read(BLOCK):
                size += len(block)
                if size > most:
                    raise UnusableFile(
                        f"it is larger than {most:,} bytes", "a recording", "Give a shorter one.", where=where
                    )
                digest.update(block)
                file.write(block)
            if not size:
                way_out = "Copy it again from where it was made."
                raise UnusableFile("the file is empty", "a recording", way_out, where=where)
            kept = Kept(digest.hexdigest(), size)
            self._name(half, file, self._path(kept.sha256, ORIGINAL))
        return kept

    def original(self, sha256: str) -> Path | None:
        """The file as it was given, or None where only its signals came."""
        path = self._path(sha256, ORIGINAL)
        return path if path.is_file() else None

    def alone(self, sha256: str) -> Path | None:
        """The signals of a recording that came without its original."""
        path = self._path(sha256, ALONE)
        return path if path.is_file() else None

    def put_alone(self, sha256: str, source: BinaryIO, *, most: int = LARGEST, where: str = "") -> None:
        """Keep signals that came without their original; they are read once before, so that a bad file is refused."""
        with self._half_written() as (half, file):
            size = 0
            while block := source.read(BLOCK):
                size += len(block)
                if size > most:
                    raise UnusableFile("it is larger than it says", "a whole file", "Export it again.", where=where)
                file.write(block)
            from airproof.jobs.signals_file import read_signals

            file.flush()
            read_signals(half, where)
            self._name(half, file, self._path(sha256, ALONE))

    def signals(
        self,
        sha256: str,
        name: str,
        mapping: SignalMap | None = None,
        barometer_kpa: float | None = None,
        progress: Callable[[float], None] | None = None,
    ) -> Recording:
        """The recording, from its Parquet where that is of today, else read anew from the original.

        `name` is what people call it. Raises UnusableFile where neither is there or the original cannot be read.
        """
        # What reads recordings is heavy, and a list of jobs reads none.
        from airproof.jobs.signals_file import read_signals, write_signals
        from airproof.vehicle.recordings import read_recording

        original = self.original(sha256)
        if original is None:
            alone = self.alone(sha256)
            if alone is None:
                raise UnusableFile(
                    f"the recording {name} ({sha256[:12]}) is not among the files",
                    "all recordings that the job speaks of, in the folder of recordings",
                    "Give the file again, or import the job from where it was exported.",
                )
            return _called(read_signals(alone, name), name)
        path = self._path(sha256, f"{_read_how(mapping, barometer_kpa)}.parquet")
        if path.is_file():
            with contextlib.suppress(UnusableFile):  # damaged: it is made anew
                return _called(read_signals(path, name), name)
        _refuse_damaged(original, sha256, name)
        try:
            recording = read_recording(original, signals=mapping, barometer_kpa=barometer_kpa, progress=progress)
        except UnusableFile as fault:
            raise UnusableFile(fault.given, fault.wanted, fault.way_out, where=name) from fault
        recording = _called(recording, name)
        with contextlib.suppress(OSError), self._half_written() as (half, file):  # a full disk costs only the time
            write_signals(recording, file)
            self._name(half, file, path)
        return recording

    def remove(self, sha256: str) -> None:
        """Take a recording off the shelf, with all that was read from it."""
        for path in self._path(sha256, ORIGINAL).parent.glob(f"{sha256}.*"):
            path.unlink(missing_ok=True)

    def _path(self, sha256: str, ending: str) -> Path:
        if not _HASH.fullmatch(sha256):  # never a name from outside
            raise UnusableFile(f"{sha256[:80]!r} is no SHA-256", "64 signs of 0-9 and a-f", "Export the job again.")
        return self.folder / sha256[:2] / f"{sha256}.{ending}"

    @contextlib.contextmanager
    def _half_written(self) -> Iterator[tuple[Path, BinaryIO]]:
        half = self._incoming / f"{uuid.uuid4().hex}.half"
        try:
            with half.open("xb") as file:
                yield half, file
        finally:
            half.unlink(missing_ok=True)

    def _name(self, half: Path, file: BinaryIO, final: Path) -> None:
        """Bring a file to the disk, then give it its name, and bring that to the disk."""
        file.flush()
        os.fsync(file.fileno())
        file.close()  # Windows renames no open file
        new = not final.parent.exists()
        final.parent.mkdir(exist_ok=True, mode=0o700)
        try:
            half.replace(final)
        except PermissionError:  # on Windows, where somebody is reading the same bytes under that name
            if not final.is_file() or final.stat().st_size != half.stat().st_size:
                raise
        sync_folder(final.parent)
        if new:
            sync_folder(final.parent.parent)


def sync_folder(folder: Path) -> None:
    """Bring the names in a folder to the disk."""
    if os.name == "nt":
        return  # there a rename is brought to the disk with the file system's own journal
    number = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(number)
    finally:
        os.close(number)


def _refuse_damaged(path: Path, sha256: str, name: str) -> None:
    with path.open("rb") as file:
        found = hashlib.file_digest(file, "sha256").hexdigest()
    if found != sha256:
        raise UnusableFile(
            "the kept file is not the one that was given: the disk has changed it",
            "the same bytes",
            "Give the recording again, or import the job from where it was exported.",
            where=name,
        )


def _called(recording: Recording, name: str) -> Recording:
    return replace(recording, label=name, report=replace(recording.report, source=name))


def _read_how(mapping: SignalMap | None, barometer_kpa: float | None) -> str:
    """A short name for the way of reading: with another, the signals may be others."""
    said = f"{READER} {'' if mapping is None else mapping.model_dump_json()} {barometer_kpa!r}"
    return hashlib.sha256(said.encode()).hexdigest()[:16]
