"""The pressure of the day: from altitude, a barometer, and the car's own reading."""

from __future__ import annotations

import numpy as np
import pytest

from airproof.diagnosis.conditions import UNKNOWN_PLACE, barometer_of, best_barometer
from airproof.diagnosis.weighing import Barometer
from airproof.errors import UnusableRequest
from airproof.recording.recording import Recording, Signal
from airproof.recording.regimes import find_regimes


@pytest.mark.parametrize(
    ("metres", "kpa"),
    # CHECK_VALUES section 1 (ISO 2533, computed with ambiance): geometric height, Pa
    [(0.0, 101.3250), (250.0, 98.3576), (500.0, 95.4613), (1000.0, 89.8763), (1609.344, 83.4318), (2000.0, 79.5014),
     (3000.0, 70.1211), (4000.0, 61.6604)],
)  # fmt: skip
def test_altitude_gives_the_standard_pressure_give_or_take_the_weather(metres: float, kpa: float) -> None:
    day = barometer_of(altitude_m=metres)
    assert day.kpa == pytest.approx(kpa, abs=0.025)  # 25 Pa if the other kind of height is meant
    assert 0.5 < day.sd_kpa < 2.5
    assert day.own_share == 0.0


def test_a_stated_barometer_is_surer_than_an_altitude() -> None:
    stated = barometer_of(barometer_kpa=98.2)
    assert stated.kpa == 98.2
    assert stated.sd_kpa < barometer_of(altitude_m=300.0).sd_kpa < UNKNOWN_PLACE.sd_kpa
    both = barometer_of(altitude_m=300.0, barometer_kpa=98.2)
    assert (both.kpa, both.sd_kpa) == (98.2, stated.sd_kpa)


def test_nothing_given_is_wide_enough_for_most_places() -> None:
    day = barometer_of()
    assert day == UNKNOWN_PLACE
    # sea level to 1000 m (101.3 to 89.9 kPa) within two standard deviations
    assert day.kpa - 2 * day.sd_kpa < 89.9
    assert day.kpa + 2 * day.sd_kpa > 101.3


@pytest.mark.parametrize(
    ("metres", "kpa"),
    # neither the pressure of the place nor, reduced to it, of sea level
    [(1609.0, 92.0), (800.0, 84.0), (0.0, 88.0), (3000.0, 88.0), (1609.0, 75.0)],
)
def test_altitude_and_barometer_that_contradict_each_other(metres: float, kpa: float) -> None:
    with pytest.raises(UnusableRequest, match="sea level") as caught:
        barometer_of(altitude_m=metres, barometer_kpa=kpa)
    message = str(caught.value)
    assert "\n" not in message
    assert f"{kpa:.1f} kPa" in message
    assert f"{metres:.0f} m" in message
    assert "Give only the altitude, or the station pressure" in message


@pytest.mark.parametrize(
    ("metres", "kpa", "here"),
    # ISO 2533, as above; 800 m has 92.08 kPa, and 0.2 kPa more at sea level are 0.2 x 92.08 / 101.3 more there
    [(1000.0, 101.325, 89.88), (1609.344, 101.325, 83.43), (800.0, 101.525, 92.26), (3000.0, 101.325, 70.12)],
)
def test_a_figure_that_can_only_be_of_sea_level_is_reduced_to_the_place(metres: float, kpa: float, here: float) -> None:
    """A real sensor reads station pressure: nothing is to be asked, but it is said."""
    day = barometer_of(altitude_m=metres, barometer_kpa=kpa)
    assert day.kpa == pytest.approx(here, abs=0.05)
    assert day.says == (
        f"barometer stated as {kpa:.1f} kPa, taken for that of sea level: {day.kpa:.1f} kPa at {metres:.0f} m"
    )
    assert day.doubt == ""
    assert barometer_of(barometer_kpa=kpa).sd_kpa < day.sd_kpa <= barometer_of(altitude_m=metres).sd_kpa


@pytest.mark.parametrize(
    ("metres", "kpa", "here"),
    # ISO 2533: where sea level has 101.325 kPa, 350 m has 97.19, 300 m 97.77 and 420 m 96.38 kPa
    [(350.0, 101.325, 97.2), (350.0, 100.9, 96.8), (300.0, 101.325, 97.8), (420.0, 101.325, 96.4)],
)
def test_a_weather_reports_figure_is_reduced_to_the_place_and_said(metres: float, kpa: float, here: float) -> None:
    day = barometer_of(altitude_m=metres, barometer_kpa=kpa)
    assert day.kpa == pytest.approx(here, abs=0.3)
    assert day.sd_kpa > barometer_of(barometer_kpa=kpa).sd_kpa
    for said in (f"{kpa:.1f} kPa", "sea level", f"{here:.1f} kPa", f"{metres:.0f} m"):
        assert said in day.doubt
        assert said in day.says
    assert "leave the altitude out" in day.doubt


@pytest.mark.parametrize(
    ("metres", "kpa"), [(350.0, 97.2), (350.0, 99.2), (350.0, 95.0), (0.0, 101.3), (100.0, 102.0), (None, 101.3)]
)
def test_a_pressure_that_weather_explains_is_taken_as_it_stands(metres: float | None, kpa: float) -> None:
    day = barometer_of(altitude_m=metres, barometer_kpa=kpa)
    assert (day.kpa, day.doubt) == (kpa, "")


def test_high_pressure_at_a_place_is_not_lost_to_the_weather_report() -> None:
    """One day in sixty is as high: both readings stay possible, and the car's own barometer says which it is."""
    usual, high = 98.36, 101.5  # at 250 m, by ISO 2533, and 2.4 standard deviations of the weather above
    day = barometer_of(altitude_m=250.0, barometer_kpa=high)
    assert day.doubt
    assert abs(high - day.kpa) < 2.5 * day.sd_kpa
    agrees = best(day, engine_speed=0.0, barometric_pressure=101.9)
    assert agrees.kpa == pytest.approx(101.7, abs=0.3)
    assert agrees.doubt == ""
    reduced = best(day, engine_speed=0.0, barometric_pressure=usual)
    assert reduced.kpa == pytest.approx(usual, abs=0.3)
    assert "sea level" in reduced.doubt


@pytest.mark.parametrize("kpa", [44.0, 111.0, 0.0, -5.0, 982.0])
def test_an_impossible_barometer(kpa: float) -> None:
    with pytest.raises(UnusableRequest, match="Check the unit"):
        barometer_of(barometer_kpa=kpa)


@pytest.mark.parametrize("metres", [-600.0, 6000.0, 35000.0])
def test_an_impossible_altitude(metres: float) -> None:
    with pytest.raises(UnusableRequest, match="m or ft"):
        barometer_of(altitude_m=metres)


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_no_number_is_no_place(value: float) -> None:
    with pytest.raises(UnusableRequest):
        barometer_of(altitude_m=value)
    with pytest.raises(UnusableRequest):
        barometer_of(barometer_kpa=value)


def recording(**levels: float) -> Recording:
    time = np.arange(0.0, 20.0, 0.5)
    units = {"engine_speed": "1/min"}
    return Recording(
        {name: Signal(name, units.get(name, "kPa"), time, np.full(time.size, v)) for name, v in levels.items()}
    )


def best(weather: Barometer, **levels: float) -> Barometer:
    one = recording(**levels)
    return best_barometer(weather, one, find_regimes(one))


def test_the_cars_own_reading_is_joined_as_two_gaussians_are() -> None:
    weather = barometer_of(altitude_m=350.0)
    joined = best(weather, barometric_pressure=99.0, engine_speed=0.0)
    own_sd = np.hypot(1.0, 0.3)  # data: tolerance of a barometer sensor; and rounding
    precision = 1 / weather.sd_kpa**2 + 1 / own_sd**2
    assert joined.kpa == pytest.approx((weather.kpa / weather.sd_kpa**2 + 99.0 / own_sd**2) / precision)
    assert joined.sd_kpa == pytest.approx(precision**-0.5)
    assert joined.own_share == pytest.approx(1 / own_sd**2 / precision)


def test_without_an_own_reading_the_engine_off_pressure_stands_in_loosely() -> None:
    joined = best(UNKNOWN_PLACE, manifold_pressure=92.0, engine_speed=0.0)
    assert 92.0 < joined.kpa < UNKNOWN_PLACE.kpa
    assert joined.own_share == 0.0
    assert 2.0 < joined.sd_kpa < UNKNOWN_PLACE.sd_kpa
    sure = best(barometer_of(barometer_kpa=98.0), manifold_pressure=92.0, engine_speed=0.0)
    assert sure.kpa == pytest.approx(98.0, abs=0.1)


@pytest.mark.parametrize("kpa", [0.0, 30.0, 120.0, 255.0])
def test_an_own_reading_that_no_place_has_is_not_used(kpa: float) -> None:
    assert best(UNKNOWN_PLACE, barometric_pressure=kpa, engine_speed=0.0) == UNKNOWN_PLACE


def test_nothing_recorded_leaves_the_weather() -> None:
    assert best(UNKNOWN_PLACE, engine_speed=900.0) == UNKNOWN_PLACE
