"""A million fuzzed frames and ISO 15765-2 sequences at the tester, and as many at the stand-in.

    python benchmarks/fuzz_link.py [1000000] [SEED]

Frames are drawn at random, bent from true ones, put in a wrong order, cut, doubled or lost. Nothing may crash, hang or
fill memory: every question ends within its time, and the process is not larger at the end than after the first tenth.
"""

from __future__ import annotations

import gc
import resource
import sys
import time
from collections import Counter

import can
import numpy as np

from airproof.errors import AirproofError
from airproof.vehicle.link.addresses import ELEVEN, TWENTY_NINE, Addresses
from airproof.vehicle.link.assembly import single_frame
from airproof.vehicle.link.finding import Unit
from airproof.vehicle.link.guard import GuardedBus, check
from airproof.vehicle.link.questions import Link
from airproof.vehicle.readout import newer, older
from airproof.vehicle.readout.asking import Asking
from airproof.vehicle.readout.readout import UnitReadout
from airproof.vehicle.stand_in.manners import Manners
from airproof.vehicle.stand_in.simulated_bus import SimulatedBus, SimulatedClock
from airproof.vehicle.stand_in.stand_in import StandIn

LONGEST_S = 400.0  # simulated, for one whole readout of a unit that babbles
ANSWERS = (0x41, 0x42, 0x43, 0x46, 0x47, 0x49, 0x4A, 0x54, 0x59, 0x62, 0x7F)


class Babbler(can.BusABC):
    """A bus on which each frame sent is met by a few fuzzed ones; it counts them."""

    def __init__(self, rng: np.random.Generator, clock: SimulatedClock, addresses: Addresses) -> None:
        super().__init__(channel="babbler")
        self.rng, self.clock, self.addresses = rng, clock, addresses
        self.inner = SimulatedBus(StandIn([], Manners(source="fuzzing"), addresses), clock)
        self.frames = 0

    def send(self, msg: can.Message, timeout: float | None = None) -> None:  # noqa: ARG002
        check(msg)
        sequence: list[bytes] = []
        while self.rng.random() < 0.8:
            sequence += self._sequence(bytes(msg.data))
        at = self.clock.now()
        for data in sequence:
            at += float(self.rng.exponential(0.002))
            identifier = 0x18DAF110 if self.addresses.extended else 0x7E8
            if self.rng.random() < 0.05:
                identifier += int(self.rng.integers(0, 8))
            self.inner._coming.append(
                can.Message(arbitration_id=identifier, is_extended_id=self.addresses.extended, data=data, timestamp=at)
            )
        self.frames += len(sequence)

    def recv(self, timeout: float | None = None) -> can.Message | None:
        return self.inner.recv(timeout)

    def _sequence(self, question: bytes) -> list[bytes]:
        """One answer, true to the question or not, as frames that are bent, lost, doubled or in a wrong order."""
        rng = self.rng
        if rng.random() < 0.2:
            return [rng.bytes(int(rng.integers(0, 9)))]
        fits = rng.random() < 0.7 and len(question) > 1
        service = (question[1] + 0x40) & 0xFF if fits else int(rng.choice(ANSWERS))
        echo = question[2 : 2 + int(rng.integers(0, 3))]
        body = bytes([service]) + echo + rng.bytes(int(rng.choice([0, 1, 2, 4, 8, 17, 40, 200])))
        if rng.random() < 0.1:
            body = bytes([0x7F, question[1] if len(question) > 1 else 0, int(rng.choice([0x11, 0x21, 0x31, 0x78]))])
        frames = _frames(body)
        if rng.random() < 0.3 and len(frames) > 1:
            rng.shuffle(frames)
        if rng.random() < 0.2:
            frames.pop(int(rng.integers(0, len(frames))))
        if rng.random() < 0.2 and frames:
            frames.append(frames[int(rng.integers(0, len(frames)))])
        return [self._bent(frame) for frame in frames]

    def _bent(self, frame: bytes) -> bytes:
        if self.rng.random() < 0.1 and frame:
            at = int(self.rng.integers(0, len(frame)))
            frame = frame[:at] + bytes([frame[at] ^ 1 << int(self.rng.integers(0, 8))]) + frame[at + 1 :]
        return frame[: int(self.rng.integers(0, 9))] if self.rng.random() < 0.03 else frame


def _frames(body: bytes) -> list[bytes]:
    if len(body) <= 7:
        return [(bytes([len(body)]) + body).ljust(8, b"\xaa")]
    rest = body[6:]
    first = bytes([0x10 | len(body) >> 8, len(body) & 0xFF]) + body[:6]
    return [
        first,
        *((bytes([0x20 | (n // 7 + 1) & 0x0F]) + rest[n : n + 7]).ljust(8, b"\xaa") for n in range(0, len(rest), 7)),
    ]


def at_the_tester(wanted: int, rng: np.random.Generator) -> None:
    seen, heard, remarks, longest = 0, Counter[str](), 0, 0.0
    began, sizes, told = time.perf_counter(), [], 0
    while seen < wanted:
        clock, addresses = SimulatedClock(), (ELEVEN, TWENTY_NINE)[int(rng.integers(0, 2))]
        new_style = bool(rng.random() < 0.4)
        bus = Babbler(rng, clock, addresses)
        link = Link(GuardedBus(bus, clock), addresses, clock)
        unit = Unit(0x18DAF110 if addresses.extended else 0x7E8, "fuzzed", new_style)
        into = UnitReadout(unit)
        (newer if new_style else older).read_unit(Asking(link, unit, into), into)
        longest = max(longest, clock.now())
        assert longest < LONGEST_S, f"one readout took {longest} simulated seconds"
        seen += bus.frames
        heard.update(link.heard)
        remarks += len(into.remarks)
        bus.shutdown()
        bus.inner.shutdown()
        if seen - told >= wanted / 10:
            told = seen
            gc.collect()
            sizes.append(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
            print(f"  {seen:9,d} frames, {time.perf_counter() - began:5.0f} s, {sizes[-1]:.0f} MB at most")
    print(f"tester: {seen:,d} frames, longest readout {longest:.0f} simulated s, {remarks:,d} remarks, {dict(heard)}")
    assert sizes[-1] < sizes[0] + 20.0, "memory grows"


class Echo:
    """A unit that answers everything with something long."""

    id = 0x7E8

    def answer(self, question: bytes, now_s: float, *, to_all: bool, at_once: int) -> bytes | None:  # noqa: ARG002
        return bytes([question[0] ^ 0x40]) + bytes(40) if question[0] % 3 else None


def at_the_stand_in(wanted: int, rng: np.random.Generator) -> None:
    stand_in = StandIn([Echo()], Manners(source="fuzzing", pending_share=0.1, busy_share=0.1), ELEVEN)
    began, now, out = time.perf_counter(), 0.0, 0
    for n in range(wanted):
        now += float(rng.exponential(0.01))
        identifier = int(rng.choice([0x7DF, 0x7E0, 0x7E1, 0x123]))
        data = rng.bytes(int(rng.integers(0, 9)))
        if n % 3 == 0:
            data = bytes([0x30 | int(rng.integers(0, 4)), int(rng.integers(0, 256)), int(rng.integers(0, 256))])
        elif n % 3 == 1:
            data = bytes([int(rng.integers(1, 8))]) + rng.bytes(7)
        stand_in.take(can.Message(arbitration_id=identifier, is_extended_id=False, data=data), now)
        out += len(stand_in.due(now))
    out += len(stand_in.due(now + 10.0))
    assert len(stand_in._events) < 100, "events are left over"
    stand_in.take(single_frame(0x7E0, b"\x01\x0c", ELEVEN), now + 20.0)
    assert any(frame.data for frame in stand_in.due(now + 21.0)), "it still answers"
    print(f"stand-in: {wanted:,d} frames in, {out:,d} out, {time.perf_counter() - began:.0f} s")


def main() -> None:
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    try:
        at_the_tester(wanted, np.random.default_rng(seed))
        at_the_stand_in(wanted, np.random.default_rng(seed + 1))
    except AirproofError as fault:
        raise SystemExit(f"an error of ours where there should be none: {fault}") from fault


if __name__ == "__main__":
    main()
