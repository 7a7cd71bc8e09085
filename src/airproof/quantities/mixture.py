"""Air and fuel: how much air a fuel needs, blends, lambda, fuel for air.

All ratios are mass of air over mass of fuel. Lambda is the air there is over the air needed: below 1 rich,
above lean.

Sources
[HEY] J. B. Heywood, Internal Combustion Engine Fundamentals, eq. 3.6 (from memory of it).
[CIAAW] Standard atomic weights, abridged (2021): C 12.011, H 1.008, O 15.999, N 14.007.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

import numpy as np

from airproof.errors import UnusableRequest
from airproof.quantities.constants import MOLAR_MASS_AIR, OXYGEN_IN_AIR
from airproof.quantities.formula import Result, Value, formula

CARBON, HYDROGEN, OXYGEN, NITROGEN = 12.011, 1.008, 15.999, 14.007  # g/mol [CIAAW]

Air = Literal["dry air", "O2 + 3.76 N2"]
"""Dry air as it is (20.946 % oxygen, argon counted), or the textbook's mix of oxygen and nitrogen alone: 0.7
% apart."""


@formula
def stoichiometric_ratio(carbon: Value, hydrogen: Value, oxygen: Value = 0.0, air: Air = "dry air") -> Result:
    """Air needed for complete combustion, kg per kg of a fuel C_carbon H_hydrogen O_oxygen (atoms, any
    multiple) [HEY].
    """
    per_oxygen = MOLAR_MASS_AIR / OXYGEN_IN_AIR if air == "dry air" else 2.0 * OXYGEN + 3.76 * 2.0 * NITROGEN
    molecules = carbon + hydrogen / 4.0 - oxygen / 2.0  # of O2 per molecule of fuel
    return molecules * per_oxygen / (carbon * CARBON + hydrogen * HYDROGEN + oxygen * OXYGEN)


@dataclass(frozen=True)
class Fuel:
    """A fuel as the trade knows it: air needed (kg/kg) and density (kg/L at 15 degC), with where they come
    from.
    """

    name: str
    stoichiometric: float
    density_kg_l: float
    source: str


def blend(shares: Mapping[Fuel, float], name: str = "blend") -> Fuel:
    """The fuel mixed from these, by volume; the shares need not add to one.

    Air needed is weighed by mass, so by share times density; shrinkage on mixing is left out (below 0.3 %).
    """
    total = sum(shares.values())
    if not total > 0.0 or any(not share >= 0.0 for share in shares.values()):
        given = ", ".join(f"{fuel.name} {share:g}" for fuel, share in shares.items())
        raise UnusableRequest(
            f"a blend of {given or 'nothing'}",
            "shares by volume, none negative, not all zero",
            "Give for example petrol 0.9 and ethanol 0.1.",
        )
    mass = sum(share * fuel.density_kg_l for fuel, share in shares.items())
    air = sum(share * fuel.density_kg_l * fuel.stoichiometric for fuel, share in shares.items())
    parts = " + ".join(f"{100.0 * share / total:g} % {fuel.name}" for fuel, share in shares.items() if share)
    return Fuel(name, air / mass, mass / total, f"by volume: {parts}")


PETROL = Fuel(
    "petrol",
    14.7,
    0.745,
    "workshop convention 14.7 (CH1.87 needs 14.60); density from memory of EN 228 (0.720 to 0.775)",
)
ETHANOL = Fuel("ethanol", 9.0, 0.789, "C2H5OH needs 9.005 of dry air; density from memory (at 20 degC)")
METHANOL = Fuel("methanol", 6.47, 0.792, "CH3OH needs 6.474 of dry air; density from memory (at 20 degC)")
DIESEL = Fuel(
    "diesel",
    14.5,
    0.832,
    "common practice 14.5 (CH1.80 needs 14.50); density from memory of EN 590 (0.820 to 0.845)",
)
PROPANE = Fuel("propane", 15.68, 0.510, "C3H8 needs 15.679 of dry air; density of the liquid at 15 degC from memory")

FUELS: Mapping[str, Fuel] = MappingProxyType(
    {
        fuel.name: fuel
        for fuel in (
            PETROL,
            blend({PETROL: 0.95, ETHANOL: 0.05}, "e5"),
            blend({PETROL: 0.90, ETHANOL: 0.10}, "e10"),
            blend({PETROL: 0.80, ETHANOL: 0.20}, "e20"),
            blend({PETROL: 0.15, ETHANOL: 0.85}, "e85"),
            ETHANOL,
            METHANOL,
            DIESEL,
            PROPANE,
        )
    }
)
"""Fuels by name."""


def fuel_named(name: str) -> Fuel:
    """The fuel of this name, in any case; UnusableRequest where it is not known."""
    found = FUELS.get(name.strip().casefold())
    if found is None:
        raise UnusableRequest(f'fuel "{name}"', f"one of {', '.join(FUELS)}", "For another mix use blend().")
    return found


@formula
def lambda_from_flows(air_kg_s: Value, fuel_kg_s: Value, stoichiometric: Value) -> Result:
    """Lambda from air and fuel (kg/s both, or kg both) and the fuel's stoichiometric ratio."""
    return air_kg_s / (fuel_kg_s * stoichiometric)


@formula
def lambda_from_ratio(air_fuel_ratio: Value, stoichiometric: Value) -> Result:
    """Lambda from an air-fuel ratio by mass."""
    return air_fuel_ratio / stoichiometric


@formula
def ratio_from_lambda(lambda_: Value, stoichiometric: Value) -> Result:
    """Air-fuel ratio by mass from lambda."""
    return lambda_ * stoichiometric


@formula
def fuel_for_air(air_kg_s: Value, stoichiometric: Value, lambda_: Value = 1.0) -> Result:
    """Fuel (kg/s) to be added to an air flow (kg/s) for this lambda."""
    return air_kg_s / (stoichiometric * lambda_)


@formula
def air_for_fuel(fuel_kg_s: Value, stoichiometric: Value, lambda_: Value = 1.0) -> Result:
    """Air flow (kg/s) that a fuel flow (kg/s) burns at this lambda."""
    return fuel_kg_s * stoichiometric * lambda_


@formula
def trim_for_unmetered_air(leak_kg_s: Value, total_kg_s: Value) -> Result:
    """Fuel trim (1 = +100 %) that holds lambda 1 where `leak` of the `total` air (kg/s) was never metered.

    trim = leak / (total - leak), for an engine that meters its air by flow; NaN where nothing is left to
    meter.
    """
    metered = total_kg_s - leak_kg_s
    return np.where(metered > 0.0, leak_kg_s / metered, np.nan)


@formula
def trim_for_underreading(true_value: Value, read_value: Value) -> Result:
    """Fuel trim (1 = +100 %) that holds lambda 1 where fuel is metered in proportion to a value read wrong:
    true / read - 1.
    """
    return true_value / read_value - 1.0
