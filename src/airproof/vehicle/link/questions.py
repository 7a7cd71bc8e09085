"""Asking a car: one question, the answers of its control units, and an end to every wait.

Timing of ISO 15765-4 and ISO 14229-2, from memory: an answer begins within 50 ms (P2); after "received, answer
pending" (7F xx 78) within 5 s (P2*), and the question is not sent again; silence means that an item is not supported.
A unit that is busy (7F xx 21) is asked again.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass, field, replace

import can

from airproof.vehicle.answers.payload import ANSWERED
from airproof.vehicle.answers.refusals import BUSY, PENDING, REFUSED
from airproof.vehicle.link.addresses import Addresses
from airproof.vehicle.link.assembly import CONSECUTIVE, FIRST, SINGLE, Assembly, head_of, kind_of, single_frame
from airproof.vehicle.link.clock import AN_INSTANT_S, Clock
from airproof.vehicle.link.guard import GuardedBus, Permit

FRAME_S = 0.00027
"""How long a frame of eight bytes lasts at most at 500 kbit/s: 135 bits."""

NOT_THERE = (0x11, 0x12, 0x31)
"""No such service, no such sub-function, out of range (ISO 14229-1): the unit does not have it, as silence says."""

ECHOED = {0x01: 1, 0x02: 2, 0x06: 1, 0x09: 1, 0x19: 1, 0x22: 2, 0x42: 2}
"""How many bytes after the service an answer repeats of its question, by service."""


@dataclass(frozen=True)
class Timing:
    """How long is waited, s."""

    begins: float = 0.050  # P2
    begins_after_pending: float = 5.0  # P2*
    between_frames: float = 0.150  # N_Cr of ISO 15765-4, from memory; ISO 15765-2 alone would allow 1 s
    adapter: float = 0.050  # judged: Airproof authors, an adapter may hold frames back for some 16 ms each way
    busy: float = 0.100  # judged: Airproof authors, twice P2
    longest: float = 20.0  # judged: Airproof authors, four times P2*: a unit pending for longer is stuck
    tries: int = 2
    busy_tries: int = 5

    def at_pace_of(self, clock: Clock) -> Timing:
        """The same waits of the world outside, in seconds of a clock that may run faster."""
        times = 1.0 / clock.real(1.0)
        if times == 1.0:
            return self
        waits = ("begins", "begins_after_pending", "between_frames", "adapter", "busy", "longest")
        return replace(self, **{name: getattr(self, name) * times for name in waits})


@dataclass(frozen=True)
class Answer:
    """What one control unit answered. Times are the link's clock: question sent, first and last frame of the answer, s.

    `refused` is the code of a negative answer, None for a positive one, whose `payload` begins with the service + 40h.
    """

    unit: int
    payload: bytes
    asked_s: float
    first_s: float
    last_s: float
    refused: int | None = None
    pending: int = 0

    @property
    def made_s(self) -> float:
        """When the unit is thought to have taken the value: as it began to answer, one frame before that one was here.

        Judged: Airproof authors, because a unit looks at its questions every some milliseconds, and reads the value and
        answers in one go then; the wait before is not the value's age. It cannot be older than the question.
        """
        return max(self.first_s - FRAME_S, self.asked_s)


@dataclass
class _Ear:
    """What is known of one unit's answer so far."""

    until: float
    first_s: float | None = None
    pending: int = 0
    answer: Answer | None = None


@dataclass
class Link:
    """Questions to the control units of one car.

    `heard` counts what went by: stray, broken, pending, busy, asked again, broken frame.
    """

    bus: GuardedBus
    addresses: Addresses
    clock: Clock
    timing: Timing = field(default_factory=Timing)
    heard: Counter[str] = field(default_factory=Counter)
    _assemblies: dict[int, Assembly] = field(default_factory=dict)

    def ask(
        self, payload: bytes, to: int | None = None, *, of: Collection[int] = (), tries: int | None = None
    ) -> tuple[Answer, ...]:
        """The answers to a question, in the order of the units; none is silence.

        `to` is the unit asked; without it all are, and `of` names those known to answer, so that nobody waits for
        others. A question without any answer is asked again, `tries` times in all, since a frame may get lost.
        Raises NotAllowed for a question that does more than read, Unreachable where the adapter is gone.
        """
        ends = self.clock.now() + self.timing.longest
        left, left_busy = tries or self.timing.tries, self.timing.busy_tries
        while True:
            answers = self._once(payload, to, of, ends, None)
            busy = [one for one in answers if one.refused == BUSY]
            if busy and left_busy > 1 and self.clock.now() < ends:
                left_busy -= 1
                self.heard["busy"] += 1
                self.clock.sleep(self.timing.busy)
            elif not answers and left > 1 and self.clock.now() < ends:
                left -= 1
                self.heard["asked again"] += 1
            else:
                return tuple(sorted(answers, key=lambda one: one.unit))

    def clear(self, payload: bytes, permit: Permit) -> tuple[Answer, ...]:
        """Send what clears codes, once, to all units; what they answered."""
        return tuple(self._once(payload, None, (), self.clock.now() + self.timing.longest, permit))

    def close(self) -> None:
        """Let the adapter go."""
        self.bus.close()

    def _once(
        self, payload: bytes, to: int | None, of: Collection[int], ends: float, permit: Permit | None
    ) -> list[Answer]:
        self._forget()
        identifier = self.addresses.functional if to is None else self.addresses.question_to(to)
        self.bus.send(single_frame(identifier, payload, self.addresses), permit)
        asked = self.clock.now()
        begins = asked + self.timing.begins + self.timing.adapter
        ears: dict[int, _Ear] = {unit: _Ear(begins) for unit in ([to] if to is not None else of)}
        everyone_known = bool(ears)
        overtime = 0
        while overtime < _MOST_LEFT_OVER:
            waits = [ear.until for ear in ears.values() if ear.answer is None]
            if everyone_known and not waits:
                break
            until = min(max([*waits, *([] if everyone_known else [begins])]), ends)
            left = until - self.clock.now()
            # A busy computer may have kept us waiting; then the answer is here already, and is looked at last.
            overtime += left <= AN_INSTANT_S
            message = self.bus.receive(max(left, 0.0))
            if message is not None:
                self._take(message, payload, asked, to, ears, begins)
            elif left <= AN_INSTANT_S:
                break
        if broken := sum(ear.answer is None and ear.first_s is not None for ear in ears.values()):
            self.heard["broken"] += broken
        return [ear.answer for ear in ears.values() if ear.answer is not None]

    def _take(
        self, message: can.Message, question: bytes, asked: float, to: int | None, ears: dict[int, _Ear], begins: float
    ) -> None:
        """One frame off the bus."""
        unit, kind = message.arbitration_id, kind_of(message.data)
        if message.is_error_frame:
            self.heard["broken frame"] += 1
        if message.is_error_frame or message.is_remote_frame or message.is_fd:
            return
        if not self.addresses.is_answer(unit, extended=message.is_extended_id):
            return
        head = head_of(message.data)
        if (to is not None and unit != to) or (kind in (SINGLE, FIRST) and not _belongs(head, question)):
            self.heard["stray"] += 1  # a late answer, or one to somebody else's question
            return
        if kind not in (SINGLE, FIRST) and not (unit in self._assemblies and self._assemblies[unit].waiting):
            self.heard["stray"] += kind == CONSECUTIVE
            return
        ear = ears.setdefault(unit, _Ear(begins))
        if ear.answer is not None:
            self.heard["stray"] += 1
            return
        arrived = max(self.clock.arrived(message.timestamp), asked)
        if kind in (SINGLE, FIRST):
            ear.first_s = arrived
        ear.until = self.clock.now() + self.timing.between_frames + self.timing.adapter
        assembly = self._assembly(unit)
        faults = assembly.faults
        for payload in assembly.feed(message):
            self._complete(payload, question, ear, unit, asked, arrived)
        if assembly.faults > faults and ear.answer is None and not assembly.waiting:
            self.heard["broken"] += 1
            ear.first_s, ear.until = None, self.clock.now()

    def _complete(self, payload: bytes, question: bytes, ear: _Ear, unit: int, asked: float, arrived: float) -> None:
        first = arrived if ear.first_s is None else ear.first_s
        if payload[:1] != bytes([REFUSED]):
            ear.answer = Answer(unit, payload, asked, first, arrived, None, ear.pending)
        elif len(payload) >= 3 and payload[1] == question[0]:
            if payload[2] == PENDING:
                ear.pending += 1
                ear.first_s = None
                ear.until = self.clock.now() + self.timing.begins_after_pending
                self.heard["pending"] += 1
            else:
                ear.answer = Answer(unit, payload, asked, first, arrived, payload[2], ear.pending)

    def _assembly(self, unit: int) -> Assembly:
        if unit not in self._assemblies:
            self._assemblies[unit] = Assembly(self.addresses, unit, self.bus.send)
        return self._assemblies[unit]

    def _forget(self) -> None:
        """What is left over of an earlier question goes: late frames must not be taken for answers to the next one."""
        for assembly in self._assemblies.values():
            if assembly.waiting:
                assembly.forget()
        for _ in range(_MOST_LEFT_OVER):
            if self.bus.receive(0.0) is None:
                break


_MOST_LEFT_OVER = 1000


def _belongs(head: bytes, question: bytes) -> bool:
    """Whether an answer that begins like this can be to that question."""
    if not head:
        return False
    if head[0] == REFUSED:
        return len(head) >= 2 and head[1] == question[0]
    if head[0] != question[0] + ANSWERED:
        return False
    size = ECHOED.get(question[0], 0)
    if not size or len(head) < 2:
        return True
    step = size if question[0] in (0x02, 0x22) else 1
    rest = question[1:] if question[0] != 0x19 else question[1:2]
    asked = [rest[n : n + step] for n in range(0, len(rest), step)]
    return head[1 : 1 + step] in asked
