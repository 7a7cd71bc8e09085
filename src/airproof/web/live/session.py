"""A recording under way: in a thread of its own, whoever looks at it; it goes on when the page is closed."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Mapping
from contextlib import closing
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from airproof.errors import AirproofError, UnusableRequest
from airproof.recording.recording import Recording, Signal
from airproof.recording.signals import signal_kind
from airproof.vehicle.link.adapter import Adapter
from airproof.vehicle.link.clock import SystemClock
from airproof.vehicle.link.finding import Found, find
from airproof.vehicle.readout.read_out import read_out
from airproof.vehicle.readout.readout import Readout
from airproof.vehicle.recorder.plan import Speaker, plan_for
from airproof.vehicle.recorder.recorder import Recorder, Status
from airproof.web.faults import reported

EVERY_S = 0.5
KEPT = 2400
"""Snapshots kept for the traces on the page: twenty minutes; the file has everything."""

FOLDER = "live"


@dataclass
class Session:
    """One car on one adapter; `readout` what it told, `status` how its recording stands."""

    adapter: Adapter
    clock: SystemClock
    found: Found
    readout: Readout | None = None
    recorder: Recorder | None = None
    status: Status | None = None
    fault: str = ""
    _samples: dict[str, deque[tuple[float, float]]] = field(default_factory=dict)
    _thread: threading.Thread | None = None

    @property
    def recording(self) -> bool:
        """Whether a recording is under way."""
        return self._thread is not None and self._thread.is_alive()

    def read_out(self) -> Readout:
        """Everything the car holds; changes nothing. Raises UnusableRequest while a recording asks the same car."""
        if self.recording:
            raise UnusableRequest("a recording is under way", "one that asks the car at a time", "Stop it first.")
        with closing(self.found.connect(self.clock)) as link:
            self.readout = read_out(link, self.found)
        return self.readout

    def begin(self, folder: Path, probability: Mapping[str, float] | None) -> Path:
        """Begin to record into a new file in that folder; what tells the open causes apart is asked for most."""
        if self.recording:
            raise UnusableRequest("a recording is under way", "one at a time", "Stop it first.")
        readout = self.readout or self.read_out()
        speakers = [Speaker(unit.unit.id, unit.unit.new_style, unit.items) for unit in readout.units]
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        path = folder / f"drive-{datetime.now(UTC):%Y%m%d-%H%M%S}.csv"
        self.recorder = Recorder(
            lambda: self.found.connect(self.clock),
            plan_for(speakers, probability),
            path,
            self.clock,
            full_scales={unit.unit.id: unit.full_scales for unit in readout.units},
            probability=probability,
        )
        self._samples.clear()
        self.status, self.fault = None, ""
        self._thread = threading.Thread(target=self._run, args=(self.recorder,), daemon=True, name="recording")
        self._thread.start()
        return path

    def _run(self, recorder: Recorder) -> None:
        try:
            for status in recorder.run(EVERY_S):
                self.status = status
                for name, value in status.latest.items():
                    self._samples.setdefault(name, deque(maxlen=KEPT)).append((status.at_s, value))
        except AirproofError as fault:
            self.fault = str(fault)
        except Exception as fault:  # what was recorded is whole, and whoever looks must know that it ended
            self.fault = reported(fault)

    def end(self, patience_s: float = 5.0) -> Path | None:
        """Stop the recording; its file, whole on the disk."""
        if self.recorder is None:
            return None
        self.recorder.stop()
        if self._thread is not None:
            self._thread.join(patience_s)
        self.status = self.recorder.status()
        return self.recorder.path

    def lately(self, seconds: float) -> Recording:
        """The last seconds of what was heard, as snapshots: for a page; the file has every value."""
        signals = {}
        for name, samples in list(self._samples.items()):
            pairs = np.array(list(samples), dtype=np.float64)
            if len(pairs) > 1:
                pairs = pairs[pairs[:, 0] >= pairs[-1, 0] - seconds]
                signals[name] = Signal(name, signal_kind(name).unit, pairs[:, 0], pairs[:, 1])
        return Recording(signals, label="live")


def find_car(adapter: Adapter, pace: float = 1.0) -> Session:
    """Find the car on an adapter; raises as `find`."""
    clock = SystemClock(pace) if pace != 1.0 else SystemClock()
    return Session(adapter, clock, find(adapter, clock))
