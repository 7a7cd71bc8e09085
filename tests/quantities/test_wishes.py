"""Units as the user likes them, against Pint and printed conversions; sentences are turned as a whole or not at all."""

from __future__ import annotations

import re

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airproof.errors import UnusableRequest
from airproof.quantities.wishes import AS_IT_IS, PRESSURES, Wish, in_units, places_in, shown, wish_of
from airproof.quantities.wishes_in_sentences import sentence_in_units

REGISTRY = pint.UnitRegistry()
INHG, BAR, PSI, MMHG = wish_of("inHg"), wish_of("bar"), wish_of("psi"), wish_of("mmHg")


@pytest.mark.parametrize("pressure", PRESSURES)
@given(value=st.floats(-50.0, 400.0))
def test_pressures_are_those_of_pint(pressure, value):
    there, unit = in_units(value, "kPa", wish_of(pressure))
    name = {"inHg": "inch_Hg_32F"}.get(pressure, pressure)
    assert unit == pressure
    assert there == pytest.approx(REGISTRY.Quantity(value, "kPa").to(name).magnitude, rel=1e-5, abs=1e-9)


def test_the_standard_atmosphere():
    # ICAO Doc 7488, sea level: 1013.25 hPa = 29.92 inHg = 760 mmHg. NIST SP 811, appendix B.8: 1 psi = 6.894757 kPa.
    assert shown(101.325, "kPa absolute", INHG, 1) == "29.92 inHg absolute"
    assert shown(101.325, "kPa absolute", MMHG, 1) == "760.0 mmHg absolute"
    assert shown(101.325, "kPa absolute", PSI, 2) == "14.696 psi absolute"
    assert shown(101.325, "kPa absolute", BAR, 3) == "1.01325 bar absolute"


def test_temperatures_and_differences_of_temperatures():
    assert in_units(100.0, "degC", INHG) == (pytest.approx(212.0), "degF")
    assert in_units(-40.0, "degC", INHG) == (pytest.approx(-40.0), "degF")
    assert in_units(10.0, "K", INHG) == (pytest.approx(18.0), "degF")
    assert in_units(10.0, "K", wish_of("inHg", "C")) == (10.0, "K")
    assert in_units(20.0, "degC", BAR) == (20.0, "degC")


def test_only_an_absolute_pressure_becomes_a_vacuum():
    wish = wish_of("inHg", vacuum=True, barometer_kpa=101.325)
    value, unit = in_units(33.6, "kPa absolute", wish)
    assert (round(value, 1), unit) == (20.0, "inHg vacuum")
    assert in_units(201.325, "kPa absolute", wish_of("bar", vacuum=True, barometer_kpa=101.325)) == (
        pytest.approx(1.0),
        "bar gauge",
    )
    assert in_units(8.0, "kPa", wish)[1] == "inHg"
    assert in_units(33.6, "kPa absolute", Wish("inHg", vacuum=True))[1] == "inHg absolute"  # no barometer, no guess
    values, unit = in_units(np.array([31.325, 201.325]), "kPa absolute", Wish("kPa", "degC", True, 101.325))
    assert unit == "kPa gauge"
    np.testing.assert_allclose(values, [-70.0, 100.0])


def test_what_is_no_pressure_stays():
    assert in_units(4.0, "mm", INHG) == (4.0, "mm")
    assert in_units(98.2, "kPa absolute", AS_IT_IS) == (98.2, "kPa absolute")
    assert AS_IT_IS.plain
    assert not INHG.plain


@pytest.mark.parametrize("typed", ["furlong", "Pa", "psig", "degC", "kPa abs"])
def test_other_units_are_refused_with_those_there_are(typed):
    with pytest.raises(UnusableRequest, match="kPa, inHg, psi, bar, mmHg"):
        wish_of(typed)


def test_spellings_are_those_of_the_border():
    assert wish_of("in. Hg", "°F") == Wish("inHg", "degF")
    assert wish_of("", "F") == Wish("kPa", "degF")


@pytest.mark.parametrize("pressure", PRESSURES)
@given(st.integers(-4000, 4000))
def test_as_many_digits_as_there_were(pressure, tenths):
    """Turned and turned back, a number to a tenth of a kPa is the same tenth, give or take one."""
    wish = wish_of(pressure)
    text = shown(tenths / 10.0, "kPa", wish, 1)
    back = float(text.split()[0]) / in_units(1.0, "kPa", wish)[0]
    assert abs(back - tenths / 10.0) <= 0.1
    assert places_in(1, "kPa", AS_IT_IS) == 1


TURNED = [
    (
        "it reads 105.0 kPa absolute with the engine off, 7.8 kPa above the 97.2 kPa expected of the day",
        "it reads 31.01 inHg absolute with the engine off, 2.30 inHg above the 28.70 inHg expected of the day",
    ),
    ("The sensor reads about 8 kPa high (6 to 10)", "The sensor reads about 2.4 inHg high (1.8 to 3.0)"),
    ("reads 8.1 kPa high, 7.2 to 9.0", "reads 2.39 inHg high, 2.13 to 2.66"),
    ("manifold pressure shows 40 kPa instead of 28 (+12)", "manifold pressure shows 11.8 inHg instead of 8.3 (+3.5)"),
    (
        "air flow shows 3.2 g/s instead of 2.8 (+0.4), manifold pressure 40 kPa",
        "air flow shows 3.2 g/s instead of 2.8 (+0.4), manifold pressure 11.8 inHg",
    ),
    (
        "the pressure wanders by 2.0 kPa from sample to sample (healthy: up to 0.7)",
        "the pressure wanders by 0.59 inHg from sample to sample (healthy: up to 0.21)",
    ),
    ("the offset went from +8.1 to +0.2 +- 0.6 kPa", "the offset went from +2.39 to +0.06 +- 0.18 inHg"),
    ("their barometers read 98 and 101 kPa absolute", "their barometers read 28.9 and 29.8 inHg absolute"),
    (
        "97.2 kPa absolute, give or take 0.4 (90 %)",
        "28.70 inHg absolute, give or take 0.12 (90 %)",
    ),
    ("intake air is 12 K above the outside air", "intake air is 22 degF above the outside air"),
    ("air of 18 degC; 5 kPa", "air of 64 degF; 1.5 inHg"),
    ("right within 2 kPa from 0 to 85 degC", "right within 0.6 inHg from 32 to 185 degF"),
    ("lies 8 kPa (13 %) above its middle", "lies 2.4 inHg (13 %) above its middle"),
    ("At 132 steady points it lies 8 kPa off", "At 132 steady points it lies 2.4 inHg off"),
    ("P0106 at 780 1/min with 52 kPa. Chance: 93 in 100.", "P0106 at 780 1/min with 15.4 inHg. Chance: 93 in 100."),
    (
        "boost settles 12 kPa below its target (healthy: -24 to +22)",
        "boost settles 3.5 inHg below its target (healthy: -7.1 to +6.5)",
    ),
    (
        "Manifold pressure moves between 21 and 212 kPa; the barometer stands at 99",
        "Manifold pressure moves between 6.2 and 62.6 inHg; the barometer stands at 29.2",
    ),
    (
        "intake air is 22 K below the outside air (healthy: -12 to +28)",
        "intake air is 40 degF below the outside air (healthy: -22 to +50)",
    ),
    ("At 7:05 it fell by \N{MINUS SIGN}8.1 kPa", "At 7:05 it fell by \N{MINUS SIGN}2.39 inHg"),
]


@pytest.mark.parametrize(("text", "wanted"), TURNED)
def test_sentences_of_ours_are_turned(text, wanted):
    assert sentence_in_units(text, INHG) == wanted
    assert sentence_in_units(text, AS_IT_IS) == text


@pytest.mark.parametrize(
    "text",
    [
        "V = 0.01920 P +0.100, P in kPa absolute, at 5.00 V",
        "19.2 mV/kPa at 30 kPa",
        "it reads 8 kPa at level 4.",
        "pressures of 5 or 6 and 7 kPa; 8",
    ],
)
def test_what_would_be_a_guess_is_left_as_a_whole(text):
    assert sentence_in_units(text, INHG) == text


@given(st.text(alphabet="0123456789 .,()+-kPatodegCK%s/:\N{MINUS SIGN}", max_size=60))
def test_any_text_is_turned_or_left_and_no_kpa_is_left_half_turned(text):
    said = sentence_in_units(text, INHG)
    assert said == text or not re.search(r"\d kPa\b(?![/^*])", said)


INHG_ALONE = wish_of("inHg")
VACUUM = wish_of("inHg", vacuum=True, barometer_kpa=101.325)
FROM_THE_AIR = [
    # 101.325 kPa less 33.6 is 67.725 kPa, 20.0 inHg: US Army course OD1001 has 15 to 22 inHg at a sound warm idle.
    ("the pressure stands still at 33.6 kPa absolute", "the pressure stands still at 20.00 inHg vacuum"),
    ("at idle 27 to 50 kPa absolute, 8 kPa high", "at idle 21.9 to 15.2 inHg vacuum, 2.4 inHg high"),
    ("it rises to 201.3 kPa absolute (+12 kPa)", "it rises to 29.52 inHg gauge (+3.5 inHg)"),
    ("it moves between 33 and 201 kPa absolute", "it moves between -20.2 and 29.4 inHg gauge"),
]
STAYS_ABSOLUTE = [
    "it reads 105.0 kPa absolute with the engine off, 7.8 kPa above the 97.2 kPa expected of the day",
    "The day: 97.2 kPa absolute, give or take 0.4",
    "their barometers read 98 and 101 kPa absolute",
    "at idle (35 kPa) it would show 43 kPa absolute",
    "it shows 43 kPa absolute, give or take 2",
    "it shows 43 +- 2 kPa absolute",
    "it reads 8 kPa high (6 to 10)",
]


@pytest.mark.parametrize(("text", "wanted"), FROM_THE_AIR)
def test_absolute_pressures_of_a_running_engine_are_counted_from_the_air(text, wanted):
    assert sentence_in_units(text, VACUUM) == wanted


@pytest.mark.parametrize("text", STAYS_ABSOLUTE)
def test_what_is_of_the_air_itself_or_not_plain_stays_absolute(text):
    assert sentence_in_units(text, VACUUM) == sentence_in_units(text, INHG_ALONE)


@pytest.mark.parametrize(("text", "wanted"), FROM_THE_AIR)
def test_without_a_barometer_there_is_no_vacuum(text, wanted):
    said = sentence_in_units(text, wish_of("inHg", vacuum=True))
    assert said == sentence_in_units(text, INHG_ALONE)
    assert "absolute" in said


@given(st.integers(10, 300), st.integers(850, 1050))
def test_a_vacuum_and_its_barometer_give_the_pressure_back(kpa, tenths):
    barometer = tenths / 10.0
    said = sentence_in_units(f"it shows {kpa} kPa absolute", wish_of("kPa", vacuum=True, barometer_kpa=barometer))
    number, _, counted = said.removeprefix("it shows ").split()
    size = float(number)
    assert barometer + (size if counted == "gauge" else -size) == pytest.approx(kpa, abs=0.51)


def test_a_temperature_that_crosses_zero_loses_its_sign():
    assert sentence_in_units("air of -5 degC", INHG) == "air of 23 degF"
