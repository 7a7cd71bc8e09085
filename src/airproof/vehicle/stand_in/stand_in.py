"""The stand-in as a chain of events: frames in, frames out, each at its time, whatever clock drives it.

It answers as its manners say: late, busy, pending, not at all, in the wrong length; frames get lost, units start anew
in the middle of an answer, other frames come between.
"""

from __future__ import annotations

import heapq
import itertools
import math
from collections.abc import Callable, Sequence
from functools import partial
from typing import Protocol

import can
import numpy as np

from airproof.vehicle.answers.refusals import BUSY, PENDING, refusal_answer
from airproof.vehicle.link.addresses import Addresses
from airproof.vehicle.link.assembly import FLOW_CONTROL, SINGLE, kind_of
from airproof.vehicle.stand_in.manners import Manners
from airproof.vehicle.stand_in.sending import Sender

_PAUSE_S = 0.0005  # between two looks at frames that wait for a tester's pause
_CHATTER = (0x0A0, 0x500)  # identifiers of other frames, none of them legislated


class ControlUnit(Protocol):
    """One control unit: what it answers."""

    @property
    def id(self) -> int:
        """The identifier of its answers."""
        ...

    def answer(self, question: bytes, now_s: float, *, to_all: bool, at_once: int) -> bytes | None:
        """The answer to a question, at most `at_once` items of it; None is silence."""
        ...


class StandIn:
    """Control units on one bus. `take` what is on the bus, and put on it what is `due`, not before `next_s`."""

    def __init__(self, units: Sequence[ControlUnit], manners: Manners, addresses: Addresses, seed: int = 1) -> None:
        self.manners = manners
        self.addresses = addresses
        self._units = {unit.id: unit for unit in units}
        self._senders = {unit.id: Sender(addresses, unit.id) for unit in units}
        self._silent_until = dict.fromkeys(self._units, -math.inf)
        self._rng = np.random.default_rng(seed)
        self._events: list[tuple[float, int, Callable[[float], list[can.Message]]]] = []
        self._number = itertools.count()
        self._answering = dict.fromkeys(self._units, 0)
        if manners.chatter_per_s:
            self._at(0.0, self._chatter)

    @property
    def next_s(self) -> float:
        """When something is to be put on the bus next; infinite where nothing is waiting."""
        return self._events[0][0] if self._events else math.inf

    def take(self, message: can.Message, now_s: float) -> None:
        """A frame of somebody else's on the bus."""
        identifier = message.arbitration_id
        if not self.addresses.is_question(identifier, extended=message.is_extended_id) or self._lost():
            return
        to_all = identifier == self.addresses.functional
        asked = list(self._units) if to_all else [self.addresses.answer_of(identifier)]
        for unit in asked:
            if unit not in self._units or now_s < self._silent_until[unit]:
                continue
            kind, data = kind_of(message.data), bytes(message.data)
            if kind == FLOW_CONTROL and not to_all and len(data) >= 3:
                self._pass(unit, self._senders[unit].flow_control(message), now_s)
            elif kind == SINGLE and 1 <= data[0] <= len(data) - 1:
                self._asked(unit, data[1 : 1 + data[0]], now_s, to_all=to_all)

    def due(self, now_s: float) -> list[can.Message]:
        """The frames to be put on the bus by now, in their order."""
        out: list[can.Message] = []
        while self._events and self._events[0][0] <= now_s:
            at, _, event = heapq.heappop(self._events)
            out.extend(frame for frame in event(at) if not self._lost())
        return out

    def _asked(self, unit: int, question: bytes, now_s: float, *, to_all: bool) -> None:
        manners, rng = self.manners, self._rng
        if rng.random() < manners.silent_share:
            return
        self._answering[unit] += 1
        turn = self._answering[unit]
        after = now_s + max(manners.answers_after_s + manners.jitter_s * rng.uniform(-1.0, 1.0), 0.0)

        def say(payload: bytes, at_s: float) -> None:
            self._at(at_s, lambda at: self._say(unit, payload, at))

        if rng.random() < manners.busy_share:
            say(refusal_answer(question[0], BUSY), after)
            return
        if rng.random() < manners.pending_share:
            say(refusal_answer(question[0], PENDING), after)
            after += manners.pending_s

        def answer(at: float) -> list[can.Message]:
            if turn != self._answering[unit]:  # asked anew meanwhile: the older question is dropped, as in a car
                return []
            payload = self._units[unit].answer(question, at, to_all=to_all, at_once=manners.items_at_once)
            if payload is None:
                if not manners.says_no or to_all:
                    return []
                payload = refusal_answer(question[0], 0x31)
            return self._say(unit, self._perhaps_wrong(payload), at)

        self._at(after, answer)

    def _perhaps_wrong(self, payload: bytes) -> bytes:
        if self._rng.random() >= self.manners.wrong_length_share:
            return payload
        return payload[:-1] if len(payload) > 1 and self._rng.random() < 0.5 else payload + b"\x00"

    def _say(self, unit: int, payload: bytes, at: float) -> list[can.Message]:
        if at < self._silent_until[unit]:
            return []
        frames = self._senders[unit].answer(payload)
        if len(payload) > 7 and self._rng.random() < self.manners.resets_share:
            self._silent_until[unit] = at + self.manners.resets_s
            self._senders[unit].stop()
        return frames

    def _pass(self, unit: int, frames: Sequence[can.Message], now_s: float) -> None:
        """Put the frames of a long answer on the bus one after the other."""
        gap = self.manners.between_frames_s
        for place, frame in enumerate(frames):
            self._at(now_s + place * gap, partial(self._put, unit, frame))
        if self._senders[unit].pausing:
            self._at(now_s + _PAUSE_S, lambda at: self._goes_on(unit, at))

    def _put(self, unit: int, frame: can.Message, at: float) -> list[can.Message]:
        return [frame] if at >= self._silent_until[unit] else []

    def _goes_on(self, unit: int, at: float) -> list[can.Message]:
        self._pass(unit, self._senders[unit].go_on(), at)
        return []

    def _chatter(self, at: float) -> list[can.Message]:
        self._at(at + self._rng.exponential(1.0 / self.manners.chatter_per_s), self._chatter)
        identifier = int(self._rng.integers(*_CHATTER))
        return [can.Message(arbitration_id=identifier, is_extended_id=False, data=self._rng.bytes(8))]

    def _lost(self) -> bool:
        return self.manners.lost_share > 0.0 and bool(self._rng.random() < self.manners.lost_share)

    def _at(self, when_s: float, event: Callable[[float], list[can.Message]]) -> None:
        heapq.heappush(self._events, (when_s, next(self._number), event))
