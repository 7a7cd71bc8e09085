"""What a verdict costs: seconds and memory of a whole process by length of recording, and five hundred recordings.

    python benchmarks/bench_cost.py [HOW MANY OF THE FIVE HUNDRED, 60 where nothing is said, 0 for none]

The recordings are rehearsals, twelve signals at ten rows a second: the workshop round driven again and again and cut to
length. Each row of the first table is one process from its start to its end, imports included. Its peer in the same run
is a process that only imports the two libraries every reader of tables would load, so "x peer" holds on a slower or
busier machine, where seconds do not. "CPU" is the processor time of all threads: on a busy machine it moves less than
wall time. The last figure weighs six-minute rounds of cars, faults and places drawn anew, in one worker for each core.

This process imports nothing large itself: on Linux a child's peak memory begins at its parent's.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from statistics import median

MINUTES = (5, 10, 20, 30, 40)
HALF_WAY = "30, a fault from half way on"  # weighed twice: on the whole, and on the time it was there
RUNS = 5
LIMIT_S, LIMIT_MB = 1.0, 400.0
ALL, LIMIT_ALL_S = 500, 180.0
PEER = "import polars, numpy"
RECORDED = (
    "engine_speed", "manifold_pressure", "charge_pressure", "air_flow", "throttle", "short_trim_1", "long_trim_1",
    "lambda", "vehicle_speed", "intake_temperature", "coolant_temperature", "barometric_pressure",
)  # fmt: skip
ENGINE = """[engine]
displacement_l = 2.0
cylinders = 4
compression_ratio = 9.6
induction = "turbocharged"
air_metering = "air-flow sensor"
rated_boost_kpa = 110
"""


@dataclass(frozen=True)
class Run:
    """One process: wall and processor seconds, and the peak of its memory, MB."""

    wall_s: float
    cpu_s: float
    peak_mb: float


def make_long(folder: Path) -> None:
    """Recordings of each length of a car with a leak, and one whose leak begins half way; the engine beside them."""
    from airproof.engine.profile import load_profile
    from airproof.engine.rehearsal.air.build import Details
    from airproof.engine.rehearsal.faults import parse_fault
    from airproof.engine.rehearsal.rehearse import Request, rehearse
    from airproof.engine.rehearsal.road.drives import of_stretches
    from airproof.engine.rehearsal.tables import tables

    (folder / "engine.toml").write_text(ENGINE, encoding="utf-8")
    profile = load_profile(folder / "engine.toml")
    stretches = tables("drives")["workshop"]["stretches"]
    rounds = 60 * max(MINUTES) // int(sum(seconds for seconds, _, _ in stretches)) + 2
    drive = of_stretches("rounds", [(float(s), str(kind), float(kmh)) for s, kind, kmh in rounds * stretches])
    leaks = (parse_fault(f"vacuum-leak=4mm{course}", profile, Details()) for course in ("", ":from=900s"))
    whole, half = (rehearse(Request(profile, faults=(leak,), drive=drive)).trace for leak in leaks)
    for minutes in MINUTES:
        write(whole, 60.0 * minutes, folder / f"{minutes}.csv")
    write(half, 1800.0, folder / f"{HALF_WAY}.csv")


def write(trace: object, seconds: float, path: Path) -> None:
    """The beginning of a drive as a logger of ten rows a second stores it."""
    import numpy as np

    from airproof.engine.rehearsal.trace import Trace
    from airproof.engine.rehearsal.written.logger import Logger, log
    from airproof.engine.rehearsal.written.recording_file import dialect_named, write_recording

    assert isinstance(trace, Trace)
    assert trace.duration_s >= seconds
    ten_a_second = Logger(
        name="ten a second", requests_per_s=30.0, items_per_request=6, pace_jitter=0.1, latency_s=0.02,
        latency_jitter_s=0.01, rows="row per round", rows_per_s=10.0, records=RECORDED, source="of this benchmark",
    )  # fmt: skip
    rows = int(seconds / (trace.time[1] - trace.time[0])) + 1
    cut = Trace(trace.time[:rows], {name: values[:rows] for name, values in trace.items.items()}, {})
    write_recording(log(cut, ten_a_second, np.random.default_rng(1)), path, dialect_named("plain"))


def make_round(folder: Path, place: int) -> None:
    """A round of six minutes of a car, fault and place of its own."""
    from airproof.engine.rehearsal.rehearse import rehearse
    from airproof.engine.rehearsal.road.drives import named_drive
    from airproof.engine.rehearsal.spread import draw
    from airproof.engine.rehearsal.written.truth import engine_file_text

    case = draw(1, place, faults=None, drive=named_drive("workshop"), logger=None, dialect=None)
    trace = rehearse(case.request).trace
    write(trace, trace.duration_s, folder / f"{place:03d}.csv")
    (folder / f"{place:03d}.toml").write_text(engine_file_text(case.request.profile, {}), encoding="utf-8")


def weigh_round(recording: Path) -> str:
    """Weigh one of them in this process, as a fleet would; returns what it finds likeliest."""
    from airproof.diagnosis.weigh import weigh
    from airproof.engine.profile import load_profile
    from airproof.recording.readers import read_recording

    return weigh([read_recording(recording)], load_profile(recording.with_suffix(".toml"))).verdict.first.id


def measured(command: Sequence[str], environment: Mapping[str, str]) -> Run:
    began = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, env=environment)
    _, status, used = os.wait4(process.pid, 0)
    wall = time.perf_counter() - began
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(f"{' '.join(command)} ended with {process.returncode}")
    return Run(wall, used.ru_utime + used.ru_stime, used.ru_maxrss / (1024.0 if sys.platform != "darwin" else 1024**2))


def by_length(folder: Path) -> None:
    """The first table: every length in turn, five times over, so that a busy minute falls on all alike."""
    # As on a user's computer: Python keeps the bytecode of every module from the first start on.
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    weigh = [sys.executable, "-m", "airproof", "weigh", "--engine", str(folder / "engine.toml"), "--json"]
    commands = {f"imports only: {PEER}": [sys.executable, "-c", PEER]}
    commands |= {f"weigh, minutes: {m}": [*weigh, str(folder / f"{m}.csv")] for m in (*MINUTES, HALF_WAY)}
    for command in commands.values():
        measured(command, environment)
    runs: dict[str, list[Run]] = {name: [] for name in commands}
    for _ in range(RUNS):
        for name, command in commands.items():
            runs[name].append(measured(command, environment))
    peer = next(iter(runs))
    print(f"twelve signals, ten rows a second; median of {RUNS} processes (least to most)")
    print(f"{'':46s} {'wall s':>20s} {'CPU s':>20s} {'x peer':>7s} {'peak MB':>8s}")
    for name, some in runs.items():
        wall, cpu = ([getattr(run, what) for run in some] for what in ("wall_s", "cpu_s"))
        ratio = median(run.cpu_s / beside.cpu_s for run, beside in zip(some, runs[peer], strict=True))
        print(f"{name:46s} {spread(wall):>20s} {spread(cpu):>20s} {ratio:7.2f} {max(r.peak_mb for r in some):8.0f}")
    (short, shortest), (long, longest) = (
        (m, median(run.cpu_s for run in runs[f"weigh, minutes: {m}"])) for m in (MINUTES[0], MINUTES[-1])
    )
    a_minute = (longest - shortest) / (long - short)
    print(f"a further minute of recording: {1e3 * a_minute:.1f} ms of CPU; what any takes: ", end="")
    print(f"{shortest - short * a_minute:.2f} s")
    half_hour = runs["weigh, minutes: 30"]
    wall, peak = median(run.wall_s for run in half_hour), max(run.peak_mb for run in half_hour)
    print(f"half an hour: {wall:.2f} s (wanted: {LIMIT_S:g}), {peak:.0f} MB (wanted: {LIMIT_MB:.0f})")


def spread(numbers: Sequence[float]) -> str:
    return f"{median(numbers):.2f} ({min(numbers):.2f} to {max(numbers):.2f})"


def many(folder: Path, number: int) -> None:
    cores = os.cpu_count() or 1
    with ProcessPoolExecutor(cores, mp_context=get_context("spawn")) as pool:
        list(pool.map(partial(make_round, folder), range(number)))
    recordings = sorted(folder.glob("*.csv"))
    # One thread of linear algebra for each worker, as the command has it: there is a worker for every core already.
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    began = time.perf_counter()
    with ProcessPoolExecutor(cores, mp_context=get_context("spawn")) as pool:
        list(pool.map(weigh_round, recordings))
    taken = time.perf_counter() - began
    scaled = "" if number == ALL else f"; {ALL} of them at that pace: {taken * ALL / number:.0f} s"
    print(f"{number} recordings of six minutes in {cores} workers, their start included: {taken:.1f} s{scaled}", end="")
    print(f" (wanted: {LIMIT_ALL_S:.0f} s on two cores)")


def main() -> None:
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
            pool.submit(make_long, folder).result()
        by_length(folder)
        if number:
            (folder / "rounds").mkdir()
            many(folder / "rounds", number)


if __name__ == "__main__":
    if not hasattr(os, "wait4"):
        raise SystemExit("peak memory is only measured on Linux and macOS")
    main()
