"""The invented car's sensors and control unit. See invented_car.py for what this is and is not.

A fault of a sensor is put on its signal before the control unit reads it, so the car reacts to the lie.
Numbers without a named source are judged: Airproof authors, so that the loops settle as quickly as in
ordinary cars.
"""

from __future__ import annotations

import math
import random
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

from invented_engine import STOICHIOMETRIC, Car, Engine, clip

STEP_S = 0.01


class Hands(Protocol):
    """What the control unit sees of the driver: pedal from 0 to 1, and whether the clutch grips."""

    pedal: float
    clutched: bool


@dataclass
class Sensors:
    """What the control unit is told: the truth through each sensor's own fault."""

    car: Car
    rng: random.Random
    slow: float = 0.0
    film: float = 0.0
    broken_until: float = -1.0

    def __post_init__(self) -> None:
        self.slow = self.car.barometer

    def read(self, now: float, engine: Engine) -> dict[str, float]:
        """All readings at this instant, kPa, degC, g/s."""
        car, fault, off = self.car, self.car.fault, self.car.tolerance
        lag = max(fault.get("map-slow", 0.0), 0.015)
        self.slow += (engine.manifold - self.slow) * (1 - math.exp(-STEP_S / lag))
        pressure = self.slow / 1e3 + off["map_kpa"] + self.rng.gauss(0, 0.25)
        pressure = pressure * (1 + fault.get("map-gain", 0.0) / 100) + fault.get("map-offset", 0.0)
        pressure = fault.get("map-stuck", pressure)
        rate = fault.get("map-intermittent", 0.0)
        if rate and now > self.broken_until and self.rng.random() < rate * STEP_S:
            self.broken_until = now + self.rng.uniform(0.1, 0.6)
        if now < self.broken_until:
            pressure = 3.0  # an open signal pulled to ground: the bottom of the line
        barometer = car.barometer / 1e3 + off["baro_kpa"] + fault.get("baro-sensor", 0.0)
        charge = engine.charge / 1e3 + off["charge_kpa"] + self.rng.gauss(0, 0.2)
        self.film += (engine.metered - self.film) * STEP_S / 0.06
        flow = self.film * 1e3 * off["maf"] * (1 + self.rng.gauss(0, 0.01))
        return {
            "manifold_pressure": clip(pressure, 3.0, 300.0 if car.turbo else 115.0),
            "charge_pressure": charge * (1 + fault.get("boost-sensor-scale", 0.0) / 100),
            "barometric_pressure": barometer,
            "air_flow": flow * (1 + fault.get("maf-scale", 0.0) / 100),
            "intake_temperature": engine.temperature - 273.15 + fault.get("iat-offset", 0.0),
            "engine_speed": engine.rpm,
        }


@dataclass
class ControlUnit:
    """Fuel, idle, boost and throttle from what the sensors say; never from the truth."""

    car: Car
    short_trim: float = 0.0
    long_trims: list[float] = field(default_factory=lambda: [0.0] * 4)
    learning_s: float = 10.0
    idle_opening: float = 2.6
    opening: float = 7.0
    wastegate: float = 1.0
    boost_sum: float = 0.0
    barometer: float = 0.0
    good_pressure: float = 100.0
    air: float = 0.0
    slow_air: float = 0.0
    slow_density: float = 0.0
    cell: int = 0
    target: float = 1.0
    charge_target: float = 0.0
    spark: float = 0.9
    limit: float = 1.0
    cut: bool = False
    closed_since: float = 0.0
    lifted_since: float = 0.0

    def air_estimate(self, dt: float, seen: Mapping[str, float]) -> float:
        """Air into the cylinders as the control unit believes, kg/s: its own map, or its air flow sensor."""
        pressure = seen["manifold_pressure"]
        if pressure > 8:  # below that it holds the last good value: a broken wire, not an engine
            self.good_pressure = pressure
        t = seen["intake_temperature"] + 273.15
        back = self.barometer * 1e3 + 12e3 * (self.air / self.car.rated_flow) ** 2
        p = self.good_pressure * 1e3
        density = self.car.drawn(seen["engine_speed"], p, t, max(back, p if self.car.turbo else back))
        self.slow_density += (density - self.slow_density) * dt / 0.15
        if self.car.metering == "speed-density":
            return density
        self.slow_air += (seen["air_flow"] * 1e-3 - self.slow_air) * dt / 0.08
        # when the pedal moves the air flow sensor lags the manifold: then the pressure sensor is believed
        moving = clip(abs(density - self.slow_density) / max(self.slow_density, 1e-4) * 3 - 0.3, 0.0, 1.0)
        return moving * density + (1 - moving) * self.slow_air

    def command(self, now: float, dt: float, seen: Mapping[str, float], driver: Hands, state: str, lam: float) -> float:
        """One step; returns the fuel asked for, kg/s."""
        pedal, coupled = driver.pedal, driver.clutched
        rpm = seen["engine_speed"]
        if self.barometer == 0.0 or state == "off":
            copied = self.car.copies_barometer
            self.barometer = self.good_pressure if copied else seen["barometric_pressure"]
        self.air = self.air_estimate(dt, seen)
        if state == "off" or rpm < 100:
            self.opening += (7.0 - self.opening) * dt / 0.1  # the spring's resting place
            self.wastegate, self.short_trim, self.target, self.spark = 1.0, 0.0, 1.0, 0.9
            self.charge_target = self.barometer
            return 0.0

        # idle: slow hand on the throttle, quick hand on the spark
        wanted = self.car.idle_rpm + (300 if state == "crank" else 0)
        idling = pedal < 0.01 and not coupled
        if idling and state == "idle" and (rpm < wanted + 500 or now - self.lifted_since > 3):
            step = 0.0009 * clip(wanted - rpm, -150, 150) * dt
            self.idle_opening = clip(self.idle_opening + step, 0.3, 8.0)
        self.spark = clip(0.82 + 0.0012 * (wanted - rpm), 0.6, 1.0) if idling else 1.0
        opening = self.idle_opening + (0.001 * clip(wanted - rpm, -100, 100) if idling else 0.0)
        opening += 0.0021 * clip(rpm - wanted - 400, 0, 4000) + (1.0 if state == "crank" else 0.0)
        opening = clip(opening + (100 - opening) * pedal**1.5, 0.0, 100.0)

        # boost: the measured charge pressure follows its target
        demand = clip((pedal - 0.45) / 0.35, 0, 1) * clip((rpm - 1200) / 800, 0, 1) if coupled else 0.0
        self.charge_target = self.barometer + self.car.rated_boost_kpa * demand
        if self.car.turbo:
            error = self.charge_target - seen["charge_pressure"]
            if demand > 0.05:
                if abs(error) < 25:
                    self.boost_sum = clip(self.boost_sum + 0.012 * error * dt, -0.6, 0.6)
                self.wastegate = clip(1 - 0.6 * demand - 0.012 * error - self.boost_sum, 0.0, 1.0)
            else:
                self.boost_sum, self.wastegate = 0.0, 1.0
            too_much = -error > 20 and pedal > 0.2
            self.limit = clip(self.limit + (-0.7 if too_much else 0.3) * dt, 0.2, 1.0)
            opening = min(opening, 100 * self.limit)
        for name in ("wastegate-stuck-open", "wastegate-stuck-closed"):
            self.wastegate = self.car.fault.get(name, self.wastegate * 100) / 100
        self.opening += (opening - self.opening) * dt / 0.1

        # fuel
        self.lifted_since = self.lifted_since if pedal < 0.01 else now
        self.cut = now - self.lifted_since > 0.7 and rpm > (1300 if self.cut else 1600)
        self.target = 0.88 if pedal > 0.85 else 1.0
        if self.cut or self.target < 1 or state == "crank":
            self.closed_since = now
        closed = now - self.closed_since > 1.0
        if closed:
            error = clip(100 * (lam / self.target - 1), -20, 20)
            self.cell = sum(self.air > edge for edge in (0.005, 0.012, 0.030))
            learnt = self.short_trim * dt / self.learning_s
            self.short_trim = clip(self.short_trim + 0.6 * error * dt - learnt, -25, 25)
            self.long_trims[self.cell] = clip(self.long_trims[self.cell] + learnt, -25, 25)
        elif self.target < 1:
            self.short_trim, self.cell = 0.0, 3
        if self.cut:
            return 0.0
        trims = 1 + (self.short_trim + self.long_trims[self.cell]) / 100
        return max(self.air, 0.0) / (STOICHIOMETRIC * self.target) * trims
