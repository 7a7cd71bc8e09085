"""Frames joined into payloads (ISO 15765-2) by one who only listens.

The link uses can-isotp, which takes part: it answers first frames and keeps the time. A log is read long after, and
may hold both sides, lost frames, and two testers at once; here nothing is sent and only the log's own times count. At
most one unfinished payload is held for each identifier, of at most 4095 bytes.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import NamedTuple

from airproof.vehicle.bus_log.frames import Frame
from airproof.vehicle.link.addresses import Addresses

LONGEST = 4095
CLASSIC = 8
"""Bytes of a whole frame of classic CAN; a payload that fits into one frame is never begun in a first frame."""

MOST_PAUSE_S = 1.0
"""N_Cr of ISO 15765-2, from memory: more between two frames of one payload, and it is given up."""

_SINGLE, _FIRST, _CONSECUTIVE, _FLOW_CONTROL = range(4)


class Payload(NamedTuple):
    """One whole payload; `first_s` and `last_s` are the times of its first and last frame."""

    identifier: int
    addresses: Addresses
    is_question: bool
    first_s: float
    last_s: float
    data: bytes


@dataclass(slots=True)
class _Unfinished:
    first: Frame
    length: int
    data: bytearray
    last_s: float
    next: int = 1


class Joiner:
    """Takes frames one after the other; `lost` counts the payloads that were not completed, by why."""

    def __init__(self) -> None:
        self.lost: Counter[str] = Counter()
        self._unfinished: dict[tuple[int, bool], _Unfinished] = {}

    def take(self, frame: Frame) -> Payload | None:
        """The payload that this frame completes; None where it completes none."""
        data = frame.data
        kind = data[0] >> 4 if data else None
        if kind == _SINGLE:
            return self._single(frame)
        if kind == _FIRST:
            self._first(frame)
        elif kind == _CONSECUTIVE:
            return self._consecutive(frame)
        elif kind != _FLOW_CONTROL:
            self.lost["no frame of ISO 15765-2"] += 1
        return None

    def _single(self, frame: Frame) -> Payload | None:
        data = frame.data
        length, start = data[0] & 0x0F, 1
        if length == 0 and len(data) > CLASSIC:  # CAN FD has the length in a second byte
            length, start = data[1], 2
        if not 0 < length <= len(data) - start:
            self.lost["a length that does not fit its frame"] += 1
            return None
        self._give_up(frame, "broken off by another")
        payload = data[start : start + length]
        return Payload(frame.identifier, frame.addresses, frame.is_question, frame.time_s, frame.time_s, payload)

    def _first(self, frame: Frame) -> None:
        data = frame.data
        self._give_up(frame, "broken off by another")
        length = (data[0] & 0x0F) << 8 | data[1] if len(data) >= CLASSIC else 0
        start = 2
        if length == 0 and len(data) >= CLASSIC:  # more than 4095 bytes are announced in four more
            length, start = int.from_bytes(data[2:6], "big"), 6
        if not max(CLASSIC - 1, len(data) - start) < length <= LONGEST:
            self.lost["a length that does not fit its frame"] += 1
            return
        self._unfinished[_key(frame)] = _Unfinished(frame, length, bytearray(data[start:]), frame.time_s)

    def _consecutive(self, frame: Frame) -> Payload | None:
        part = self._unfinished.get(_key(frame))
        if part is None:
            self.lost["its first frame is not there"] += 1
            return None
        if not -MOST_PAUSE_S <= frame.time_s - part.last_s <= MOST_PAUSE_S:
            self._give_up(frame, "too long a pause")
            return None
        if frame.data[0] & 0x0F != part.next:
            self._give_up(frame, "a frame is missing")
            return None
        part.data += frame.data[1:]
        part.next = part.next + 1 & 0x0F
        part.last_s = frame.time_s
        if len(part.data) < part.length:
            return None
        del self._unfinished[_key(frame)]
        first = part.first
        whole = bytes(part.data[: part.length])
        return Payload(first.identifier, first.addresses, first.is_question, first.time_s, frame.time_s, whole)

    def _give_up(self, frame: Frame, why: str) -> None:
        if self._unfinished.pop(_key(frame), None) is not None:
            self.lost[why] += 1

    def end(self) -> None:
        """The log is over: what is unfinished is lost."""
        self.lost["the log ends within it"] += len(self._unfinished)
        self._unfinished.clear()


def _key(frame: Frame) -> tuple[int, bool]:
    return frame.identifier, frame.addresses.extended
