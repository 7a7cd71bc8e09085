"""The pressure outside: standard atmosphere, weather reports turned into station pressure, air density.

With the engine off an absolute sensor reads *station* pressure, the real pressure where the car stands, never
the sea-level value of a weather report. Every pressure here is absolute, in Pa.

Sources
[ISO2533] ISO 2533:1975, Standard atmosphere (the same as the ICAO standard atmosphere here).
[SMT1951] Smithsonian Meteorological Tables, 6th revised edition (1951), p. 269, as quoted in the MetPy
          reference.
[IAPWS1992] IAPWS SR1-86(1992), saturation properties of ordinary water, equation 1; coefficients from memory
            of it, checked against CoolProp.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from airproof.quantities.constants import (
    EARTH_RADIUS,
    LAPSE_RATE,
    R_AIR,
    STANDARD_GRAVITY,
    STANDARD_PRESSURE,
    STANDARD_TEMPERATURE,
    WATER_TO_AIR,
)
from airproof.quantities.formula import Result, Value, formula

Height = Literal["geometric", "geopotential"]
"""Geometric: as a map or a satellite receiver gives it. Geopotential: as the standard atmosphere counts it.
At 1000 m they differ by 0.16 m, so 2 Pa: far below any car's sensor, yet kept apart so that tables agree."""

BAROMETRIC_EXPONENT = STANDARD_GRAVITY / (R_AIR * LAPSE_RATE)  # 5.25588
LOWEST_M, HIGHEST_M = -5000.0, 11000.0  # geopotential; the layer with the one lapse rate [ISO2533]


@formula
def geopotential_height(geometric_m: Value) -> Result:
    """Geopotential height (m) of a geometric height (m): H = r h / (r + h) [ISO2533]."""
    return EARTH_RADIUS * geometric_m / (EARTH_RADIUS + geometric_m)


@formula
def geometric_height(geopotential_m: Value) -> Result:
    """Geometric height (m) of a geopotential height (m): h = r H / (r - H) [ISO2533]."""
    return EARTH_RADIUS * geopotential_m / (EARTH_RADIUS - geopotential_m)


@formula
def standard_temperature(geopotential_m: Value) -> Result:
    """Temperature (K) of the standard atmosphere at a geopotential height (m).

    T = 288.15 - 0.0065 H [ISO2533]; NaN below -5000 m and above 11000 m.
    """
    inside = (geopotential_m >= LOWEST_M) & (geopotential_m <= HIGHEST_M)
    return np.where(inside, STANDARD_TEMPERATURE - LAPSE_RATE * geopotential_m, np.nan)


@formula
def standard_pressure(altitude_m: Value, height: Height = "geometric") -> Result:
    """Pressure (Pa absolute) of the standard atmosphere at an altitude (m above sea level).

    p = 101325 (1 - 0.0065 H / 288.15)^5.25588 with H geopotential [ISO2533]. NaN below -5000 m and above
    11000 m. The weather moves the real pressure by some 3 kPa about this.
    """
    H = geopotential_height(altitude_m) if height == "geometric" else altitude_m
    return STANDARD_PRESSURE * (standard_temperature(H) / STANDARD_TEMPERATURE) ** BAROMETRIC_EXPONENT


@formula
def altitude_of_pressure(pressure_pa: Value, height: Height = "geometric") -> Result:
    """Altitude (m) at which the standard atmosphere has this pressure (Pa absolute).

    The inverse of standard_pressure. NaN outside the layer of the formula (22.6 to 177.7 kPa).
    """
    ratio = (pressure_pa / STANDARD_PRESSURE) ** (1.0 / BAROMETRIC_EXPONENT)
    H = STANDARD_TEMPERATURE / LAPSE_RATE * (1.0 - ratio)
    slack = 1e-6  # m: the ends of the layer must survive the round trip
    inside = (LOWEST_M - slack <= H) & (HIGHEST_M + slack >= H)
    H = np.where(inside, H, np.nan)
    return geometric_height(H) if height == "geometric" else H


# Constants of the altimeter equation as printed [SMT1951]: 288 K, not 288.15 K. Pressures may be in Pa, as
# each term scales with the pressure to the n-th; only the excess has a unit of its own.
_ALTIMETER_EXPONENT = 0.190284
_ALTIMETER_TEMPERATURE = 288.0
# The 0.3 hPa (0.01 inHg) by which a setting is lower than the pressure at the field.
_ALTIMETER_EXCESS = 30.0  # Pa


def _altimeter_term(elevation_m: Value) -> Result:
    p0 = STANDARD_PRESSURE**_ALTIMETER_EXPONENT
    return p0 * LAPSE_RATE / _ALTIMETER_TEMPERATURE * elevation_m


@formula
def station_pressure_from_altimeter(setting_pa: Value, elevation_m: Value) -> Result:
    """Station pressure (Pa absolute) from an airfield's altimeter setting (Pa) and the elevation (m).

    p = (A^n - p0^n a H / T0)^(1/n) + 0.3 hPa, n = 0.190284, a = 0.0065 K/m, T0 = 288 K, p0 = 1013.25 hPa
    [SMT1951]. Trap: because of the last term, at zero height the answer lies 0.3 hPa *above* the setting.
    This is meant (an altimeter sits some metres above the field), it is the practice of US airfields; where
    the setting is a QNH after ICAO use station_pressure_from_qnh. Another trap: the printed form of the page
    omits ^n on p0.
    """
    n = _ALTIMETER_EXPONENT
    return (setting_pa**n - _altimeter_term(elevation_m)) ** (1.0 / n) + _ALTIMETER_EXCESS


@formula
def altimeter_from_station_pressure(station_pa: Value, elevation_m: Value) -> Result:
    """Altimeter setting (Pa) of a station pressure (Pa absolute); inverts station_pressure_from_altimeter."""
    n = _ALTIMETER_EXPONENT
    return ((station_pa - _ALTIMETER_EXCESS) ** n + _altimeter_term(elevation_m)) ** (1.0 / n)


@formula
def station_pressure_from_qnh(qnh_pa: Value, elevation_m: Value) -> Result:
    """Station pressure (Pa absolute) from a QNH (Pa) and the elevation (m, taken as geopotential).

    The standard atmosphere shifted so that it has the QNH at sea level: the pressure at the elevation plus
    the standard altitude of the QNH [ISO2533 relations; definition of QNH from memory of ICAO Doc 8896].
    """
    return standard_pressure(altitude_of_pressure(qnh_pa, "geopotential") + elevation_m, "geopotential")


@formula
def station_pressure_from_sea_level(
    sea_level_pa: Value, elevation_m: Value, temperature_k: Value = STANDARD_TEMPERATURE
) -> Result:
    """Station pressure (Pa absolute) from a weather report's sea-level pressure (Pa), hypsometric equation.

    p = p_sea exp(-g H / (R Tm)), Tm the mean temperature of the air between sea level and the station: the
    outdoor temperature there (K) plus half the standard lapse rate times the elevation (m). Services smooth
    the temperature over some hours and add humidity; at 1000 m this is worth 1 or 2 hPa.
    """
    mean_temperature = temperature_k + LAPSE_RATE * elevation_m / 2.0
    return sea_level_pa * np.exp(-STANDARD_GRAVITY * elevation_m / (R_AIR * mean_temperature))


@formula
def sea_level_from_station_pressure(
    station_pa: Value, elevation_m: Value, temperature_k: Value = STANDARD_TEMPERATURE
) -> Result:
    """Sea-level pressure (Pa) of a station pressure (Pa); inverts station_pressure_from_sea_level."""
    return station_pa / station_pressure_from_sea_level(1.0, elevation_m, temperature_k)


_CRITICAL_TEMPERATURE = 647.096  # K [IAPWS1992]
_CRITICAL_PRESSURE = 22.064e6  # Pa [IAPWS1992]
_SATURATION_TERMS = (  # factor, power of 1 - T / Tc [IAPWS1992]
    (-7.85951783, 1.0),
    (1.84408259, 1.5),
    (-11.7866497, 3.0),
    (22.6807411, 3.5),
    (-15.9618719, 4.0),
    (1.80122502, 7.5),
)


@formula
def saturation_vapour_pressure(temperature_k: Value) -> Result:
    """Pressure (Pa) of water vapour over liquid water at a temperature (K) [IAPWS1992].

    Valid from 273.16 K to 647.096 K; below it is continued, over supercooled water as weather services count
    humidity, down to 223 K; NaN outside 223 to 647.096 K.
    """
    inside = (temperature_k >= 223.0) & (temperature_k <= _CRITICAL_TEMPERATURE)
    T = np.where(inside, temperature_k, np.nan)
    tau = 1.0 - T / _CRITICAL_TEMPERATURE
    series = sum(factor * tau**power for factor, power in _SATURATION_TERMS)
    return _CRITICAL_PRESSURE * np.exp(_CRITICAL_TEMPERATURE / T * series)


@formula
def air_density(pressure_pa: Value, temperature_k: Value, relative_humidity: Value = 0.0) -> Result:
    """Density (kg/m3) of air at a pressure (Pa absolute), temperature (K) and relative humidity (0 to 1).

    rho = (p - (1 - 0.622) pv) / (R T): ideal gases, the vapour lighter than the air it displaces. Real air at
    15 degC and one atmosphere is 0.04 % denser.
    """
    dry = relative_humidity == 0.0
    vapour = np.where(dry, 0.0, relative_humidity * saturation_vapour_pressure(temperature_k))
    return (pressure_pa - (1.0 - WATER_TO_AIR) * vapour) / (R_AIR * temperature_k)


@formula
def dry_pressure(pressure_pa: Value, temperature_k: Value, relative_humidity: Value) -> Result:
    """Pressure (Pa) of the air without its water vapour, as power corrections want it: p - RH ps(T)."""
    return pressure_pa - relative_humidity * saturation_vapour_pressure(temperature_k)
