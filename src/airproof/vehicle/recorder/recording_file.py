"""The recording as it grows: a text table that is only ever added to, a line for each answer, and notes beside it.

Each line is handed to the system whole and at once, so that what was recorded survives this program's end, however it
ends; once a second it is forced onto the disk, against the computer's.
"""

from __future__ import annotations

import contextlib
import json
import math
import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from airproof.errors import UnusableFile
from airproof.recording.signals import signal_kind

_FORCED_EVERY_S = 1.0
_FLAGS = os.O_WRONLY | os.O_CREAT | os.O_APPEND | getattr(os, "O_BINARY", 0)
_NAMES = {
    "lambda": "Lambda measured",
    "throttle": "Throttle position",
    "load": "Calculated load",
    **{
        f"{term}_trim_{bank}": f"{term.capitalize()} term fuel trim bank {bank}"
        for term in ("short", "long")
        for bank in (1, 2)
    },
}
"""Headings where a signal's name says too little to a reader of files."""


def notes_path(recording: Path) -> Path:
    """Where the notes of a recording lie: FILE.notes.jsonl beside FILE.csv."""
    return recording.with_name(f"{recording.stem}.notes.jsonl")


def heading(signal: str) -> str:
    """The column's heading, as our own reader knows it."""
    kind = signal_kind(signal)
    name = _NAMES.get(signal, signal.replace("_", " ").capitalize())
    return name if kind.unit == "1" else f"{name} ({kind.unit})"


class RecordingFile:
    """A new recording of these signals. Raises UnusableFile where there is one already, or none can be written."""

    def __init__(self, path: Path, signals: Sequence[str], steps: Mapping[str, float]) -> None:
        self.path = path
        self._signals = tuple(signals)
        self._decimals = {name: max(0, math.ceil(-math.log10(step) - 1e-9)) for name, step in steps.items()}
        self._forced_s = 0.0
        self.rows = 0
        self.size = 0
        try:
            self._file = os.open(path, _FLAGS | os.O_EXCL, 0o644)
            self._notes = os.open(notes_path(path), _FLAGS, 0o644)
        except OSError as fault:
            there = isinstance(fault, FileExistsError)
            raise UnusableFile(
                "there is a file by that name already" if there else f"it cannot be written ({fault.strerror})",
                "the name of a new file in a folder that exists and may be written to",
                "Give another name; a recording is never written over.",
                where=str(path),
            ) from fault
        self._put(self._file, ",".join(["Time (s)", *map(heading, self._signals)]))

    def add(self, time_s: float, values: Mapping[str, float]) -> None:
        """One line: when, and what was answered; the other cells stay empty."""
        cells = [f"{values[name]:.{self._decimals[name]}f}" if name in values else "" for name in self._signals]
        self._put(self._file, f"{time_s:.4f},{','.join(cells)}")
        self.rows += 1
        if time_s - self._forced_s >= _FORCED_EVERY_S:
            self._forced_s = time_s
            self._force()

    def note(self, time_s: float, kind: str, **more: Any) -> None:
        """Something beside the values: a marker, a break, what was learnt of the link."""
        self._put(self._notes, json.dumps({"at_s": round(time_s, 4), "kind": kind, **more}, ensure_ascii=False))

    def close(self) -> None:
        """Force everything onto the disk and let go; a full disk has been told of by then."""
        with contextlib.suppress(UnusableFile):
            self._force()
        os.close(self._file)
        os.close(self._notes)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def _put(self, file: int, line: str) -> None:
        data = line.encode() + b"\n"
        try:
            written = os.write(file, data)
            while written < len(data):
                written += os.write(file, data[written:])
        except OSError as fault:
            raise self._full(fault) from fault
        self.size += len(data)

    def _force(self) -> None:
        try:
            os.fsync(self._file)
        except OSError as fault:
            raise self._full(fault) from fault

    def _full(self, fault: OSError) -> UnusableFile:
        return UnusableFile(
            f"no more can be written ({fault.strerror})",
            "room on the disk",
            "What was recorded so far is kept. Make room and begin another.",
            where=str(self.path),
        )
