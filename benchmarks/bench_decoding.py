"""Decoded answers a second, against cantools decoding the same bytes in the same run, and logs read a second.

    python benchmarks/bench_decoding.py [--answers N] [--rounds N]

Three ways with the same bytes, item by item: many answers at once (arrays), one answer at a time by our decoder, and
one at a time by cantools told of the same bytes in a DBC, which has no way for many at once. Best of N rounds each, in
turns. Then a log of an invented drive in candump's form, gone through by python-can alone and read by Airproof into a
recording; once with nothing but diagnostics in it, once with nine frames of other traffic to each of them.

Where the comparison is not even, either way:

- cantools hands on a dictionary for each answer, ours an array for each value; one answer at a time ours too makes a
  dictionary.
- cantools decodes the data of the item alone; finding the items within an answer is left out on both sides, and is
  within the reading of the log.
- python-can alone makes a message of every frame and stops there; Airproof passes over other traffic before that.
"""

from __future__ import annotations

import argparse
import random
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import cantools
import numpy as np
from can.io.canutils import CanutilsLogReader
from cantools.database.can import Database

from airproof.vehicle.bus_log.reading import read_bus_log
from airproof.vehicle.items import Item, decode, decode_one, items_table

ITEMS = (0x0C, 0x0B, 0x10, 0x11, 0x06, 0x14, 0x34, 0x44, 0x70, 0x87)
FEW = 20_000
"""Answers for those that take one at a time."""


def database(item: Item) -> Database:
    lines = ['VERSION ""', "NS_ :", "BS_:", "BU_:", f"BO_ {item.number + 1} ITEM: {item.length} Vector__XXX"]
    for value in (one for one in item.values if one.place.end <= item.length):
        place, factor = value.place, value.times / value.over
        start = place.first * 8 + (7 if place.width % 8 == 0 else place.shift + place.width - 1)
        scale = f"({factor!r},{-value.zero * factor!r})"
        lines.append(f' SG_ {value.name} : {start}|{place.width}@0+ {scale} [0|0] "" Vector__XXX')
    found = cantools.database.load_string("\n".join([*lines, ""]), "dbc")
    assert isinstance(found, Database)
    return found


def seconds(run: Callable[[], object]) -> float:
    start = time.perf_counter()
    run()
    return time.perf_counter() - start


def item_rates(item: Item, answers: int, rounds: int) -> tuple[float, float, float]:
    """Answers a second: many at once, one at a time, and by cantools."""
    rng = np.random.default_rng(item.number)
    data = rng.integers(0, 256, (answers, item.length), dtype=np.uint8)
    rows = [row.tobytes() for row in data[:FEW]]
    message = database(item).messages[0]
    best = [float("inf")] * 3
    for _ in range(rounds):
        best[0] = min(best[0], seconds(lambda: decode(item, data, mode="forgiving")) / answers)
        best[1] = min(best[1], seconds(lambda: [decode_one(item, row, mode="forgiving") for row in rows]) / len(rows))
        best[2] = min(best[2], seconds(lambda: [message.decode(row, decode_choices=False) for row in rows]) / len(rows))
    return 1 / best[0], 1 / best[1], 1 / best[2]


def invented_log(path: Path, questions: int, others: int) -> int:
    """A drive of one item a question, `others` frames of other traffic to each frame of it; how many frames."""
    rng = random.Random(1)
    lines, frames = [], 0
    for turn in range(questions):
        item = items_table()[ITEMS[turn % 6]]
        data = rng.randbytes(item.length)
        answer = bytes([2 + item.length, 0x41, item.number]) + data
        at = 1_700_000_000 + 0.02 * turn
        lines.append(f"({at:.6f}) can0 7DF#0201{item.id}0000000000")
        lines.append(f"({at + 0.008:.6f}) can0 7E8#{answer.ljust(8, b'-').hex().upper()}")
        lines.extend(
            f"({at + 0.009:.6f}) can0 {rng.randrange(0x100, 0x700):03X}#0011223344556677" for _ in range(2 * others)
        )
        frames += 2 + 2 * others
    path.write_text("\n".join(lines) + "\n", encoding="ascii")
    return frames


def log_rates(path: Path, rounds: int) -> tuple[float, float]:
    """Seconds to go through a log by python-can alone, and to read it into a recording."""
    peer = min(seconds(lambda: sum(1 for _ in CanutilsLogReader(path))) for _ in range(rounds))
    return peer, min(seconds(lambda: read_bus_log(path)) for _ in range(rounds))


def main() -> None:
    parser = argparse.ArgumentParser(description="Decoded answers a second, against cantools.")
    parser.add_argument("--answers", type=int, default=1_000_000)
    parser.add_argument("--rounds", type=int, default=5)
    asked = parser.parse_args()
    heads = f"{'many/s':>13} {'one/s':>9} {'cantools/s':>10} {'many/cantools':>13} {'one/cantools':>12}"
    print(f"{'item':44} {'values':>6} {heads}")
    totals = [0.0] * 3
    for number in ITEMS:
        item = items_table()[number]
        rates = item_rates(item, asked.answers, asked.rounds)
        totals = [total + 1 / rate for total, rate in zip(totals, rates, strict=True)]
        many, one, theirs = rates
        print(
            f"{item.id} {item.title[:41]:41} {len(item.values):6d} {many:13,.0f} {one:9,.0f} {theirs:10,.0f} "
            f"{many / theirs:13.0f} {one / theirs:12.2f}",
            flush=True,
        )
    many, one, theirs = (len(ITEMS) / total for total in totals)
    print(
        f"{'all, as many of each':44} {'':6} {many:13,.0f} {one:9,.0f} {theirs:10,.0f} {many / theirs:13.0f} "
        f"{one / theirs:12.2f}"
    )
    with tempfile.TemporaryDirectory() as scratch:
        for others in (0, 9):
            path = Path(scratch) / f"drive_{others}.log"
            frames = invented_log(path, 50_000 if others == 0 else 10_000, others)
            peer, ours = log_rates(path, min(asked.rounds, 3))
            print(
                f"log of {frames} frames, {others} in {others + 1} other traffic: python-can alone"
                f" {frames / peer:,.0f} frames/s, into a recording"
                f" {frames / ours:,.0f} frames/s, ratio of times {ours / peer:.2f}"
            )


if __name__ == "__main__":
    main()
