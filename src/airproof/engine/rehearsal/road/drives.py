"""Drives: the workshop round, a mixed drive, the errands before them, or the speed of a recording driven again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from airproof.engine.rehearsal.records import Floats
from airproof.engine.rehearsal.road.driving import KINDS
from airproof.engine.rehearsal.tables import tables
from airproof.errors import BrokenKnowledge, UnusableFile, UnusableRequest
from airproof.recording.readers import read_recording

LONGEST_S = 4 * 3600.0
STANDING_KMH = 1.0
_FASTEST_KMH = 180.0  # of the simulated car's gears and road


@dataclass(frozen=True)
class Drive:
    """What is asked of the driver: for so many seconds this kind of driving, with that road speed (m/s) at its end."""

    name: str
    seconds: Floats
    kinds: Floats
    targets: Floats

    @property
    def duration_s(self) -> float:
        """At most so long, s: a pull ends when the engine is revved out."""
        return float(self.seconds.sum())


def _tables() -> Mapping[str, Any]:
    found = tables("drives")
    if any(kind not in KINDS for table in found.values() for _, kind, _ in table["stretches"]):
        raise BrokenKnowledge(
            "a kind of driving that is none", "kinds of driving.KINDS", "Mend it.", where="drives.toml"
        )
    return found


def drive_names() -> tuple[str, ...]:
    """The drives that can be asked for by name."""
    return tuple(name for name in _tables() if name != "errand")


def of_stretches(name: str, stretches: Sequence[tuple[float, str, float]]) -> Drive:
    """A drive from (seconds, kind, km/h at the end)."""
    seconds = np.array([s for s, _, _ in stretches], dtype=np.float64)
    kinds = np.array([KINDS.index(kind) for _, kind, _ in stretches], dtype=np.float64)
    return Drive(name, seconds, kinds, np.array([kmh / 3.6 for _, _, kmh in stretches], dtype=np.float64))


def named_drive(name: str) -> Drive:
    """The drive of that name. Raises UnusableRequest where there is none."""
    table = _tables().get(name)
    if table is None:
        wanted = f"one of {', '.join(drive_names())}, or a file with the road speed over time"
        raise UnusableRequest(f'"{name}"', wanted, "Check the name or the path.", where="--drive")
    return of_stretches(name, table["stretches"])


def drive_from(text: str) -> Drive:
    """A drive by name, or the road speed of a recording, driven again by this car.

    Raises UnusableRequest for a name that is none, UnusableFile for a file without time and vehicle speed.
    """
    if text in _tables() and text != "errand":
        return named_drive(text)
    path = Path(text)
    if not path.exists() and not path.suffix:
        return named_drive(text)
    recording = read_recording(path)
    speed = recording.get("vehicle_speed")
    if speed is None or len(speed) < 10:
        way_out = "A drive needs the columns Time (s) and Vehicle speed (km/h)."
        raise UnusableFile("has no vehicle speed", "the road speed over time", way_out, where=text)
    duration = float(speed.time[-1] - speed.time[0])
    if not 10.0 <= duration <= LONGEST_S:
        wanted = f"from 10 s to {LONGEST_S / 3600:.0f} h"
        raise UnusableFile(f"lasts {duration:.0f} s", wanted, "Cut it to the part that matters.", where=text)
    if float(np.max(speed.values)) > _FASTEST_KMH:
        given = f"goes up to {np.max(speed.values):.0f} km/h"
        raise UnusableFile(given, f"{_FASTEST_KMH:.0f} km/h at most", "Check the unit of its speed.", where=text)
    at = np.arange(0.0, duration, 1.0)
    kmh = speed.at(at + speed.time[0], "linear")
    standing = (kmh < STANDING_KMH) & (np.append(kmh[1:], 0.0) < STANDING_KMH)
    stretches = [
        (1.0, "idle" if still else "drive", 0.0 if still else v) for still, v in zip(standing, kmh, strict=True)
    ]
    return of_stretches(path.name, [(4.0, "off", 0.0), (1.6, "crank", 0.0), (5.0, "idle", 0.0), *stretches])
