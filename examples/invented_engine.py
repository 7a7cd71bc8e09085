"""The invented car's engine: true air, fuel and torque. See invented_car.py for what this is and is not.

Numbers without a named source are judged: Airproof authors, so that a four-cylinder petrol engine of about
2 L idles, pulls and coasts at ordinary pressures.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from airproof.quantities import gas_flow
from airproof.quantities.constants import R_AIR
from airproof.quantities.mixture import PETROL

FUEL_ENERGY = 43e6  # J/kg, lower heating value of petrol; common practice, no source
STOICHIOMETRIC = PETROL.stoichiometric

RATIOS = np.linspace(0.0, 1.0, 2001)
FLOW_TABLE = [float(x) for x in gas_flow.flow_function(RATIOS)] + [0.0]


def clip(x: float, low: float, high: float) -> float:
    """x held between low and high."""
    return low if x < low else high if x > high else x


def orifice(area_m2: float, p_from: float, t_from: float, p_to: float, t_to: float) -> float:
    """Mass flow through an effective area, kg/s; negative when it runs backwards. Pressures Pa absolute.

    The flow function of airproof.quantities.gas_flow from a table: it is asked for a million times.
    """
    if p_to > p_from:
        return -orifice(area_m2, p_to, t_to, p_from, t_from)
    place = p_to / p_from * 2000.0
    index = int(place)
    psi = FLOW_TABLE[index] + (place - index) * (FLOW_TABLE[index + 1] - FLOW_TABLE[index])
    return area_m2 * p_from / math.sqrt(R_AIR * t_from) * psi


@dataclass
class Car:
    """What kind of car it is, where it stands, what is wrong with it, and how it differs from its drawing."""

    induction: str
    metering: str
    displacement_l: float
    rated_boost_kpa: float
    barometer: float  # Pa, true
    ambient: float  # K
    copies_barometer: bool
    fault: Mapping[str, float]
    tolerance: dict[str, float]
    compression_ratio: float = 9.6
    idle_rpm: float = 720.0
    manifold_m3: float = 0.0030

    @property
    def turbo(self) -> bool:
        """Whether it has a turbocharger."""
        return self.induction == "turbocharged"

    @property
    def rated_flow(self) -> float:
        """Air at full power, kg/s."""
        return 0.043 * self.displacement_l * (1 + (self.rated_boost_kpa / 101.3 if self.turbo else 0.0))

    @property
    def displacement(self) -> float:
        """Displacement, m3."""
        return self.displacement_l * 1e-3

    def hole(self, cause: str, discharge: float = 0.7) -> float:
        """Effective area of the round hole that a fault opens, m2."""
        return discharge * math.pi / 4 * (self.fault.get(cause, 0.0) * 1e-3) ** 2

    def volumetric_efficiency(self, rpm: float, p: float, p_exhaust: float) -> float:
        """Share of the swept volume filled: breathing over speed, less the burned gas left behind.

        The second factor is the textbook one for an ideal four-stroke without overlap (from memory of
        Heywood, Internal Combustion Engine Fundamentals, chapter on ideal cycles).
        """
        breathing = 0.90 * (1 - 0.12 * ((rpm - 4000) / 3500) ** 2)
        rc = self.compression_ratio
        left = clip((p_exhaust / p) ** (1 / 1.4), 0.5, 0.9 * rc)
        return breathing * (rc - left) / (rc - 1)

    def drawn(self, rpm: float, p: float, t: float, p_exhaust: float) -> float:
        """Gas drawn from the manifold by speed-density, kg/s."""
        ve = self.volumetric_efficiency(rpm, p, p_exhaust)
        return ve * p * self.displacement * rpm / (120 * R_AIR * t)


@dataclass
class Engine:
    """The true quantities, Pa absolute, K, kg/s, 1/min."""

    car: Car
    rpm: float = 0.0
    manifold: float = 0.0
    charge: float = 0.0
    exhaust: float = 0.0
    temperature: float = 0.0
    burned: float = 0.0
    metered: float = 0.0
    throttle_flow: float = 0.0
    air: float = 0.0
    torque: float = 0.0

    def __post_init__(self) -> None:
        self.manifold = self.charge = self.exhaust = self.car.barometer
        self.temperature = self.car.ambient + 12

    def throttle_area(self, opening: float) -> float:
        """Effective area in m2 for an opening in %: a round plate turning from 6 to 90 deg, and its gap."""
        plate = 1 - math.cos(math.radians(6 + 0.84 * opening)) / math.cos(math.radians(6))
        area = 0.8 * (math.pi / 4 * 0.057**2 * plate + 4e-6)
        return max(area - 12.5e-6 * self.car.fault.get("throttle-deposits", 0.0) / 100, 0.5e-6)

    def breathe(self, dt: float, opening: float, wastegate: float) -> None:
        """One step of the air path."""
        car, fault = self.car, self.car.fault
        filter_drop = 3e3 * (self.metered / car.rated_flow) ** 2 * fault.get("intake-restriction", 1.0)
        inlet = max(car.barometer - filter_drop, 0.3 * car.barometer)
        pipe_drop = 12e3 * (self.air / car.rated_flow) ** 2 * fault.get("exhaust-restriction", 1.0)
        boost = 0.0
        if car.turbo:
            if self.metered > 0:
                spin = self.air * min(1.0, self.throttle_flow / self.metered)
                can = 220e3 * spin**3 / (spin**3 + 0.043**3)
                can *= (car.barometer / (car.barometer + pipe_drop)) ** 2  # a choked pipe starves the turbine
                boost = can * (1 - 0.95 * wastegate)
            self.charge += (inlet + boost - self.charge) * dt / 0.7
        else:
            self.charge += (inlet - self.charge) * min(1.0, dt / 0.03)
        gained = max(self.charge - inlet, 0.0)
        self.exhaust = car.barometer + pipe_drop + 0.8 * gained

        # compressor at 0.70, cooler at 0.75; a hot bay warms slow air
        ratio = max(self.charge / inlet, 1.0)
        warm = 0.25 * car.ambient / 0.70 * (ratio ** (0.4 / 1.4) - 1) + 14 / (1 + self.metered / 0.006)
        self.temperature += (car.ambient + warm - self.temperature) * dt / 4.0
        t = self.temperature

        area, leak, egr = self.throttle_area(opening), car.hole("vacuum-leak"), car.hole("egr-stuck-open")

        def flows(p: float) -> tuple[float, float, float, float]:
            through = orifice(area, self.charge, t, p, t)
            false = orifice(leak, car.barometer, car.ambient, p, t) if leak else 0.0
            back = orifice(egr, self.exhaust, 450.0, p, t) if egr else 0.0
            drawn = car.drawn(self.rpm, p, t, self.exhaust) * car.tolerance["breathing"] if self.rpm else 0.0
            return through, false, back, drawn

        # the linearly implicit step stays stable where the throttle is wide open and hardly resists
        through, false, back, drawn = flows(self.manifold)
        net = through + false + back - drawn
        nudge = 20.0
        a, b, c, d = flows(self.manifold + nudge)
        slope = min((a + b + c - d - net) / nudge, 0.0)
        stiff = R_AIR * t / car.manifold_m3 * dt
        rise = stiff * net / (1 - stiff * slope)
        self.manifold = max(self.manifold + rise, 5e3)
        part = rise / nudge
        through, false, drawn = (x + (y - x) * part for x, y in ((through, a), (false, b), (drawn, d)))

        content = self.manifold * car.manifold_m3 / (R_AIR * t)
        self.burned += (back * (1 - self.burned) - self.burned * max(through + false, 0.0)) * dt / content
        self.burned = clip(self.burned, 0.0, 0.6)
        self.air = drawn * (1 - self.burned)
        self.throttle_flow = max(through, 0.0)
        escaped = orifice(car.hole("boost-leak"), self.charge, t, car.barometer, car.ambient)
        self.metered = max(through + escaped, 0.0)

    def turn(self, fuel: float, spark: float) -> None:
        """Torque at the crankshaft, N m, from the fuel that finds air, less friction and pumping."""
        if self.rpm < 50:
            self.torque = 0.0
            return
        omega = self.rpm * math.pi / 30
        burnt = min(fuel, self.air / STOICHIOMETRIC)
        lean = self.air / (STOICHIOMETRIC * fuel) if fuel > 0 else 9.0
        burns = clip((1.7 - lean) / 0.4, 0.0, 1.0)
        per_pressure = self.car.displacement / (4 * math.pi)
        resist = (90e3 + 12 * self.rpm + self.exhaust - self.manifold) * per_pressure + 9
        self.torque = burnt * FUEL_ENERGY * 0.38 * spark * burns / omega - resist
