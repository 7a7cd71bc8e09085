"""Reading time of recordings against pandas.read_csv on the same files in one run.

    python benchmarks/bench_csv.py [FOLDER] [--big MB] [--rounds N]

FOLDER holds *.csv.gz in subfolders (default: $AIRPROOF_REALDATA or the folder the tests use). pandas reads the bytes
into a table and stops there; Airproof also finds the layout, the signals, their units and the time, and cleans the
values. Best of N rounds each, in turns, in a process that has all imported; "process" is a new process that imports,
reads the one file and ends, and the peak memory is its own.

Where the comparison is not even, either way:

- pandas turns all columns into numbers, Airproof those that signals claim: 17 of 28 in road_na, most in
  the other files. The rest are passed over, but their bytes must be looked at too.
- Most files are gzipped, and both must unpack them: a third to a half of the time of the denser files, which no reader
  can save. All are in the page cache after the first round.
- The parser below Airproof spreads each reading over threads. To wake them costs some tenths of a millisecond however
  small the file, more on a busy machine; pandas has no such start. It is most of what is left to pandas below 0.1 MB.
- The generated file is plain, has ten signals and no missing cell: the best case for both.
- A process of its own counts the imports, most of its time: pandas' are the slower ones.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

from airproof.recording.readers import read_recording

BESIDE = Path(__file__).resolve().parents[2] / "shared" / "data"
PEAK = "import sys; {statement}; print(open('/proc/self/status').read())"
OURS = "from airproof.recording.readers import read_recording; read_recording(sys.argv[1])"
THEIRS = "import pandas; pandas.read_csv(sys.argv[1], index_col=False)"


def best(read: Callable[[], object]) -> float:
    start = time.perf_counter()
    read()
    return time.perf_counter() - start


def process(statement: str, path: Path) -> tuple[float, int]:
    """Seconds and peak memory (MB; 0 where the system does not tell) of a new process that reads the file."""
    code = PEAK.format(statement=statement) if Path("/proc/self/status").exists() else "import sys; " + statement
    start = time.perf_counter()
    done = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True)
    lasted = time.perf_counter() - start
    peak = [line.split()[1] for line in done.stdout.splitlines() if line.startswith("VmHWM")]
    return lasted, int(peak[0]) // 1024 if peak else 0


def big_file(path: Path, megabytes: float) -> None:
    """An invented recording of that size: ten signals at 20 Hz."""
    rng = np.random.default_rng(1)
    count = 20_000
    time_s = np.arange(count) / 20
    speed = 1500 + 700 * np.sin(time_s / 7) + rng.normal(0, 8, count)
    columns = {
        "Engine speed (rpm)": speed,
        "Intake manifold pressure (kPa)": 60 + 30 * np.sin(time_s / 5) + rng.normal(0, 0.6, count),
        "Charge pressure (kPa)": 110 + 9 * np.sin(time_s / 5) + rng.normal(0, 0.4, count),
        "Mass air flow (g/s)": 20 + 9 * np.sin(time_s / 5) + rng.normal(0, 0.2, count),
        "Throttle position (%)": 25 + 15 * np.sin(time_s / 5) + rng.normal(0, 0.1, count),
        "Coolant temperature (degC)": 90 + rng.normal(0, 0.3, count),
        "Intake air temperature (degC)": 30 + rng.normal(0, 0.3, count),
        "Short term fuel trim bank 1 (%)": rng.normal(0, 2, count),
        "Vehicle speed (km/h)": 60 + 30 * np.sin(time_s / 9) + rng.normal(0, 0.3, count),
        "Barometric pressure (kPa)": 99 + rng.normal(0, 0.05, count),
    }
    body = np.column_stack(list(columns.values()))
    lines = [",".join(f"{value:.3f}" for value in row) for row in body]
    wanted = megabytes * 1e6
    done = 0
    with path.open("w", encoding="ascii") as file:
        done += file.write("Time (s)," + ",".join(columns) + "\n")
        stamp = 0.0
        while done < wanted:
            text = "\n".join(f"{stamp + n * 0.05:.2f},{line}" for n, line in enumerate(lines)) + "\n"
            done += file.write(text)
            stamp += count * 0.05


def main() -> None:
    parser = argparse.ArgumentParser(description="Reading time against pandas.read_csv.")
    parser.add_argument("folder", nargs="?", type=Path, default=Path(os.environ.get("AIRPROOF_REALDATA", BESIDE)))
    parser.add_argument("--big", type=float, default=100.0, help="size of the generated file, MB; 0 leaves it out")
    parser.add_argument("--rounds", type=int, default=7)
    asked = parser.parse_args()
    files = sorted(asked.folder.glob("*/*.csv.gz")) if asked.folder.is_dir() else []
    with tempfile.TemporaryDirectory() as scratch:
        if asked.big > 0:
            big = Path(scratch) / f"generated_{asked.big:g}MB.csv"
            big_file(big, asked.big)
            files.append(big)
        print(
            f"{'file':34} {'MB':>6} {'airproof':>9} {'pandas':>9} {'ratio':>6} "
            f"{'process':>9} {'pandas':>9} {'peak MB':>8} {'pandas':>7}"
        )
        slower = 0
        for path in files:
            rounds = 3 if path.stat().st_size > 2e7 else asked.rounds
            pairs = [
                (best(lambda p=path: read_recording(p)), best(lambda p=path: pd.read_csv(p, index_col=False)))
                for _ in range(rounds)
            ]
            ours, theirs = min(a for a, _ in pairs), min(b for _, b in pairs)
            slower += ours > theirs
            our_process, our_peak = process(OURS, path)
            their_process, their_peak = process(THEIRS, path)
            print(
                f"{path.name[:34]:34} {path.stat().st_size / 1e6:6.2f} {ours * 1e3:7.1f}ms {theirs * 1e3:7.1f}ms "
                f"{ours / theirs:6.2f} {our_process * 1e3:7.0f}ms {their_process * 1e3:7.0f}ms "
                f"{our_peak:8d} {their_peak:7d}",
                flush=True,
            )
    print(f"{len(files)} files, {slower} of them slower than pandas")


if __name__ == "__main__":
    main()
