"""What the link records from a stand-in: items a second against the limit of the bus, stamps, and an hour's memory.

    python benchmarks/bench_link.py [--hour | --causes] [--seconds N]

The bus is simulated frame by frame at 500 kbit/s; the limit is what the frames of question, flow control and answer
last at most (Davis, Burns, Bril, Lukkien 2007, equation 1, from memory), no unit and no computer taking any time.
"""

from __future__ import annotations

import argparse
import resource
import tempfile
import time
from pathlib import Path

import numpy as np

from airproof.diagnosis.facts_file import load_facts
from airproof.diagnosis.place_as_typed import the_barometer
from airproof.diagnosis.weigh import weigh
from airproof.engine.profile import EngineProfile
from airproof.engine.rehearsal.air.build import Details
from airproof.engine.rehearsal.faults import parse_fault
from airproof.engine.rehearsal.rehearse import Rehearsal, Request, rehearse
from airproof.jobs.facts_written import toml
from airproof.knowledge.load import knowledge
from airproof.knowledge.model import NONE
from airproof.recording.readers import read_recording
from airproof.vehicle.items import items_table
from airproof.vehicle.link.adapter import Adapter
from airproof.vehicle.link.addresses import ELEVEN
from airproof.vehicle.link.finding import find
from airproof.vehicle.readout.as_facts import facts_tables
from airproof.vehicle.readout.read_out import read_out
from airproof.vehicle.recorder.plan import Speaker, plan_for
from airproof.vehicle.recorder.recorder import Recorder
from airproof.vehicle.stand_in.manners import Manners, manners_named
from airproof.vehicle.stand_in.rehearsed_car import RehearsedCar
from airproof.vehicle.stand_in.simulated_bus import SimulatedBus, SimulatedClock, frame_bits
from airproof.vehicle.stand_in.stand_in import StandIn
from airproof.vehicle.stand_in.units import units_of

PROFILE = EngineProfile(
    displacement_l=2.0, cylinders=4, induction="turbocharged", fuel="petrol", air_metering="air-flow sensor",
    idle_rpm=720, rated_boost_kpa=110,
)  # fmt: skip
FAULTS = (
    NONE, "map-offset=15kPa", "map-gain=15%", "vacuum-leak=4mm", "maf-scale=-20%", "wastegate-stuck-open=60%",
    "fuel-delivery=-25%", "boost-leak=25mm",
)  # fmt: skip
RATE = 500_000
FRAME_S = frame_bits(8, extended=False) / RATE


class Bench:
    """A stand-in with these manners, recorded into a file that is thrown away."""

    def __init__(self, rehearsal: Rehearsal, manners: Manners, folder: Path, *, eager: bool) -> None:
        self.clock = SimulatedClock()
        self.car = RehearsedCar(rehearsal)
        stand_in = StandIn(units_of(self.car, ELEVEN, gearbox=False), manners_named("polite"), ELEVEN)
        adapter = Adapter("virtual", "simulated")

        def opener(*_: object) -> SimulatedBus:
            return SimulatedBus(stand_in, self.clock, RATE)

        found = find(adapter, self.clock, opener)
        link = found.connect(self.clock, opener)
        self.readout = read_out(link, found)
        link.close()
        stand_in.manners = manners
        self.plan = plan_for([Speaker(u.unit.id, u.unit.new_style, u.items) for u in self.readout.units])
        self.path = folder / f"{time.monotonic_ns()}.csv"
        self.recorder = Recorder(
            lambda: found.connect(self.clock, opener), self.plan, self.path, self.clock, as_fast_as_possible=eager
        )
        self.began_s = self.clock.now()


def limit_items_per_s(plan_lengths: list[int], at_once: int) -> float:
    """The most items a second: questions one after the other, each of its frames lasting its longest."""
    lengths = np.array(plan_lengths, dtype=float)
    body = 1.0 + at_once * (1.0 + lengths.mean())
    frames = 1 + (1 if body <= 7 else 2 + int(np.ceil((body - 6) / 7)))
    return at_once / (frames * FRAME_S)


def rates(rehearsal: Rehearsal, folder: Path, seconds: float) -> None:
    print(f"items a second at {RATE // 1000} kbit/s (a frame lasts {1e6 * FRAME_S:.0f} us at most)")
    for at_once in (1, 6):
        for after_ms in (0.0, 2.0, 5.0, 20.0):
            manners = Manners(
                source="bench", answers_after_s=after_ms / 1e3, items_at_once=at_once, between_frames_s=0.0
            )
            bench = Bench(rehearsal, manners, folder, eager=True)
            began = time.perf_counter()
            last = list(bench.recorder.run(every_s=seconds / 2, for_s=seconds))[-1]
            took = time.perf_counter() - began
            lengths = [items_table()[one.item.number].length for one in bench.plan.items]
            limit = limit_items_per_s(lengths, at_once)
            done = last.items_per_s
            print(
                f"  {at_once} at once, unit takes {after_ms:4.0f} ms: {done:6.0f} of {limit:5.0f} possible"
                f" ({100 * done / limit:3.0f} %); the computer alone would manage {done * seconds / took:6.0f}"
            )


def stamps(rehearsal: Rehearsal, folder: Path) -> None:
    """How far the stamp of a value is from when the unit took it, where its delay wanders."""
    print("stamps against when the unit took the value (ms: mean, standard deviation, 99 of 100 below)")
    for name in ("polite", "plain", "slow"):
        bench = Bench(rehearsal, manners_named(name), folder, eager=False)
        taken: list[float] = []
        row = bench.car.row

        def seen(now_s: float, row: object = row, taken: list[float] = taken) -> int:
            taken.append(now_s)
            return row(now_s)  # type: ignore[operator]

        bench.car.row = seen  # type: ignore[method-assign]
        list(bench.recorder.run(for_s=20.0))
        stamped = np.array([float(line.split(",", 1)[0]) for line in bench.path.read_text().splitlines()[1:]])
        true = np.unique(np.array(taken)) - bench.began_s
        nearest = true[np.abs(true[:, None] - stamped[None, :]).argmin(axis=0)]
        off = 1e3 * (stamped - nearest)
        print(f"  {name:7s} {off.mean():+6.2f} {off.std():6.2f} {np.quantile(np.abs(off), 0.99):6.2f}")


def hour(rehearsal: Rehearsal, folder: Path) -> None:
    """One simulated hour at about 40 items a second."""
    bench = Bench(rehearsal, Manners(source="bench", answers_after_s=0.0243, items_at_once=1), folder, eager=True)
    began, sizes, last = time.perf_counter(), [], None
    for last in bench.recorder.run(every_s=300.0, for_s=3600.0):
        sizes.append(resident_mb())
        print(f"  {last.at_s / 60:3.0f} min, {last.items_per_s:.0f} items/s, {last.rows:,d} lines, {sizes[-1]:.1f} MB")
    took = time.perf_counter() - began
    megabytes = bench.path.stat().st_size / 1e6
    print(
        f"  an hour in {took:.0f} s, {megabytes:.1f} MB of file; from the 15th minute on {sizes[-1] - sizes[2]:+.1f} MB"
    )


def causes(folder: Path) -> None:
    """One car of the workshop round with each of these faults, read out, recorded and weighed."""
    known = knowledge()
    print("recorded at some 140 items a second and weighed with the codes that were read (probability, 90 % interval)")
    for text in FAULTS:
        faults = () if text == NONE else (parse_fault(text, PROFILE, Details()),)
        bench = Bench(rehearse(Request(PROFILE, Details(), faults, seed=5)), manners_named("slow"), folder, eager=False)
        list(bench.recorder.run(every_s=60.0, for_s=bench.car.round_s))
        tables, _ = facts_tables(bench.readout, known)
        told = folder / "told.toml"
        told.write_text(toml(tables), encoding="utf-8")
        facts = load_facts([told], known) if tables else None
        day = the_barometer("100m", None)
        first = weigh([read_recording(bench.path)], PROFILE, facts=facts, known=known, barometer=day).verdict.causes[0]
        size = "" if first.size is None else f", {first.size.low:.1f} to {first.size.high:.1f} {first.size.unit}"
        print(f"  {text:26s} {first.id} {first.probability:.2f}{size}")


def resident_mb() -> float:
    try:
        pages = int(Path("/proc/self/statm").read_text().split()[1])
    except OSError:
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return pages * resource.getpagesize() / 1e6


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--hour", action="store_true", help="one simulated hour at 40 items a second")
    asked.add_argument("--causes", action="store_true", help="record cars with known faults, and weigh them")
    asked.add_argument("--seconds", type=float, default=20.0, help="simulated seconds for each rate")
    options = asked.parse_args()
    rehearsal = rehearse(Request(PROFILE, Details(), seed=3))
    with tempfile.TemporaryDirectory() as folder:
        if options.causes:
            causes(Path(folder))
        elif options.hour:
            hour(rehearsal, Path(folder))
        else:
            rates(rehearsal, Path(folder), options.seconds)
            stamps(rehearsal, Path(folder))


if __name__ == "__main__":
    main()
