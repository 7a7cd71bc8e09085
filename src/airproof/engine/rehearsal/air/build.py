"""From what a workshop knows of an engine to every number the simulated one is made of.

A profile gives displacement, cylinders, induction and boost; `[rehearsal]` in the same file may give more. The rest
comes from data/simulated_engines.toml, scaled to the engine.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from airproof.engine.profile import WAY_OUT, EngineProfile
from airproof.engine.rehearsal.air.charging import TURBINE_EXPONENT
from airproof.engine.rehearsal.air.gas import CP_EXHAUST, GAMMA_EXHAUST
from airproof.engine.rehearsal.air.machinery import (
    NATURALLY_ASPIRATED,
    PRESSURE_NODES,
    PRESSURE_STEP,
    SPEED_NODES,
    SPEED_STEP,
    SUPERCHARGED,
    THROTTLE_NODES,
    TURBOCHARGED,
    Engine,
)
from airproof.engine.rehearsal.records import Floats, blank
from airproof.engine.rehearsal.tables import tables
from airproof.quantities.constants import CP_AIR, GAMMA_AIR, R_AIR, STANDARD_PRESSURE
from airproof.toml_files import load_toml

INDUCTIONS = {
    "naturally-aspirated": NATURALLY_ASPIRATED,
    "turbocharged": TURBOCHARGED,
    "supercharged": SUPERCHARGED,
}
USUAL_BOOST_KPA = {"turbocharged": 90.0, "supercharged": 60.0, "naturally-aspirated": 0.0}
USUAL_IDLE_RPM = 750.0
POWER_PER_MIN = 5500.0  # speed of full power that passages are sized for
WARM_K = 310.0  # air before and charge after a cooler on a usual day

Litres = Annotated[float, Field(ge=0.2, le=60.0)]


class Details(BaseModel):
    """The optional table [rehearsal] of an engine file: what a simulated engine of this type is to have."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)

    injection: Literal["port", "direct"] = "port"
    barometer: Literal["own sensor", "key-on manifold pressure", "both"] = "own sensor"
    egr: bool = False
    cams: Literal["fixed", "phased"] = "fixed"
    manifold_l: Litres | None = None
    throttle_mm: Annotated[float, Field(ge=15.0, le=120.0)] | None = None
    full_boost_from_rpm: Annotated[float, Field(ge=1000.0, le=5000.0)] | None = None
    cooler_effectiveness: Annotated[float, Field(ge=0.0, le=0.98)] | None = None
    car_mass_kg: Annotated[float, Field(ge=400.0, le=5000.0)] = 1400.0


class RehearsedEngine(BaseModel):
    """An engine file as the rehearsal reads it: the profile, and details where they are given."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    engine: EngineProfile
    rehearsal: Details = Details()


def load_rehearsed_engine(path: Path) -> RehearsedEngine:
    """Read an engine file (TOML, table [engine], and [rehearsal] if there is one).

    Raises UnusableFile: not a file, not TOML, a key unknown, missing, or outside what an engine can have.
    """
    return load_toml(path, RehearsedEngine, wanted="an engine that can exist", way_out=WAY_OUT)


def parts() -> Mapping[str, Any]:
    """What simulated engines are made of, by part."""
    return tables("simulated_engines")


def rated_boost_pa(profile: EngineProfile) -> float:
    """Boost at full load, Pa gauge; the usual one of its kind where the profile does not say."""
    kpa = profile.rated_boost_kpa or USUAL_BOOST_KPA[profile.induction]
    return 1e3 * kpa


def air_at_full_power(profile: EngineProfile) -> float:
    """Air (kg/s) the engine takes at full power on a usual day; passages are sized for it."""
    pressure = STANDARD_PRESSURE + rated_boost_pa(profile)
    return 0.85 * pressure * profile.displacement_m3 * POWER_PER_MIN / 60.0 / (2.0 * R_AIR * WARM_K)


def build(profile: EngineProfile, details: Details | None = None) -> Engine:
    """The engine as drawn: no wear, no tolerance. SI units."""
    known = details or Details()
    data = parts()
    Vd = profile.displacement_m3
    boosted, turbo = profile.boosted, profile.induction == "turbocharged"
    rated = air_at_full_power(profile)
    volumes = data["volumes"]
    injection = data["injection"][known.injection]
    crank, heat, exhaust = data["crank"], data["heat"], data["exhaust"]
    engine = blank(
        Engine,
        displacement_m3=Vd,
        cylinders=profile.cylinders,
        compression_ratio=profile.compression_ratio,
        breathing=breathing(boosted, known.cams),
        residual_gas=1,
        induction=INDUCTIONS[profile.induction],
        inlet_m3=volumes["inlet"] * Vd,
        compressor_m3=volumes["compressor"] * Vd,
        charge_m3=volumes["charge" if boosted else "charge_naturally_aspirated"] * Vd,
        manifold_m3=1e-3 * known.manifold_l if known.manifold_l else volumes["manifold"] * Vd,
        exhaust_m3=volumes["exhaust" if turbo else "exhaust_naturally_aspirated"] * Vd,
        pipe_m3=volumes["pipe"] * Vd,
        filter_resistance=resistance(data["filter"]["drop_at_full_power_pa"], rated, STANDARD_PRESSURE, 293.0),
        filter_linear_pa=data["filter"]["linear_pa"],
        linear_pa=data["cooler"]["linear_pa"],
        throttle_m2=throttle_areas(profile, known),
        pipe_resistance=resistance(exhaust["drop_at_full_power_pa"], rated, 1.2 * STANDARD_PRESSURE, 950.0),
        exhaust_loss=exhaust["loss_w_per_k"],
        inertia=crank["inertia_for_2_litres"] * Vd / 2e-3,
        friction_pa=crank["friction_pa"],
        friction_per_speed=crank["friction_per_speed"],
        indicated=crank["indicated"] * otto(profile.compression_ratio) / otto(9.6),
        stoichiometric=profile.stoichiometric,
        heating_value=crank["heating_value"] * profile.stoichiometric / 14.7,
        exhaust_share=crank["exhaust_share"],
        wall_heat=heat["wall_w_per_k_for_2_litres"] * Vd / 2e-3,
        film_share=injection["film_share"],
        film_time=injection["film_time"],
    )
    if boosted:
        cooler = data["cooler"]
        full = STANDARD_PRESSURE + rated_boost_pa(profile)
        engine.cooler_resistance = resistance(cooler["drop_at_full_power_pa"], rated, full, 370.0)
        given = known.cooler_effectiveness
        engine.cooler_effectiveness = cooler["effectiveness"] if given is None else given
        relief = data["relief"]
        across = relief["diameter_m_for_2_litres" if turbo else "round_a_blower_m_for_2_litres"] * math.sqrt(
            rated / 0.17
        )
        engine.relief_m2 = relief["discharge"] * math.pi / 4.0 * across**2
    if turbo:
        fit_turbocharger(engine, profile, known)
    elif boosted:
        engine.blower_best = data["blower"]["best"]
        Pi = (STANDARD_PRESSURE + rated_boost_pa(profile)) / STANDARD_PRESSURE
        engine.blower_m3 = data["blower"]["delivers"] * 0.5 * Vd * Pi * 293.0 / WARM_K
    return engine


def otto(rc: float) -> float:
    """Efficiency of the ideal cycle, for how it moves with the compression ratio (textbook form, gamma 1.3)."""
    efficiency: float = 1.0 - rc ** (1.0 - 1.3)
    return efficiency


def resistance(drop_pa: float, flow: float, p: float, T: float) -> float:
    """H of dp = H T m^2 / p from the drop at one flow (kg/s)."""
    return drop_pa * p / (T * flow**2)


def breathing(boosted: bool, cams: str) -> Floats:
    """The breathing table (9 speeds, 13 pressures): best at middle speed, the same at every pressure with fixed cams.

    Phased cams keep burned gas at part load on purpose, to throttle less.
    """
    b = parts()["breathing"]
    per_min = np.arange(SPEED_NODES) * SPEED_STEP * 60.0
    falls = b["falls_by"] if boosted else b["falls_by_naturally_aspirated"]
    over_speed = b["best"] * (1.0 - falls * ((per_min - b["best_at_per_min"]) / b["falls_over_per_min"]) ** 2)
    over_pressure = np.ones(PRESSURE_NODES)
    if cams == "phased":
        held = b["phased"]
        over_pressure = np.interp(np.arange(PRESSURE_NODES) * PRESSURE_STEP * 1e-3, held["kpa"], held["share"])
    table: Floats = np.maximum(over_speed, 0.3)[:, None] * over_pressure[None, :]
    return table


def throttle_areas(profile: EngineProfile, known: Details) -> Floats:
    """Effective area (m2) at 0 to 100 % opening: a round plate that turns from its rest to 90 degrees, and its gap."""
    t = parts()["throttle"]
    charged = math.sqrt(1.0 + 0.3 * rated_boost_pa(profile) / STANDARD_PRESSURE)
    usual = t["diameter_m_for_2_litres"] * math.sqrt(profile.displacement_l / 2.0 * charged)
    across = 1e-3 * known.throttle_mm if known.throttle_mm else usual
    rest = math.radians(t["rests_deg"])
    angle = np.linspace(rest, math.pi / 2.0, THROTTLE_NODES)
    shut = t["gap_m2"] * profile.displacement_l / 2.0
    area: Floats = t["discharge"] * (math.pi / 4.0 * across**2 * (1.0 - np.cos(angle) / math.cos(rest)) + shut)
    return area


def fit_turbocharger(engine: Engine, profile: EngineProfile, known: Details) -> None:
    """Size wheel, turbine and wastegate for the rated boost, from the stated speed on."""
    c, t = parts()["compressor"], parts()["turbine"]
    rated = air_at_full_power(profile)
    Pi = (STANDARD_PRESSURE + rated_boost_pa(profile) + 10e3) / (STANDARD_PRESSURE - 3e3)
    rise = Pi ** ((GAMMA_AIR - 1.0) / GAMMA_AIR) - 1.0
    share = c["flow_share_at_full_power"]
    head = c["head_most"] * math.sqrt(1.0 - share**2)
    tip = math.sqrt(2.0 * CP_AIR * 293.0 * rise / head)
    face = rated * R_AIR * 293.0 / (STANDARD_PRESSURE * share * c["flow_most"] * tip)
    engine.compressor_m = math.sqrt(4.0 * face / math.pi)
    engine.head_most, engine.flow_most = c["head_most"], c["flow_most"]
    engine.compressor_best, engine.flow_best = c["best"], c["flow_best"]
    engine.turbine_m = t["wheel_to_compressor"] * engine.compressor_m
    engine.turbine_best, engine.blade_ratio_best = t["best"], t["blade_ratio_best"]
    engine.rotor_inertia = t["inertia_for_50_mm"] * (engine.compressor_m / 0.050) ** 4
    engine.rotor_friction = t["friction"] * (engine.compressor_m / 0.050) ** 2
    # at the stated speed, gate shut, the turbine's power must equal the compressor's
    threshold = known.full_boost_from_rpm or t["full_boost_from_per_min"]
    air = rated * threshold / POWER_PER_MIN
    gas, T = air * 1.07, 1050.0
    power = air * CP_AIR * 293.0 * rise / 0.65 / 0.97
    drop = power / (gas * CP_EXHAUST * T * 0.64)
    expansion = max(1.0 - drop, 0.2) ** (GAMMA_EXHAUST / (GAMMA_EXHAUST - 1.0))
    p = 1.03 * STANDARD_PRESSURE / expansion
    engine.swallow = gas * math.sqrt(T) / (p * math.sqrt(1.0 - expansion**TURBINE_EXPONENT))
    engine.wastegate_m2 = t["wastegate_per_swallow"] * engine.swallow
    engine.flap_holds_pa = t["flap_holds_pa"] + t["flap_holds_per_boost"] * rated_boost_pa(profile)
