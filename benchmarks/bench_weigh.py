"""How long a verdict takes as a whole process, and how much memory, beside a peer in the same run.

    python benchmarks/bench_weigh.py [FOLDER OF REAL RECORDINGS]

The peer is pandas reading the same file in a process of its own: what anyone would pay only to look at the numbers.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

RUNS = 5
ENGINE = """[engine]
displacement_l = 1.953
cylinders = 4
compression_ratio = 10.8
induction = "turbocharged"
air_metering = "air-flow sensor"
"""


def main() -> None:
    folder = Path(sys.argv[1] if len(sys.argv) > 1 else os.environ.get("AIRPROOF_REALDATA", "../shared/data"))
    recording = folder / "bench_turbo_petrol" / "wltp_f_pim_090.csv.gz"
    good = folder / "bench_turbo_petrol" / "wltp_NF.csv.gz"
    with tempfile.TemporaryDirectory() as scratch:
        engine = Path(scratch) / "engine.toml"
        engine.write_text(ENGINE, encoding="utf-8")
        weigh = [sys.executable, "-m", "airproof", "weigh", str(recording), "--engine", str(engine)]
        read = [sys.executable, "-c", f"import pandas; pandas.read_csv({str(recording)!r})"]
        rows = {
            "pandas reads the recording": read,
            "airproof --version": [sys.executable, "-m", "airproof", "--version"],
            "weigh, alone": weigh,
            "weigh, with a baseline": [*weigh, "--baseline", str(good)],
            "weigh, with a baseline and exhibits": [*weigh, "--baseline", str(good), "--exhibits", scratch + "/ex"],
        }
        peer = None
        print(f"{'28 minutes, 10 signals, 7 samples a second':42s} median s   spread s   peak MB   against pandas")
        for name, command in rows.items():
            seconds, peak = measure(command)
            middle = sorted(seconds)[RUNS // 2]
            peer = peer or middle
            spread = max(seconds) - min(seconds)
            print(f"{name:42s} {middle:8.2f}   {spread:8.2f}   {peak:7.0f}   {middle / peer:8.2f}")


def measure(command: list[str]) -> tuple[list[float], float]:
    """Wall seconds of each run, and the largest resident set, MB, of this command's runs."""
    seconds = []
    for _ in range(RUNS):
        start = time.perf_counter()
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        seconds.append(time.perf_counter() - start)
    code = f"import resource, subprocess; subprocess.run({command!r}, stdout=subprocess.DEVNULL); "
    code += "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"
    out = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    unit = 1024.0 if sys.platform != "darwin" else 1024.0**2
    return seconds, float(out.stdout) / unit


if __name__ == "__main__":
    if not hasattr(resource, "getrusage"):
        raise SystemExit("peak memory is only measured on Linux and macOS")
    main()
