"""Carrying out one `airproof meter`: a worksheet, a list of lines, a learned line, or a verdict on readings."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import cast

from airproof.cli.meter_asked import ask_for_readings
from airproof.cli.streams import say, say_parts
from airproof.cli.typed import path_of
from airproof.diagnosis.conditions import UNKNOWN_PLACE
from airproof.diagnosis.expectations import expected
from airproof.diagnosis.meter.judged import USUAL_SENSOR_C, judge
from airproof.diagnosis.meter.learn import against_other_sensors, line_of_control_unit
from airproof.diagnosis.meter.lines import Line, published
from airproof.diagnosis.meter.measured import USUAL_GAUGE_KPA, Measurements, Meter
from airproof.diagnosis.meter.measured_file import load_measurements
from airproof.diagnosis.meter.pressures import Supply
from airproof.diagnosis.meter.typed_values import gauge_limit
from airproof.diagnosis.place_as_typed import quantity_of, the_ambient_c, the_barometer
from airproof.diagnosis.weighing import Barometer
from airproof.errors import AirproofError, UnusableFile, UnusableRequest
from airproof.knowledge.load import knowledge
from airproof.knowledge.lookup import near
from airproof.knowledge.model import Knowledge
from airproof.knowledge.sensors import SensorKind
from airproof.quantities.meter_accuracy import parse_accuracy
from airproof.recording.mapping import MappedSignal, SignalMap, read_signal_map
from airproof.repair.meter_work.worksheet import STEPS_OF_UNIT, Pump, Wanted, worksheet
from airproof.report.in_words import Part
from airproof.report.meter_as_json import judged_as_json, learned_as_json, lines_as_json, worksheet_as_json
from airproof.report.meter_in_words import judged_in_words, learned_in_words, worksheet_in_words
from airproof.vehicle.recordings import read_recording

WANTED = "worksheet, lines, learn with a recording, or a file of readings"
HELP = '"airproof meter --help" shows how it goes.'
DEFAULT_OUT = Path("readings.toml")


@dataclass(frozen=True)
class Request:
    """The words and options of `airproof meter` as they were typed."""

    words: Sequence[str]
    sensor: str | None
    thermistor: str | None
    altitude: str | None
    barometer: str | None
    ambient: str | None
    supply: str | None
    accuracy: str | None
    resolution: str | None
    pump: str | None
    gauge: str | None
    volts: str | None
    signals: Path | None
    out: Path | None
    json: bool


_OPTIONS = {
    "worksheet": (
        "sensor", "thermistor", "altitude", "barometer", "ambient", "supply", "accuracy", "resolution", "pump", "gauge",
    ),
    "lines": (),
    "learn": ("altitude", "barometer", "supply", "volts", "signals"),
    "a file of readings": ("altitude", "barometer"),
    "asking": ("altitude", "barometer", "out"),
}  # fmt: skip


def carry_out(request: Request) -> None:
    """Do what was asked, and tell."""
    known = knowledge()
    first, *rest = request.words or [""]
    task = first if first in ("worksheet", "lines", "learn") else ("a file of readings" if request.words else "asking")
    _refuse_strange(request, task)
    if task != "learn" and rest:
        raise UnusableRequest(f"{rest[0]!r} is one word too many", WANTED, HELP, where="meter")
    match task:
        case "worksheet":
            sheet = worksheet(_wanted(request, known), known)
            _tell(request, worksheet_as_json(sheet), worksheet_in_words(sheet))
        case "lines":
            _tell(request, lines_as_json(known), _lines(known))
        case "learn":
            _learn(request, rest)
        case "asking":
            _ask(request, known)
        case _:
            _judge(request, load_measurements(path_of("meter", first, "a file of readings"), known), known)


def _tell(request: Request, as_json: str, parts: Sequence[Part]) -> None:
    if request.json:
        say(as_json)
    else:
        say_parts(parts)


def _refuse_strange(request: Request, task: str) -> None:
    for option in sorted({name for names in _OPTIONS.values() for name in names} - set(_OPTIONS[task])):
        if getattr(request, option) is not None:
            takes = ", ".join(f"--{one}" for one in _OPTIONS[task]) or "no options but --json"
            raise UnusableRequest(f"--{option} says nothing for {task}", takes, HELP, where="meter")


def _judge(request: Request, measurements: Measurements, known: Knowledge) -> None:
    if not measurements.items:
        raise UnusableFile(
            "no [[measured]] in it", "something that was measured", HELP, where=measurements.where or "readings"
        )
    day = the_barometer(request.altitude, request.barometer)
    if day is not None and measurements.day is not None and abs(day.kpa - measurements.day.kpa) > 0.05:
        raise UnusableRequest(
            f"{day.kpa:.1f} kPa on the command line and {measurements.day.kpa:.1f} kPa in the file's [day]",
            "one day",
            "Leave one of them out.",
            where="meter",
        )
    judged = judge(measurements, day, known)
    _tell(request, judged_as_json(judged), judged_in_words(judged, measurements, known))


# The worksheet


def _wanted(request: Request, known: Knowledge) -> Wanted:
    if request.sensor is None:
        raise UnusableRequest(
            "--sensor is missing",
            "a sensor line or a kind of sensor",
            f'Kinds: {", ".join(known.sensor_kinds)}. "airproof meter lines" lists the lines.',
            where="meter worksheet",
        )
    kind, line = _sensor(request.sensor, known)
    ambient = the_ambient_c(request.ambient)
    meter = _meter(request)
    gauge_kpa, gauge_unit = _gauge(request.gauge)
    pump = request.pump or "vacuum"
    if pump not in ("vacuum", "pressure"):
        raise UnusableRequest(f"{pump!r}", "vacuum or pressure", "Say what the hand pump makes.", where="--pump")
    thermistor = None
    if request.thermistor is not None:
        thermistor = known.thermistors.get(request.thermistor)
        if thermistor is None:
            raise UnusableRequest(
                f"{request.thermistor!r} is not a thermistor table that is known here",
                f"one of {', '.join(known.thermistors)}",
                near(request.thermistor, known.thermistors),
                where="--thermistor",
            )
    return Wanted(
        kind,
        line,
        thermistor,
        the_barometer(request.altitude, request.barometer) or UNKNOWN_PLACE,
        _supply(request, meter),
        meter,
        USUAL_SENSOR_C if ambient is None else ambient,
        ambient,
        cast("Pump", pump),
        gauge_unit,
        gauge_kpa,
    )


def _sensor(name: str, known: Knowledge) -> tuple[SensorKind, Line | None]:
    asked = name.strip().casefold()
    if asked in known.sensor_kinds:
        return known.sensor_kinds[asked], None
    entry = known.sensors.get(asked)
    if entry is None:
        names = [*known.sensor_kinds, *known.sensors]
        raise UnusableRequest(
            f"{name!r} is neither a sensor line nor a kind that is known here",
            f"a kind ({', '.join(known.sensor_kinds)}) or the id of a line",
            f'{near(asked, names)} "airproof meter lines" lists them all.',
            where="--sensor",
        )
    return known.sensor_kinds[entry.kind], published(entry) if entry.known else None


def _meter(request: Request) -> Meter:
    digit = quantity_of("--resolution", request.resolution, "voltage", "0.01V")
    if digit is not None and not 0.0 < digit <= 1.0:
        raise UnusableRequest(
            f"{request.resolution!r}", "more than 0, up to 1 V", "Look at its range.", where="--resolution"
        )
    if request.accuracy is None:
        return Meter(resolution_v=digit)
    try:
        return Meter(volts=parse_accuracy(request.accuracy), resolution_v=digit, stated=True)
    except AirproofError as fault:
        raise UnusableRequest(fault.given, fault.wanted, fault.way_out, where="--accuracy") from fault


def _supply(request: Request, meter: Meter) -> Supply:
    volts = quantity_of("--supply", request.supply, "voltage", "5.02V")
    usual = expected("sensor-supply")
    if volts is None:
        return Supply(usual.mean, usual.sd, measured=False)
    if not 4.0 <= volts <= 6.0:
        raise UnusableRequest(
            f"a supply of {volts:g} V",
            "4 to 6 V",
            "Without a sound supply no sensor can be judged: mend that first.",
            where="--supply",
        )
    digit = meter.resolution_v or 0.01
    return Supply(volts, meter.volts.last_places_sd(digit), measured=True)


def _gauge(text: str | None) -> tuple[float, str]:
    if text is None:
        return USUAL_GAUGE_KPA, "inHg"
    try:
        limit = gauge_limit(text)
    except AirproofError as fault:
        raise UnusableRequest(fault.given, fault.wanted, fault.way_out, where="--gauge") from fault
    said = text.casefold().rstrip()
    # The names of units end one another (mbar, bar): the longest that ends the text is meant.
    ends = [name for name in STEPS_OF_UNIT if said.endswith(name.casefold())]
    return limit, max(ends, key=len, default="kPa")


# Lists and learning


def _lines(known: Knowledge) -> list[Part]:
    sensors = []
    for one in known.sensors.values():
        volts = f"V = Vs ({one.slope_per_kpa:g} P {one.offset:+g})" if one.known else "its line is not known: learn it"
        error = "" if one.error_kpa is None else f", right within {one.error_kpa:g} kPa"
        span = (
            f"{one.low_kpa:g} to {one.high_kpa:g} kPa {'absolute' if one.measures == 'absolute' else 'above the air'}"
        )
        more = f" {one.says[0]}" if one.says else ""
        sensors.append(f"{one.id}: {one.title}; {span}, {volts}{error} ({one.standing}).{more}")
    thermistors = [
        f"{one.id}: {one.title}; {len(one.rows)} rows from {one.rows[0][0]:g} to {one.rows[-1][0]:g} degC."
        for one in known.thermistors.values()
    ]
    kinds = [f"{one.id}: {one.title}." for one in known.sensor_kinds.values()]
    head = "P is in kPa, Vs is the supply at the plug. The car maker's own data comes first."
    return [
        Part("answer", "", ("Sensor lines that are known here.", head)),
        Part("sensors", "Lines", tuple(sensors)),
        Part("thermistors", "Thermistors", tuple(thermistors)),
        Part("kinds", "Kinds of sensor", tuple(kinds)),
    ]


def _learn(request: Request, rest: Sequence[str]) -> None:
    if len(rest) != 1:
        given = "no recording" if not rest else f"{len(rest)} recordings"
        raise UnusableRequest(given, "one recording to learn from", HELP, where="meter learn")
    path = path_of("meter learn", rest[0], "a recording")
    mapping = None if request.signals is None else read_signal_map(request.signals)
    day: Barometer | None = the_barometer(request.altitude, request.barometer)
    if request.volts is None:
        recording = read_recording(path, signals=mapping, barometer_kpa=None if day is None else day.kpa)
        learned = against_other_sensors(recording, day)
    else:
        supply = quantity_of("--supply", request.supply, "voltage", "5.02V")
        signals = {} if mapping is None else dict(mapping.signals)
        # The signal's volts take the place of the one signal that is in volts; nothing else is read from it.
        signals["supply_voltage"] = MappedSignal(heading=request.volts, unit="V")
        volts_map = SignalMap(signals=signals, rate_hz=None if mapping is None else mapping.rate_hz, source="--volts")
        recording = read_recording(path, signals=volts_map, barometer_kpa=None if day is None else day.kpa)
        learned = line_of_control_unit(recording, expected("sensor-supply").mean if supply is None else supply)
    _tell(request, learned_as_json(learned), learned_in_words(learned))


# Asking


def _ask(request: Request, known: Knowledge) -> None:
    if sys.stdin is None or not sys.stdin.isatty():
        raise UnusableRequest("nothing was asked for", WANTED, HELP, where="meter")
    path = request.out or DEFAULT_OUT
    ask_for_readings(path, known, input, say)
    _judge(request, load_measurements(path, known), known)
