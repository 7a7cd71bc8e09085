"""The charge on its way in: filter, compressor, charge cooler, and power corrected to standard weather.

Sources
[HEY] J. B. Heywood, Internal Combustion Engine Fundamentals, section 6.8 (from memory of it).
[J1349] SAE J1349 (1990 and later), spark ignition; form as quoted by workshop pages, range from memory of it.
[ISO1585] ISO 1585:1992, spark ignition; from memory of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airproof.quantities.constants import GAMMA_AIR
from airproof.quantities.formula import Result, Value, formula


@formula
def compressor_temperature_rise(
    inlet_k: Value, pressure_ratio: Value, efficiency: Value, gamma: Value = GAMMA_AIR
) -> Result:
    """Temperature rise (K) across a compressor: dT = T1 / eta (PR^((g-1)/g) - 1) [HEY].

    Inlet temperature (K), pressure ratio (outlet over inlet, absolute), isentropic efficiency (0 to 1).
    """
    return inlet_k / efficiency * (pressure_ratio ** ((gamma - 1.0) / gamma) - 1.0)


@formula
def compressor_efficiency(inlet_k: Value, outlet_k: Value, pressure_ratio: Value, gamma: Value = GAMMA_AIR) -> Result:
    """Isentropic efficiency (0 to 1) behind a temperature rise; inverts compressor_temperature_rise."""
    return compressor_temperature_rise(inlet_k, pressure_ratio, 1.0, gamma) / (outlet_k - inlet_k)


@formula
def intercooler_outlet_temperature(inlet_k: Value, ambient_k: Value, effectiveness: Value) -> Result:
    """Temperature (K) after the charge cooler: T3 = T2 - eps (T2 - Tamb), effectiveness eps from 0 to 1."""
    return inlet_k - effectiveness * (inlet_k - ambient_k)


@formula
def intercooler_effectiveness(inlet_k: Value, outlet_k: Value, ambient_k: Value) -> Result:
    """Effectiveness (0 to 1) of a charge cooler: eps = (T2 - T3) / (T2 - Tamb)."""
    return (inlet_k - outlet_k) / (inlet_k - ambient_k)


@formula
def density_ratio(pressure_ratio: Value, inlet_k: Value, outlet_k: Value) -> Result:
    """How many times denser the charge is than the air outside: PR T1 / T3."""
    return pressure_ratio * inlet_k / outlet_k


@formula
def pressure_drop(flow_kg_s: Value, resistance: Value, inlet_pa: Value, inlet_k: Value) -> Result:
    """Pressure drop (Pa) of a filter, cooler or pipe, turbulent: dp = H T m |m| / p, signed as the flow
    (kg/s).

    Resistance H in Pa2 s2 / (kg2 K), inlet pressure (Pa absolute) and temperature (K): the published engines'
    filter has 1.6e8 to 2e8, their cooler 4e8 (Linkoping mean-value library, 2008 and 2014 parameter sets).
    """
    return resistance * inlet_k * flow_kg_s * np.abs(flow_kg_s) / inlet_pa


@formula
def flow_for_pressure_drop(drop_pa: Value, resistance: Value, inlet_pa: Value, inlet_k: Value) -> Result:
    """Air flow (kg/s) at a pressure drop (Pa): the inverse of pressure_drop."""
    return np.sign(drop_pa) * np.sqrt(np.abs(drop_pa) * inlet_pa / (resistance * inlet_k))


@formula
def flow_resistance(flow_kg_s: Value, drop_pa: Value, inlet_pa: Value, inlet_k: Value) -> Result:
    """Resistance (Pa2 s2 / (kg2 K)) that explains a pressure drop (Pa) at an air flow (kg/s)."""
    return drop_pa / pressure_drop(flow_kg_s, 1.0, inlet_pa, inlet_k)


@dataclass(frozen=True)
class PowerCorrection:
    """A factor to multiply measured full-load power with, and whether the standard allows it here.

    `factor` and `valid` are a number and a truth value, or arrays of them; `says` gives the range in words.
    """

    factor: float | NDArray[np.float64]
    valid: bool | NDArray[np.bool_]
    says: str


def _correction(factor: Result, inside: NDArray[np.bool_] | bool, standard: str, limits: str) -> PowerCorrection:
    valid = np.asarray(inside)
    if valid.all():
        says = f"{standard}: within its range ({limits})"
    elif valid.any():
        beyond = int((~valid).sum())
        says = f"{standard}: not valid for {beyond} of {valid.size} conditions, outside its range ({limits})"
    else:
        says = f"{standard}: not valid here, outside its range ({limits})"
    return PowerCorrection(factor, bool(valid) if valid.ndim == 0 else valid, says)


def sae_j1349_correction(dry_pressure_pa: Value, inlet_k: Value) -> PowerCorrection:
    """Correction to 99 kPa dry and 25 degC: 1.18 (99 kPa / pd) sqrt(T / 298) - 0.18 [J1349].

    Dry pressure (Pa absolute, vapour taken off) and intake temperature (K). The range, 90 to 105 kPa dry and
    15 to 35 degC, is from memory of the standard.
    """
    pd = np.asarray(dry_pressure_pa, dtype=np.float64)
    T = np.asarray(inlet_k, dtype=np.float64)
    inside = (pd >= 90e3) & (pd <= 105e3) & (T >= 288.15 - 1e-9) & (T <= 308.15 + 1e-9)
    return _correction(_j1349(pd, T), inside, "SAE J1349", "90 to 105 kPa dry, 15 to 35 degC")


@formula
def _j1349(pd: Value, T: Value) -> Result:
    # The printed form writes Tc + 273 over 298, so kelvin counted from 273, not 273.15.
    return 1.18 * (99e3 / pd) * np.sqrt((T - 0.15) / 298.0) - 0.18


def iso_1585_correction(dry_pressure_pa: Value, inlet_k: Value) -> PowerCorrection:
    """Correction for spark ignition: alpha = (99 kPa / ps)^1.2 (T / 298)^0.6, valid from 0.93 to 1.07
    [ISO1585].

    Dry pressure (Pa absolute) and intake temperature (K).
    """
    factor = _iso1585(dry_pressure_pa, inlet_k)
    inside = (np.asarray(factor) >= 0.93) & (np.asarray(factor) <= 1.07)
    return _correction(factor, inside, "ISO 1585", "a factor from 0.93 to 1.07")


@formula
def _iso1585(ps: Value, T: Value) -> Result:
    return (99e3 / ps) ** 1.2 * (T / 298.0) ** 0.6
