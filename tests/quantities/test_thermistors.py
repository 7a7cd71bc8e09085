"""Thermistors: makers' tables, the models fitted to them, the divider in the control unit."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airproof.errors import UnusableQuantity
from airproof.quantities.constants import ZERO_CELSIUS
from airproof.quantities.thermistors import Beta, ResistanceTable, SteinhartHart, VoltageDivider

# Engine NTC, nominal ohm by degC: Jeep 1.4/2.4 service text, 2020 (Compass)
ENGINE_NTC = {
    -40: 48805.0, -20: 15971.0, 0: 5975.0, 20: 2502.0, 25: 2044.0, 40: 1152.0,
    60: 575.8, 80: 308.6, 100: 175.7, 120: 105.4,
}  # fmt: skip
# Temperature half of a combined sensor, kohm lowest and highest: Hyundai Venue service text, p. 465
COMBINED_SENSOR = {
    -40: (40.93, 48.35), -20: (13.89, 16.03), 0: (5.38, 6.09), 20: (2.31, 2.57), 25: (1.90, 2.10),
    40: (1.08, 1.21),
    60: (0.54, 0.62), 80: (0.29, 0.34),
}  # fmt: skip
# Boost air temperature sensor, kohm: Mazda turbo service text, 2006
BOOST_TEMPERATURE = {-20: (14.04, 17.33), 20: (2.31, 2.72), 60: (0.572, 0.655)}


def kelvin(celsius: float) -> float:
    return celsius + ZERO_CELSIUS


FITTED = SteinhartHart.fit([kelvin(t) for t in (0, 40, 100)], [ENGINE_NTC[t] for t in (0, 40, 100)])


def test_steinhart_hart_coefficients() -> None:
    # least squares through the maker's 0, 40 and 100 degC, computed by other means
    assert pytest.approx(1.33514771e-3, rel=1e-7) == FITTED.A
    assert pytest.approx(2.56168319e-4, rel=1e-7) == FITTED.B
    assert pytest.approx(1.49630613e-7, rel=1e-6) == FITTED.C


def test_steinhart_hart_over_the_whole_table() -> None:
    ohms = np.array([2044.0, 48805.0, 66.2])
    assert FITTED.temperature(ohms) - ZERO_CELSIUS == pytest.approx([25.0, -39.99, 140.04], abs=0.05)
    celsius = FITTED.temperature(np.array(list(ENGINE_NTC.values()))) - ZERO_CELSIUS
    assert celsius == pytest.approx(list(ENGINE_NTC), abs=0.05)


def test_steinhart_hart_of_the_whole_table_lies_nearer() -> None:
    everywhere = SteinhartHart.fit([kelvin(t) for t in ENGINE_NTC], list(ENGINE_NTC.values()))
    off = np.abs(everywhere.temperature(np.array(list(ENGINE_NTC.values()))) - kelvin(0) - np.array(list(ENGINE_NTC)))
    assert off.max() < 0.05


@pytest.mark.parametrize("table", [COMBINED_SENSOR, BOOST_TEMPERATURE])
def test_makers_bands_hold_one_curve(table: dict[int, tuple[float, float]]) -> None:
    middle = [1e3 * math.sqrt(low * high) for low, high in table.values()]
    fitted = SteinhartHart.fit([kelvin(t) for t in table], middle)
    for celsius, (low, high) in table.items():
        assert 1e3 * low <= fitted.resistance(kelvin(celsius)) <= 1e3 * high


@given(st.floats(-60.0, 160.0))
def test_steinhart_hart_round_trip(celsius: float) -> None:
    ohm = FITTED.resistance(kelvin(celsius))
    assert FITTED.temperature(ohm) == pytest.approx(kelvin(celsius), abs=1e-8)
    without_cubic = SteinhartHart(1.1e-3, 2.9e-4, 0.0)
    assert without_cubic.temperature(without_cubic.resistance(kelvin(celsius))) == pytest.approx(kelvin(celsius))


@given(st.floats(-60.0, 150.0))
def test_hotter_means_less_resistance(celsius: float) -> None:
    for model in (FITTED, Beta(10e3, 298.15, 3950.0)):
        assert model.resistance(kelvin(celsius + 1.0)) < model.resistance(kelvin(celsius))


def test_beta_of_the_engine_sensor() -> None:
    model = Beta.through([kelvin(25), kelvin(80)], [ENGINE_NTC[25], ENGINE_NTC[80]])
    assert model.beta == pytest.approx(3619.4, abs=0.06)
    # beta alone is +3.2 K off at -40 and +2.4 K at 140 degC
    assert model.temperature(48805.0) - kelvin(-40) == pytest.approx(3.2, abs=0.06)
    assert model.temperature(66.2) - kelvin(140.0) == pytest.approx(2.4, abs=0.06)


def test_textbook_beta_sensor() -> None:
    # 10 kohm, beta 3950
    model = Beta(10e3, 298.15, 3950.0)
    assert model.temperature(np.array([5000.0, 32650.0])) - ZERO_CELSIUS == pytest.approx([41.46, 0.55], abs=0.006)


@given(st.floats(-60.0, 160.0))
def test_beta_round_trip(celsius: float) -> None:
    model = Beta(2044.0, 298.15, 3619.4)
    assert model.temperature(model.resistance(kelvin(celsius))) == pytest.approx(kelvin(celsius), abs=1e-9)


TABLE = ResistanceTable(tuple(kelvin(t) for t in ENGINE_NTC), tuple(ENGINE_NTC.values()))


def test_table_gives_its_own_rows_and_little_error_between() -> None:
    ohms = np.array(list(ENGINE_NTC.values()))
    assert TABLE.temperature(ohms) - ZERO_CELSIUS == pytest.approx(list(ENGINE_NTC), abs=1e-9)
    assert TABLE.resistance(np.array([kelvin(t) for t in ENGINE_NTC])) == pytest.approx(ohms, rel=1e-12)
    between = np.linspace(kelvin(-40), kelvin(120), 200)
    assert FITTED.temperature(TABLE.resistance(between)) == pytest.approx(between, abs=0.15)


@given(st.floats(-40.0, 120.0))
def test_table_round_trip(celsius: float) -> None:
    assert TABLE.temperature(TABLE.resistance(kelvin(celsius))) == pytest.approx(kelvin(celsius), abs=1e-9)


def test_table_may_be_given_hottest_first() -> None:
    turned = ResistanceTable(TABLE.temperatures_k[::-1], TABLE.ohms[::-1])
    assert turned == TABLE


def test_outside_there_is_no_number() -> None:
    assert np.isnan(TABLE.temperature(np.array([60e3, 50.0, 0.0, -1.0, math.nan]))).all()
    assert np.isnan(TABLE.resistance(np.array([kelvin(-41), kelvin(121), 0.0, math.nan]))).all()
    for model in (FITTED, Beta(10e3, 298.15, 3950.0)):
        assert np.isnan(model.temperature(np.array([0.0, -5.0, math.nan]))).all()


def test_unusable_points() -> None:
    for temperatures, ohms in (
        ([273.15, 298.15], [5975.0, 2044.0]),
        ([273.15, 298.15, 313.15], [5975.0, 2044.0, 2100.0]),
        ([273.15, 298.15, 298.15], [5975.0, 2044.0, 2044.0]),
        ([0.0, 25.0, 40.0], [5975.0, 2044.0, 1152.0]),
        ([273.15, 298.15, 313.15], [5975.0, -2044.0, 1152.0]),
        ([273.15, 298.15, math.nan], [5975.0, 2044.0, 1152.0]),
        ([273.15, 298.15, 313.15], [5975.0, 2044.0]),
    ):
        with pytest.raises(UnusableQuantity, match="falling as it gets hotter"):
            SteinhartHart.fit(temperatures, ohms)
    with pytest.raises(UnusableQuantity, match="2 points or more"):
        ResistanceTable((273.15,), (5975.0,))


def test_divider_of_a_published_intake_sensor() -> None:
    # Saab: 5 V through 2.74 kohm; 20 degC 2.1 to 2.9 kohm, about 2.4 V; 80 degC 0.295 to 0.365 kohm, about
    # 0.54 V
    divider = VoltageDivider(5.0, 2740.0)
    assert divider.volts(2500.0) == pytest.approx(2.385, abs=6e-4)
    low, high = divider.volts(np.array([2100.0, 2900.0]))
    assert low < 2.4 < high
    assert divider.volts(330.0) == pytest.approx(0.54, abs=0.006)


def test_two_published_points_of_one_divider_agree() -> None:
    # Nissan service text: 25 degC 1.8 to 2.2 kohm and 3.3 V; 80 degC 0.283 to 0.359 kohm and 1.2 V. The
    # pull-up that
    # the first row implies must give the second.
    implied = 2000.0 * (5.0 / 3.3 - 1.0)
    assert VoltageDivider(5.0, implied).volts(320.0) == pytest.approx(1.2, abs=0.05)
    assert 283.0 < VoltageDivider(5.0, implied).ohm(1.2) < 359.0


def test_open_and_shorted_thermistor() -> None:
    # open reads the supply (about -40 degC), shorted 0 V (the hottest value)
    divider = VoltageDivider(5.0, 2200.0)
    assert divider.volts(np.array([math.inf, 0.0])) == pytest.approx([5.0, 0.0])
    assert divider.ohm(5.0) == math.inf
    assert divider.ohm(0.0) == 0.0
    assert np.isnan(divider.ohm(np.array([-0.1, 5.1, math.nan]))).all()
    assert math.isnan(divider.volts(-1.0))


@given(st.floats(10.0, 60e3), st.floats(500.0, 20e3), st.floats(3.0, 5.5))
def test_divider_round_trip(ohm: float, pull_up: float, supply: float) -> None:
    divider = VoltageDivider(supply, pull_up)
    assert divider.ohm(divider.volts(ohm)) == pytest.approx(ohm, rel=1e-9)
