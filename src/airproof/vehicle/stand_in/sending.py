"""The sending end of one control unit (ISO 15765-2), by the can-isotp library: answers become frames."""

from __future__ import annotations

import can
import isotp

from airproof.vehicle.link.addresses import Addresses
from airproof.vehicle.link.assembly import QUIET


class Sender:
    """Turns answers of a unit into frames; long ones wait for the tester's flow control."""

    def __init__(self, addresses: Addresses, unit: int) -> None:
        mode = isotp.AddressingMode.Normal_29bits if addresses.extended else isotp.AddressingMode.Normal_11bits
        self._in: list[isotp.CanMessage] = []
        self._out: list[can.Message] = []
        self._layer = isotp.TransportLayerLogic(
            rxfn=self._next,
            txfn=self._made,
            address=isotp.Address(mode, txid=unit, rxid=addresses.question_to(unit)),
            error_handler=lambda _: None,  # whatever a tester sends, the stand-in goes on
            params={"tx_padding": 0xAA, "wait_func": lambda _: None, "wftmax": 8, "logger_name": QUIET.name},
        )

    def answer(self, payload: bytes) -> list[can.Message]:
        """The first frames of an answer; one that is still on its way is dropped."""
        self._layer.reset()
        self._layer.send(payload)
        return self.go_on()

    def flow_control(self, message: can.Message) -> list[can.Message]:
        """What a flow control frame of the tester releases."""
        self._in.append(
            isotp.CanMessage(
                arbitration_id=message.arbitration_id,
                data=bytes(message.data),
                dlc=message.dlc,
                extended_id=message.is_extended_id,
            )
        )
        return self.go_on()

    def go_on(self) -> list[can.Message]:
        """The frames that may go now."""
        self._layer.process()
        made, self._out = self._out, []
        return made

    @property
    def pausing(self) -> bool:
        """Whether frames are left that wait for the pause the tester asked for."""
        return self._layer.tx_state is isotp.TransportLayerLogic.TxState.TRANSMIT_CF

    def stop(self) -> None:
        """Drop what is on its way, as a unit that starts anew."""
        self._layer.reset()
        self._out.clear()

    def _next(self, timeout: float) -> isotp.CanMessage | None:  # noqa: ARG002 # the library names it
        return self._in.pop(0) if self._in else None

    def _made(self, message: isotp.CanMessage) -> None:
        self._out.append(
            can.Message(
                arbitration_id=message.arbitration_id,
                is_extended_id=message.is_extended_id,
                data=bytes(message.data),
            )
        )
