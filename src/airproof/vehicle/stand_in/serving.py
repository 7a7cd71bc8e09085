"""The stand-in in a process of its own, on a bus between programs and never on a car's."""

from __future__ import annotations

import threading
from collections.abc import Callable

import can

from airproof.errors import NotAllowed
from airproof.vehicle.link.adapter import Adapter, open_adapter
from airproof.vehicle.link.clock import Clock
from airproof.vehicle.stand_in.stand_in import StandIn

_LOOKS_EVERY_S = 0.05


def refuse_a_real_bus(adapter: Adapter) -> None:
    """Raises NotAllowed for an adapter that a car may hang on: a stand-in answers, and would answer a car's tester."""
    if adapter.kind != "virtual" and not adapter.between_programs:
        raise NotAllowed(
            f"a stand-in on {adapter.name}, where a car may be",
            "a bus between programs: udp_multicast, virtual, or socketcan:vcan0",
            "Leave out --adapter for the usual one.",
        )


def serve(
    stand_in: StandIn,
    adapter: Adapter,
    clock: Clock,
    stop: threading.Event,
    ready: Callable[[], None] = lambda: None,
) -> None:
    """Answer until stopped; `ready` is called once questions are heard.

    Raises NotAllowed for a bus that may be a car's, Unreachable where it cannot be opened.
    """
    refuse_a_real_bus(adapter)
    bus = open_adapter(adapter, None, False)
    assert bus is not None  # it was not asked to listen only
    try:
        ready()
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
