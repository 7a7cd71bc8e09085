"""A worksheet for one sensor: each thing to measure, with the numbers to expect of it at this place on this day."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from airproof.diagnosis.meter.expected_here import (
    Expected,
    expected_ohm,
    expected_signal,
    expected_thermistor_volts,
)
from airproof.diagnosis.meter.judged import DROP_V, SUPPLY_V, USUAL_SUPPLY_V
from airproof.diagnosis.meter.lines import SHOWN, Line, published
from airproof.diagnosis.meter.measured import USUAL_GAUGE_KPA, USUAL_THERMOMETER_K, Meter
from airproof.diagnosis.meter.pressures import Supply
from airproof.diagnosis.weighing import Barometer
from airproof.knowledge.model import Knowledge
from airproof.knowledge.sensors import MeterTask, SensorKind, ThermistorTable
from airproof.quantities.sent import average_share, frame_range_ticks
from airproof.quantities.units import to_unit

Pump = Literal["vacuum", "pressure"]

STEPS_OF_UNIT = {"inHg": 5.0, "kPa": 15.0, "mbar": 150.0, "psi": 2.0, "mmHg": 100.0, "bar": 0.15}
"""Steps of a sweep that a gauge in this unit shows well: about 15 kPa; 100 mmHg is what one maker asks for."""

MOST_VACUUM_KPA = 67.7
"""20 inHg, beyond which some sensors are damaged (hand-pump-limit)."""
MOST_PRESSURE_KPA = 100.0
"""A hand pump's pressure is not drawn higher than this here, whatever the sensor's span; judged: Airproof authors."""
FEWEST_POINTS = 3
LEAST_SWEEP_KPA = 3.0
SPAN_SLACK_KPA = 0.1

THERMISTOR_C = (0.0, 10.0, 20.0, 25.0, 30.0, 40.0, 60.0, 80.0)
"""Temperatures listed where nobody says today's, degC."""


@dataclass(frozen=True)
class Row:
    """One number to expect, with the words before it."""

    label: str
    expected: Expected


@dataclass(frozen=True)
class Task:
    """One thing to measure, and what to expect of it; `notes` say what no number can."""

    task: MeterTask
    rows: tuple[Row, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Worksheet:
    """All tasks for one sensor, and what their numbers rest on."""

    kind: SensorKind
    line: Line | None
    thermistor: ThermistorTable | None
    barometer: Barometer
    supply: Supply
    meter: Meter
    tasks: tuple[Task, ...]


@dataclass(frozen=True)
class Wanted:
    """What a worksheet is asked for: the sensor, the day, the meter, the pump and its gauge.

    `temperature_c` is the sensor's, `ambient_c` the air's where a thermistor is measured; `gauge_unit` the pump's.
    """

    kind: SensorKind
    line: Line | None
    thermistor: ThermistorTable | None
    barometer: Barometer
    supply: Supply
    meter: Meter = field(default_factory=Meter)
    temperature_c: float = 20.0
    ambient_c: float | None = None
    pump: Pump = "vacuum"
    gauge_unit: str = "inHg"
    gauge_kpa: float = USUAL_GAUGE_KPA


def worksheet(wanted: Wanted, known: Knowledge) -> Worksheet:
    """The worksheet for that sensor here and today."""
    tasks = tuple(_filled(known.meter_tasks[name], wanted, known) for name in wanted.kind.tasks)
    return Worksheet(wanted.kind, wanted.line, wanted.thermistor, wanted.barometer, wanted.supply, wanted.meter, tasks)


def _filled(task: MeterTask, wanted: Wanted, known: Knowledge) -> Task:
    match task.id:
        case "supply":
            usual = Expected(5.0, *USUAL_SUPPLY_V, "V", {})
            accepted = Expected(5.0, *SUPPLY_V, "V", {})
            return Task(task, (Row("most cars", usual), Row("what makers accept", accepted)))
        case "ground":
            return Task(task, (Row("at most", Expected(0.0, 0.0, DROP_V, "V", {})),), _drop_notes(wanted))
        case "signal":
            return _signal(task, wanted, known)
        case "frequency":
            return _frequency(task, wanted)
        case "sweep":
            return _sweep(task, wanted, wanted.line)
        case "live-sweep":
            return _sweep(task, wanted, SHOWN)
        case "thermistor":
            return _thermistor(task, wanted)
        case "digital":
            shortest, longest = frame_range_ticks(6)
            low, high = (wanted.supply.volts * average_share(ticks) for ticks in (shortest, longest))
            frames = Expected((low + high) / 2.0, low, high, "V", {})
            note = "With a pause between the frames the average is higher, up to the supply less a little."
            return Task(task, (Row("frames of six nibbles without a pause", frames),), (note,))
    return Task(task)


def _drop_notes(wanted: Wanted) -> tuple[str, ...]:
    if wanted.line is None or wanted.line.unit != "V":
        return ()
    kpa = DROP_V / (abs(wanted.line.slope) * wanted.supply.volts)
    return (f"A drop of {DROP_V:g} V makes this sensor read about {kpa:.1f} kPa too high where the pressure is low.",)


def _signal(task: MeterTask, wanted: Wanted, known: Knowledge) -> Task:
    if wanted.line is not None:
        row = Row("a sound sensor here and today", _here(wanted, wanted.line))
        return Task(task, (row,), (*_what_the_band_is_of(row.expected), *_span_notes(wanted, wanted.line)))
    lines = [published(one) for one in known.sensors.values() if one.known and one.kind == wanted.kind.id]
    lines = lines or [published(one) for one in known.sensors.values() if one.known]
    rows = tuple(Row(f"{line.title} [{line.id}]", _here(wanted, line)) for line in lines)
    return Task(
        task, rows, ("The sensor's line is not said: these are the published ones. --sensor says which it is.",)
    )


def _here(wanted: Wanted, line: Line) -> Expected:
    return expected_signal(line, wanted.barometer, wanted.supply, wanted.meter, temperature_c=wanted.temperature_c)


def _what_the_band_is_of(band: Expected) -> tuple[str, ...]:
    parts = sorted(((sd, name) for name, sd in band.parts.items() if sd > 0.0), reverse=True)
    if not parts or band.unit != "V":
        return ()
    most = ", ".join(f"{name} {1e3 * sd:.0f} mV" for sd, name in parts)
    return (f"What the band is made of, as standard deviations: {most}.",)


def _frequency(task: MeterTask, wanted: Wanted) -> Task:
    if wanted.line is not None and wanted.line.unit == "Hz":
        return Task(task, (Row("a sound sensor here and today", _here(wanted, wanted.line)),))
    return Task(task, (), ("No line of such a sensor is published here: give its points in [sensor].",))


def _sweep(task: MeterTask, wanted: Wanted, line: Line | None) -> Task:
    if line is None:
        note = "Without the sensor's line the points still show whether they are straight, and the line is learned."
        return Task(task, (), (f"Points: {', '.join(_label(wanted, k) for k in _gauge_steps(wanted, None))}.", note))
    if line.difference and wanted.pump == "vacuum":
        note = "This sensor measures a difference upwards: under vacuum it stays at its zero. Use a pressure pump."
        return Task(task, (), (note,))
    rows = []
    for step in _gauge_steps(wanted, line):
        above = _kpa_of(wanted, step)
        if step and _beyond(wanted, line, above):
            continue
        band = expected_signal(
            line,
            wanted.barometer,
            wanted.supply,
            wanted.meter,
            above_kpa=above,
            gauge_kpa=wanted.gauge_kpa if step else 0.0,
            temperature_c=wanted.temperature_c,
        )
        absolute = f"{wanted.barometer.kpa + above:.1f} kPa absolute"
        rows.append(Row(f"{_label(wanted, step)}, {absolute}", band))
    return Task(task, tuple(rows), _limits(wanted, line))


def _beyond(wanted: Wanted, line: Line, above_kpa: float) -> bool:
    """Whether a pressure lies above what the line is printed for."""
    seen = above_kpa if line.difference else wanted.barometer.kpa + above_kpa
    return line is not SHOWN and seen > line.high_kpa + SPAN_SLACK_KPA


def _label(wanted: Wanted, step: float) -> str:
    if not step:
        return "open to the air"
    return f"{step:g} {wanted.gauge_unit} {'of vacuum' if wanted.pump == 'vacuum' else 'above the air (gauge)'}"


def _kpa_of(wanted: Wanted, step: float) -> float:
    """The step in kPa above the air outside."""
    return (-1.0 if wanted.pump == "vacuum" else 1.0) * step * 1e-3 / float(to_unit(1.0, wanted.gauge_unit))


def _gauge_steps(wanted: Wanted, line: Line | None) -> list[float]:
    """The steps on the pump's gauge, from open to as far as sensor and care allow."""
    step = STEPS_OF_UNIT.get(wanted.gauge_unit, 5.0)
    most = MOST_VACUUM_KPA if wanted.pump == "vacuum" else MOST_PRESSURE_KPA
    if line is not None and line is not SHOWN:
        floor = line.low_kpa if not line.difference else 0.0
        top = line.high_kpa - (0.0 if line.difference else wanted.barometer.kpa)
        most = min(most, wanted.barometer.kpa - floor if wanted.pump == "vacuum" else max(top, 0.0))
    if most < LEAST_SWEEP_KPA:
        return [0.0]
    whole = (most + SPAN_SLACK_KPA) / abs(_kpa_of(wanted, step))
    count = int(whole)
    if count + 1 < FEWEST_POINTS:
        step, count = round(step * whole / FEWEST_POINTS, 2), FEWEST_POINTS - 1
    return [round(k * step, 6) for k in range(count + 1)]


def _limits(wanted: Wanted, line: Line) -> tuple[str, ...]:
    notes = [f"The gauge is taken to be right within {wanted.gauge_kpa:.1f} kPa."]
    if wanted.pump == "pressure" and line is not SHOWN:
        top = line.high_kpa - (0.0 if line.difference else wanted.barometer.kpa)
        notes.append(f"Never above {max(top, 0.0):.0f} kPa on the gauge: there this sensor's span ends.")
    return (*notes, *_span_notes(wanted, line))


def _span_notes(wanted: Wanted, line: Line) -> tuple[str, ...]:
    if not _beyond(wanted, line, 0.0) or line.difference:
        return ()
    note = f"The line is printed up to {line.high_kpa:g} kPa only: open to the air the sensor may stand at its end."
    return (note,)


def _thermistor(task: MeterTask, wanted: Wanted) -> Task:
    if wanted.thermistor is None:
        note = "The thermistor's table is not said: 2.0 to 2.9 kohm at 20 degC on most cars (thermistor-tables)."
        return Task(task, (), (note,))
    here = THERMISTOR_C if wanted.ambient_c is None else (wanted.ambient_c,)
    rows = []
    for celsius in here:
        ohms = expected_ohm(wanted.thermistor, celsius, USUAL_THERMOMETER_K)
        if ohms is None:
            continue
        rows.append(Row(f"at {celsius:g} degC, unplugged", ohms))
        volts = expected_thermistor_volts(wanted.thermistor, ohms, wanted.supply)
        if volts is not None:
            rows.append(Row(f"at {celsius:g} degC, plugged in, key on", volts))
    notes = () if rows else ("The table does not reach today's temperature.",)
    return Task(task, tuple(rows), notes)
