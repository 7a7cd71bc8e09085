"""Recording a car: question after question, each value with its own time, until somebody says stop.

    recorder = Recorder(lambda: found.connect(clock), plan_for(speakers), Path("drive.csv"), clock)
    for status in recorder.run():
        ...                       # show it; recorder.mark("hesitated here"); recorder.stop()

`run` yields a snapshot every so often and never ends by itself; where the adapter goes or the car falls silent it says
so, tries again, and goes on in the same file.
"""

from __future__ import annotations

import threading
from collections import Counter, deque
from collections.abc import Callable, Generator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

import numpy as np

from airproof.errors import Unreachable, UnusableAnswer, UnusableRequest
from airproof.recording.regimes import Regime
from airproof.recording.signals import signal_kind
from airproof.recording.units_stated import in_signal_unit
from airproof.vehicle.answers.live import identifier_request, live_request, read_identified, read_live
from airproof.vehicle.items import FullScales, Value, decode_one
from airproof.vehicle.link.clock import AN_INSTANT_S, Clock
from airproof.vehicle.link.questions import NOT_THERE, Answer, Link
from airproof.vehicle.recorder.live import LiveRegimes, Missing
from airproof.vehicle.recorder.plan import Plan, PlannedItem
from airproof.vehicle.recorder.polling import Polling
from airproof.vehicle.recorder.recording_file import RecordingFile

State = Literal["recording", "the car is silent", "the adapter is gone", "stopped"]

TRIES_AGAIN_S = 1.0
SILENT_AFTER = 8
"""Questions in a row without an answer after which the car counts as silent; judged: Airproof authors."""

FINEST = 0.01
"""Written of values whose full scale the car states itself: finer than any such scale over 255."""

_LATENCIES = 200


@dataclass(frozen=True)
class Status:
    """How the recording stands.

    `at_s` is its own time; `latest` the newest value of each signal, in its unit; `items_per_s` over the last seconds;
    `latency_s` the usual time from question to answer; `heard` what went wrong and was made good.
    """

    state: State
    at_s: float
    rows: int
    bytes: int
    items_per_s: float
    latency_s: float
    latest: Mapping[str, float]
    regime: Regime | None
    seconds: Mapping[Regime, float]
    missing: tuple[Missing, ...]
    heard: Mapping[str, int]
    marks: int


class Recorder:
    """Records by a plan into a new file. `connect` opens the link, at first and again after a break."""

    def __init__(
        self,
        connect: Callable[[], Link],
        plan: Plan,
        path: Path,
        clock: Clock,
        *,
        full_scales: Mapping[int, FullScales] | None = None,
        probability: Mapping[str, float] | None = None,
        as_fast_as_possible: bool = False,
    ) -> None:
        if not plan.items:
            raise UnusableRequest("the car announces nothing that is recorded", "live data", "Read the codes instead.")
        self._connect = connect
        self._plan = plan
        self._clock = clock
        self._scales = full_scales or {}
        self._probability = probability
        self._polling = Polling(plan, as_fast_as_possible=as_fast_as_possible)
        self._regimes = LiveRegimes()
        self._to_signal = {name: _scale(value, name) for one in plan.items for name, value in one.values.items()}
        self._file = RecordingFile(path, plan.signals, _steps(plan, self._scales))
        self._stop = threading.Event()
        self._to_mark: deque[str] = deque()
        self._marks = 0
        self._latest: dict[str, float] = {}
        self._latencies: deque[float] = deque(maxlen=_LATENCIES)
        self._heard: Counter[str] = Counter()
        self._state: State = "recording"
        self._silent = 0
        self._items = 0
        self._items_per_s = 0.0
        self._link: Link | None = None
        self._began_s = clock.now()
        self._ended_s: float | None = None

    @property
    def path(self) -> Path:
        """Where it is written."""
        return self._file.path

    def stop(self) -> None:
        """End after the question that is under way; from any thread."""
        self._stop.set()

    def mark(self, text: str) -> None:
        """Note that something happened now; from any thread."""
        self._to_mark.append(text)

    def run(self, every_s: float = 1.0, for_s: float | None = None) -> Generator[Status]:
        """Record, with a snapshot every so many seconds, until stopped or `for_s` seconds are over."""
        self._began_s = self._clock.now()
        told_s, told_items = 0.0, 0
        self._file.note(0.0, "began", wall=datetime.now(UTC).isoformat(), signals=list(self._plan.signals))
        try:
            while not self._stop.is_set() and (for_s is None or self._at() < for_s):
                self._put_marks()
                self._go_on()
                now = self._at()
                if now - told_s >= every_s:
                    self._items_per_s = (self._items - told_items) / (now - told_s)
                    told_s, told_items = now, self._items
                    yield self.status()
        finally:
            self._end()
        yield self.status()

    def status(self) -> Status:
        """How it stands now."""
        heard = self._heard if self._link is None else self._heard + self._link.heard
        return Status(
            state=self._state,
            at_s=self._ended_s if self._ended_s is not None else self._at(),
            rows=self._file.rows,
            bytes=self._file.size,
            items_per_s=self._items_per_s,
            latency_s=self._latency(),
            latest=dict(self._latest),
            regime=self._regimes.now,
            seconds=dict(self._regimes.seconds),
            missing=self._regimes.missing(self._probability),
            heard=heard,
            marks=self._marks,
        )

    def _go_on(self) -> None:
        """One question, or one try to be connected again."""
        try:
            if self._link is None:
                self._link = self._connect()
            self._ask_next(self._link)
        except Unreachable as fault:
            self._broke(str(fault))
            self._let_go()
            self._rest(TRIES_AGAIN_S)

    def _let_go(self) -> None:
        if self._link is not None:
            self._heard.update(self._link.heard)
            self._link.close()
            self._link = None

    def _end(self) -> None:
        self._state, self._ended_s = "stopped", self._at()
        self._let_go()
        try:
            self._put_marks()
            self._file.note(self._ended_s, "ended", rows=self._file.rows, latency_s=round(self._latency(), 5))
        finally:
            self._file.close()

    def _ask_next(self, link: Link) -> None:
        asked = self._polling.next(self._clock.now())
        if not asked:
            self._rest(min(max(self._polling.wait_s(self._clock.now()), 0.001), 0.05))
            return
        numbers = [one.item.number for one in asked]
        newer = asked[0].new_style
        question = identifier_request(numbers) if newer else live_request(numbers)
        answers = link.ask(question, asked[0].unit, tries=1)
        if not answers:
            self._was_silent(asked)
            return
        self._silent = 0
        self._back()
        (answer,) = answers
        if answer.refused is not None:
            self._polling.unanswered(asked, not_there=answer.refused in NOT_THERE)
            return
        try:
            parts = (read_identified if newer else read_live)(answer.payload, numbers, "forgiving").parts
        except UnusableAnswer:
            self._heard["unreadable"] += 1
            self._polling.unanswered(asked, not_there=False)
            return
        by_number = {one.item.number: one for one in asked}
        values: dict[str, float] = {}
        read = []
        for number, data in parts:
            planned = by_number.get(number)
            if planned is None or len(data) not in planned.item.lengths:
                self._heard["unreadable"] += 1
                continue
            read.append(number)
            values |= self._values(planned, data)
        self._polling.answered(asked, read)
        self._keep(answer, values, len(read))

    def _values(self, planned: PlannedItem, data: bytes) -> dict[str, float]:
        found = decode_one(planned.item, data, mode="forgiving", full_scales=self._scales.get(planned.unit))
        values = {}
        for signal, value in planned.values.items():
            if value.name in found:
                times, plus = self._to_signal[signal]
                values[signal] = found[value.name] * times + plus
        return values

    def _keep(self, answer: Answer, values: Mapping[str, float], items: int) -> None:
        if not values:
            return
        at = answer.made_s - self._began_s
        self._file.add(at, values)
        self._regimes.add(at, values)
        self._latest.update(values)
        self._latencies.append(answer.first_s - answer.asked_s)
        self._items += items

    def _was_silent(self, asked: Sequence[PlannedItem]) -> None:
        self._silent += 1
        self._heard["silent"] += 1
        if self._silent < SILENT_AFTER:
            self._polling.unanswered(asked)
            return
        if self._state != "the car is silent":
            self._state = "the car is silent"
            self._file.note(self._at(), "silent")
        self._rest(TRIES_AGAIN_S)

    def _broke(self, why: str) -> None:
        if self._state != "the adapter is gone":
            self._state = "the adapter is gone"
            self._file.note(self._at(), "gone", why=why)

    def _back(self) -> None:
        if self._state != "recording":
            self._state = "recording"
            self._file.note(self._at(), "back")

    def _rest(self, seconds: float) -> None:
        """Wait in small pieces, so that stopping does not wait."""
        until = self._clock.now() + seconds
        while not self._stop.is_set() and (left := until - self._clock.now()) > AN_INSTANT_S:
            self._clock.sleep(min(left, 0.1))

    def _put_marks(self) -> None:
        while self._to_mark:
            self._file.note(self._at(), "mark", text=self._to_mark.popleft())
            self._marks += 1

    def _at(self) -> float:
        return self._clock.now() - self._began_s

    def _latency(self) -> float:
        return float(np.median(self._latencies)) if self._latencies else 0.0


def _scale(value: Value, signal: str) -> tuple[float, float]:
    """Factor and offset from an item's unit to the signal's."""
    zero, one = in_signal_unit(np.array([0.0, 1.0]), value.unit, signal_kind(signal))
    return float(one - zero), float(zero)


def _steps(plan: Plan, scales: Mapping[int, FullScales]) -> dict[str, float]:
    """The finest step of each signal, in its unit."""
    steps = {}
    for one in plan.items:
        for signal, value in one.values.items():
            own_scale = value.full_scale is not None and value.full_scale.number in scales.get(one.unit, {})
            steps[signal] = FINEST if own_scale else abs(value.step * _scale(value, signal)[0])
    return steps
