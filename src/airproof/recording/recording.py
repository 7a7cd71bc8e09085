"""A recording: signals over time from one session on one car, each with its own time stamps.

Nothing is resampled here unless asked for, and slicing copies nothing: a slice holds views into the same arrays.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

Interval = tuple[float, float]
"""From and to, in seconds of the recording's own time."""

LOOK_THERE = "look whether the heading is right, and whether the control unit reports it at all"
"""In a remark on many values that a data line can carry and no working control unit does."""

UNIT_NOT_STATED = "unit not stated"
"""In what is said of a column whose unit had to be guessed, or could not be."""


@dataclass(frozen=True)
class Signal:
    """One quantity of a recording.

    `name` and `unit` are those of signals.SIGNALS (pressures in kPa absolute, temperatures in degC, ...);
    `time` is in seconds from the start of the recording, never decreasing, same length as `values`; no NaN in either.
    `resolution` is the step the values are rounded to, in the same unit, where one can be seen.
    """

    name: str
    unit: str
    time: Floats
    values: Floats
    resolution: float | None = None

    def __len__(self) -> int:
        return int(self.time.size)

    def between(self, start_s: float, end_s: float) -> Signal:
        """The part with start_s <= time < end_s, as a view."""
        first, last = np.searchsorted(self.time, (start_s, end_s))
        return replace(self, time=self.time[first:last], values=self.values[first:last])

    def at(self, times: Floats, how: Literal["latest", "linear"] = "latest", max_gap_s: float = np.inf) -> Floats:
        """The signal at other times: the latest sample at or before each, or linear between samples.

        NaN before the first sample, and where the samples used lie more than max_gap_s away.
        """
        wanted = np.asarray(times, dtype=np.float64)
        out = np.full(wanted.shape, np.nan)
        if not len(self):
            return out
        before = np.searchsorted(self.time, wanted, side="right") - 1
        known = before >= 0
        index = np.clip(before, 0, None)
        if how == "latest":
            out[known] = self.values[index[known]]
            age = wanted - self.time[index]
        else:
            out[:] = np.interp(wanted, self.time, self.values)
            after = np.clip(index + 1, None, len(self) - 1)
            age = np.minimum(wanted - self.time[index], np.abs(self.time[after] - wanted))
            known = known & (wanted <= self.time[-1])
        out[~known | (age > max_gap_s)] = np.nan
        return out


@dataclass(frozen=True)
class Recording:
    """Signals by name, with the report of how they were read."""

    signals: Mapping[str, Signal]
    label: str = "recording"
    report: ReadReport = field(default_factory=lambda: ReadReport())

    def __contains__(self, name: object) -> bool:
        return name in self.signals

    def __getitem__(self, name: str) -> Signal:
        return self.signals[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self.signals)

    def get(self, name: str) -> Signal | None:
        """The signal of that name, or None."""
        return self.signals.get(name)

    @property
    def start_s(self) -> float:
        """Time of the first sample of any signal, s."""
        return min((float(s.time[0]) for s in self.signals.values() if len(s)), default=0.0)

    @property
    def end_s(self) -> float:
        """Time of the last sample of any signal, s."""
        return max((float(s.time[-1]) for s in self.signals.values() if len(s)), default=0.0)

    @property
    def duration_s(self) -> float:
        """From the first sample to the last, s."""
        return self.end_s - self.start_s

    def between(self, start_s: float, end_s: float) -> Recording:
        """The part with start_s <= time < end_s; views, nothing is copied."""
        return replace(self, signals={n: s.between(start_s, end_s) for n, s in self.signals.items()})


@dataclass(frozen=True)
class ColumnReading:
    """What became of one column of a file."""

    heading: str
    signal: str | None
    unit: str | None
    how: Literal["stated", "guessed", "mapped", "left out"]
    says: str


@dataclass(frozen=True)
class ReadReport:
    """What was understood, guessed and left out when a file was read; every line is in the user's words."""

    source: str = ""
    columns: tuple[ColumnReading, ...] = ()
    remarks: tuple[str, ...] = ()
    rows_read: int = 0
    rows_set_aside: int = 0

    @property
    def guessed(self) -> tuple[str, ...]:
        """The signals whose unit was guessed, with it; without percent and plain ratios, which have hardly another."""
        return tuple(
            f"{column.signal.replace('_', ' ')} in {column.unit}"
            for column in self.columns
            if column.how == "guessed" and column.signal is not None and column.unit not in ("%", "1")
        )

    @property
    def implausible(self) -> tuple[str, ...]:
        """What was set aside because no working control unit reports it, where that is more than a few values."""
        return tuple(remark for remark in self.remarks if LOOK_THERE in remark)

    @property
    def without_unit(self) -> tuple[ColumnReading, ...]:
        """The columns left out because their unit is neither stated nor to be guessed."""
        return tuple(one for one in self.columns if one.how == "left out" and UNIT_NOT_STATED in one.says)
