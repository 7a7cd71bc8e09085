"""The guard: the only way to a bus, and nothing passes it but the legislated questions that read.

Whatever makes a frame - our own code, the library that assembles long answers, a fault in either - it is looked at
here, as it would go out. Only single frames with a listed service to a legislated address pass, and the flow control
that an answer of several frames waits for. All our questions fit into one frame: the beginning of a longer one is
refused.

Clearing codes (04, and 14 on J1979-2 cars) passes only with a permit (clearing.py), once.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Protocol

import can

from airproof.errors import NotAllowed, Unreachable
from airproof.vehicle.link.addresses import BOTH, Addresses
from airproof.vehicle.link.clock import Clock

REPORTS = frozenset({0x01, 0x02, 0x04, 0x06, 0x0A, 0x14, 0x15, 0x1A, 0x42, 0x55, 0x56})
"""Sub-functions of service 19: all of them report (ISO 14229-1 and SAE J1979-2, those above 15 from memory)."""

_LEGISLATED_IDENTIFIERS = range(0xF400, 0xF900)
"""Data identifiers of service 22 that mirror the services 01, 06 and 09 (SAE J1979-2, from memory)."""


def _identifiers(rest: bytes) -> bool:
    pairs = [rest[n] << 8 | rest[n + 1] for n in range(0, len(rest) - 1, 2)]
    return len(rest) % 2 == 0 and bool(pairs) and all(pair in _LEGISLATED_IDENTIFIERS for pair in pairs)


READING: Mapping[int, Callable[[bytes], bool]] = MappingProxyType(
    {
        0x01: lambda rest: 1 <= len(rest) <= 6,  # current data, up to six items
        0x02: lambda rest: len(rest) in (2, 4, 6),  # freeze frame: item and frame, up to three times
        0x03: lambda rest: not rest,  # confirmed codes
        0x06: lambda rest: 1 <= len(rest) <= 6,  # monitor results
        0x07: lambda rest: not rest,  # pending codes
        0x09: lambda rest: 1 <= len(rest) <= 6,  # vehicle information
        0x0A: lambda rest: not rest,  # permanent codes
        0x19: lambda rest: bool(rest) and rest[0] in REPORTS,  # codes, J1979-2
        0x22: _identifiers,  # data by identifier, J1979-2
    }
)
"""The services that read, and which of their parameters; SAE J1979, J1979-2."""

CLEARING = frozenset({b"\x04", b"\x14\xff\xff\x33"})
"""What clears: service 04 (SAE J1979), and 14 for the emissions group (SAE J1979-2, from memory)."""


class Permit(Protocol):
    """What clearing needs; made in clearing.py only."""

    def use(self) -> None:
        """Take it up. Raises NotAllowed if it was used before or has gone stale."""
        ...


def reads(payload: bytes) -> bool:
    """Whether a question only reads."""
    allowed = READING.get(payload[0]) if payload else None
    return allowed is not None and len(payload) <= 7 and allowed(payload[1:])


def _question_of(message: can.Message) -> bytes | None:
    """The question in a single frame that is well made; None for any other frame."""
    data = bytes(message.data)
    if not 2 <= len(data) <= 8 or not 1 <= data[0] <= 7 or data[0] > len(data) - 1:
        return None
    return data[1 : 1 + data[0]]


def _is_flow_control(message: can.Message, addresses: Addresses) -> bool:
    """A flow control frame to one unit: go on, wait, or too long."""
    data = bytes(message.data)
    return 3 <= len(data) <= 8 and data[0] in (0x30, 0x31, 0x32) and message.arbitration_id != addresses.functional


def check(message: can.Message, permit: Permit | None = None) -> None:
    """Raises NotAllowed for a frame that must not go out; a permit is used up by the one frame that needs it."""
    addresses = next((a for a in BOTH if a.is_question(message.arbitration_id, extended=message.is_extended_id)), None)
    plain = not (message.is_fd or message.is_remote_frame or message.is_error_frame)
    if addresses is not None and plain and message.dlc == len(message.data):
        question = _question_of(message)
        if question is not None and reads(question):
            return
        if question in CLEARING and permit is not None:
            permit.use()
            return
        if question is None and _is_flow_control(message, addresses):
            return
    raise NotAllowed(
        f"a frame that is not one of the legislated questions ({message.arbitration_id:X} {bytes(message.data).hex()})",
        "services 01, 02, 03, 06, 07, 09, 0A, 19 and 22, which read; 04 and 14 only with a permit",
        "It was not sent: nothing that changes the car ever is.",
    )


class GuardedBus:
    """A bus that sends nothing but what `check` lets pass.

    It offers no way round: the bus behind it stays hidden, with its periodic sending and its other doors.
    """

    def __init__(self, bus: can.BusABC, clock: Clock) -> None:
        self.__bus = bus
        self._clock = clock
        self._failed_in_a_row = 0

    def send(self, message: can.Message, permit: Permit | None = None) -> None:
        """Send a frame. Raises NotAllowed, or Unreachable where the adapter no longer takes it."""
        check(message, permit)
        try:
            self.__bus.send(message, timeout=_SEND_WITHIN_S)
        except Exception as fault:  # drivers raise whatever comes to their mind
            raise gone(fault) from fault

    def receive(self, within_s: float) -> can.Message | None:
        """The next frame, at most `within_s` of the clock's seconds away; None where there was none.

        What cannot be read as a frame is passed over. Raises Unreachable once the adapter fails again and again.
        """
        try:
            message = self.__bus.recv(timeout=max(self._clock.real(within_s), 0.0))
        except Exception as fault:  # as above
            self._failed_in_a_row += 1
            if self._failed_in_a_row >= _FAILURES_TO_BE_GONE:
                raise gone(fault) from fault
            return None
        self._failed_in_a_row = 0
        return message

    def only_answers(self, addresses: Addresses) -> None:
        """Let the back-end keep everything else away, where it can."""
        try:
            self.__bus.set_filters(addresses.filters)  # type: ignore[arg-type]
        except Exception as fault:  # as above
            raise gone(fault) from fault

    def close(self) -> None:
        """Let the adapter go; an adapter that is gone already is no fault."""
        with contextlib.suppress(Exception):  # as above
            self.__bus.shutdown()


_SEND_WITHIN_S = 0.5
_FAILURES_TO_BE_GONE = 3
"""A single frame may be rubbish, by another program on the same loopback; an adapter that is gone fails each time."""


def gone(fault: Exception) -> Unreachable:
    """The adapter no longer works, in the user's words."""
    return Unreachable(
        f"the adapter does not work any more ({' '.join(str(fault).split()) or type(fault).__name__})",
        "an adapter that is plugged in at both ends",
        "Plug it in again, and begin again. A recording under way goes on by itself.",
    )
