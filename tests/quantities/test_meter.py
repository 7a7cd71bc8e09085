"""What a meter shows: arithmetic of the divider it makes, of a lifted ground and of a low supply."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airproof.quantities import meter
from airproof.quantities.sensor_lines import RatiometricLine

SOURCES = np.array([1e3, 10e3, 100e3, 1e6])
LINE_4250A = RatiometricLine.per_kpa(0.004, -0.04, 5.1, (20, 250), 3.45, "4250A data sheet (NXP rev 8.0, 2017)")


def test_digital_meter_loading() -> None:
    # 10 Mohm: reading over true, arithmetic
    assert meter.meter_reading(1.0, SOURCES) == pytest.approx([0.9999, 0.9990, 0.9901, 0.9091], abs=6e-5)


def test_pointer_meter_loading() -> None:
    # 20 kohm/V on its 20 V range: 400 kohm, arithmetic
    resistance = meter.analogue_meter_resistance(20.0)
    assert resistance == 400e3
    assert meter.meter_reading(1.0, SOURCES, resistance) == pytest.approx([0.9975, 0.9756, 0.8000, 0.2857], abs=6e-5)


@given(st.floats(0.01, 20.0), st.floats(1.0, 1e7), st.floats(1e5, 1e8))
def test_loading_round_trip(volts: float, source: float, meter_ohm: float) -> None:
    reading = meter.meter_reading(volts, source, meter_ohm)
    assert 0.0 < reading < volts
    assert meter.true_voltage(reading, source, meter_ohm) == pytest.approx(volts, rel=1e-12)
    assert meter.source_resistance(volts, reading, meter_ohm) == pytest.approx(source, rel=1e-6, abs=1e-3)


def test_lifted_ground_on_a_250_kpa_sensor() -> None:
    # 0.1 V at 20.4 mV/kPa: about +4.9 kPa at low pressure, arithmetic
    error = meter.pressure_error_of_ground_drop(0.1, LINE_4250A.sensitivity())
    assert error / 1e3 == pytest.approx(4.9, abs=0.06)
    low = LINE_4250A.volts(20e3)
    lifted = meter.ground_drop_output(low, 0.1, 5.1)
    assert (LINE_4250A.pressure_pa(lifted) - 20e3) / 1e3 == pytest.approx(4.9, abs=0.25)


def test_lifted_ground_matters_less_towards_full_scale() -> None:
    outputs = np.linspace(0.0, 5.0, 11)
    rise = meter.ground_drop_output(outputs, 0.1) - outputs
    assert rise[0] == pytest.approx(0.1)
    assert rise[-1] == pytest.approx(0.0, abs=1e-12)
    assert (np.diff(rise) < 0.0).all()


def test_low_supply_against_a_fixed_reference() -> None:
    # 4.90 V in place of 5.10 V: -3.9 %
    assert 100.0 * meter.relative_error_of_supply(4.90, 5.10) == pytest.approx(-3.9, abs=0.06)
    assert math.isnan(meter.relative_error_of_supply(math.nan, 5.10))
