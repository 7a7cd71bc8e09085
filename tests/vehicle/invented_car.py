"""An invented car, rehearsed, and its stand-in on a simulated bus."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from airproof.engine.profile import EngineProfile
from airproof.engine.rehearsal.air.build import Details
from airproof.engine.rehearsal.faults import parse_fault
from airproof.engine.rehearsal.rehearse import Rehearsal, Request, rehearse
from airproof.engine.rehearsal.road.drives import of_stretches
from airproof.vehicle.link.adapter import Adapter
from airproof.vehicle.link.addresses import ELEVEN, Addresses
from airproof.vehicle.link.finding import Found, find
from airproof.vehicle.readout.read_out import read_out
from airproof.vehicle.readout.readout import Readout
from airproof.vehicle.recorder.plan import Plan, Speaker, plan_for
from airproof.vehicle.recorder.recorder import Recorder
from airproof.vehicle.stand_in.contents import gearbox_contents
from airproof.vehicle.stand_in.manners import Manners, manners_named
from airproof.vehicle.stand_in.rehearsed_car import RehearsedCar
from airproof.vehicle.stand_in.simulated_bus import SimulatedBus, SimulatedClock
from airproof.vehicle.stand_in.stand_in import StandIn
from airproof.vehicle.stand_in.units import NewerUnit, units_of

PROFILE = EngineProfile(
    displacement_l=2.0,
    cylinders=4,
    compression_ratio=9.6,
    induction="turbocharged",
    fuel="petrol",
    air_metering="air-flow sensor",
    idle_rpm=720,
    rated_boost_kpa=110,
)
ENGINE_TOML = """# Invented: no car of any maker is meant.
[engine]
displacement_l = 2.0
cylinders = 4
compression_ratio = 9.6
induction = "turbocharged"
fuel = "petrol"
air_metering = "air-flow sensor"
idle_rpm = 720
rated_boost_kpa = 110
"""
ADAPTER = Adapter("virtual", "simulated")
RESTS_S = 5.0

SHORT = of_stretches(
    "short",
    [
        (14, "off", 0), (1.6, "crank", 0), (30, "idle", 0), (0.6, "snap", 0), (6, "idle", 0), (8, "drive", 50),
        (18, "drive", 50), (8, "drive", 80), (14, "drive", 80), (6, "drive", 50), (4, "third", 50), (12, "pull", 0),
        (8, "coast", 0), (10, "drive", 0), (14, "idle", 0), (8, "off", 0),
    ],
)  # fmt: skip


def short_rehearsal(fault: str) -> Rehearsal:
    return rehearse(Request(PROFILE, Details(), (parse_fault(fault, PROFILE, Details()),), drive=SHORT, seed=3))


def mixed(simulated: Callable[[], SimulatedCar]) -> SimulatedCar:
    """A car whose engine answers the older services and whose gearbox the newer ones alone."""
    at = simulated()
    at.stand_in._units[0x7E9] = NewerUnit(0x7E9, gearbox_contents(at.car))
    return at


class SimulatedCar:
    """A stand-in, and a tester's way to it."""

    def __init__(
        self,
        rehearsal: Rehearsal,
        manners: str | Manners = "polite",
        *,
        addresses: Addresses = ELEVEN,
        newer: bool = False,
        seed: int = 1,
        rate: int = 500_000,
        gearbox: bool = True,
        clock: SimulatedClock | None = None,
    ) -> None:
        self.car = RehearsedCar(rehearsal, RESTS_S)
        self.clock = clock or SimulatedClock()
        self.rate = rate
        how = manners_named(manners) if isinstance(manners, str) else manners
        units = units_of(self.car, addresses, newer_style=newer, gearbox=gearbox)
        self.stand_in = StandIn(units, how, addresses, seed)
        self.buses: list[SimulatedBus] = []
        self.plugged_in = True

    def opener(self, adapter: Adapter, rate: int | None, listen_only: bool) -> SimulatedBus:
        bus = SimulatedBus(self.stand_in, self.clock, self.rate)
        if not self.plugged_in:
            bus.pull_out()
        self.buses.append(bus)
        return bus

    def pull_out(self) -> None:
        self.plugged_in = False
        for bus in self.buses:
            bus.pull_out()

    def found(self) -> Found:
        return find(ADAPTER, self.clock, self.opener)

    def link(self, found: Found | None = None):
        return (found or self.found()).connect(self.clock, self.opener)

    def readout(self) -> Readout:
        found = self.found()
        return read_out(self.link(found), found)

    def plan(self, readout: Readout, probability=None) -> Plan:
        return plan_for([Speaker(u.unit.id, u.unit.new_style, u.items) for u in readout.units], probability)

    def recorder(self, path: Path, probability=None, **more) -> Recorder:
        found = self.found()
        readout = read_out(self.link(found), found)
        return Recorder(
            lambda: found.connect(self.clock, self.opener),
            self.plan(readout, probability),
            path,
            self.clock,
            full_scales={u.unit.id: u.full_scales for u in readout.units},
            probability=probability,
            **more,
        )
