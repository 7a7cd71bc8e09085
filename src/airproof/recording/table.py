"""What every reader of a file format hands on: columns that signals claim, nothing cleaned yet."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from airproof.recording.claims import Claim
from airproof.recording.recording import Floats
from airproof.recording.units_stated import StatedUnit

Progress = Callable[[float], None]
"""Called with the share of the file read so far, 0 to 1."""


@dataclass
class Column:
    """One column of a file as numbers, NaN where there was none.

    `unit` is what cells, a second heading row or the format state beside the heading; `time` is set where the
    column has stamps of its own.
    """

    claim: Claim
    values: Floats
    unit: StatedUnit | None = None
    time: Floats | None = None


@dataclass
class Table:
    """A file's claimed columns, their common time in seconds, and what was noticed on the way.

    `unread` are headings that no signal claims; `keeps_zero` tells that time counts from the file's own start.
    """

    source: str
    time: Floats
    columns: list[Column]
    unread: list[str] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    rows: int = 0
    keeps_zero: bool = True
