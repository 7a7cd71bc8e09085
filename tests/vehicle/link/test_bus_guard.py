"""Nothing leaves the process but the legislated questions that read; clearing once, with a permit."""

from __future__ import annotations

import ast
import contextlib
import itertools
from pathlib import Path

import can
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import airproof
from airproof.errors import AirproofError, NotAllowed
from airproof.vehicle.link.addresses import BOTH, ELEVEN, TWENTY_NINE
from airproof.vehicle.link.clock import SystemClock
from airproof.vehicle.link.guard import CLEARING, GuardedBus, check, reads
from airproof.vehicle.link.questions import Link, Timing

READS = (0x01, 0x02, 0x03, 0x06, 0x07, 0x09, 0x0A, 0x19, 0x22)
IMPATIENT = Timing(begins=0.0, begins_after_pending=0.0, between_frames=0.0, adapter=0.0, busy=0.0, longest=0.01)


class Wire(can.BusABC):
    """Keeps what would have gone out, and answers with what it was given."""

    def __init__(self, coming: list[can.Message] | None = None) -> None:
        super().__init__(channel="wire")
        self.out: list[can.Message] = []
        self.coming = coming or []

    def send(self, msg, timeout=None):
        self.out.append(msg)

    def _recv_internal(self, timeout):
        return (self.coming.pop(0) if self.coming else None), True


class Coupon:
    def __init__(self) -> None:
        self.left = 1

    def use(self) -> None:
        if not self.left:
            raise NotAllowed("used", "a new one", "Ask again.")
        self.left -= 1


def services_that_left(wire: Wire) -> set[int]:
    """The services in single frames; any other frame must be flow control."""
    found = set()
    for frame in wire.out:
        assert any(a.is_question(frame.arbitration_id, extended=frame.is_extended_id) for a in BOTH)
        assert not frame.is_remote_frame
        assert not frame.is_fd
        if frame.data[0] >> 4 == 0:
            found.add(frame.data[1])
        else:
            assert frame.data[0] in (0x30, 0x31, 0x32)
            assert frame.arbitration_id not in (0x7DF, 0x18DB33F1)
    return found


frames = st.builds(
    can.Message,
    arbitration_id=st.one_of(
        st.sampled_from([0x7DF, *range(0x7E0, 0x7F0)]),
        st.integers(0, 0x7FF),
    ),
    is_extended_id=st.just(False),
    is_remote_frame=st.booleans(),
    data=st.one_of(
        st.binary(max_size=8),
        st.builds(lambda n, sid, rest: bytes([n, sid]) + rest, st.integers(0, 15), st.integers(0, 255),
                  st.binary(max_size=6)),
    ),
)  # fmt: skip
long_frames = st.builds(
    can.Message,
    arbitration_id=st.one_of(
        st.just(0x18DB33F1), st.integers(0, 255).map(lambda n: 0x18DA00F1 | n << 8), st.integers(0, 0x1FFFFFFF)
    ),
    is_extended_id=st.just(True),
    data=st.binary(max_size=8),
)


@settings(max_examples=1500)
@given(st.one_of(frames, long_frames))
def test_whatever_frame_is_sent_only_reading_services_leave(frame):
    wire = Wire()
    bus = GuardedBus(wire, SystemClock())
    try:
        bus.send(frame)
    except NotAllowed:
        assert not wire.out
    assert services_that_left(wire) <= set(READS)


@settings(max_examples=1000)
@given(
    payload=st.one_of(st.binary(max_size=12), st.builds(lambda s, r: bytes([s]) + r, st.integers(0, 255),
                                                        st.binary(max_size=6))),
    to=st.one_of(st.none(), st.integers(0, 0x1FFFFFFF), st.integers(0x7E8, 0x7EF)),
    addresses=st.sampled_from(BOTH),
    coming=st.lists(st.one_of(frames, long_frames), max_size=6),
)  # fmt: skip
def test_whatever_is_asked_and_answered_only_reading_services_leave(payload, to, addresses, coming):
    wire = Wire(coming)
    link = Link(GuardedBus(wire, SystemClock()), addresses, SystemClock(), IMPATIENT)
    with contextlib.suppress(AirproofError):
        link.ask(payload, to)
    assert services_that_left(wire) <= set(READS)


@pytest.mark.parametrize("length", range(1, 8))
def test_no_other_service_passes_with_any_parameters(length):
    for service, filler in itertools.product(set(range(256)) - set(READS), (0x00, 0x01, 0x03, 0xFF)):
        payload = bytes([service]).ljust(length, bytes([filler]))
        assert not reads(payload)
        data = bytes([len(payload), *payload]).ljust(8, b"\0")
        for identifier in (0x7DF, 0x7E0, 0x7E7):
            with pytest.raises(NotAllowed):
                check(can.Message(arbitration_id=identifier, is_extended_id=False, data=data))


@pytest.mark.parametrize(
    "payload",
    ["1983ff", "1903", "22f190", "22f4", "220200", "22f40c0100", "01", "0300", "020c", "14ffffff", "0100010203040506"],
)
def test_reading_services_with_other_parameters_do_not_pass(payload):
    assert not reads(bytes.fromhex(payload))


@pytest.mark.parametrize("payload", sorted(CLEARING))
def test_clearing_passes_once_with_a_permit(payload):
    wire, coupon = Wire(), Coupon()
    bus = GuardedBus(wire, SystemClock())
    link = Link(bus, ELEVEN, SystemClock(), IMPATIENT)
    with pytest.raises(NotAllowed):
        link.ask(payload)
    link.clear(payload, coupon)
    with pytest.raises(NotAllowed):
        link.clear(payload, coupon)
    assert len(wire.out) == 1


def test_a_permit_lets_nothing_else_pass():
    for payload in (
        b"\x08\x01",
        b"\x2e\xf4\x0c\x00",
        b"\x31\x01\xff\x00",
        b"\x11\x01",
        b"\x10\x03",
        b"\x14\xff\xff\xff",
    ):
        coupon = Coupon()
        with pytest.raises(NotAllowed):
            Link(GuardedBus(Wire(), SystemClock()), TWENTY_NINE, SystemClock(), IMPATIENT).clear(payload, coupon)
        assert coupon.left == 1


def test_a_question_that_does_not_fit_is_refused_before_it_is_made():
    link = Link(GuardedBus(Wire(), SystemClock()), ELEVEN, SystemClock(), IMPATIENT)
    for payload in (b"", bytes(8), bytes(300)):
        with pytest.raises(NotAllowed):
            link.ask(payload)


def test_long_questions_are_refused_frame_by_frame():
    for data in (b"\x10\x08\x01\x0c\x0d\x0b\x11\x05", b"\x21\x04\x00\x00", b"\x00\x08\x01\x0c"):
        with pytest.raises(NotAllowed):
            check(can.Message(arbitration_id=0x7E0, is_extended_id=False, data=data))


def test_the_bus_behind_the_guard_is_not_offered():
    bus = GuardedBus(Wire(), SystemClock())
    assert [name for name in dir(bus) if not name.startswith("_")] == ["close", "only_answers", "receive", "send"]


def test_only_the_adapter_and_the_stand_in_open_a_bus():
    """No other module could send, since none makes a bus."""
    root = Path(airproof.__file__).parent
    openers = set()
    for path in root.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            name = node.attr if isinstance(node, ast.Attribute) else node.id if isinstance(node, ast.Name) else ""
            if isinstance(node, ast.Call):
                func = node.func
                name = func.attr if isinstance(func, ast.Attribute) else func.id if isinstance(func, ast.Name) else ""
                if name in ("Bus", "ThreadSafeBus", "send_periodic") or name.endswith("TransportLayer"):
                    openers.add(path.relative_to(root).as_posix())
    assert openers <= {"vehicle/link/adapter.py"}
