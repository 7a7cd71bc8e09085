"""The lies of the pressure sensors, undone: the sizes' own definitions, turned round."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airproof.diagnosis.lying_sensors import lies, undone

TRUE_KPA = st.floats(15.0, 250.0)


@given(true=TRUE_KPA, size=st.floats(-20.0, 20.0))
@pytest.mark.parametrize(
    ("cause", "signal", "read"),
    [
        ("map-offset", "manifold_pressure", lambda true, kpa: true + kpa),
        ("map-gain", "manifold_pressure", lambda true, percent: true * (100.0 + percent) / 100.0),
        ("boost-sensor-scale", "charge_pressure", lambda true, percent: true * (100.0 + percent) / 100.0),
        ("baro-sensor", "barometric_pressure", lambda true, kpa: true + kpa),
    ],
)
def test_a_lie_told_and_undone_gives_the_true_pressure(cause, signal, read, true, size):
    assert lies(cause, signal)
    assert undone(signal, read(true, size), cause, np.array([size])) == pytest.approx([true])


@pytest.mark.parametrize("signal", ["manifold_pressure", "charge_pressure"])
@given(true=TRUE_KPA, volts=st.floats(-1.0, 1.0))
def test_a_supply_off_its_nominal_5_volts_scales_every_sensor_it_feeds(signal, true, volts):
    read = true * (5.0 + volts) / 5.0
    assert undone(signal, read, "supply-reference", np.array([volts])) == pytest.approx([true])


def test_a_sound_sensor_is_taken_at_its_word_in_the_shape_of_value_and_sizes():
    values, sizes = np.array([[40.0, 90.0]]), np.array([[1.0], [2.0], [3.0]])
    assert not lies("vacuum-leak", "manifold_pressure")
    assert not lies("map-offset", "charge_pressure")
    np.testing.assert_array_equal(undone("manifold_pressure", values, "vacuum-leak", sizes), np.repeat(values, 3, 0))
    assert undone("manifold_pressure", values, "map-offset", sizes).shape == (3, 2)
