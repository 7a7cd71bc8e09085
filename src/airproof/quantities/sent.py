"""SENT, the one-wire digital output of newer pressure sensors (SAE J2716): nibble times and checksums.

A frame: calibration pulse, status nibble, one to six data nibbles, a checksum nibble, perhaps a pause. A
nibble is the time between two falling edges: 12 ticks and as many more as its value.

Sources
[J2716] SAE J2716; figures as given by sensor data sheets and public answers (tick, calibration pulse, nibble,
        checksum polynomial, seed and both forms); the range of the tick from memory of it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from airproof.errors import UnusableQuantity

TYPICAL_TICK_S = 3e-6
"""Tick that most sensors use, s [J2716]."""

TICK_RANGE_S = (3e-6, 90e-6)
"""Ticks that are allowed, s; from memory of [J2716]."""

CALIBRATION_TICKS = 56
"""Length of the calibration pulse, ticks [J2716]."""

NIBBLE_ZERO_TICKS = 12
"""Length of a nibble of value 0, ticks [J2716]."""

CRC_SEED = 5
"""Start value of the checksum [J2716]."""


def _crc_table() -> tuple[int, ...]:
    """One step of the polynomial x^4 + x^3 + x^2 + 1 for each nibble."""
    table = []
    for nibble in range(16):
        rest = nibble
        for _ in range(4):
            rest = (rest << 1) ^ (0b11101 if rest & 0b1000 else 0)
        table.append(rest & 0b1111)
    return tuple(table)


CRC_TABLE = _crc_table()


def _checked(nibbles: Sequence[int]) -> Sequence[int]:
    if not 1 <= len(nibbles) <= 6 or any(not 0 <= int(n) <= 15 or int(n) != n for n in nibbles):
        raise UnusableQuantity(
            f"SENT data nibbles {list(nibbles)}",
            "one to six whole numbers from 0 to 15",
            "Leave out the status nibble and the checksum.",
        )
    return nibbles


def nibble_ticks(value: int) -> int:
    """Length of a nibble, ticks: 12 for 0 to 27 for 15."""
    _checked([value])
    return NIBBLE_ZERO_TICKS + value


def nibble_from_ticks(ticks: float) -> int:
    """The value of a nibble that lasted this many ticks, rounded; refused where it is no nibble."""
    if not NIBBLE_ZERO_TICKS - 0.5 <= ticks < NIBBLE_ZERO_TICKS + 15.5:
        raise UnusableQuantity(
            f"a SENT pulse of {ticks:g} ticks",
            "11.5 to 27.5 ticks",
            "Check the tick: the calibration pulse is 56 of them.",
        )
    return math.floor(ticks + 0.5) - NIBBLE_ZERO_TICKS


def tick_from_calibration(pulse_s: float) -> float:
    """The tick (s) a sensor uses, from the length of its calibration pulse (s)."""
    return pulse_s / CALIBRATION_TICKS


def frame_ticks(status: int, data: Sequence[int], crc: int) -> int:
    """Length of a whole frame without pause, ticks, from its nibbles."""
    return CALIBRATION_TICKS + sum(nibble_ticks(n) for n in (status, *_checked(data), crc))


def frame_range_ticks(data_nibbles: int = 6) -> tuple[int, int]:
    """The shortest and longest frame with so many data nibbles, without pause, ticks (any status and
    checksum).
    """
    zeros, fifteens = [0] * data_nibbles, [15] * data_nibbles
    return frame_ticks(0, zeros, 0), frame_ticks(15, fifteens, 15)


def crc_legacy(data: Sequence[int]) -> int:
    """The older checksum over the data nibbles: c = T[c] xor d for each, from the seed [J2716]."""
    c = CRC_SEED
    for nibble in _checked(data):
        c = CRC_TABLE[c] ^ int(nibble)
    return c


def crc_recommended(data: Sequence[int]) -> int:
    """The recommended checksum over the data nibbles: the older one and a last table step [J2716].

    Trap: the status nibble is not part of it; a form with the status nibble and c = T[c xor d] that some
    sheets and public code use is another one.
    """
    return CRC_TABLE[crc_legacy(data)]


LOW_TICKS = 5
"""How long the wire stays low at the start of each pulse, ticks; from memory of [J2716]: at least 4, usually 5."""


def average_share(ticks: int, data_nibbles: int = 6, low_ticks: float = LOW_TICKS) -> float:
    """Share of its high level that the average of the signal has, for a frame of that length (ticks, pause included).

    Each pulse (calibration, status, data, checksum) begins with a falling edge and stays low for `low_ticks`. This is
    all that a meter on direct voltage shows: it says that frames are there, and nothing of what they hold.
    """
    pulses = 3 + data_nibbles
    return 1.0 - pulses * low_ticks / ticks
