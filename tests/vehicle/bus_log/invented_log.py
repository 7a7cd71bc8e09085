"""Frames of an invented drive, for logs: a tester asks, the engine's unit answers and a gearbox joins in."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

import can

START_S = 1_700_000_000.0

Line = tuple[float, int, str]
"""When (s from the start), identifier, data as hexadecimal."""

VIN_FRAMES = ("10 14 49 02 01 31 4D 38", "21 47 44 4D 39 41 58 4B", "22 50 30 34 32 37 38 38")
"""The VIN 1M8GDM9AXKP042788 in three frames, as constructed in the check values."""


def live_data(rounds: int = 50) -> Iterator[Line]:
    """Engine speed asked of all, then four items at once of the engine's unit; other traffic between."""
    for turn in range(rounds):
        at = 0.2 * turn
        yield at, 0x7DF, "02 01 0C 00 00 00 00 00"
        yield at + 0.010, 0x7E8, f"04 41 0C 1A {turn:02X} AA AA AA"
        yield at + 0.014, 0x7E9, f"04 41 0C 1B {turn:02X} AA AA AA"
        yield at + 0.050, 0x123, "DE AD BE EF"
        yield at + 0.060, 0x7E0, "05 01 0B 0D 05 10 00 00"
        yield at + 0.080, 0x7E8, f"10 0A 41 0B {turn + 30:02X} 0D 32 05"
        yield at + 0.081, 0x7E0, "30 00 00 00 00 00 00 00"
        yield at + 0.090, 0x7E8, "21 7B 10 01 A4 00 00 00"


def told(start: float = 20.0) -> Iterator[Line]:
    """VIN, codes, a freeze frame, readiness."""
    script: Iterable[tuple[int, str]] = (
        (0x7DF, "02 09 02"),
        (0x7E8, VIN_FRAMES[0]),
        (0x7E0, "30 00 00"),
        (0x7E8, VIN_FRAMES[1]),
        (0x7E8, VIN_FRAMES[2]),
        (0x7DF, "01 03"),
        (0x7E8, "06 43 02 01 06 01 71"),
        (0x7E9, "02 43 00"),
        (0x7DF, "01 07"),
        (0x7E8, "04 47 01 02 99"),
        (0x7DF, "03 02 02 00"),
        (0x7E8, "05 42 02 00 01 06"),
        (0x7DF, "05 02 0C 00 0B 00"),
        (0x7E8, "08 42 0C 00 0C 80 0B"),  # a length that does not fit: lost
        (0x7DF, "03 02 0C 00"),
        (0x7E8, "05 42 0C 00 0C 80"),
        (0x7DF, "03 02 0B 00"),
        (0x7E8, "04 42 0B 00 34"),
        (0x7DF, "02 01 01"),
        (0x7E8, "06 41 01 82 07 65 04"),
        (0x7DF, "02 01 00"),
        (0x7E8, "06 41 00 BE 1F A8 13"),
        (0x7DF, "02 09 04"),
        (0x7E8, "03 7F 09 31"),
    )
    for step, (identifier, data) in enumerate(script):
        yield start + 0.02 * step, identifier, data


def message(line: Line, *, extended: bool = False) -> can.Message:
    """The line as python-can has it."""
    at, identifier, data = line
    return can.Message(
        timestamp=START_S + at, arbitration_id=identifier, is_extended_id=extended, data=bytes.fromhex(data)
    )


def write_log(path: Path, lines: Iterable[Line], *, extended: bool = False) -> Path:
    """A log as python-can writes it, in the format of the suffix."""
    with can.Logger(str(path)) as logger:
        for line in lines:
            logger.on_message_received(message(line, extended=extended))
    return path
