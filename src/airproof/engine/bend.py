"""How each cause bends what is seen: the lie, or the strange air, undone.

Given the measured operating points and a supposed cause with its size, `undo` says what was really so: the true
pressures and flows, the air that nobody metered, the charge that escaped. On the true cause at its true size the
relations of the healthy engine then hold again. The control unit's own reactions need no model here, because a
relation holds between quantities of the same moment whatever the loops made of them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from airproof.engine.operating_points import OperatingPoints
from airproof.engine.profile import EngineProfile
from airproof.quantities.gas_flow import hole_area, orifice_flow

Floats = NDArray[np.float64]

SUPPLY_V = 5.0  # nominal sensor supply; maker's texts accept 4.5 to 5.5 V
OUTSIDE_K = 293.15  # judged: Airproof authors; a leak's flow goes with its square root, so +-20 K is +-3 %
AIR_DENSITY = 1.2  # kg/m3, dry air at 20 degC and 101.325 kPa (by the ideal gas law: 1.204)
BURNT_GAS_GAMMA = 1.3  # ratio of specific heats; from memory of Heywood, chapter 4
RECIRCULATING_GAUGE_PA = 3e3  # exhaust before its valve, above the barometer; judged: Airproof authors
EXHAUST_GAS_K = 700.0  # judged: Airproof authors, recirculated gas between cooler and manifold, 500 to 900 K
NORMAL_FILTER_DROP_PA = 2.0e3  # at REFERENCE_FILLINGS_HZ; judged: Airproof authors, clean filters 1 to 3 kPa
NORMAL_BACK_PRESSURE_PA = 15e3  # at the same flow; judged: Airproof authors, 5 to 30 kPa on road cars
PRESSURES_AGREE_PA = 3e3  # two good sensors of one car agree to 2 to 4 kPa; common practice, no source
FLOW_BEGINS_PA = 1.0e3  # difference below which no flow is inferred; judged: Airproof authors, sensors wander so far
REFERENCE_FILLINGS_HZ = 45.0  # fillings of one displacement: 5400 1/min on a four-stroke; judged: Airproof authors
UNKNOWN_TEMPERATURE_K = 305.0  # where nothing tells; judged: Airproof authors, right to +-3 %


@dataclass(frozen=True)
class Truth:
    """What was really so; arrays of shape (n,) or (sizes, n), Pa absolute, K, kg/s.

    `leak` enters the manifold unmetered, `lost` was metered and escaped before the throttle, `recirculated` is exhaust
    gas in the manifold. `filling`, `delivered` and `area` are factors on volumetric efficiency, fuel and throttle area.
    `drop` is pressure lost before the throttle where no charge sensor sees it; `metering` is measured over true flow.
    `shut` is how much further the throttle is shut at idle than the same engine's without the cause, as a fraction.
    `misread` is ln(read over true temperature) where no reading was recorded: only the mixture can show it.
    """

    manifold: Floats
    charge: Floats
    barometer: Floats
    air_flow: Floats
    temperature: Floats
    leak: Floats
    lost: Floats
    recirculated: Floats
    filling: Floats
    delivered: Floats
    area: Floats
    drop: Floats
    metering: Floats
    shut: Floats
    misread: Floats


def as_seen(points: OperatingPoints, barometer_pa: float, profile: EngineProfile) -> Truth:
    """The measured values taken at their word; the charge pressure is the barometer's where nothing compresses."""
    zero = np.zeros(len(points))
    one = np.ones(len(points))
    charge = points.charge
    if not profile.boosted:
        charge = np.where(np.isfinite(charge), charge, barometer_pa)
    drop = NORMAL_FILTER_DROP_PA * np.square(_share_of_full_flow(points, points.manifold, profile))
    return Truth(
        manifold=points.manifold,
        charge=charge,
        barometer=np.where(np.isfinite(points.barometer), points.barometer, barometer_pa),
        air_flow=points.air_flow,
        temperature=np.where(np.isfinite(points.intake_temperature), points.intake_temperature, UNKNOWN_TEMPERATURE_K),
        leak=zero,
        lost=zero,
        recirculated=zero,
        filling=one,
        delivered=one,
        area=one,
        drop=np.nan_to_num(drop),
        metering=one,
        shut=zero,
        misread=zero,
    )


def undo(
    cause: str,
    sizes: Floats,
    points: OperatingPoints,
    barometer_pa: float,
    profile: EngineProfile,
    seen: Truth | None = None,
) -> Truth:
    """What was really so if `cause` acted with each of `sizes` (in the cause's own unit); arrays (sizes, n).

    A cause that does not bend steady relations in a way that can be computed is left as seen; what it does not touch is
    the very array of `seen`, which is `as_seen` of the same points where it is at hand.
    """
    if seen is None:
        seen = as_seen(points, barometer_pa, profile)
    size = np.asarray(sizes, dtype=np.float64)[:, None]
    match cause:
        case "map-offset":
            return replace(seen, manifold=np.maximum(seen.manifold - size * 1e3, 1e3))
        case "map-gain":
            return replace(seen, manifold=seen.manifold / (1.0 + size / 100.0))
        case "supply-reference":
            factor = 1.0 + size / SUPPLY_V
            measured_charge = np.where(np.isfinite(points.charge), seen.charge / factor, seen.charge)
            return replace(seen, manifold=seen.manifold / factor, charge=measured_charge)
        case "boost-sensor-scale":
            measured = np.isfinite(points.charge)
            return replace(seen, charge=np.where(measured, seen.charge / (1.0 + size / 100.0), seen.charge))
        case "baro-sensor":
            read = np.isfinite(points.barometer)
            return replace(seen, barometer=np.where(read, np.maximum(seen.barometer - size * 1e3, 1e3), seen.barometer))
        case "iat-offset":
            read, true = np.isfinite(points.intake_temperature), np.maximum(seen.temperature - size, 200.0)
            return replace(
                seen,
                temperature=np.where(read, true, seen.temperature),
                misread=np.where(read, 0.0, np.log(seen.temperature / true)),
            )
        case "maf-scale":
            metering = 1.0 + size / 100.0 * np.ones_like(seen.manifold)
            return replace(seen, air_flow=seen.air_flow / metering, metering=metering)
        case "vacuum-leak":
            hole = hole_area(size * 1e-3)
            flow = orifice_flow(hole, barometer_pa, seen.manifold, _outside(points))
            return replace(seen, leak=np.asarray(flow))
        case "boost-leak":
            hole = hole_area(size * 1e-3)
            inside = np.where(np.isfinite(seen.charge), seen.charge, np.maximum(seen.manifold, barometer_pa))
            above = inside - _reads_above_at_rest(inside, barometer_pa)
            surely_above = np.where(above > barometer_pa + FLOW_BEGINS_PA, above, barometer_pa)
            flow = orifice_flow(hole, surely_above, barometer_pa, seen.temperature)
            return replace(seen, lost=np.maximum(np.asarray(flow), 0.0))
        case "egr-stuck-open":
            hole = hole_area(size * 1e-3)
            exhaust = barometer_pa + RECIRCULATING_GAUGE_PA
            flow = orifice_flow(hole, exhaust, seen.manifold, EXHAUST_GAS_K)
            return replace(seen, recirculated=np.maximum(np.asarray(flow), 0.0))
        case "intake-restriction":
            return replace(seen, drop=seen.drop * size)
        case "exhaust-restriction":
            return replace(seen, filling=_filling_against(size, points, seen.manifold, barometer_pa, profile))
        case "valve-timing":
            return replace(seen, filling=1.0 - size / 100.0 * np.ones_like(seen.manifold))
        case "fuel-delivery":
            return replace(seen, delivered=1.0 + size / 100.0 * np.ones_like(seen.manifold))
        case "throttle-deposits":
            # The same area is missing at every opening: `size` of what is open at idle, which is as much as of a clean
            # throttle, as idle takes the same air: the throttle only stands further open for it.
            missing = size / 100.0 / np.maximum(points.area_over_idle, 0.2)
            return replace(seen, area=1.0 / (1.0 + np.nan_to_num(missing)))
        case _:
            return seen


def _reads_above_at_rest(inside: Floats, barometer_pa: float) -> float:
    """By how much the charge sensor reads above the barometer when nothing compresses, Pa.

    A square root lies between pressure and flow: a sensor half a kilopascal high would make a large leak at idle.
    """
    known = inside[np.isfinite(inside)]
    resting = float(np.quantile(known, 0.1)) - barometer_pa if known.size else 0.0
    return float(np.clip(resting, -PRESSURES_AGREE_PA, PRESSURES_AGREE_PA))


def _outside(points: OperatingPoints) -> Floats:
    return np.where(np.isfinite(points.ambient_temperature), points.ambient_temperature, OUTSIDE_K)


def _share_of_full_flow(points: OperatingPoints, manifold: Floats, profile: EngineProfile) -> Floats:
    """Volume flow as a share of that at full power, by the sensor where there is one, else by speed and pressure."""
    by_pressure = points.speed / 2.0 / REFERENCE_FILLINGS_HZ * manifold / 100e3
    full = AIR_DENSITY * profile.displacement_m3 * REFERENCE_FILLINGS_HZ
    return np.where(np.isfinite(points.air_flow), points.air_flow / full, by_pressure)


def _filling_against(
    size: Floats, points: OperatingPoints, manifold: Floats, barometer_pa: float, profile: EngineProfile
) -> Floats:
    """Factor on volumetric efficiency when back pressure is `size` times normal: more residual gas stays behind.

    Ideal residual-gas filling (r - (pe/p)^(1/gamma)) / (r - 1), as in textbook cycle analysis (from memory of Heywood,
    Internal Combustion Engine Fundamentals, section 5.4), as a ratio of the two back pressures.
    """
    normal = NORMAL_BACK_PRESSURE_PA * np.square(np.nan_to_num(_share_of_full_flow(points, manifold, profile)))
    ratio = profile.compression_ratio

    def filling(back_pressure: Floats) -> Floats:
        residual = ((barometer_pa + back_pressure) / manifold) ** (1.0 / BURNT_GAS_GAMMA)
        return np.maximum((ratio - residual) / (ratio - 1.0), 0.05)

    return filling(normal * size) / filling(normal)
