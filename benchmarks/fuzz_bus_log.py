"""A million damaged frames through all that reads a bus: nothing crashes, and nothing piles up.

    python benchmarks/fuzz_bus_log.py [--frames N] [--seed S]

Frames begin as a sound dialogue (older and newer services, several units, single and joined frames) and are then cut,
stretched, doubled, swapped, lost, flipped in bits, readdressed, or made of nothing but chance. They go through joining,
the matching of questions and answers, every reader, and at last the decoding of all items. Told at the end: how many
were read, lost and left over, the pace, and the memory held for them.
"""

from __future__ import annotations

import argparse
import random
import time
import tracemalloc
from collections.abc import Iterator

from airproof.vehicle.answers.car_information import CALIBRATION_IDS, RATIOS_SPARK, VIN, car_information_answer
from airproof.vehicle.answers.codes import STORED, codes_answer
from airproof.vehicle.answers.live import frame_answer, identifier_answer, live_answer
from airproof.vehicle.bus_log.dialogue import Dialogue
from airproof.vehicle.bus_log.frames import Frame
from airproof.vehicle.bus_log.joining import Joiner
from airproof.vehicle.items import items_table
from airproof.vehicle.link.addresses import ELEVEN, TWENTY_NINE

ADDRESSES = [(0x7E8, ELEVEN), (0x7E9, ELEVEN), (0x18DAF110, TWENTY_NINE)]
CHUNK = 100_000


def payload(rng: random.Random) -> bytes:
    """One sound answer."""
    table = list(items_table().values())
    parts = [(item.number, rng.randbytes(item.length)) for item in rng.sample(table, rng.randint(1, 6))]
    return rng.choice(
        [
            lambda: live_answer(parts),
            lambda: live_answer(parts[:1]),
            lambda: frame_answer(parts, rng.randint(0, 1)),
            lambda: identifier_answer(parts),
            lambda: codes_answer(STORED, ["P0106", "P0299", "U0100"][: rng.randint(0, 3)]),
            lambda: car_information_answer(VIN, ["1M8GDM9AXKP042788"]),
            lambda: car_information_answer(CALIBRATION_IDS, ["A1", "B2"]),
            lambda: car_information_answer(RATIOS_SPARK, {"ignition cycles": rng.randint(0, 70000)}),
            lambda: bytes([0x46]) + b"".join(bytes([1]) + rng.randbytes(8) for _ in range(rng.randint(1, 20))),
            lambda: bytes.fromhex("5902FF") + rng.randbytes(4 * rng.randint(0, 30)),
            lambda: bytes.fromhex("59040106172F0102F40C1AF8F40B65"),
            lambda: bytes([0x7F, rng.choice([1, 3, 9, 0x22]), rng.choice([0x12, 0x21, 0x31, 0x78])]),
            lambda: rng.choice([b"\x44", b"\x54"]),
            lambda: rng.randbytes(rng.randint(1, 60)),
        ]
    )()


def frames_of(data: bytes) -> list[bytes]:
    """A payload in frames of eight bytes."""
    if len(data) < 8:
        return [(bytes([len(data)]) + data).ljust(8, b"\xaa")]
    frames = [bytes([0x10 | len(data) >> 8, len(data) & 0xFF]) + data[:6]]
    rest = [data[at : at + 7] for at in range(6, len(data), 7)]
    return frames + [(bytes([0x20 | turn % 16]) + part).ljust(8, b"\xaa") for turn, part in enumerate(rest, 1)]


def damaged(data: bytes, rng: random.Random) -> bytes:
    """A frame with something wrong in it."""
    way = rng.randrange(4)
    if way == 0:
        return data[: rng.randrange(9)]
    if way == 1:
        return data + rng.randbytes(rng.randint(1, 56))
    if way == 2:
        return rng.randbytes(rng.randint(0, 64))
    flipped = bytearray(data)
    flipped[rng.randrange(len(flipped))] ^= 1 << rng.randrange(8)
    return bytes(flipped)


def traffic(rng: random.Random) -> Iterator[Frame]:
    """Frames without end, a tenth of them wrong in one way or another."""
    at = 0.0
    while True:
        unit, addresses = rng.choice(ADDRESSES)
        question = bytes([rng.choice([1, 2, 3, 6, 9, 0x19, 0x22])]) + rng.randbytes(rng.randint(0, 6))
        yield Frame(at, addresses.question_to(unit), addresses, True, bytes([len(question)]) + question)
        for data in frames_of(payload(rng)):
            at += rng.choice([0.001, 0.001, 0.01, 1.2, -0.01])
            chance = rng.random()
            if chance < 0.02:
                continue
            if chance < 0.10:
                data = damaged(data, rng)
            if chance < 0.12:
                unit, addresses = rng.choice(ADDRESSES)
            for _ in range(1 if chance > 0.13 else 2):
                yield Frame(at, unit, addresses, False, data)


def main() -> None:
    parser = argparse.ArgumentParser(description="A million damaged frames through all that reads a bus.")
    parser.add_argument("--frames", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    joiner, dialogue = Joiner(), Dialogue()
    held, read, start = 0, 0, time.perf_counter()
    tracemalloc.start()
    for count, frame in enumerate(traffic(random.Random(asked.seed)), 1):
        whole = joiner.take(frame)
        if whole is not None:
            dialogue.take(whole)
            read += 1
        if count % CHUNK == 0:
            now = tracemalloc.get_traced_memory()[0]
            kept = len(dialogue.live)
            print(f"{count:9,} frames, {now / 1e6:7.1f} MB held, {kept:9,} answers to items kept", flush=True)
            held = now
        if count >= asked.frames:
            break
    joiner.end()
    dialogue.end()
    lasted = time.perf_counter() - start
    series = sum(1 for _ in dialogue.live.series())
    kept = len(dialogue.live)
    print(f"{asked.frames:,} frames in {lasted:.0f} s: {read:,} messages put together, {joiner.lost.total():,} lost")
    print(f"{kept:,} answers to items kept, {series} series of values, {len(dialogue.unread)} kinds of doubt told")
    print(f"memory held: {held / max(kept, 1):.0f} bytes for each answer to an item")


if __name__ == "__main__":
    main()
