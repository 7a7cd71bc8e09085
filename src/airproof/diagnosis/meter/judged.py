"""A plain verdict on each thing measured: what it shows, what was to be expected, and which outcome that is."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from airproof.diagnosis.conditions import UNKNOWN_PLACE
from airproof.diagnosis.expectations import expected
from airproof.diagnosis.meter.expected_here import (
    Expected,
    expected_ohm,
    expected_signal,
)
from airproof.diagnosis.meter.fitted import Fitted, Recognised, fitted_line, recognised
from airproof.diagnosis.meter.lines import SHOWN, Line
from airproof.diagnosis.meter.measured import Measured, Measurements
from airproof.diagnosis.meter.pressures import Rows, no_supply, rows_at_plug, rows_shown, supply_of
from airproof.diagnosis.meter.thermistor import thermistor_kelvin, thermistor_sd
from airproof.diagnosis.meter.typed_values import ENDLESS_OHM
from airproof.diagnosis.weighing import Barometer
from airproof.knowledge.model import Knowledge
from airproof.quantities.constants import ZERO_CELSIUS
from airproof.quantities.line_fit import NORMAL_90

USUAL_SENSOR_C = 20.0
"""Temperature of a sensor where nobody says it, degC."""

SUPPLY_V = (4.5, 5.5)
"""What one maker accepts at the plug (toyota-1995-pressure-sensor), V."""
USUAL_SUPPLY_V = (4.9, 5.1)
"""What control units are built for (sensor-supply-from-memory), V."""
DROP_V = 0.1
"""Most that a sensor's ground may drop, V; common practice, no source."""
HALF_THE_REACH = 0.5
"""A drop counts as one where the meter's own error, at half its reach, leaves it above DROP_V: a look at the ground
costs little. judged: Airproof authors."""
LOW_SHARE, HIGH_SHARE = 0.03, 0.97
"""A signal below or above these shares of its supply is no pressure: makers' limits are 0.04 V (aston-2009-eobd) to
0.2 V (kia-2014-p0107) and 4.9 V."""
WIRE_OHM, TO_OTHERS_OHM = 5.0, 1e5
"""Along a wire less, to others more, ohm; common practice, no source."""
ONE_LINE = "with both plugs off that wire ends at the control unit's plug, so measure along it, to there"
STUCK_SHARE = 0.1
"""A line with less than this share of the slope it should have, or a slope within its own error, is a dead sensor's."""
STUCK_SLOPE = 0.0008
"""The same as a share of the supply per kPa, where no line is known: a third of a 400 kPa sensor's, a fifth of a
250 kPa sensor's (data sheets 6400A, 4250A); judged: Airproof authors."""
PULSES_V = (0.5, 0.15)
"""The average of a digital signal lies at least so far above 0 V and below the supply: frames with a long pause come
near it; judged: Airproof authors."""


@dataclass(frozen=True)
class Judged:
    """One measurement judged: `outcome` is a key of the task's outcomes, or "cannot-tell"; `found` whether it is amiss.

    `expected` the band in the unit of the reading where there is one; `says` what it shows in one sentence.
    """

    item: Measured
    task: str
    outcome: str
    says: str
    expected: Expected | None = None
    found: bool = False


@dataclass(frozen=True)
class SessionJudged:
    """All measurements judged, the line through them, what live data showed, and the published lines they fit.

    `live` is what live data showed while the signal was measured at the plug.
    """

    items: tuple[Judged, ...]
    barometer: Barometer
    fitted: Fitted | None = None
    shown: Fitted | None = None
    recognised: Recognised | None = None
    live: tuple[Judged, ...] = ()

    def of(self, what: str) -> Judged | None:
        """The verdict on the first measurement of that sort."""
        return next((one for one in self.items if one.item.what == what), None)


def judge(measurements: Measurements, barometer: Barometer | None, known: Knowledge) -> SessionJudged:
    """Judge every measurement against the day: the file's own where it says one, else `barometer`."""
    day = measurements.day or barometer or UNKNOWN_PLACE
    sensor = measurements.sensor
    celsius = USUAL_SENSOR_C if sensor.temperature_c is None else sensor.temperature_c
    plug, shown = rows_at_plug(measurements), rows_shown(measurements)
    unit = "Hz" if plug is not None and _in_hz(measurements) else "V"
    line = sensor.line if sensor.line is not None and sensor.line.unit == unit else None
    supply = supply_of(measurements)
    fitted = None if plug is None else fitted_line(plug, line, day, celsius, supply.volts, unit)
    fitted_shown = None if shown is None else fitted_line(shown, SHOWN, day, celsius, 1.0, "kPa")
    named = None
    if plug is not None and unit == "V":
        named = recognised(plug, line, day, known.sensors, celsius)
    session = SessionJudged((), day, fitted, fitted_shown, named)
    judged: list[Judged] = []
    live: list[Judged] = []
    for item in measurements.items:
        match item.what:
            case "supply":
                judged.append(_supply(item, measurements))
            case "ground":
                judged.append(_ground(item, measurements))
            case "signal":
                dead = item.value is not None and no_supply(measurements)
                judged.append(_unfed(item) if dead else _signal(item, measurements, line, day, celsius))
                if item.value is not None and item.shown is not None:
                    live.append(_beside_the_plug(judged[-1], _shown(item, day)))
            case "sweep":
                dead = shown is None and no_supply(measurements)
                judged.append(_unfed(item) if dead else _sweep(item, measurements, session, line, plug, shown))
            case "thermistor":
                judged.append(_thermistor(item, measurements))
            case "wiggle":
                says = (
                    "It jumps when plug or wires are moved" if item.found else "Nothing jumps when plug and wires move"
                )
                judged.append(Judged(item, "wiggle", "found" if item.found else "right", says, None, bool(item.found)))
            case "wire":
                judged.append(_wire(item))
            case "digital":
                judged.append(_unfed(item) if no_supply(measurements) else _digital(item, supply.volts))
    return SessionJudged(tuple(judged), day, fitted, fitted_shown, named, tuple(live))


def _unfed(item: Measured) -> Judged:
    """Whatever a sensor without a supply gives is nothing of its own."""
    task = "signal" if item.what == "signal" else item.what
    says = "Without a supply no signal can be judged: mend the supply, then measure this again"
    return Judged(item, task, "cannot-tell", says)


def _in_hz(measurements: Measurements) -> bool:
    signal, sweep = measurements.first("signal"), measurements.first("sweep")
    readings = [] if signal is None or signal.value is None else [signal.value]
    readings += [] if sweep is None else [p.taken for p in sweep.points if p.taken.read_as != "kPa"]
    return bool(readings) and all(one.read_as == "Hz" for one in readings)


def _supply(item: Measured, measurements: Measurements) -> Judged:
    assert item.value is not None
    meter, volts = measurements.meter, item.value.value
    reach = float(meter.volts.limit(volts, meter.digit(item.value)))
    band = Expected(expected("sensor-supply").mean, *SUPPLY_V, "V", {"meter": reach / NORMAL_90})
    says = f"The supply is {item.value.said}"
    if no_supply(measurements):
        return Judged(item, "supply", "none", f"{says}: there is none", band, found=True)
    if volts + reach < SUPPLY_V[0] or volts - reach > SUPPLY_V[1]:
        side = "low" if volts < SUPPLY_V[0] else "high"
        return Judged(item, "supply", side, f"{says}, outside {SUPPLY_V[0]:g} to {SUPPLY_V[1]:g} V", band, found=True)
    low, high = USUAL_SUPPLY_V
    if volts + reach < low or volts - reach > high:
        share = 100.0 * (volts / band.value - 1.0)
        says += (
            f", within what makers accept but not the usual {low:g} to {high:g} V: a control unit that reads against a "
            f"fixed reference is {abs(share):.1f} % {'high' if share > 0 else 'low'} by it, one that reads against the "
            "same supply is not"
        )
        return Judged(item, "supply", "low" if volts < low else "high", says, band, found=True)
    return Judged(item, "supply", "right", f"{says}: it holds", band)


def _ground(item: Measured, measurements: Measurements) -> Judged:
    assert item.value is not None
    meter, volts = measurements.meter, item.value.value
    reach = float(meter.volts.limit(volts, meter.digit(item.value)))
    band = Expected(0.0, 0.0, DROP_V, "V", {"meter": reach / NORMAL_90})
    says = f"The sensor's ground drops {item.value.said}"
    if volts > DROP_V + HALF_THE_REACH * reach:
        line = measurements.sensor.line
        if line is not None and line.unit == "V":
            kpa = volts / (abs(line.slope) * supply_of(measurements).volts)
            says += f": where the pressure is low the control unit then reads about {kpa:.1f} kPa too high"
        return Judged(item, "ground", "high", says, band, found=True)
    if volts < -reach - 0.01:
        return Judged(item, "ground", "low", says, band, found=True)
    return Judged(item, "ground", "right", f"{says}: it is good", band)


def _signal(item: Measured, measurements: Measurements, line: Line | None, day: Barometer, celsius: float) -> Judged:
    supply = supply_of(measurements)
    task = "frequency" if item.value is not None and item.value.read_as == "Hz" else "signal"
    if item.value is None:
        assert item.shown is not None
        return _shown(item, day)
    said = item.value.said
    if task == "signal":
        share = item.value.value / supply.volts
        if share < LOW_SHARE or share > HIGH_SHARE:
            low = share < LOW_SHARE
            where = "next to 0 V" if low else f"at its supply ({supply.volts:.2f} V)"
            outcome = "grounded" if low else "railed"
            return Judged(item, task, outcome, f"The signal is {said}, {where}: no pressure reads so", None, found=True)
    elif item.value.value < 1.0:
        return Judged(item, task, "none", f"The signal is {said}: there is none", None, found=True)
    if line is None:
        says = f"The signal is {said}: without the sensor's line nobody can say which pressure that is"
        return Judged(item, task, "cannot-tell", says)
    meter = measurements.meter
    digit = meter.digit(item.value)
    band = expected_signal(line, day, supply, meter, temperature_c=celsius, digit_v=digit)
    read = item.value.value
    if measurements.sensor.output_ohm is not None:
        read *= 1.0 + measurements.sensor.output_ohm / meter.input_ohm
    kpa = float(line.kpa(read / supply.volts if line.unit == "V" else read)) + (day.kpa if line.difference else 0.0)
    apart = kpa - day.kpa
    where = f"{abs(apart):.1f} kPa {'above' if apart > 0 else 'below'} the {day.kpa:.1f} kPa of the day"
    says = (
        f"The signal is {said}: by the line that is {kpa:.1f} kPa absolute, {where} "
        f"(to be expected {band.low:.2f} to {band.high:.2f} {band.unit})"
    )
    if band.holds(read):
        return Judged(item, task, "right", says, band)
    return Judged(item, task, "high" if apart > 0 else "low", says, band, found=True)


def _shown(item: Measured, day: Barometer) -> Judged:
    assert item.shown is not None
    apart = item.shown.value - day.kpa
    tolerance = NORMAL_90 * float(np.hypot(expected("sensor-tolerance").sd, np.hypot(day.sd_kpa, 0.5)))
    band = Expected(day.kpa, day.kpa - tolerance, day.kpa + tolerance, "kPa", {})
    says = (
        f"Live data shows {item.shown.said} with the engine off, {abs(apart):.1f} kPa "
        f"{'above' if apart > 0 else 'below'} the {day.kpa:.1f} kPa of the day"
    )
    if band.holds(item.shown.value):
        return Judged(item, "signal", "right", says, band)
    return Judged(item, "signal", "high" if apart > 0 else "low", says, band, found=True)


def _beside_the_plug(plug: Judged, live: Judged) -> Judged:
    """What the car makes of the signal at that moment."""
    if not (live.found and plug.outcome == "right"):
        return live
    return replace(live, says=f"{live.says}: the plug is right, so it is the wire or the control unit")


def _sweep(
    item: Measured,
    measurements: Measurements,
    session: SessionJudged,
    line: Line | None,
    plug: Rows | None,
    shown: Rows | None,
) -> Judged:
    task = "sweep" if any(p.taken.read_as != "kPa" for p in item.points) or not item.points else "live-sweep"
    fitted = session.fitted if task == "sweep" else session.shown
    held = line if task == "sweep" else SHOWN
    rows = plug if task == "sweep" else shown
    if item.creeps:
        return Judged(item, task, "creeps", "After the air is let in it comes back slowly", None, found=True)
    if not item.points:
        jumps = bool(item.jumps)
        return Judged(item, task, "crooked" if jumps else "right", _jumps(jumps), None, found=jumps)
    if fitted is None or rows is None:
        return Judged(item, task, "cannot-tell", "The points lie at one pressure: no line can be seen in them")
    if _stuck(fitted, held):
        return Judged(item, task, "stuck", "The reading hardly moves with the pump", None, found=True)
    if fitted.crooked or item.jumps:
        off = float(np.abs(fitted.off_line_kpa).max())
        how_far = f"up to {off:.1f} kPa off any straight line" if np.isfinite(off) else "on no line"
        says = _jumps(jumps=True) if item.jumps else f"The points lie {how_far}"
        return Judged(item, task, "crooked", says, None, found=True)
    if held is None or fitted.offset_kpa is None or fitted.gain_percent is None:
        return Judged(item, task, "cannot-tell", _learned(fitted, measurements))
    says = _against(fitted)
    if fitted.within_band:
        return Judged(item, task, "right", f"{says}: within what a good sensor of that line may", None)
    _, low, high = fitted.gain_percent
    return Judged(item, task, "gain" if low > 0.0 or high < 0.0 else "offset", says, None, found=True)


def _jumps(jumps: bool) -> str:
    return "The reading jumps on the way" if jumps else "The reading follows the pump without jumps"


def _stuck(fitted: Fitted, line: Line | None) -> bool:
    slope, sd = fitted.fit.slope, float(np.sqrt(fitted.fit.covariance[1, 1]))
    if line is not None:
        return abs(slope) + NORMAL_90 * sd < STUCK_SHARE * abs(line.slope)
    if fitted.learned.unit != "V":
        return abs(slope) < NORMAL_90 * sd
    return abs(slope) + NORMAL_90 * sd < STUCK_SLOPE


def _learned(fitted: Fitted, measurements: Measurements) -> str:
    fit, unit = fitted.fit, fitted.learned.unit
    scale = supply_of(measurements).volts if unit == "V" else 1.0
    slope, low, high = (scale * v for v in fit.interval(np.array([0.0, 1.0])))
    per = f"{1e3 * slope:.2f} mV/kPa ({1e3 * low:.2f} to {1e3 * high:.2f})" if unit == "V" else f"{slope:.3g} Hz/kPa"
    return f"A straight line of {per}; without the sensor's own line nobody can say whether that is right"


def _against(fitted: Fitted) -> str:
    parts = []
    for one in fitted.errors:
        value, low, high = one.error
        parts.append(f"{value:+.1f} kPa {one.where} ({low:+.1f} to {high:+.1f})")
    assert fitted.gain_percent is not None
    value, low, high = fitted.gain_percent
    return f"It reads {' and '.join(parts)}; its span is {value:+.1f} % ({low:+.1f} to {high:+.1f})"


def _wire(item: Measured) -> Judged:
    assert item.value is not None
    said, ohm = item.value.said, item.value.value
    if item.to == "control unit":
        says = f"Along the {item.wire} wire {said}"
        if ohm > WIRE_OHM:
            return Judged(item, "wire", "open", f"{says}: far too much", None, found=True)
        return Judged(item, "wire", "right", f"{says}: sound")
    says = f"From the {item.wire} wire to {'ground' if item.to == 'ground' else 'the supply wire'} {said}"
    if item.wire == item.to:  # both probes on one line, as far as it goes
        if ohm <= WIRE_OHM:
            return Judged(item, "wire", "right", f"{says}: joined")
        return Judged(item, "wire", "cannot-tell", f"{says}: {ONE_LINE}")
    if ohm < TO_OTHERS_OHM:
        return Judged(item, "wire", "short", f"{says}: it touches", None, found=True)
    return Judged(item, "wire", "right", f"{says}: apart")


def _digital(item: Measured, supply_v: float) -> Judged:
    assert item.value is not None
    says, volts = f"The average of the digital signal is {item.value.said}", item.value.value
    if volts < PULSES_V[0]:
        return Judged(item, "digital", "grounded", f"{says}: next to 0 V, no pulses", None, found=True)
    if volts > supply_v - PULSES_V[1]:
        return Judged(item, "digital", "railed", f"{says}: at the supply, no pulses", None, found=True)
    return Judged(item, "digital", "right", f"{says}: pulses are there")


def _thermistor(item: Measured, measurements: Measurements) -> Judged:
    assert item.temperature_c is not None
    table = measurements.sensor.thermistor
    reading = item.value or item.shown
    said = "" if reading is None else reading.said
    kelvin = thermistor_kelvin(item, measurements)
    if kelvin is None:
        why = "its table is not known" if table is None else "the resistor it is read through is not known"
        return Judged(item, "thermistor", "cannot-tell", f"The thermistor reads {said}: {why}")
    apart = kelvin - ZERO_CELSIUS - item.temperature_c
    band = expected_ohm(table, item.temperature_c, item.thermometer_k) if table is not None else None
    says = f"The thermistor reads {said}"
    if item.value is not None and item.value.value >= ENDLESS_OHM:
        return Judged(item, "thermistor", "high", f"{says}: open", band, found=True)
    says += f": {kelvin - ZERO_CELSIUS:.1f} degC, where the thermometer says {item.temperature_c:.1f} degC"
    reach = NORMAL_90 * thermistor_sd(item, measurements)
    if abs(apart) <= reach:
        return Judged(item, "thermistor", "right", says, band)
    return Judged(item, "thermistor", "low" if apart > 0.0 else "high", says, band, found=True)
