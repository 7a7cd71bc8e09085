"""Questions and answers over a simulated bus: long, pending, busy, lost, late and strange ones, several units."""

from __future__ import annotations

from dataclasses import dataclass, field

import can
import pytest

from airproof.errors import Unreachable
from airproof.vehicle.answers.refusals import BUSY
from airproof.vehicle.link.addresses import ELEVEN, TWENTY_NINE, Addresses
from airproof.vehicle.link.guard import GuardedBus
from airproof.vehicle.link.questions import Link, Timing
from airproof.vehicle.stand_in.manners import Manners
from airproof.vehicle.stand_in.simulated_bus import SimulatedBus, SimulatedClock, frame_bits
from airproof.vehicle.stand_in.stand_in import StandIn

VIN_ANSWER = b"\x49\x02\x01" + b"1M8GDM9AXKP042788"


@dataclass
class Parrot:
    """Answers what it was taught."""

    id: int
    taught: dict[bytes, bytes] = field(default_factory=dict)
    asked: list[bytes] = field(default_factory=list)

    def answer(self, question, now_s, *, to_all, at_once):
        self.asked.append(question)
        return self.taught.get(question)


class Fixture:
    def __init__(self, units, addresses: Addresses = ELEVEN, rate: int = 500_000, seed: int = 1, **manners):
        self.clock = SimulatedClock()
        self.stand_in = StandIn(units, Manners(source="test", **manners), addresses, seed)
        self.bus = SimulatedBus(self.stand_in, self.clock, rate)
        self.link = Link(GuardedBus(self.bus, self.clock), addresses, self.clock)


def test_a_single_frame_and_its_times():
    parrot = Parrot(0x7E8, {b"\x01\x0c": b"\x41\x0c\x1a\xf8"})
    at = Fixture([parrot], answers_after_s=0.010)
    (answer,) = at.link.ask(b"\x01\x0c", 0x7E8)
    assert answer.payload == b"\x41\x0c\x1a\xf8"
    assert answer.refused is None
    frame_s = frame_bits(8, extended=False) / 500_000
    assert answer.first_s - answer.asked_s == pytest.approx(0.010 + 2 * frame_s, abs=1e-9)
    assert answer.made_s == pytest.approx(answer.asked_s + frame_s + 0.010, abs=1e-9)


def test_the_worked_vehicle_number_of_several_frames():
    """CHECK_VALUES section 3: 10 14 49 02 01 31 4D 38, then 30 00 00, then two consecutive frames (constructed)."""
    seen = []
    at = Fixture([Parrot(0x7E8, {b"\x09\x02": VIN_ANSWER})])
    send = at.bus.send
    at.bus.send = lambda msg, timeout=None: (seen.append(bytes(msg.data)), send(msg))[1]
    (answer,) = at.link.ask(b"\x09\x02")
    assert answer.payload == VIN_ANSWER
    assert [data[:3] for data in seen] == [b"\x02\x09\x02", b"\x30\x00\x00"]


@pytest.mark.parametrize("addresses", [ELEVEN, TWENTY_NINE])
def test_several_units_answer_at_once_frames_between_frames(addresses):
    ids = [addresses.answer_of(q) for q in ((0x7E0, 0x7E1, 0x7E2) if addresses is ELEVEN else (0x18DA10F1, 0x18DA18F1))]
    units = [Parrot(i, {b"\x09\x02": VIN_ANSWER[:-1] + bytes([i & 0xFF])}) for i in ids]
    at = Fixture(units, addresses, answers_after_s=0.005, chatter_per_s=500)
    answers = at.link.ask(b"\x09\x02")
    assert [one.unit for one in answers] == ids
    assert [one.payload[-1] for one in answers] == [i & 0xFF for i in ids]


@dataclass
class HeldUp(SimulatedClock):
    """A clock of a program that a busy computer lets wait: long, once, after it has asked."""

    waits_s: float = 0.0

    def __post_init__(self):
        super().__init__()

    def held_up(self):
        self._now += self.waits_s
        self.waits_s = 0.0


@pytest.mark.parametrize("waits_s", [0.05, 0.3, 3.0])
@pytest.mark.parametrize("payload", [b"\x49\x02\x01ABC", VIN_ANSWER])
def test_an_answer_that_came_while_we_were_kept_waiting_counts(waits_s, payload):
    parrot = Parrot(0x7E8, {b"\x09\x02": payload})
    clock = HeldUp(waits_s)
    stand_in = StandIn([parrot], Manners(source="test", answers_after_s=0.010, chatter_per_s=300), ELEVEN)
    bus = SimulatedBus(stand_in, clock)
    recv = bus.recv

    def receive(timeout=None):
        heard = recv(timeout)
        if timeout:  # after the first frame heard
            clock.held_up()
        return heard

    bus.recv = receive
    (answer,) = Link(GuardedBus(bus, clock), ELEVEN, clock).ask(b"\x09\x02", 0x7E8)
    assert answer.payload == payload
    assert parrot.asked == [b"\x09\x02"]
    assert answer.first_s - answer.asked_s < 0.05


def test_silence_ends_after_p2_and_is_asked_twice():
    parrot = Parrot(0x7E8)
    at = Fixture([parrot])
    assert at.link.ask(b"\x01\x6f", 0x7E8) == ()
    assert parrot.asked == [b"\x01\x6f"] * 2
    assert at.clock.now() == pytest.approx(2 * (0.050 + 0.050), abs=0.002)


def test_a_negative_answer_has_its_code():
    (answer,) = Fixture([Parrot(0x7E8, {b"\x01\x0b": b"\x7f\x01\x31"})]).link.ask(b"\x01\x0b")
    assert answer.refused == 0x31


def test_pending_waits_and_does_not_ask_again():
    parrot = Parrot(0x7E8, {b"\x03": b"\x43\x00"})
    at = Fixture([parrot], pending_share=1.0, pending_s=3.0)
    (answer,) = at.link.ask(b"\x03")
    assert answer.payload == b"\x43\x00"
    assert answer.pending == 1
    assert len(parrot.asked) == 1
    assert at.clock.now() == pytest.approx(3.005, abs=0.01)


def test_pending_for_ever_has_an_end():
    at = Fixture([Parrot(0x7E8, {b"\x03": b"\x7f\x03\x78"})])
    assert at.link.ask(b"\x03", 0x7E8) == ()
    assert at.clock.now() <= 21.0


def test_busy_is_asked_again_and_then_told():
    at = Fixture([Parrot(0x7E8, {b"\x03": b"\x43\x00"})], busy_share=1.0)
    (answer,) = at.link.ask(b"\x03", 0x7E8)
    assert answer.refused == BUSY
    assert at.link.heard["busy"] == 4


@pytest.mark.parametrize("seed", range(12))
def test_lost_frames_are_made_good_or_told_as_silence(seed):
    at = Fixture([Parrot(0x7E8, {b"\x09\x02": VIN_ANSWER})], seed=seed, lost_share=0.15)
    answers = at.link.ask(b"\x09\x02", 0x7E8, tries=10)
    assert [one.payload for one in answers] == [VIN_ANSWER]


def test_a_unit_that_starts_anew_in_the_middle_of_an_answer():
    at = Fixture([Parrot(0x7E8, {b"\x09\x02": VIN_ANSWER})], resets_share=1.0, resets_s=1.0)
    assert at.link.ask(b"\x09\x02", 0x7E8) == ()
    assert at.link.heard["broken"] >= 1
    at.stand_in.manners = Manners(source="test")
    at.clock.sleep(1.0)
    assert [one.payload for one in at.link.ask(b"\x09\x02", 0x7E8)] == [VIN_ANSWER]


class Meddler:
    """Puts another tester's traffic on the bus just before our own answers come."""

    def __init__(self, bus, frames):
        self.bus, self.frames = bus, frames

    def send(self, msg, timeout=None):
        self.bus.send(msg)
        for frame in self.frames:
            frame.timestamp = self.bus._clock.now()
            self.bus._coming.insert(0, frame)

    def __getattr__(self, name):
        return getattr(self.bus, name)


def frame(identifier, data):
    return can.Message(arbitration_id=identifier, is_extended_id=False, data=bytes.fromhex(data).ljust(8, b"\xaa"))


@pytest.mark.parametrize("strange", ["03410d32", "10144902013131", "2131323334353637", "037f0922", "300000", "0241", "",
                                     "00", "0f41", "f0ffff", "07410c"])  # fmt: skip
def test_answers_to_another_tester_are_not_taken_for_ours(strange):
    clock = SimulatedClock()
    inner = SimulatedBus(
        StandIn([Parrot(0x7E8, {b"\x01\x0c": b"\x41\x0c\x1a\xf8"})], Manners(source="t"), ELEVEN), clock
    )
    bus = Meddler(inner, [frame(0x7E8, strange)])
    out = []
    inner_send = inner.send
    inner.send = lambda msg, timeout=None: (out.append(bytes(msg.data)), inner_send(msg))[1]
    answers = Link(GuardedBus(bus, clock), ELEVEN, clock).ask(b"\x01\x0c", 0x7E8)
    if strange == "07410c":  # the same item in a frame of another length: nobody can tell it is not ours
        assert answers[0].payload.startswith(b"\x41\x0c")
    else:
        assert [one.payload for one in answers] == [b"\x41\x0c\x1a\xf8"]
    assert not [data for data in out if data[0] >> 4 == 3], "no flow control for an answer that is not ours"


@pytest.mark.parametrize("after", range(4))
def test_unplugging_is_told_in_every_state(after):
    """Before the question, before the answer, between first and consecutive frames, between questions."""
    at = Fixture([Parrot(0x7E8, {b"\x09\x02": VIN_ANSWER})])
    calls = {"n": 0}
    for name in ("send", "recv"):
        inner = getattr(at.bus, name)

        def counted(*args, inner=inner, **kwargs):
            calls["n"] += 1
            if calls["n"] > 1 + after:
                at.bus.pull_out()
            return inner(*args, **kwargs)

        setattr(at.bus, name, counted)

    def ask_on():
        for _ in range(10):
            at.link.ask(b"\x09\x02", 0x7E8)

    with pytest.raises(Unreachable, match="Plug it in again"):
        ask_on()
    assert at.clock.now() < 10.0


def test_frame_durations_are_those_of_the_schedulability_analysis():
    """Davis, Burns, Bril, Lukkien 2007: 55 + 10 s bits with identifiers of 11 bits, 80 + 10 s with 29 (from memory)."""
    for size in range(9):
        assert frame_bits(size, extended=False) == 55 + 10 * size
        assert frame_bits(size, extended=True) == 80 + 10 * size


def test_timing_of_the_standard():
    """P2 50 ms, P2* 5000 ms: CHECK_VALUES section 3, from memory of ISO 15765-4."""
    assert Timing().begins == 0.050
    assert Timing().begins_after_pending == 5.0
