"""Readiness: which monitors the car has and which have finished, from items 01 and 41.

The continuous monitors stand in byte B, the others in C (supported) and D (not complete). What the bits of C and D mean
depends on the kind of ignition, bit B3 (read in a stored text of ISO 15031-5 for spark ignition; compression ignition
from memory of SAE J1979).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import Literal

import tomli

from airproof.vehicle.answers.payload import unreadable

IgnitionKind = Literal["spark", "compression"]
LENGTH = 4


@dataclass(frozen=True)
class CarReadiness:
    """What one control unit tells: lamp, number of codes, and by monitor whether it is complete.

    A monitor that the car does not have is not in `complete`; item 41 tells of no lamp and no codes.
    """

    lamp: bool
    code_count: int
    ignition: IgnitionKind
    complete: Mapping[str, bool] = field(default_factory=dict)


@dataclass(frozen=True)
class Monitor:
    """One monitor: the bit that stands for it, its name in words, and how that stands."""

    id: str
    bit: int
    title: str


@cache
def monitors_of(kind: Literal["continuous", "spark", "compression"]) -> tuple[Monitor, ...]:
    """The monitors of byte B, or those of bytes C and D for one kind of ignition."""
    raw = tomli.loads((files("airproof.vehicle.answers") / "data" / "readiness.toml").read_text(encoding="utf-8"))
    return tuple(Monitor(name, entry["bit"], entry["title"]) for name, entry in raw[kind].items())


def read_readiness(data: bytes) -> CarReadiness:
    """What the data bytes of item 01 (or 41) tell.

    Raises UnusableAnswer for fewer than four bytes.
    """
    if len(data) < LENGTH:
        raise unreadable(data, "four bytes of readiness")
    a, b, c, d = data[:LENGTH]
    ignition: IgnitionKind = "compression" if b >> 3 & 1 else "spark"
    complete = {one.id: not b >> (one.bit + 4) & 1 for one in monitors_of("continuous") if b >> one.bit & 1}
    complete |= {one.id: not d >> one.bit & 1 for one in monitors_of(ignition) if c >> one.bit & 1}
    return CarReadiness(bool(a >> 7), a & 0x7F, ignition, complete)


def readiness_bytes(readiness: CarReadiness) -> bytes:
    """The data bytes of item 01 that tell this; monitors that its kind of ignition does not have are passed over."""
    a = int(readiness.lamp) << 7 | min(readiness.code_count, 0x7F)
    b = int(readiness.ignition == "compression") << 3
    c = d = 0
    for one in monitors_of("continuous"):
        if one.id in readiness.complete:
            b |= 1 << one.bit | int(not readiness.complete[one.id]) << (one.bit + 4)
    for one in monitors_of(readiness.ignition):
        if one.id in readiness.complete:
            c |= 1 << one.bit
            d |= int(not readiness.complete[one.id]) << one.bit
    return bytes([a, b, c, d])
