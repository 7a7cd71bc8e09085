"""The frames of a bus log that belong to the legislated diagnostics."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

from airproof.errors import MissingExtra, UnusableFile
from airproof.recording.mdf_reader import let_go
from airproof.recording.table import Progress
from airproof.vehicle.bus_log.formats import OpenLog, opened
from airproof.vehicle.link.addresses import BOTH, Addresses

TELL_EVERY = 4096


class Frame(NamedTuple):
    """One frame: when (s, as the log has it), its identifier, its data, and the bus it was heard on."""

    time_s: float
    identifier: int
    addresses: Addresses
    is_question: bool
    data: bytes
    channel: str = ""


class Frames:
    """The frames of one log in their order; what else is in it is counted while they are gone through.

    `progress` is told the share of the file that has been read, now and then.
    """

    def __init__(self, path: Path, progress: Progress | None = None) -> None:
        self.path = path
        self.others = 0
        self.unreadable = 0
        self.broken_off = ""
        self._progress = progress

    def __iter__(self) -> Iterator[Frame]:
        """The frames; a damaged log gives those before the damage, and `broken_off` says what it was.

        Raises UnusableFile where it is no log of a bus or cannot be read, MissingExtra for MDF 4 without asammdf.
        """
        log: OpenLog | None = None
        with ExitStack() as stack:
            try:
                log = opened(self.path, stack)
                with log.messages as messages:
                    for count, message in enumerate(messages):
                        if self._progress is not None and count % TELL_EVERY == 0:
                            self._progress(log.file.tell() / max(1, self.path.stat().st_size))
                        kind = _kind(message.arbitration_id, extended=message.is_extended_id)
                        if kind is None or message.is_error_frame or message.is_remote_frame:
                            self.others += 1
                            continue
                        channel = "" if message.channel is None else str(message.channel)
                        data = bytes(message.data)
                        yield Frame(message.timestamp, message.arbitration_id, *kind, data, channel)
            except (MissingExtra, UnusableFile):
                raise
            except Exception as fault:  # python-can raises whatever its parsers meet in a damaged file
                self.broken_off = f"{type(fault).__name__}: {str(fault)[:80]}"
                let_go(fault)
            if log is not None and log.sieve is not None:
                self.others += log.sieve.others
                self.unreadable += log.sieve.unreadable


@lru_cache(maxsize=4096)
def _kind(identifier: int, *, extended: bool) -> tuple[Addresses, bool] | None:
    """The addresses an identifier belongs to, and whether it asks; None where it is none of the legislated ones."""
    for addresses in BOTH:
        asks = addresses.is_question(identifier, extended=extended)
        if asks or addresses.is_answer(identifier, extended=extended):
            return addresses, asks
    return None
