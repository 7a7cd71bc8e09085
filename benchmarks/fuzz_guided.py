"""Inputs guided by what they reach in the code, through what reads answers and logs of a bus: nothing crashes or hangs.

    python benchmarks/fuzz_guided.py answers|log [--runs 1000000] [--seed S]

`answers`: bytes as one payload through every reader of an answer, strict and forgiving, and as frames through joining,
the matching of questions and answers, and the decoding of all items. `log`: bytes behind the head of each format of
log, through the reader of logs. What cannot be read must be refused in our own words; anything else ends the run, with
the input that did it. The guiding is by atheris, which is not among the project's packages: pip install atheris.
"""

from __future__ import annotations

import argparse
import importlib
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

UNITS = (0x7E0, 0x7E8, 0x7DF, 0x7E9)
HEADS = (
    b"(1700000000.000000) can0 7DF#02010C0000000000\n(1700000000.010000) can0 7E8#04410C1AF8AAAAAA\n",
    b" (1700000000.000000)  can0  7DF   [8]  02 01 0C 00 00 00 00 00\n",
    b"timestamp,arbitration_id,extended,remote,error,dlc,data\n1.0,0x7df,0,0,0,8,AgEMAAAAAAA=\n",
    b"date Tue Nov 14 10:13:20.000 pm 2023\nbase hex  timestamps absolute\n"
    b"   0.000000 1 7DF Rx d 8 02 01 0C 00 00 00 00 00\n",
    b";$FILEVERSION=1.1\n;\n     1)         0.0  Rx         07DF  8  02 01 0C 00 00 00 00 00\n",
    b"LOGG",
    b"",
)
"""What a log of each format begins with, so that the guiding need not find that out by chance."""

SEEDS = (
    "41 0C 1A F8 0B 65 0D 32", "42 02 00 01 06", "43 02 01 02 01 13", "43 01 33 00 00 00 00", "47 00", "44",
    "46 01 01 0A 0E A6 0B B8 13 88", "46 00 C0 00 00 01", "49 02 01 31 4D 38 47 44 4D 39 41 58 4B 50 30 34 32 37 38 38",
    "49 08 14 00 01 00 02", "7F 01 78", "59 02 FF 01 06 17 2F", "59 04 01 06 17 2F 01 02 F4 0C 1A F8 F4 0B 65",
    "59 14 01 06 17 40", "62 F4 0C 1A F8 F4 0B 65", "62 F6 01 01 0A 0E A6 0B B8 13 88", "62 F8 02 01 31", "62 F5 01 00",
    "00 02 01 0C 01 04 41 0C 1A F8", "00 02 09 02 01 10 14 49 02 01 31 4D 38",
)  # fmt: skip


def answers_target() -> Callable[[bytes], None]:
    """One input as a payload, and as frames."""
    from airproof.errors import UnusableAnswer
    from airproof.vehicle.answers import car_information, codes, live, monitor_results, newer, readiness, refusals
    from airproof.vehicle.bus_log.dialogue import Dialogue
    from airproof.vehicle.bus_log.frames import Frame
    from airproof.vehicle.bus_log.joining import Joiner
    from airproof.vehicle.items import by_signal
    from airproof.vehicle.link.addresses import ELEVEN

    in_two_modes = (
        live.read_live, live.read_frame, live.read_identified, newer.read_by_identifier,
    )  # fmt: skip
    in_mode = (
        codes.read_codes, monitor_results.read_monitor_results, car_information.read_car_information,
        newer.read_code_report, newer.read_frame_of_code,
    )  # fmt: skip
    in_one = (
        readiness.read_readiness, refusals.read_refusal, newer.read_code_count, newer.fault_counters,
    )  # fmt: skip

    def tries(read: Callable[..., object], *given: object, **named: object) -> object:
        try:
            return read(*given, **named)
        except UnusableAnswer:
            return None

    def frames(data: bytes) -> Iterator[Frame]:
        for turn, at in enumerate(range(0, len(data), 9)):
            identifier = UNITS[data[at] % len(UNITS)]
            asks = identifier < 0x7E8
            yield Frame(0.01 * turn, identifier, ELEVEN, asks, data[at + 1 : at + 9])

    def target(data: bytes) -> None:
        asked = tuple(data[-2:])
        for read in in_one:
            tries(read, data)
        for mode in ("strict", "forgiving"):
            for read in in_mode:
                tries(read, data, mode=mode)
            for read in in_two_modes:
                for known in ((), asked):
                    found = tries(read, data, known, mode)
                    if isinstance(found, live.Items):
                        by_signal(found.parts)
        joiner, dialogue = Joiner(), Dialogue()
        for frame in frames(data):
            whole = joiner.take(frame)
            if whole is not None:
                dialogue.take(whole)
        joiner.end()
        dialogue.end()
        for _ in dialogue.live.series():
            pass
        for unit in dialogue.units.values():
            unit.telling.statuses()
            assert len(unit.frames) <= 256

    return target


def log_target(folder: Path) -> Callable[[bytes], None]:
    """One input as a log: its first byte chooses the head."""
    from airproof.errors import MissingExtra, UnusableFile
    from airproof.vehicle.bus_log import frames
    from airproof.vehicle.bus_log.reading import read_bus_log

    vars(frames)["let_go"] = lambda _: None  # it tidies up behind asammdf, which is not tried, and takes its time
    path = folder / "fuzzed.log"

    def target(data: bytes) -> None:
        path.write_bytes(HEADS[data[0] % len(HEADS)] + data[1:] if data else b"")
        try:
            read_bus_log(path)
        except (UnusableFile, MissingExtra):
            return

    return target


def main() -> None:
    parser = argparse.ArgumentParser(description="Guided fuzzing of what reads answers and logs of a bus.")
    parser.add_argument("of", choices=("answers", "log"))
    parser.add_argument("--runs", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    try:
        atheris = importlib.import_module("atheris")
    except ImportError:
        raise SystemExit("atheris is not installed, and nothing was tried. Install it: pip install atheris") from None
    with tempfile.TemporaryDirectory() as scratch:
        seeds = Path(scratch) / "seeds"
        seeds.mkdir()
        for number, seed in enumerate(SEEDS):
            (seeds / f"answer-{number}").write_bytes(bytes.fromhex(seed))
        for number, head in enumerate(HEADS):
            (seeds / f"head-{number}").write_bytes(bytes([number]) + head)
        with atheris.instrument_imports(include=["airproof.vehicle"]):
            target = answers_target() if asked.of == "answers" else log_target(Path(scratch))
        options = [
            f"-runs={asked.runs}",
            f"-seed={asked.seed}",
            "-timeout=300",
            "-max_len=1024",
            "-print_final_stats=1",
        ]
        atheris.Setup([sys.argv[0], *options, str(seeds)], target)
        atheris.Fuzz()


if __name__ == "__main__":
    main()
