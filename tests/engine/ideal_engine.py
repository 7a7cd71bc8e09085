"""An engine that obeys the formulas to the last digit, and what its sensors show when something is wrong with it.

Only the elementary formulas of airproof.quantities and the means of the shared tables are used: what a fault does is
worked out here in the direction of nature, from the true state to what is seen; the code under test goes the other way.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from airproof.engine.air_path import OnePath, generic_belief
from airproof.engine.operating_points import OperatingPoints
from airproof.engine.profile import EngineProfile
from airproof.engine.shared import shared
from airproof.knowledge.model import AirMetering, Induction
from airproof.quantities.air_mass import speed_density_flow
from airproof.quantities.constants import R_AIR
from airproof.quantities.gas_flow import flow_function, hole_area, orifice_flow

Floats = NDArray[np.float64]

BAROMETER = 98e3
OUTSIDE_K = 293.15
INSIDE_K = 308.15
AIR_TO_FUEL = 14.7
RESTING = 1.0 + np.expm1(0.003)  # charge over barometer with nothing compressing: the mean of the table

#            idle    cruise         full     boost
PRESSURE = np.array([30e3, 34e3, 45e3, 60e3, 80e3, 93e3])
SPEED = np.array([800.0, 820.0, 1800.0, 2200.0, 2500.0, 3000.0]) / 60.0
BOOST = (np.array([130e3, 180e3]), np.array([2800.0, 3500.0]) / 60.0)


def engine(induction: Induction = "turbocharged", metering: AirMetering = "air-flow sensor") -> EngineProfile:
    return EngineProfile(displacement_l=2.0, cylinders=4, induction=induction, air_metering=metering)


@dataclass
class State:
    """The truth, point by point; every fault changes one of these, or what is seen of them."""

    profile: EngineProfile
    manifold: Floats
    speed: Floats
    charge: Floats
    fresh: Floats  # what the cylinders take, kg/s
    through_throttle: Floats
    metered: Floats  # what passes the air flow sensor
    area_left: Floats
    fuel_share: float = 1.0  # delivered over asked
    seen: dict[str, Floats] = field(default_factory=dict)


def efficiency(profile: EngineProfile, manifold: Floats, speed: Floats) -> Floats:
    return np.exp(generic_belief(profile).at("efficiency", np.log(manifold), np.log(speed)))


def by_density(profile: EngineProfile, manifold: Floats, speed: Floats, kelvin: Floats | float = INSIDE_K) -> Floats:
    share = efficiency(profile, manifold, speed)
    return np.asarray(speed_density_flow(manifold, kelvin, profile.displacement_m3, speed, share))


def healthy(profile: EngineProfile) -> State:
    manifold, speed = PRESSURE, SPEED
    if profile.boosted:
        manifold, speed = np.concatenate([manifold, BOOST[0]]), np.concatenate([speed, BOOST[1]])
        charge = np.maximum(BAROMETER * np.exp(0.003), manifold / 0.9)
    else:
        charge = np.full(manifold.size, BAROMETER)
    fresh = by_density(profile, manifold, speed)
    return State(profile, manifold, speed, charge, fresh, fresh.copy(), fresh.copy(), np.ones(manifold.size))


def opening_for(state: State, before: Floats) -> Floats:
    """The throttle opening that passes the air: the table of areas is a power law, so it can be turned round."""
    drive = before / np.sqrt(R_AIR * INSIDE_K) * flow_function(np.clip(state.manifold / before, 0.0, 0.995))
    area = state.through_throttle / drive / state.area_left
    share = shared()
    return np.asarray(
        (area / (share.full_area * state.profile.displacement_m3)) ** (1.0 / share.area_power) - share.opening_shift
    )


def show(state: State, drop: Floats | float = 0.0) -> OperatingPoints:
    """What would be seen of that state with sensors that tell the truth, save those in `state.seen`."""
    profile, n = state.profile, state.manifold.size
    nothing = np.full(n, np.nan)
    before = state.charge if profile.boosted else state.charge - drop
    asked = state.fresh / AIR_TO_FUEL / state.fuel_share
    flow = state.seen.get("air_flow", state.metered)
    pressure = state.seen.get("manifold", state.manifold)
    kelvin = state.seen.get("intake_temperature", np.full(n, INSIDE_K))
    believed = flow if profile.air_metering == "air-flow sensor" else by_density(profile, pressure, state.speed, kelvin)
    points = OperatingPoints(
        start_s=np.arange(n, dtype=float),
        end_s=np.arange(n, dtype=float) + 1.0,
        regime=np.array(["idle", "idle"] + ["cruise"] * (n - 2), dtype="U12"),
        speed=state.speed,
        manifold=pressure,
        charge=state.charge if profile.boosted else nothing,
        charge_target=nothing,
        barometer=np.full(n, BAROMETER),
        air_flow=flow if profile.air_metering == "air-flow sensor" else nothing,
        intake_temperature=kelvin,
        ambient_temperature=np.full(n, OUTSIDE_K),
        coolant_temperature=np.full(n, 360.0),
        throttle=opening_for(state, np.asarray(before)),
        fuel_rate=asked,
        wastegate=nothing,
        trim=state.fresh / believed / state.fuel_share,
        closed_loop=np.ones(n, dtype=bool),
        area_over_idle=nothing,
    )
    return replace(points, **{name: value for name, value in state.seen.items() if name in ("charge", "barometer")})


def path_of(points: OperatingPoints, profile: EngineProfile) -> OnePath:
    return OnePath(points, BAROMETER, profile, generic_belief(profile))


def leak_flow(size_mm: float, upstream: Floats | float, downstream: Floats | float, kelvin: float) -> Floats:
    area = hole_area(size_mm * 1e-3)
    return np.asarray(orifice_flow(area, upstream, downstream, kelvin, discharge=0.7))
