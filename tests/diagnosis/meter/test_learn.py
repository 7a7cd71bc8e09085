"""Learning from a recording: the control unit's line from volts, the sensor's own error from its neighbours."""

from __future__ import annotations

import numpy as np
import pytest

from airproof.diagnosis.meter.learn import against_other_sensors, line_of_control_unit
from airproof.diagnosis.weighing import Barometer
from airproof.recording.recording import Recording, Signal

DAY = Barometer(98.0, 0.4, "stated")


def made(offset: float = 0.0, gain: float = 0.0, *, supply: float = 5.0, pull: bool = True) -> Recording:
    """Key on, idle, cruise at two levels, and a pull in which charge and manifold pressure are one but for 1.5 kPa."""
    draw = np.random.default_rng(0)
    seconds = [
        (10, 0, 98.0, 0, 98.0),
        (30, 800, 34.0, 0, 98.0),
        (30, 2000, 52.0, 30, 99.0),
        (30, 2300, 71.0, 45, 101.0),
    ]
    if pull:
        seconds += [(3, 2600 + 150 * k, 100.0 + 10.0 * k, 95, 101.5 + 10.0 * k) for k in range(8)]
    seconds += [(10, 0, 98.0, 0, 98.0)]
    each = [round(10 * s) for s, *_ in seconds]
    rows = np.repeat(np.array(seconds), each, axis=0)
    _, speed, true, pedal, charge = rows.T
    time = np.arange(speed.size) / 10.0
    shown = np.round((1.0 + gain) * true + offset + draw.normal(0.0, 0.2, time.size))
    volts = supply * (0.0037 * ((shown - offset) / (1.0 + gain)) + 0.0056) + draw.normal(0.0, 2e-3, time.size)
    values = {
        "engine_speed": ("1/min", speed), "manifold_pressure": ("kPa", shown), "charge_pressure": ("kPa", charge),
        "throttle": ("%", pedal * 0.9), "pedal": ("%", pedal), "supply_voltage": ("V", volts),
        "vehicle_speed": ("km/h", speed / 40.0),
    }  # fmt: skip
    resolution = {"manifold_pressure": 1.0}
    return Recording({n: Signal(n, u, time, v.astype(float), resolution.get(n)) for n, (u, v) in values.items()})


def test_volts_and_shown_pressure_make_the_units_line() -> None:
    learned = line_of_control_unit(made(), 5.0)
    assert learned.fitted is not None
    line = learned.fitted.learned
    sd = np.sqrt(np.diag(line.covariance))
    assert line.slope == pytest.approx(0.0037, abs=3.0 * sd[1])
    assert line.offset == pytest.approx(0.0056, abs=3.0 * sd[0])
    assert 5e3 * sd[1] < 0.2  # mV/kPa
    assert not learned.fitted.crooked


def test_another_supply_is_another_share() -> None:
    learned = line_of_control_unit(made(supply=5.1), 5.1)
    assert learned.fitted is not None
    assert learned.fitted.learned.slope == pytest.approx(0.0037, rel=0.02)


@pytest.mark.parametrize(("offset", "gain"), [(0.0, 0.0), (9.0, 0.0), (0.0, 0.10), (-6.0, 0.05)])
def test_the_sensors_error_against_its_neighbours(offset: float, gain: float) -> None:
    learned = against_other_sensors(made(offset, gain), DAY)
    assert learned.fitted is not None
    assert learned.fitted.offset_kpa is not None
    assert learned.fitted.gain_percent is not None
    for (_, low, high), true in ((learned.fitted.offset_kpa, offset), (learned.fitted.gain_percent, 100.0 * gain)):
        assert low <= true <= high
    assert learned.fitted.errors[0].error[0] == pytest.approx(offset + gain * 98.0, abs=0.5)


def test_what_cannot_be_learned_is_said() -> None:
    recording = made(pull=False)
    without = Recording({n: s for n, s in recording.signals.items() if n != "charge_pressure"})
    for learned in (
        against_other_sensors(without, DAY),
        against_other_sensors(made(pull=False), DAY),
        line_of_control_unit(Recording({n: s for n, s in recording.signals.items() if n != "supply_voltage"}), 5.0),
        line_of_control_unit(recording.between(11.0, 30.0), 5.0),
        line_of_control_unit(Recording({}), 5.0),
        against_other_sensors(Recording({}), DAY),
    ):
        assert learned.fitted is None
        assert learned.says
