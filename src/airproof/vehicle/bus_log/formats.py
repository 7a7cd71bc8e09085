"""Formats of bus logs, told by what a file begins with, and opened by the readers of python-can.

In the formats where a line is a frame, a line that cannot be read costs that line and no other, and traffic that is
none of the legislated diagnostics, nearly all in most logs, is passed over before it costs time.
"""

from __future__ import annotations

import gzip
import io
import logging
import mmap
import re
import zlib
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

from airproof.errors import MissingExtra, UnusableFile

if TYPE_CHECKING:
    from can.io.generic import MessageReader

WANTED = "a log of a CAN bus: candump, ASC, BLF, TRC, MDF 4, or CSV as python-can writes it"
HEAD = 4096
"""Bytes that a file is recognised by."""

LONGEST_LINE = 1024
"""Longer lines are no frames: 64 bytes of CAN FD take 200 characters."""

NOT_READABLE = (OSError, EOFError, zlib.error)
"""What a file that cannot be opened or unpacked raises."""

_GZIP = b"\x1f\x8b"
_MDF = b"MDF     "
_BUS_CHANNEL = b"CAN_DataFrame"  # as ASAM names it
_NUMBER = r"\d+(?:\.\d+)?"


@dataclass(frozen=True)
class LogFormat:
    """A format: the module and class of python-can that reads it, and whether it is text.

    `line` are the lines that its reader can read, with a group `identifier`; `retold` makes such a line of another
    form; `heading`: there is one above them.
    """

    name: str
    reader: str
    text: bool = True
    line: re.Pattern[str] | None = None
    retold: Callable[[re.Match[str]], str] | None = None
    heading: bool = False


CANDUMP = LogFormat(
    "candump",
    "canutils.CanutilsLogReader",
    line=re.compile(
        rf"\s*\({_NUMBER}\)\s+\S+\s+(?P<identifier>[0-9A-Fa-f]{{3,8}})#(?:(?:#[0-9A-Fa-f])?(?:[0-9A-Fa-f]{{2}}){{0,64}}|[Rr]\d?)"
        r"(?:\s+[RrTt])?\s*"
    ),
)
SCREEN = LogFormat(
    "candump as on the screen, with time stamps",
    "canutils.CanutilsLogReader",
    line=re.compile(
        rf"\s*\((?P<at>{_NUMBER})\)\s+(?P<channel>\S+)\s+(?:[RT]X\s+\S+\s+)?(?P<identifier>[0-9A-Fa-f]{{3,8}})\s+"
        r"\[\d+\]\s*(?P<data>(?:[0-9A-Fa-f]{2}\s*){0,8})(?:'.*)?"
    ),
    retold=lambda found: f"({found['at']}) {found['channel']} {found['identifier']}#{''.join(found['data'].split())}\n",
)
CSV = LogFormat(
    "CSV",
    "csv.CSVReader",
    line=re.compile(
        rf"{_NUMBER},(?:0x)?(?P<identifier>[0-9A-Fa-f]{{1,8}}),[01],[01],[01],\d{{1,2}},(?:[\w+/]{{4}})*[\w+/=]{{0,4}}\s*"
    ),
    heading=True,
)
ASC, TRC = LogFormat("ASC", "asc.ASCReader"), LogFormat("TRC", "trc.TRCReader")
BLF, MDF = LogFormat("BLF", "blf.BLFReader", text=False), LogFormat("MDF 4", "mf4.MF4Reader", text=False)

_BEGINS = (
    (re.compile(rb"LOGG"), BLF),
    (re.compile(rb"\s*\(\d+(\.\d+)?\)\s+\S+\s+[0-9A-Fa-f]{3,8}#"), CANDUMP),
    (re.compile(rb"\s*\(\d+\.\d+\)\s+\S+\s+([RT]X\s+\S+\s+)?[0-9A-Fa-f]{3,8}\s+\[\d+\]"), SCREEN),
    (re.compile(rb"timestamp,arbitration_id,extended,remote,error,dlc,data"), CSV),
    (re.compile(rb"(?:;[^\n]*\n)*;\s*\$FILEVERSION=", re.IGNORECASE), TRC),
    (re.compile(rb"\s*(?:date [^\n]*\n\s*)?base (?:hex|dec)\s+timestamps", re.IGNORECASE), ASC),
)

_LEGISLATED = re.compile(r"0*7[DE][0-9A-F]|0*18D[AB][0-9A-F]{4}", re.IGNORECASE)
"""Identifiers that may be legislated ones; which of them are is for addresses.py to say."""


def is_bus_log(path: Path) -> bool:
    """Whether a file is a log of a bus, by what it begins with; an MDF 4 file is one where it holds frames."""
    try:
        return path.is_file() and format_of(path) is not None
    except NOT_READABLE:
        return False


def format_of(path: Path) -> LogFormat | None:
    """The format of a log; None where it is none. Raises one of NOT_READABLE where it cannot be read."""
    head = _head(path).removeprefix(b"\xef\xbb\xbf")
    if head.startswith(_MDF):
        return MDF if _holds_frames(path) else None
    return next((one for begins, one in _BEGINS if begins.match(head)), None)


@dataclass(frozen=True)
class OpenLog:
    """A log being read: python-can's reader, the sieve before it where the format has one, and the bare file."""

    messages: MessageReader
    sieve: Sieve | None
    file: IO[bytes]


def opened(path: Path, stack: ExitStack) -> OpenLog:
    """A log with python-can's reader over it; closed with the stack.

    Raises UnusableFile where it is no log of a bus or cannot be read, MissingExtra for MDF 4 without asammdf.
    """
    try:
        found = format_of(path)
        if found is None:
            raise UnusableFile("this is no log of a bus", WANTED, "Give the log itself.", where=path.name)
        file = stack.enter_context(path.open("rb"))
        binary: Any = stack.enter_context(gzip.GzipFile(fileobj=file)) if _packed(path) else file
    except NOT_READABLE as fault:
        why = getattr(fault, "strerror", None) or fault
        raise UnusableFile(f"it cannot be read ({why})", WANTED, "Check the path.", where=str(path)) from fault
    if found is MDF and find_spec("asammdf") is None:
        raise MissingExtra(
            f"{path.name} is an ASAM MDF file, and the part that reads them is not installed",
            "the mdf extra",
            "Install it: pip install airproof[mdf]",
        )
    # Its readers tell of lines they cannot read by logging, which would end up among a command's own words.
    logging.getLogger("can.io").addHandler(logging.NullHandler())
    module, name = found.reader.split(".")
    reader = getattr(import_module(f"can.io.{module}"), name)
    if not found.text:
        return OpenLog(reader(binary), None, file)
    text = io.TextIOWrapper(binary, "utf-8", errors="replace")
    if found.line is None:
        return OpenLog(reader(text), None, file)
    sieve = Sieve(text, found)
    return OpenLog(reader(sieve), sieve, file)


class Sieve:
    """The lines of a text log that are frames of the legislated diagnostics; the rest is counted."""

    def __init__(self, text: IO[str], found: LogFormat) -> None:
        self.others = 0
        self.unreadable = 0
        self._text = text
        self._lines = self._sifted(found)

    def __iter__(self) -> Iterator[str]:
        return self

    def __next__(self) -> str:
        return next(self._lines)

    def close(self) -> None:
        """Close the file below."""
        self._text.close()

    def _sifted(self, found: LogFormat) -> Iterator[str]:
        assert found.line is not None  # only such formats are sifted
        readable, legislated = found.line.fullmatch, _LEGISLATED.fullmatch
        if found.heading:
            yield self._text.readline(LONGEST_LINE)
        while line := self._text.readline(LONGEST_LINE):
            frame = readable(line)
            if frame is None:
                self.unreadable += not line.isspace()
            elif legislated(frame["identifier"]):
                yield line if found.retold is None else found.retold(frame)
            else:
                self.others += 1


def _packed(path: Path) -> bool:
    with path.open("rb") as file:
        return file.read(len(_GZIP)) == _GZIP


def _head(path: Path) -> bytes:
    if _packed(path):
        with gzip.open(path) as unpacked:
            return unpacked.read(HEAD)
    with path.open("rb") as file:
        return file.read(HEAD)


def _holds_frames(path: Path) -> bool:
    """Whether an MDF 4 file has a channel of frames; the names of channels are never packed in one."""
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as whole:
        return whole.find(_BUS_CHANNEL) >= 0
