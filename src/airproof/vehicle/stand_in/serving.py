"""The stand-in in a process of its own, on a bus between programs and never on a car's."""

from __future__ import annotations

import threading

import can

from airproof.errors import NotAllowed
from airproof.vehicle.link.adapter import LOOPBACK_KINDS, Adapter, open_adapter
from airproof.vehicle.link.clock import Clock
from airproof.vehicle.stand_in.stand_in import StandIn

_LOOKS_EVERY_S = 0.05


def refuse_a_real_bus(adapter: Adapter) -> None:
    """Raises NotAllowed for an adapter that a car may hang on: a stand-in answers, and would answer a car's tester."""
    virtual_in_the_system = adapter.kind == "socketcan" and (adapter.channel or "").startswith("vcan")
    if adapter.kind not in LOOPBACK_KINDS and not virtual_in_the_system:
        raise NotAllowed(
            f"a stand-in on {adapter.name}, where a car may be",
            "a bus between programs: udp_multicast, virtual, or socketcan:vcan0",
            "Leave out --adapter for the usual one.",
        )


def serve(stand_in: StandIn, adapter: Adapter, clock: Clock, stop: threading.Event) -> None:
    """Answer until stopped. Raises NotAllowed for a bus that may be a car's, Unreachable where it cannot be opened."""
    refuse_a_real_bus(adapter)
    bus = open_adapter(adapter, None, False)
    assert bus is not None  # it was not asked to listen only
    try:
        while not stop.is_set():
            wait = min(max(stand_in.next_s - clock.now(), 0.0), _LOOKS_EVERY_S)
            try:
                message = bus.recv(timeout=clock.real(wait))
            except can.CanOperationError:  # rubbish of another program on the same group
                continue
            if message is not None and not message.is_error_frame:
                stand_in.take(message, clock.now())
            for frame in stand_in.due(clock.now()):
                bus.send(frame)
    finally:
        bus.shutdown()
