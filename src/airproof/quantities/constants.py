"""Constants of air and of the standard atmosphere, each with its source; others are derived, not typed.

Sources
[ISO2533] ISO 2533:1975, Standard atmosphere, table of primary constants.
[SI] The International System of Units, 9th edition (2019), exact values.
[J1979] SAE J1979, data item 43, absolute load value.
"""

from __future__ import annotations

R_AIR = 287.05287
"""Specific gas constant of dry air, J/(kg K) [ISO2533]."""

GAMMA_AIR = 1.4
"""Ratio of specific heats of air [ISO2533]."""

CP_AIR = GAMMA_AIR * R_AIR / (GAMMA_AIR - 1.0)
"""Specific heat of air at constant pressure, J/(kg K): 1004.7, as follows from the two above for an ideal
gas."""

CV_AIR = CP_AIR - R_AIR
"""Specific heat of air at constant volume, J/(kg K)."""

MOLAR_MASS_AIR = 28.9647
"""Molar mass of dry air, g/mol; from memory of common tables ([ISO2533] has 28.96442)."""

OXYGEN_IN_AIR = 0.20946
"""Mole fraction of oxygen in dry air; from memory of common tables (the U.S. Standard Atmosphere 1976 has
0.209476)."""

STANDARD_PRESSURE = 101325.0
"""Sea-level pressure of the standard atmosphere, Pa absolute [ISO2533]; also one atm."""

STANDARD_TEMPERATURE = 288.15
"""Sea-level temperature of the standard atmosphere, K [ISO2533]."""

STANDARD_GRAVITY = 9.80665
"""Standard acceleration of free fall, m/s2 [ISO2533, SI]."""

LAPSE_RATE = 0.0065
"""Fall of temperature with geopotential height in the troposphere, K/m [ISO2533]."""

EARTH_RADIUS = 6356766.0
"""Nominal earth radius that ties geometric to geopotential height, m [ISO2533]."""

ZERO_CELSIUS = 273.15
"""0 degC in K [SI]."""

WATER_TO_AIR = 0.62198
"""Molar mass of water over that of dry air (18.0153 / 28.9647); from memory of the WMO guide."""

ABSOLUTE_LOAD_DENSITY = 1.184
"""Air density that absolute load is related to, kg/m3: air at 25 degC and 101.3 kPa [J1979]."""
