"""Answers of one control unit put together from their frames (ISO 15765-2), by the can-isotp library."""

from __future__ import annotations

import logging
from collections import deque
from collections.abc import Callable

import can
import isotp

from airproof.errors import NotAllowed
from airproof.vehicle.link.addresses import Addresses

QUIET = logging.getLogger("airproof.vehicle.iso_tp")
QUIET.addHandler(logging.NullHandler())
"""What goes wrong on a bus is counted and told by us; the library's own lines do not belong on a user's console."""

PADDING = 0x00
LONGEST = 4095
"""Bytes of an answer at most (ISO 15765-2); a unit that announces more is told that it is too long."""

_FITS = 7

SINGLE, FIRST, CONSECUTIVE, FLOW_CONTROL = range(4)


def kind_of(data: bytes | bytearray) -> int | None:
    """What sort of ISO 15765-2 frame it is; None for none."""
    kind = data[0] >> 4 if data else 15
    return kind if kind <= FLOW_CONTROL else None


def head_of(data: bytes | bytearray) -> bytes:
    """The first bytes of the answer that a single or a first frame begins; empty for other frames."""
    kind = kind_of(data)
    if kind == SINGLE:
        return bytes(data[1 : 1 + (data[0] & 0x0F)])
    return bytes(data[2:]) if kind == FIRST else b""


def single_frame(identifier: int, payload: bytes, addresses: Addresses) -> can.Message:
    """A question in one frame of eight bytes. Raises NotAllowed for one that does not fit: ours all do."""
    if not 1 <= len(payload) <= _FITS:
        raise NotAllowed(
            f"a question of {len(payload)} bytes",
            f"1 to {_FITS} bytes, one frame",
            "It was not sent: ask for less at once.",
        )
    data = bytes([len(payload), *payload]).ljust(8, bytes([PADDING]))
    return can.Message(arbitration_id=identifier, is_extended_id=addresses.extended, data=data)


class Assembly:
    """The receiving end for one control unit; it sends flow control with `send`."""

    def __init__(
        self,
        addresses: Addresses,
        unit: int,
        send: Callable[[can.Message], None],
        *,
        pause_ms: int = 0,
        block: int = 0,
    ) -> None:
        mode = isotp.AddressingMode.Normal_29bits if addresses.extended else isotp.AddressingMode.Normal_11bits
        self._inbox: deque[isotp.CanMessage] = deque()
        self._out = send
        self._layer = isotp.TransportLayerLogic(
            rxfn=self._next,
            txfn=self._pass_on,
            address=isotp.Address(mode, txid=addresses.question_to(unit), rxid=unit),
            error_handler=self._noted,
            params={
                "stmin": pause_ms,
                "blocksize": block,
                "tx_padding": PADDING,
                "max_frame_size": LONGEST,
                "wait_func": lambda _: None,
                "logger_name": QUIET.name,
            },
        )
        self.faults = 0

    def feed(self, message: can.Message) -> list[bytes]:
        """Take one frame in; the answers that it completes."""
        self._inbox.append(
            isotp.CanMessage(
                arbitration_id=message.arbitration_id,
                data=bytes(message.data),
                dlc=message.dlc,
                extended_id=message.is_extended_id,
            )
        )
        self._layer.process()
        complete = []
        while (payload := self._layer.recv()) is not None:
            complete.append(bytes(payload))
        return complete

    @property
    def waiting(self) -> bool:
        """Whether an answer has begun and is not complete."""
        return self._layer.rx_state is not isotp.TransportLayerLogic.RxState.IDLE

    def forget(self) -> None:
        """Drop what has come in so far."""
        self._inbox.clear()
        self._layer.reset()

    def _next(self, timeout: float) -> isotp.CanMessage | None:  # noqa: ARG002 # the library names it
        return self._inbox.popleft() if self._inbox else None

    def _pass_on(self, message: isotp.CanMessage) -> None:
        self._out(
            can.Message(
                arbitration_id=message.arbitration_id,
                is_extended_id=message.is_extended_id,
                data=bytes(message.data),
            )
        )

    def _noted(self, fault: Exception) -> None:  # noqa: ARG002 # whichever it is, the answer is not whole
        self.faults += 1
