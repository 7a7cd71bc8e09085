"""A rehearsal: one car with its faults, driven once after the errands in which it learnt to live with them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from airproof.engine.profile import EngineProfile
from airproof.engine.rehearsal.air.air_path import at_rest
from airproof.engine.rehearsal.air.build import Details, build, rated_boost_pa
from airproof.engine.rehearsal.air.integrate import Work
from airproof.engine.rehearsal.air.machinery import ROTOR, Commands, Engine, Flows, Outside
from airproof.engine.rehearsal.control.fuelling import forgetful
from airproof.engine.rehearsal.control.monitors import CODES, FRAME, new_monitors
from airproof.engine.rehearsal.control.teach import teach
from airproof.engine.rehearsal.control.trips import Store, Trip
from airproof.engine.rehearsal.drive import ITEMS, STEP_S, TRUTHS, World, drive
from airproof.engine.rehearsal.faults import Fault, Faults, fault_record
from airproof.engine.rehearsal.records import Floats, blank, copied
from airproof.engine.rehearsal.road.car import Car, ControlUnit, Maker, Memory, Motion, Sensors
from airproof.engine.rehearsal.road.drives import Drive, named_drive
from airproof.engine.rehearsal.road.sensing import settle_sensors
from airproof.engine.rehearsal.road.unrest import unrest_of
from airproof.engine.rehearsal.tables import tables
from airproof.engine.rehearsal.trace import Trace
from airproof.quantities.atmosphere import standard_pressure
from airproof.quantities.constants import ZERO_CELSIUS

EARLIER_DRIVES = 2
_STRAYS = ("map_zero", "boost_zero", "baro_zero", "maf", "injector", "breathing", "throttle", "iat")


@dataclass(frozen=True)
class Scene:
    """Where and in what the drive happens: altitude (m), weather (kPa off the standard atmosphere), air (degC), car."""

    altitude_m: float = 100.0
    weather_kpa: float = 0.0
    ambient_c: float = 18.0
    brisk: float = 1.0  # the driver's foot, 1 the usual one
    coolant_c: float = 82.0  # when the recording begins
    unrest: float = 0.0  # accessories, hills and the foot: 0 none, 1 as in ordinary cars

    @property
    def barometer_kpa(self) -> float:
        """Station pressure, kPa absolute."""
        return float(standard_pressure(self.altitude_m)) / 1e3 + self.weather_kpa


@dataclass(frozen=True)
class Request:
    """What is to be rehearsed. `seed` decides the car's tolerances and, with `day`, its noise and its breaks, whatever
    the faults: another day is the same car driven again.
    """

    profile: EngineProfile
    details: Details = field(default_factory=Details)
    faults: tuple[Fault, ...] = ()
    drive: Drive = field(default_factory=lambda: named_drive("workshop"))
    scene: Scene = field(default_factory=Scene)
    seed: int = 1
    day: int = 0
    earlier_drives: int = EARLIER_DRIVES


@dataclass(frozen=True)
class Rehearsal:
    """What came of it: the signals, the codes with their freeze frames, readiness, and how this car strays."""

    request: Request
    trace: Trace
    codes: Store
    strays: Mapping[str, float]


def strays(seed: int) -> dict[str, float]:
    """How this car strays from its drawing, in standard deviations."""
    rng = np.random.default_rng([seed, 1])
    most = tables("cars")["tolerance"]["most"]
    return {name: float(np.clip(rng.standard_normal(), -most, most)) for name in _STRAYS}


def make_car(profile: EngineProfile, details: Details, scene: Scene, off: Mapping[str, float]) -> Car:
    """The car and its sensors, with this one's tolerances."""
    data = tables("cars")
    road, sensors, valves, tolerance = data["road"], data["sensors"], data["valves"], data["tolerance"]
    line = _line(profile)
    car = blank(
        Car,
        mass=details.car_mass_kg,
        drag_m2=road["drag_m2"],
        rolling=road["rolling"],
        wheel_m=road["wheel_m"],
        final_drive=road["final_drive"],
        brisk=scene.brisk,
        map_a=line["a"] / 1e3,
        map_b=line["b"],
        boost_a=line["a"] / 1e3,
        boost_b=line["b"],
        pulse=sensors["pulse"],
        map_zero=off["map_zero"] * tolerance["map_zero_pa"],
        boost_zero=off["boost_zero"] * tolerance["boost_zero_pa"],
        baro_zero=off["baro_zero"] * tolerance["baro_zero_pa"],
        maf_factor=1.0 + off["maf"] * tolerance["maf"],
        injector_factor=1.0 + off["injector"] * tolerance["injector"],
        breathing_factor=1.0 + off["breathing"] * tolerance["breathing"],
        throttle_factor=1.0 + off["throttle"] * tolerance["throttle"],
        iat_zero=off["iat"] * tolerance["iat_k"],
        map_noise=sensors["map_noise_pa"],
        maf_noise=sensors["maf_noise"],
        maf_lag=sensors["maf_lag"],
        iat_lag=sensors["iat_lag"],
        lambda_lag=sensors["lambda_lag"],
        warm_k=data["control"]["thermostat_c"] + ZERO_CELSIUS,
        purge_m2=valves["purge_m2"] * profile.displacement_l / 2.0,
        purge_vapour=valves["purge_vapour"],
        egr_m2=0.7 * math.pi / 4.0 * (1e-3 * valves["egr_mm_for_2_litres"]) ** 2 * profile.displacement_l / 2.0
        if details.egr
        else 0.0,
    )
    car.gears = np.array(road["gears"])
    return car


def _line(profile: EngineProfile) -> Mapping[str, float]:
    """The published line of a sensor whose span holds this engine's pressures."""
    most = 1e-3 * rated_boost_pa(profile) + 108.0
    lines: list[Mapping[str, float]] = tables("cars")["sensors"]["lines"]
    return next((line for line in lines if line["to_kpa"] > most), lines[-1])


def as_built(drawing: Engine, car: Car) -> Engine:
    """The engine in this car: the drawing, with its tolerances."""
    return copied(
        drawing,
        breathing=drawing.breathing * car.breathing_factor,
        throttle_m2=drawing.throttle_m2 * car.throttle_factor,
    )


class _Bench:
    """One car's records, carried from drive to drive."""

    def __init__(self, request: Request) -> None:
        self.request = request
        profile, details, scene = request.profile, request.details, request.scene
        control = tables("cars")["control"]
        self.strays = strays(request.seed)
        self.drawing = build(profile, details)
        self.maker: Maker = teach(profile, details, (control["rich_boosted"], control["rich"]))
        self.car = make_car(profile, details, scene, self.strays)
        for name in ("map_a", "map_b", "boost_a", "boost_b", "egr_m2"):
            setattr(self.maker, name, getattr(self.car, name))
        self.engine = as_built(self.drawing, self.car)
        self.outside = blank(
            Outside,
            pressure=1e3 * scene.barometer_kpa,
            temperature=scene.ambient_c + ZERO_CELSIUS,
            wall=310.0,
            bay=310.0,
        )
        self.memory = blank(Memory)
        forgetful(self.memory, self.maker, self.outside.pressure)
        self.codes = Store()

    def go(
        self, plan: Drive, faults: Faults, *, began: float, coolant_c: float, learns: float, seed: int, keep: bool
    ) -> Trace | None:
        """Drive once; the trace where it is to be kept, and the codes taken in."""
        outside, T = self.outside, self.outside.temperature
        coolant = coolant_c + ZERO_CELSIUS
        sensors, unit, motion = blank(Sensors), blank(ControlUnit), blank(Motion)
        soaked = T + 0.25 * max(coolant - T, 0.0)
        settle_sensors(sensors, outside, soaked)
        unit.manifold = unit.charge = unit.barometer = unit.expected = outside.pressure
        unit.intake, unit.learns, unit.wish = soaked, learns, outside.pressure
        unit.opening, unit.gate, unit.gate_true, unit.target, unit.spark = 7.0, 1.0, 1.0, 1.0, 0.9
        unit.limit = 1.0
        world = blank(World, step=STEP_S, coolant=coolant, wall=soaked, bay=soaked)
        world.state = at_rest(self.engine, outside, coolant)
        world.state[ROTOR] = 500.0
        outside.wall, outside.bay = soaked, soaked
        monitors = new_monitors()
        rows = int(plan.duration_s / STEP_S) + 1 if keep else 0
        told, true = np.zeros((rows, len(ITEMS))), np.zeros((rows, len(TRUTHS)))
        unrest = unrest_of(
            self.request.scene.unrest,
            self.engine.displacement_m3 * 1e3,
            60.0 * self.maker.idle_speed,
            np.random.default_rng([seed, 6]),
        )
        flows = blank(Flows, charge_k=T, manifold_k=soaked, exhaust_k=T)
        steps = drive(
            self.engine, self.drawing, self.car, self.maker, outside, faults, self.memory, unit, sensors, motion,
            unrest, monitors, world, blank(Commands), flows, blank(Work), plan.seconds, plan.kinds, plan.targets, began,
            seed, told, true,
        )  # fmt: skip
        failed = {
            code: dict(zip(FRAME, (float(x) for x in monitors.frames[k]), strict=True))
            for k, code in enumerate(CODES)
            if monitors.failed[k] > 0.0
        }
        looked = frozenset(c for k, c in enumerate(CODES) if monitors.seen_for[k] > max(2.0 * monitors.after[k], 0.5))
        self.codes.end(Trip(failed, looked, bool(world.coolant > 343.15)))
        return self._trace(told[:steps], true[:steps]) if keep else None

    def _trace(self, told: Floats, true: Floats) -> Trace:
        profile, details = self.request.profile, self.request.details
        hidden = set()
        if not profile.boosted:
            hidden |= {"charge_pressure", "charge_pressure_target"}
        if profile.induction != "turbocharged":
            hidden |= {"wastegate", "turbo_speed"}
        if profile.air_metering == "speed-density":
            hidden.add("air_flow")
        if not details.egr:
            hidden.add("egr")
        hidden |= {"exhaust_pressure", "turbo_speed"}  # few cars measure them; the truth holds both
        items = {name: told[:, k].copy() for k, name in enumerate(ITEMS) if name not in hidden}
        lamp = np.full(told.shape[0], float(self.codes.lamp))
        items["lamp"], items["code_count"] = lamp, np.full(told.shape[0], float(len(self.codes.confirmed)))
        truth = {name: true[:, k].copy() for k, name in enumerate(TRUTHS)}
        time: Floats = STEP_S * np.arange(told.shape[0], dtype=np.float64)
        return Trace(time, items, truth)


def rehearse(request: Request) -> Rehearsal:
    """Drive the errands and then the drive asked for. The same request always gives the same rehearsal."""
    bench = _Bench(request)
    errand = named_drive("errand")
    earlier = fault_record([fault for fault in request.faults if fault.began_earlier])
    for k in range(request.earlier_drives):
        bench.go(
            errand, earlier, began=-1.0, coolant_c=max(request.scene.ambient_c, 60.0), learns=8.0,
            seed=_seed(request, k + 2), keep=False,
        )  # fmt: skip
    trace = bench.go(
        request.drive, fault_record(request.faults), began=0.0, coolant_c=request.scene.coolant_c, learns=1.0,
        seed=_seed(request, 0), keep=True,
    )  # fmt: skip
    assert trace is not None
    return Rehearsal(request, trace, bench.codes, bench.strays)


def _seed(request: Request, place: int) -> int:
    return int(np.random.SeedSequence([request.seed, request.day, place]).generate_state(1)[0])
