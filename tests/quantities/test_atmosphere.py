"""Standard atmosphere, weather reports, air density.

Sources of the printed values: ISO 2533 relations as computed by ambiance 1.3.1 and by closed form; the
altimeter equation of the Smithsonian Meteorological Tables as computed by MetPy 1.7.1; CoolProp 8.0.0 for
real gases.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airproof.quantities import atmosphere as atm
from airproof.quantities.constants import STANDARD_PRESSURE, ZERO_CELSIUS
from airproof.quantities.units import convert

# geometric height m, T K, p Pa, p Pa of the same number taken as geopotential, density kg/m3, inHg (ambiance
# 1.3.1)
STANDARD_ATMOSPHERE = [
    (0, 288.15, 101325.0, 101325.0, 1.2250, 29.921),
    (100, 287.50, 100129.5, 100129.4, 1.2133, 29.568),
    (250, 286.53, 98357.6, 98357.5, 1.1959, 29.045),
    (500, 284.90, 95461.3, 95460.8, 1.1673, 28.190),
    (750, 283.28, 92634.6, 92633.6, 1.1392, 27.355),
    (1000, 281.65, 89876.3, 89874.6, 1.1117, 26.540),
    (1500, 278.40, 84559.7, 84556.0, 1.0581, 24.970),
    (1609.344, 277.69, 83431.8, 83427.6, 1.0467, 24.637),
    (2000, 275.15, 79501.4, 79495.2, 1.0066, 23.477),
    (2500, 271.91, 74691.7, 74682.5, 0.9570, 22.056),
    (3000, 268.66, 70121.1, 70108.5, 0.9093, 20.707),
    (3500, 265.41, 65780.4, 65764.1, 0.8634, 19.425),
    (4000, 262.17, 61660.4, 61640.2, 0.8193, 18.208),
]


@pytest.mark.parametrize(("h", "T", "p", "p_as_geopotential", "rho", "inhg"), STANDARD_ATMOSPHERE)
def test_standard_atmosphere_table(
    h: float, T: float, p: float, p_as_geopotential: float, rho: float, inhg: float
) -> None:
    temperature = atm.standard_temperature(atm.geopotential_height(h))
    assert temperature == pytest.approx(T, abs=0.0051)
    assert atm.standard_pressure(h) == pytest.approx(p, abs=0.1)
    assert atm.standard_pressure(h, "geopotential") == pytest.approx(p_as_geopotential, abs=0.1)
    assert atm.air_density(p, temperature) == pytest.approx(rho, abs=0.00006)
    assert convert(p, "Pa", "inHg") == pytest.approx(inhg, abs=0.0006)


def test_standard_pressure_in_feet_as_altimeters_count_it() -> None:
    # ISO 2533 closed form with geopotential feet, hPa
    feet = np.array([1000, 2000, 3000, 4000, 5000, 6000, 8000, 10000])
    printed = [977.17, 942.13, 908.12, 875.11, 843.07, 812.00, 752.62, 696.82]
    computed = atm.standard_pressure(convert(feet, "ft", "m"), "geopotential") / 100.0
    assert computed == pytest.approx(printed, abs=0.0051)


def test_an_inch_of_mercury_per_thousand_feet() -> None:
    # ISO 2533 closed form; the rule itself: US Army course OD1001, p. 87 (right to 7 %)
    feet = np.array([1000.0, 3000.0, 5000.0, 10000.0])
    pressure = atm.standard_pressure(convert(feet, "ft", "m"), "geopotential")
    drop = convert(STANDARD_PRESSURE - pressure, "Pa", "inHg")
    assert drop == pytest.approx([1.066, 3.105, 5.025, 9.344], abs=0.0006)
    assert drop == pytest.approx(feet / 1000.0, rel=0.07)


def test_against_ambiance() -> None:
    from ambiance import Atmosphere

    heights = np.linspace(-2000.0, 10900.0, 50)
    reference = Atmosphere(heights)
    assert atm.standard_pressure(heights) == pytest.approx(reference.pressure, abs=0.05)
    H = atm.geopotential_height(heights)
    assert atm.standard_temperature(H) == pytest.approx(reference.temperature, abs=1e-6)
    density = atm.air_density(atm.standard_pressure(heights), atm.standard_temperature(H))
    assert density == pytest.approx(reference.density, rel=1e-6)


@given(st.floats(-4900.0, 10900.0), st.sampled_from(["geometric", "geopotential"]))
def test_altitude_of_pressure_is_the_inverse(altitude: float, height: atm.Height) -> None:
    assert atm.altitude_of_pressure(atm.standard_pressure(altitude, height), height) == pytest.approx(
        altitude, abs=1e-6
    )
    assert atm.geometric_height(atm.geopotential_height(altitude)) == pytest.approx(altitude, abs=1e-6)


def test_outside_the_layer_there_is_no_number() -> None:
    beyond = np.array([-5001.0, 11001.0, math.nan])
    assert np.isnan(atm.standard_pressure(beyond, "geopotential")).all()
    assert np.isnan(atm.standard_temperature(beyond)).all()
    assert np.isnan(atm.altitude_of_pressure(np.array([-1.0, 0.0, 20e3, 200e3]))).all()
    for end in (-5000.0, 11000.0):
        pressure = atm.standard_pressure(end, "geopotential")
        assert atm.altitude_of_pressure(pressure, "geopotential") == pytest.approx(end, abs=1e-6)


# setting hPa, elevation m, station pressure hPa as MetPy 1.7.1 computes it, tolerance
ALTIMETER = [
    (1013.25, 0.0, 1013.55, 0.05),
    (1013.25, 1000.0, 898.987, 0.05),
    (1013.25, 1609.344, 834.487, 0.05),
    (1020.0, 500.0, 961.309, 0.05),
    (1000.0, 250.0, 970.925, 0.05),
]


@pytest.mark.parametrize(("setting", "elevation", "station", "tolerance"), ALTIMETER)
def test_altimeter_setting_table(setting: float, elevation: float, station: float, tolerance: float) -> None:
    assert atm.station_pressure_from_altimeter(setting * 100.0, elevation) / 100.0 == pytest.approx(
        station, abs=tolerance
    )


def test_altimeter_setting_closed_form() -> None:
    # the same equation with the constants exactly as printed (Smithsonian 1951 p. 269), hPa
    computed = atm.station_pressure_from_altimeter(101325.0, np.array([0.0, 1000.0, 1609.344])) / 100.0
    assert computed == pytest.approx([1013.55, 899.001, 834.508], abs=0.0006)


@pytest.mark.parametrize(("setting", "feet", "station"), [(29.92, 5280.0, 24.641), (30.10, 1000.0, 29.038)])
def test_altimeter_setting_in_inches(setting: float, feet: float, station: float) -> None:
    # MetPy 1.7.1, inHg
    pressure = atm.station_pressure_from_altimeter(convert(setting, "inHg", "Pa"), convert(feet, "ft", "m"))
    assert convert(pressure, "Pa", "inHg") == pytest.approx(station, abs=0.005)


def test_altimeter_setting_from_a_station_in_inches() -> None:
    # NOAA form: 30.46073 inHg for 30.36 inHg at 100 ft, as worked at wxforum.net topic 12204. The simpler
    # form there,
    # without the last term, gives 30.46958: the difference is the 0.01 inHg of the trap below.
    setting = atm.altimeter_from_station_pressure(convert(30.36, "inHg", "Pa"), convert(100.0, "ft", "m"))
    assert convert(setting, "Pa", "inHg") == pytest.approx(30.46073, abs=0.0003)
    assert 30.46958 - convert(setting, "Pa", "inHg") == pytest.approx(convert(30.0, "Pa", "inHg"), abs=0.0003)


def test_trap_altimeter_setting_at_zero_height_is_a_third_of_a_hectopascal_low() -> None:
    assert atm.station_pressure_from_altimeter(101325.0, 0.0) - 101325.0 == pytest.approx(30.0, abs=1e-6)
    assert atm.station_pressure_from_qnh(101325.0, 0.0) == pytest.approx(101325.0, abs=1e-6)


def test_altimeter_setting_against_metpy() -> None:
    import metpy.calc
    from metpy.units import units

    for setting in (980.0, 1000.0, 1013.25, 1040.0):
        for elevation in (0.0, 300.0, 1200.0, 2500.0):
            reference = metpy.calc.altimeter_to_station_pressure(setting * units.hPa, elevation * units.m)
            ours = atm.station_pressure_from_altimeter(setting * 100.0, elevation)
            assert ours == pytest.approx(reference.to("Pa").magnitude, abs=6.0)


@given(st.floats(90e3, 107e3), st.floats(-400.0, 4500.0), st.floats(235.0, 315.0))
def test_weather_reports_round_trip(sea_level: float, elevation: float, temperature: float) -> None:
    station = atm.station_pressure_from_altimeter(sea_level, elevation)
    assert atm.altimeter_from_station_pressure(station, elevation) == pytest.approx(sea_level, rel=1e-10)
    station = atm.station_pressure_from_sea_level(sea_level, elevation, temperature)
    assert atm.sea_level_from_station_pressure(station, elevation, temperature) == pytest.approx(sea_level, rel=1e-10)


def test_a_standard_day_makes_all_reports_agree() -> None:
    elevation = np.array([0.0, 200.0, 600.0, 1500.0, 3000.0])
    standard = atm.standard_pressure(elevation, "geopotential")
    qnh = atm.station_pressure_from_qnh(STANDARD_PRESSURE, elevation)
    assert qnh == pytest.approx(standard, rel=1e-9)
    temperature = atm.standard_temperature(elevation)
    sea_level = atm.station_pressure_from_sea_level(STANDARD_PRESSURE, elevation, temperature)
    assert sea_level == pytest.approx(standard, abs=40.0)
    altimeter = atm.station_pressure_from_altimeter(STANDARD_PRESSURE, elevation)
    assert altimeter == pytest.approx(standard, abs=60.0)


def test_hypsometric_against_metpy() -> None:
    import metpy.calc
    from metpy.units import units

    elevation, temperature = 850.0, 268.0
    station = atm.station_pressure_from_sea_level(102000.0, elevation, temperature)
    pressures = np.geomspace(102000.0, station, 400)
    # the temperature profile the formula assumes: linear in height, so nearly linear in ln p
    profile = temperature + 0.0065 * elevation * np.log(pressures / station) / np.log(102000.0 / station)
    thickness = metpy.calc.thickness_hydrostatic(pressures * units.Pa, profile * units.K)
    assert thickness.to("m").magnitude == pytest.approx(elevation, abs=0.5)


def test_cold_air_makes_the_column_heavier() -> None:
    cold, warm = atm.station_pressure_from_sea_level(101325.0, 1000.0, np.array([253.15, 303.15]))
    assert warm - cold > 1500.0


def test_density_of_dry_air() -> None:
    # CoolProp 8.0.0, ideal figures
    density = atm.air_density(101325.0, np.array([288.15, 298.15]))
    assert density == pytest.approx([1.2250, 1.1839], abs=0.00006)


def test_density_against_coolprop() -> None:
    from CoolProp.CoolProp import HAPropsSI, PropsSI

    for celsius in (-20.0, 15.0, 25.0, 45.0):
        T = celsius + ZERO_CELSIUS
        real = PropsSI("D", "P", 101325.0, "T", T, "Air")
        assert atm.air_density(101325.0, T) == pytest.approx(real, rel=1.1e-3)
    for celsius, humidity in ((10.0, 0.5), (30.0, 0.8), (40.0, 1.0)):
        T = celsius + ZERO_CELSIUS
        volume = HAPropsSI("Vda", "P", 101325.0, "T", T, "R", humidity)
        water = HAPropsSI("W", "P", 101325.0, "T", T, "R", humidity)
        assert atm.air_density(101325.0, T, humidity) == pytest.approx((1.0 + water) / volume, rel=1.1e-3)


def test_humid_density_against_metpy() -> None:
    import metpy.calc
    from metpy.units import units

    p, T = 98000 * units.Pa, 303.15 * units.K
    mixing = metpy.calc.mixing_ratio_from_relative_humidity(p, T, 0.7 * units.dimensionless)
    reference = metpy.calc.density(p, T, mixing).to("kg/m^3").magnitude
    assert atm.air_density(98000.0, 303.15, 0.7) == pytest.approx(reference, rel=3e-4)


def test_saturated_vapour() -> None:
    # CoolProp 8.0.0, Pa
    pressure = atm.saturation_vapour_pressure(np.array([293.15, 303.15]))
    assert pressure == pytest.approx([2339.3, 4247.0], abs=1.0)


def test_saturated_vapour_against_coolprop_and_metpy() -> None:
    import metpy.calc
    from CoolProp.CoolProp import PropsSI
    from metpy.units import units

    for celsius in (0.5, 20.0, 60.0, 100.0, 250.0):
        T = celsius + ZERO_CELSIUS
        assert atm.saturation_vapour_pressure(T) == pytest.approx(PropsSI("P", "T", T, "Q", 0, "Water"), rel=3e-4)
    for celsius in (-40.0, -20.0, -5.0, 15.0):
        reference = metpy.calc.saturation_vapor_pressure(units.Quantity(celsius, "degC")).to("Pa").magnitude
        assert atm.saturation_vapour_pressure(celsius + ZERO_CELSIUS) == pytest.approx(reference, rel=0.01)
    assert np.isnan(atm.saturation_vapour_pressure(np.array([200.0, 700.0, math.nan]))).all()


@given(st.floats(240.0, 320.0), st.floats(0.0, 0.99))
def test_damp_air_is_lighter(temperature: float, humidity: float) -> None:
    density = atm.air_density(1e5, temperature, np.array([humidity, humidity + 0.01]))
    assert density[1] < density[0]


def test_dry_pressure_against_coolprop() -> None:
    from CoolProp.CoolProp import HAPropsSI

    vapour = HAPropsSI("P_w", "P", 99000.0, "T", 298.15, "R", 0.6)
    assert atm.dry_pressure(99000.0, 298.15, 0.6) == pytest.approx(99000.0 - vapour, abs=15.0)
    assert atm.dry_pressure(99000.0, 298.15, 0.0) == 99000.0
