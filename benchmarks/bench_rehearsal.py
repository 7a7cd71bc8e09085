"""How fast a rehearsal is: against real time, against a reference library's stiff solver, from cold and warm starts.

    python benchmarks/bench_rehearsal.py [NUMBER OF REHEARSALS FOR THE LAST FIGURE, 0 to leave it out]

Ratios within one run; the machine's noise is shown as the spread of five repeats.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from scipy.integrate import solve_ivp

from airproof.engine.profile import EngineProfile
from airproof.engine.rehearsal.air.air_path import at_rest, changes
from airproof.engine.rehearsal.air.build import build
from airproof.engine.rehearsal.air.integrate import Work, follow
from airproof.engine.rehearsal.air.machinery import PRESSURES, STATES, Commands, Flows, Outside
from airproof.engine.rehearsal.many import Plan, rehearse_many
from airproof.engine.rehearsal.records import Floats, blank
from airproof.engine.rehearsal.rehearse import Request, rehearse
from airproof.engine.rehearsal.road.drives import named_drive

TURBO = EngineProfile(
    displacement_l=2.0, cylinders=4, induction="turbocharged", air_metering="air-flow sensor", rated_boost_kpa=110.0
)


def spread_of(times: list[float]) -> str:
    return f"{statistics.median(times):.3f} s (of five: {min(times):.3f} to {max(times):.3f})"


def timed(work: Callable[[], object], repeats: int = 5) -> list[float]:
    times = []
    for _ in range(repeats):
        began = time.perf_counter()
        work()
        times.append(time.perf_counter() - began)
    return times


def whole_drive() -> None:
    """One workshop round with control unit, sensors, driver and monitors, errands left out."""
    request = Request(TURBO, earlier_drives=0)
    seconds = rehearse(request).trace.duration_s
    times = timed(lambda: rehearse(request))
    print(f"workshop round, all included: {seconds:.0f} s simulated in {spread_of(times)}: ", end="")
    print(f"{seconds / statistics.median(times):.0f} x real time per core")
    with_errands = timed(lambda: rehearse(Request(TURBO)))
    errands = seconds + 2 * named_drive("errand").duration_s
    print(f"  with two errands before it: {errands:.0f} s in {spread_of(with_errands)}: ", end="")
    print(f"{errands / statistics.median(with_errands):.0f} x")


def transients(moments: int) -> tuple[Floats, Floats, Floats]:
    """Speed (1/s), throttle (%) and wastegate of a lively minute, one row each 10 ms."""
    t = np.arange(moments) * 0.01
    throttle = np.interp(
        t % 6.0, [0.0, 1.0, 1.06, 2.0, 2.1, 3.0, 3.3, 5.0, 5.1, 6.0], [3, 3, 70, 70, 4, 4, 100, 100, 3, 3]
    )
    wastegate = np.interp(t % 6.0, [0.0, 3.6, 4.2, 6.0], [1.0, 0.2, 0.6, 1.0])
    return 33.0 + 12.0 * np.sin(0.8 * t), throttle, wastegate


def against_radau() -> None:
    """The air path alone, and the same equations by scipy's Radau at its default tolerance."""
    engine = build(TURBO)
    outside = blank(Outside, pressure=98e3, temperature=293.0, wall=320.0, bay=330.0)
    moments = 6001
    speed, throttle, wastegate = transients(moments)
    states, air = np.zeros((moments, STATES)), np.zeros((moments, 2))
    work, flows = blank(Work), blank(Flows)

    def commands() -> Commands:
        return blank(Commands, fuel=-1.0, spark=1.0, filter_factor=1.0, exhaust_factor=1.0)

    def ours() -> None:
        y = at_rest(engine, outside, 360.0)
        follow(engine, outside, commands(), 0.01, speed, throttle, wastegate, y, states, air, work, flows)

    asked = commands()
    slopes = np.zeros((PRESSURES, PRESSURES))

    def rates(t: float, y: Floats) -> Floats:
        asked.speed = float(np.interp(t, np.arange(moments) * 0.01, speed))
        asked.throttle_0 = asked.throttle_1 = float(np.interp(t, np.arange(moments) * 0.01, throttle))
        asked.wastegate_0 = asked.wastegate_1 = float(np.interp(t, np.arange(moments) * 0.01, wastegate))
        dy = np.zeros(STATES)
        changes(engine, outside, asked, 0.0, y, dy, slopes, flows)
        return dy

    ours()
    rates(0.0, at_rest(engine, outside, 360.0))
    times = timed(ours)
    theirs = timed(
        lambda: solve_ivp(rates, (0.0, 60.0), at_rest(engine, outside, 360.0), method="Radau", max_step=0.05), 1
    )
    print(f"air path alone, a lively minute: {spread_of(times)}: {60.0 / statistics.median(times):.0f} x real time")
    print(f"  scipy solve_ivp (Radau, rtol 1e-3, compiled right-hand side): {theirs[0]:.1f} s, ", end="")
    print(f"{theirs[0] / statistics.median(times):.0f} times as long")


def starts() -> None:
    """A process that rehearses 30 s: with nothing compiled, then with the machine code on disk."""
    words = (
        "import sys, time; began = time.perf_counter();"
        "from airproof.engine.profile import EngineProfile;"
        "from airproof.engine.rehearsal import compiled;"
        "from pathlib import Path;"
        "compiled.cache_folder = (lambda: Path(sys.argv[1]));"
        "from airproof.engine.rehearsal.road.drives import of_stretches;"
        "from airproof.engine.rehearsal.rehearse import Request, rehearse;"
        "p = EngineProfile(displacement_l=2.0, cylinders=4, induction='turbocharged', air_metering='air-flow sensor');"
        "d = of_stretches('short', [(2.0, 'off', 0), (1.6, 'crank', 0), (26.0, 'idle', 0)]);"
        "rehearse(Request(p, drive=d, earlier_drives=0)); print(time.perf_counter() - began)"
    )
    # as on a user's computer: Python keeps the bytecode of every package from the first start on
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}

    def start(folder: str) -> float:
        order = [sys.executable, "-c", words, folder]
        return float(subprocess.run(order, check=True, capture_output=True, text=True, env=environment).stdout)

    with tempfile.TemporaryDirectory() as folder:
        cold = start(folder)
        warm = [start(folder) for _ in range(5)]
    print(f"first start, compiling: {cold:.1f} s; a second start: {spread_of(warm)}")


def many(number: int) -> None:
    """Rehearsals of the workshop round, drawn across the spread, written to files, on all cores."""
    with tempfile.TemporaryDirectory() as folder:
        plan = Plan(number, 1, Path(folder), None, None, named_drive("workshop"), None, None)
        taken = timed(lambda: rehearse_many(plan), 1)[0]
    print(f"{number} rehearsals of six minutes with their errands, written: {taken:.0f} s")


def main() -> None:
    whole_drive()
    against_radau()
    starts()
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    if number:
        many(number)


if __name__ == "__main__":
    main()
