"""Several recordings of one car as one, and parts of a recording."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from airproof.recording.recording import Interval, ReadReport, Recording, Signal

BETWEEN_S = 120.0
"""Put between recordings laid one after the other, so that no regime or operating point reaches across."""


def joined(recordings: Sequence[Recording]) -> Recording:
    """Recordings of one car, one after the other on one clock; a single one is returned as it is.

    A signal whose unit differs between recordings cannot be: units are fixed by the signal's name.
    """
    if len(recordings) == 1:
        return recordings[0]
    offset = 0.0
    shifted: list[Recording] = []
    remarks: list[str] = []
    for one in recordings:
        move = offset - one.start_s
        shifted.append(replace(one, signals={n: replace(s, time=s.time + move) for n, s in one.signals.items()}))
        remarks.append(f"{one.label} stands from {offset:.0f} s on")
        offset += one.duration_s + BETWEEN_S
    names = dict.fromkeys(name for one in shifted for name in one)
    signals = {name: _chained([one[name] for one in shifted if name in one]) for name in names}
    report = ReadReport(
        source=", ".join(one.report.source for one in recordings),
        columns=tuple(column for one in recordings for column in one.report.columns),
        remarks=(*remarks, *(remark for one in recordings for remark in one.report.remarks)),
        rows_read=sum(one.report.rows_read for one in recordings),
        rows_set_aside=sum(one.report.rows_set_aside for one in recordings),
    )
    return Recording(signals, label=" + ".join(one.label for one in recordings), report=report)


def only_within(recording: Recording, intervals: Sequence[Interval]) -> Recording:
    """Only the samples inside the intervals."""
    return replace(recording, signals={n: _inside(s, intervals) for n, s in recording.signals.items()})


def _chained(parts: list[Signal]) -> Signal:
    resolutions = [part.resolution for part in parts if part.resolution is not None]
    return replace(
        parts[0],
        time=np.concatenate([part.time for part in parts]),
        values=np.concatenate([part.values for part in parts]),
        resolution=max(resolutions, default=None),
    )


def _inside(signal: Signal, intervals: Sequence[Interval]) -> Signal:
    keep = np.zeros(len(signal), dtype=bool)
    for start, end in intervals:
        first, last = np.searchsorted(signal.time, (start, end))
        keep[first:last] = True
    return replace(signal, time=signal.time[keep], values=signal.values[keep])
