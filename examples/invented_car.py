"""An invented car: makes recordings with a known fault, to try Airproof on and to test it with.

A small mean-value simulation: one manifold that fills and empties, a throttle, cylinders that draw by
speed-density, a turbocharger that follows its wastegate with a lag (invented_engine.py); sensors and a
control unit with trims, idle and boost control (invented_control.py); a driver who drives a short workshop
round, and a recorder (this file).

It is no model of any real car. There are no pulsations, no wall film, no difference between cylinders, no
heat-up, no knock, and one simple turbine. Numbers without a named source are judged: Airproof authors.

    python examples/invented_car.py --cause map-offset=8kPa --out recording.csv
    python examples/invented_car.py --cause vacuum-leak=3mm --induction naturally-aspirated \\
        --metering speed-density --altitude 1600 --seed 3 --out recording.csv
"""

from __future__ import annotations

import argparse
import csv
import math
import random
import re
import sys
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent / "src")]  # its neighbours and the formulas, however this file is loaded

try:
    import numpy as _  # noqa: F401
except ModuleNotFoundError:
    raise SystemExit(
        "this needs the packages that start.py installs: run python3 start.py once, then this with the python in .venv"
    ) from None

from invented_control import STEP_S, ControlUnit, Sensors
from invented_engine import STOICHIOMETRIC, Car, Engine, clip

from airproof.quantities import atmosphere

ROW_S = 0.2
INDUCTIONS = ("turbocharged", "naturally-aspirated")
METERINGS = ("air-flow sensor", "speed-density")

CAUSES = {
    "map-offset": "kPa",
    "map-gain": "%",
    "map-slow": "s",
    "map-stuck": "kPa",
    "map-intermittent": "1/s",
    "baro-sensor": "kPa",
    "boost-sensor-scale": "%",
    "maf-scale": "%",
    "iat-offset": "K",
    "vacuum-leak": "mm",
    "boost-leak": "mm",
    "intake-restriction": "x",
    "exhaust-restriction": "x",
    "wastegate-stuck-open": "%",
    "wastegate-stuck-closed": "%",
    "egr-stuck-open": "mm",
    "throttle-deposits": "%",
    "fuel-delivery": "%",
}

# Heading in plain words; resolution of the data item as in SAE J1979 (from memory).
HEADINGS = {
    "engine_speed": ("Engine speed (1/min)", 0.25),
    "manifold_pressure": ("Intake manifold absolute pressure (kPa)", 1.0),
    "charge_pressure": ("Charge pressure, absolute (kPa)", 0.03125),
    "charge_pressure_target": ("Commanded charge pressure, absolute (kPa)", 0.03125),
    "barometric_pressure": ("Barometric pressure (kPa)", 1.0),
    "air_flow": ("Air flow rate (g/s)", 0.01),
    "throttle": ("Absolute throttle position (%)", 100 / 255),
    "pedal": ("Accelerator pedal position (%)", 100 / 255),
    "short_trim_1": ("Short term fuel trim bank 1 (%)", 100 / 128),
    "long_trim_1": ("Long term fuel trim bank 1 (%)", 100 / 128),
    "lambda": ("Measured lambda", 2 / 65536),
    "lambda_target": ("Commanded lambda", 2 / 65536),
    "load": ("Calculated load (%)", 100 / 255),
    "absolute_load": ("Absolute load (%)", 100 / 255),
    "ignition_advance": ("Ignition timing advance (deg)", 0.5),
    "wastegate": ("Wastegate position (%)", 100 / 255),
    "vehicle_speed": ("Vehicle speed (km/h)", 1.0),
    "intake_temperature": ("Intake air temperature (degC)", 1.0),
    "ambient_temperature": ("Ambient air temperature (degC)", 1.0),
    "coolant_temperature": ("Engine coolant temperature (degC)", 1.0),
    "supply_voltage": ("Control module voltage (V)", 0.001),
}

# The workshop round: seconds, what is asked for, target speed in km/h at the end of the stretch.
Stretch = tuple[float, str, float]
ROUND: list[Stretch] = [
    (12, "off", 0), (1.6, "crank", 0), (62, "idle", 0),
    (0.6, "snap", 0), (6, "idle", 0), (0.6, "snap", 0), (6, "idle", 0), (0.6, "snap", 0), (8, "idle", 0),
    (9, "drive", 50), (22, "drive", 50), (5, "drive", 30), (10, "drive", 30),
    (6, "drive", 60), (20, "drive", 60), (12, "drive", 0), (10, "idle", 0),
    (8, "drive", 45), (8, "drive", 80), (45, "drive", 80), (8, "drive", 50), (5, "third", 50),
    (15, "pull", 0), (10, "coast", 0), (22, "drive", 50), (10, "drive", 0), (40, "idle", 0), (10, "off", 0),
]  # fmt: skip

LEARNING = [(2, "crank", 0), (25, "idle", 0), *ROUND[9:12], *ROUND[18:20], (20, "idle", 0)]

GEARS = (3.6, 2.1, 1.38, 1.0, 0.8)
SHIFT_UP_KMH = (18, 34, 50, 70)
FINAL_DRIVE, WHEEL_RADIUS_M, MASS_KG, DRAG_AREA_M2, ROLLING = 3.9, 0.31, 1400.0, 0.66, 0.011


@dataclass
class Driver:
    """Holds the speed asked for, shifts gears, and lifts the clutch when the engine would stall."""

    speed: float = 0.0  # m/s
    gear: int = 0
    shifting: float = 0.0
    wish: float = 0.0
    habit: float = 0.0
    pedal: float = 0.0
    clutched: bool = False

    def drive(self, dt: float, what: str, left_s: float, target_kmh: float, engine: Engine) -> None:
        """One step of pedal, gear, clutch and car; changes the engine's speed through clutch and inertia."""
        kmh = self.speed * 3.6
        self.wish += (target_kmh / 3.6 - self.wish) * dt / max(left_s, dt)
        moving = what in ("drive", "third", "pull", "coast")
        if not moving:
            self.pedal, self.gear, brake = (0.65 if what == "snap" and engine.rpm < 3000 else 0.0), 0, 3.0
            self.habit = self.wish = 0.0
        else:
            wanted = 2 if what in ("third", "pull", "coast") else sum(kmh > edge for edge in SHIFT_UP_KMH)
            undecided = what == "drive" and any(abs(kmh - edge) < 3 for edge in SHIFT_UP_KMH)
            if wanted != self.gear and not (undecided and abs(wanted - self.gear) == 1):
                self.gear, self.shifting = wanted, 0.5
            error = self.wish - self.speed
            if abs(error) < 3:
                self.habit = clip(self.habit + 0.03 * error * dt, -0.2, 0.6)
            hand = clip(0.12 + 0.16 * error + self.habit, -0.4, 0.75)
            hand = {"pull": 1.0, "coast": 0.0}.get(what, hand)
            if target_kmh == 0 and what == "drive":
                hand = min(hand, 0.0)
            brake = clip(-hand * 8 - 0.4, 0, 4) if what == "drive" else 0.0
            ease = 0.05 if what in ("pull", "coast") else 0.25
            self.pedal += (max(hand, 0.0) - self.pedal) * dt / ease
            self.pedal = 0.0 if self.pedal < 0.004 or self.shifting > 0 else self.pedal
        self.shifting = max(0.0, self.shifting - dt)

        ratio = GEARS[self.gear] * FINAL_DRIVE / WHEEL_RADIUS_M
        wheel_rpm = self.speed * ratio * 30 / math.pi
        self.clutched = moving and self.shifting == 0 and (wheel_rpm > 900 or self.pedal > 0.02)
        push = 0.0
        if self.clutched:
            push = engine.torque * ratio * 0.92
            engine.rpm += (max(wheel_rpm, 1250.0) - engine.rpm) * dt / 0.12
        elif engine.rpm > 0:
            engine.rpm = max(engine.rpm + engine.torque / 0.17 * dt * 30 / math.pi, 0.0)
        resist = MASS_KG * (9.81 * ROLLING + brake) + 0.6 * DRAG_AREA_M2 * self.speed**2
        resist = resist if self.speed > 0.05 else min(resist, push)
        self.speed = max(0.0, self.speed + (push - resist) / MASS_KG * dt)


def drive(
    cause: Mapping[str, float] | None = None,
    *,
    induction: str = "turbocharged",
    metering: str = "air-flow sensor",
    displacement_l: float = 2.0,
    rated_boost_kpa: float = 110.0,
    altitude_m: float = 350.0,
    weather_kpa: float = 0.0,
    ambient_c: float = 18.0,
    copies_barometer: bool = False,
    seed: int = 1,
) -> dict[str, list[float]]:
    """Drive the workshop round once; what a recorder would have stored, by the signal names of Airproof.

    `cause` maps cause ids to sizes in the units of CAUSES. `weather_kpa` is how far today's barometer stands
    from the standard atmosphere at that altitude. Rows come about every 0.2 s; within a row each signal is
    polled in its turn, not all at one instant. The long trims have already learnt the fault.
    """
    fault = dict(cause or {})
    unknown = sorted(set(fault) - set(CAUSES))
    if unknown:
        raise ValueError(f"no such cause here: {', '.join(unknown)}; there are: {', '.join(CAUSES)}")
    if induction not in INDUCTIONS or metering not in METERINGS:
        raise ValueError(f"this simple car is not built with {induction} induction and {metering} metering")
    rng = random.Random(seed)
    # how far a healthy car and its sensors stray from the drawing: judged, within makers' usual tolerances
    tolerance = {
        "breathing": rng.gauss(1, 0.015),
        "maf": rng.gauss(1, 0.012),
        "injectors": rng.gauss(1, 0.015),
        "map_kpa": rng.gauss(0, 0.4),
        "baro_kpa": rng.gauss(0, 0.3),
        "charge_kpa": rng.gauss(0, 0.4),
    }
    barometer = float(atmosphere.standard_pressure(altitude_m)) + weather_kpa * 1e3
    car = Car(
        induction, metering, displacement_l, rated_boost_kpa, barometer, ambient_c + 273.15,
        copies_barometer, fault, tolerance,
    )  # fmt: skip
    unit = ControlUnit(car, learning_s=2.5)
    run(car, unit, rng, LEARNING)
    return run(car, ControlUnit(car, long_trims=unit.long_trims, idle_opening=unit.idle_opening), rng, ROUND)


def run(car: Car, unit: ControlUnit, rng: random.Random, stretches: list[Stretch]) -> dict[str, list[float]]:
    """Step everything through the stretches and poll the signals."""
    engine, sensors, driver = Engine(car), Sensors(car, rng), Driver()
    hidden = set() if car.turbo else {"charge_pressure", "charge_pressure_target", "wastegate"}
    hidden |= {"air_flow"} if car.metering == "speed-density" else set()
    items = [name for name in HEADINGS if name not in hidden]
    columns: dict[str, list[float]] = {name: [] for name in ("time", *items)}
    waiting = list(items)
    row_from, poll_at = 0.0, 0.0
    exhaust_gas: deque[float] = deque([1.0] * 60, maxlen=60)
    lam, coolant, now = 1.0, 82.0, 0.0
    for seconds, what, target_kmh in stretches:
        steps = round(seconds / STEP_S)
        for step in range(steps):
            now += STEP_S
            if what == "pull" and engine.rpm > 5200:
                break
            state = what if what in ("off", "crank") else "idle"
            driver.drive(STEP_S, what, (steps - step) * STEP_S, target_kmh, engine)
            if what == "crank":  # the starter, until the engine fires in its last moments
                fired = step > steps - 20
                engine.rpm = max(engine.rpm, 650.0) if fired else min(step * STEP_S * 900, 240.0)
            seen = sensors.read(now, engine)
            asked = unit.command(now, STEP_S, seen, driver, state, lam)
            fuel = asked * car.tolerance["injectors"] * (1 + car.fault.get("fuel-delivery", 0.0) / 100)
            engine.breathe(STEP_S, unit.opening, unit.wastegate)
            engine.turn(fuel, unit.spark)
            if what == "off":
                engine.rpm = max(0.0, engine.rpm - 600 * STEP_S)
            mixture = clip(engine.air / (STOICHIOMETRIC * fuel), 0.6, 1.999) if fuel > 1e-6 else 1.999
            exhaust_gas.append(mixture if engine.rpm > 100 else 1.999)
            delay = int((0.06 + 100 / max(engine.rpm, 200)) / STEP_S)
            lam += (exhaust_gas[-1 - min(delay, 59)] - lam) * STEP_S / 0.08
            coolant += ((90 if engine.rpm > 300 else 80) - coolant) * STEP_S / 120

            while poll_at <= now:
                name = waiting.pop(0)
                value = shown(name, seen, unit, driver, lam, coolant)
                grain = HEADINGS[name][1]
                columns[name].append(round(round(value / grain) * grain, 5))
                poll_at += ROW_S / len(items) * rng.uniform(0.8, 1.2)
                if not waiting:
                    columns["time"].append(round(row_from, 3))
                    waiting, row_from = list(items), poll_at
    complete = len(columns["time"])
    return {name: values[:complete] for name, values in columns.items()}


def shown(name: str, seen: Mapping[str, float], unit: ControlUnit, driver: Driver, lam: float, coolant: float) -> float:
    """What the control unit answers when that item is asked for."""
    car, rpm = unit.car, seen["engine_speed"]
    per_cycle = unit.air * 120 / max(rpm, 200.0)  # kg drawn in two turns
    fullest = 0.87 * 1.184 * car.displacement * (car.rated_boost_kpa / 101.3 + 1 if car.turbo else 1)
    own = {
        "charge_pressure_target": unit.charge_target,
        "barometric_pressure": unit.barometer,
        "throttle": 11 + 0.73 * unit.opening,
        "pedal": 14.5 + 70 * driver.pedal,
        "short_trim_1": unit.short_trim,
        "long_trim_1": unit.long_trims[unit.cell],
        "lambda": lam,
        "lambda_target": unit.target,
        "load": clip(100 * per_cycle / fullest * 101.3 / unit.barometer, 0, 100),
        "absolute_load": 100 * per_cycle / (1.184 * car.displacement),
        "ignition_advance": 36 - 56 * (1 - unit.spark) - 14 * min(per_cycle / fullest, 1) if rpm > 300 else 0,
        "wastegate": 100 * unit.wastegate,
        "vehicle_speed": math.floor(driver.speed * 3.6),
        "ambient_temperature": car.ambient - 273.15 + 1.5,
        "coolant_temperature": coolant,
        "supply_voltage": 12.4 if rpm < 400 else 14.2,
    }
    return own.get(name, seen.get(name, math.nan))


def size(text: str) -> tuple[str, float]:
    """Read "map-offset=8kPa" into its cause and size."""
    found = re.fullmatch(r"([a-z-]+)=([-+]?\d+(?:\.\d+)?)\s*(\S*)", text)
    if not found or found[1] not in CAUSES or found[3] not in ("", CAUSES[found[1]]):
        wanted = ", ".join(f"{name}=SIZE{unit}" for name, unit in CAUSES.items())
        raise argparse.ArgumentTypeError(f"{text!r} is not one of: {wanted}")
    return found[1], float(found[2])


def write(columns: Mapping[str, list[float]], path: Path) -> None:
    """Write the recording as CSV with plain headings."""
    with path.open("w", newline="", encoding="utf-8") as out:
        rows = csv.writer(out, lineterminator="\n")
        digits = [".3f" if name == "time" else ".5g" for name in columns]
        rows.writerow("Time (s)" if name == "time" else HEADINGS[name][0] for name in columns)
        for row in zip(*columns.values(), strict=True):
            rows.writerow(format(value, digit) for value, digit in zip(row, digits, strict=True))


def main() -> None:
    """Make one recording from the command line."""
    parser = argparse.ArgumentParser(description="Make a recording of an invented car with a known fault.")
    parser.add_argument("--cause", type=size, action="append", default=[], help="such as map-offset=8kPa")
    parser.add_argument("--induction", default="turbocharged", choices=INDUCTIONS)
    parser.add_argument("--metering", default="air-flow sensor", choices=METERINGS)
    parser.add_argument("--altitude", type=float, default=350.0, help="metres above the sea")
    parser.add_argument("--weather", type=float, default=0.0, help="kPa above the standard atmosphere")
    parser.add_argument("--ambient", type=float, default=18.0, help="degC")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, required=True, metavar="FILE.csv")
    given = parser.parse_args()
    columns = drive(
        dict(given.cause), induction=given.induction, metering=given.metering, altitude_m=given.altitude,
        weather_kpa=given.weather, ambient_c=given.ambient, seed=given.seed,
    )  # fmt: skip
    write(columns, given.out)


if __name__ == "__main__":
    main()
