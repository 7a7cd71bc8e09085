"""Adapters: any back-end of python-can, named by its kind of interface, a channel, and what else it needs.

What a back-end can do is asked of itself: whether it sets the bit rate, and whether it can listen without taking part.
"""

from __future__ import annotations

import contextlib
import importlib
import inspect
import logging
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import can
from can.interfaces import BACKENDS

from airproof.errors import MissingExtra, Unreachable, UnusableRequest
from airproof.vehicle.link.clock import Clock
from airproof.vehicle.link.guard import GuardedBus

logging.getLogger("can").addHandler(logging.NullHandler())
"""Drivers that are not here, or not closed in time, are told by us where it matters, and not on a user's console."""

RATES = (500_000, 250_000)
"""Bit rates of the legislated diagnostics, bit/s (ISO 15765-4, read in a secondary page), the usual one first."""

LOOPBACK_KINDS = ("virtual", "udp_multicast")
"""Buses between programs of one computer, with no car at the end."""

_WITHOUT_RATE = (*LOOPBACK_KINDS, "socketcan", "socketcand")
"""Their bit rate is set elsewhere, by the system or the server; or there is none."""

_NAME = re.compile(r"[a-z0-9_]+")

Opener = Callable[["Adapter", int | None, bool], can.BusABC | None]
"""Opens the adapter at a bit rate (None: as it is), to listen only or to take part; None: it cannot listen only."""


@dataclass(frozen=True)
class Adapter:
    """One adapter as the user names it: `kind` is python-can's name of the back-end."""

    kind: str
    channel: str | None = None
    rate: int | None = None
    options: Mapping[str, Any] = field(default_factory=dict)

    @property
    def sets_rate(self) -> bool:
        """Whether opening it sets a bit rate."""
        return self.kind not in _WITHOUT_RATE

    @property
    def between_programs(self) -> bool:
        """Whether another program of this computer is at the other end, and never a car."""
        virtual_in_the_system = self.kind == "socketcan" and (self.channel or "").startswith("vcan")
        return self.kind == "udp_multicast" or virtual_in_the_system

    @property
    def name(self) -> str:
        """The adapter as it is typed."""
        return self.kind if self.channel is None else f"{self.kind}:{self.channel}"


def adapter_of(text: str, rate: str | None = None, options: Mapping[str, str] | None = None) -> Adapter:
    """An adapter from "kind" or "kind:channel", a bit rate such as "500000", and more options of its back-end.

    Raises UnusableRequest for a kind that python-can has not, or a rate that is none of the legislated ones.
    """
    kind, _, channel = text.strip().partition(":")
    if kind not in BACKENDS or not _NAME.fullmatch(kind):
        raise UnusableRequest(
            f"{text[:60]!r} names no kind of adapter",
            "a kind and mostly a channel, such as socketcan:can0, slcan:/dev/ttyACM0 or udp_multicast:239.74.163.2",
            "docs/link.md says how to find yours.",
            where="--adapter",
        )
    wanted = None
    if rate is not None:
        given = rate.lower().replace("kbit/s", "000").replace("k", "000").replace(" ", "")
        if given not in {str(one) for one in RATES}:
            raise UnusableRequest(f"{rate[:40]!r}", "500000 or 250000", "Leave it out to find it.", where="--bitrate")
        wanted = int(given)
    return Adapter(kind, channel or None, wanted, {k: _typed(v) for k, v in (options or {}).items()})


def _typed(text: str) -> Any:
    """An option's value as a number or a truth where it is one."""
    if text.lower() in ("true", "false"):
        return text.lower() == "true"
    for kind in (int, float):
        try:
            return kind(text)
        except ValueError:
            continue
    return text


def open_adapter(adapter: Adapter, rate: int | None, listen_only: bool) -> can.BusABC | None:
    """Open it with python-can; None where it is to listen only and cannot without taking part.

    Raises Unreachable where it cannot be opened, MissingExtra where its driver is not installed.
    """
    given: dict[str, Any] = dict(adapter.options)
    if adapter.channel is not None:
        given["channel"] = adapter.channel
    if rate is not None and adapter.sets_rate:
        given["bitrate"] = rate
    if adapter.kind == "udp_multicast":
        # Frames of a bus between two programs do not leave this computer, and its usual group is of no other network.
        given = {"channel": "239.74.163.2", "fd": False, **given, "hop_limit": 0}
    if listen_only and _parameter(adapter.kind, "listen_only"):
        given["listen_only"] = True
    try:
        bus = can.Bus(interface=adapter.kind, ignore_config=True, **given)
    except ImportError as fault:
        raise _no_driver(adapter, fault) from fault
    except can.CanInterfaceNotImplementedError as fault:
        raise _no_driver(adapter, fault) from fault
    except Exception as fault:  # drivers raise whatever comes to their mind, NameError among it
        raise Unreachable(
            f"the adapter {adapter.name} cannot be opened ({' '.join(str(fault).split())})",
            "an adapter that is plugged in, free, and named as the system names it",
            "Check its plug and its name; close other programs that use it. docs/link.md has more.",
        ) from fault
    if listen_only and "listen_only" not in given:
        try:
            bus.state = can.BusState.PASSIVE
        except Exception:  # as above
            bus.shutdown()
            return None
    return bus


def adapters_here() -> tuple[str, ...]:
    """Adapters that this computer shows by itself, as they are typed; some kinds never do."""
    with contextlib.suppress(Exception):  # as above
        seen = [one for one in can.detect_available_configs() if one["interface"] not in LOOPBACK_KINDS]
        # A serial port says nothing of what hangs on it; the kind that speaks a published line protocol is likely.
        kinds = {"serial": "slcan"}
        return tuple(f"{kinds.get(one['interface'], one['interface'])}:{one['channel']}" for one in seen)
    return ()


def _parameter(kind: str, name: str) -> bool:
    """Whether a back-end knows a parameter by that name."""
    module, backend = BACKENDS[kind]
    try:
        return name in inspect.signature(getattr(importlib.import_module(module), backend).__init__).parameters
    except (ImportError, AttributeError, OSError):
        return False


def _no_driver(adapter: Adapter, fault: Exception) -> MissingExtra:
    return MissingExtra(
        f"the driver for {adapter.kind} is not installed ({' '.join(str(fault).split())})",
        "the driver of this kind of adapter",
        "Install it as its maker says, or use another kind. docs/link.md has more.",
    )


def guarded(adapter: Adapter, rate: int | None, clock: Clock, opener: Opener = open_adapter) -> GuardedBus:
    """The adapter, opened to take part, behind the guard."""
    bus = opener(adapter, rate, False)
    assert bus is not None  # it was not asked to listen only
    return GuardedBus(bus, clock)
