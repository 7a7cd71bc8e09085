"""Measurements from a TOML file: the meter, the sensor, the day, and what was measured.

[meter]
accuracy = "0.5 % + 2 digits"

[sensor]
line = "absolute-250-kpa"

[[measured]]
what = "signal"
value = "1.95 V"
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from difflib import get_close_matches
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, StrictBool

from airproof.diagnosis.conditions import barometer_of
from airproof.diagnosis.meter.lines import STATED, Line, published
from airproof.diagnosis.meter.measured import (
    USUAL_GAUGE_KPA,
    USUAL_METER,
    USUAL_OHMS,
    USUAL_THERMOMETER_K,
    Against,
    Measured,
    Measurements,
    Meter,
    Sensor,
    What,
    Wire,
    WireTo,
)
from airproof.diagnosis.meter.typed_values import Counted, Point, Taken, applied_pressure, gauge_limit, taken
from airproof.diagnosis.weighing import Barometer
from airproof.errors import AirproofError, UnusableFile
from airproof.knowledge.model import Knowledge
from airproof.quantities.constants import ZERO_CELSIUS
from airproof.quantities.line_fit import fit_straight
from airproof.quantities.meter import METER_OHM
from airproof.quantities.meter_accuracy import EVEN, parse_accuracy
from airproof.quantities.units import parse_quantity
from airproof.toml_files import load_toml

WAY_OUT = 'A measurement looks like this: [[measured]] what = "signal", value = "1.95 V".'
TABLES = ("meter", "sensor", "day", "measured")
"""The tables of a reading file that hold measurements."""

USUAL_POINT_KPA = 0.5
"""How far points of a line that somebody states are rounded, kPa; judged: Airproof authors."""


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid")


class _Meter(_Table):
    accuracy: str | None = None
    ohms: str | None = None
    resolution: str | None = None
    input: str | None = None


class _Sensor(_Table):
    line: str | None = None
    points: list[tuple[str, str]] = []
    supply: str | None = None
    error: str | None = None
    thermistor: str | None = None
    kind: str | None = None
    temperature: str | None = None
    output: str | None = None


class _Day(_Table):
    altitude: str | None = None
    barometer: str | None = None


class _Measured(_Table):
    what: What | None = None
    id: Annotated[str, Field(min_length=1, max_length=100)] | None = None
    withdrawn: StrictBool = False
    value: str | None = None
    shown: str | None = None
    points: list[tuple[str, str]] = []
    counted: Counted | None = None
    gauge: str | None = None
    against: Against = "sensor ground"
    creeps: StrictBool | None = None
    jumps: StrictBool | None = None
    found: StrictBool | None = None
    temperature: str | None = None
    thermometer: str | None = None
    wire: Wire = "signal"
    to: WireTo = "control unit"
    note: str = ""


class _File(_Table):
    meter: _Meter = _Meter()
    sensor: _Sensor = _Sensor()
    day: _Day = _Day()
    measured: list[_Measured] = []
    # Facts of every other sort stand in the same file: diagnosis/facts_file.py reads them.
    # Facts of other sorts stand in the same file: diagnosis/facts_file.py reads these tables.
    reading: list[Any] = []
    code: list[Any] = []
    freeze_frame: list[Any] = []
    readiness: dict[str, Any] = {}
    symptom: list[Any] = []
    look: list[Any] = []
    history: list[Any] = []
    condition: list[Any] = []


_TAKES: Mapping[What, tuple[str, ...]] = {
    "supply": ("value", "against"),
    "ground": ("value",),
    "signal": ("value", "shown", "against"),
    "sweep": ("points", "counted", "gauge", "creeps", "jumps", "against"),
    "thermistor": ("value", "shown", "temperature", "thermometer"),
    "wiggle": ("found",),
    "wire": ("value", "wire", "to"),
    "digital": ("value",),
}
_NEEDS: Mapping[What, tuple[str, ...]] = {
    "supply": ("value",),
    "ground": ("value",),
    "signal": (),
    "sweep": (),
    "thermistor": ("temperature",),
    "wiggle": ("found",),
    "wire": ("value",),
    "digital": ("value",),
}
FEWEST, MOST_POINTS = 2, 60


def load_measurements(path: Path, knowledge: Knowledge) -> Measurements:
    """What a file holds of measurements: none, where it holds only readings of other sorts.

    Of two with one `id` the later counts; `withdrawn = true` takes the one of that id back.

    Raises UnusableFile: not TOML, a key unknown or missing, a value without a unit, a line that does not exist.
    """
    file = load_toml(path, _File, wanted="measurements", way_out=WAY_OUT)
    where = str(path)
    said: dict[object, tuple[int, _Measured]] = {}
    taken_back = []
    for number, entry in enumerate(file.measured, start=1):
        if entry.withdrawn and entry.id is None:
            raise _Refuse(f"measured {number}", where)(
                "withdrawn without an id", "the id of the one that is taken back"
            )
        said.pop(entry.id, None)
        if entry.withdrawn:
            taken_back.append(str(entry.id))
        else:
            said[number if entry.id is None else entry.id] = (number, entry)
    items = tuple(_item(entry, number, where) for number, entry in said.values())
    for once in ("supply", "ground", "signal", "sweep", "wiggle", "digital"):
        many = [item.number for item in items if item.what == once]
        if len(many) > 1:
            raise UnusableFile(
                f"{once} is measured {len(many)} times (measured {many[0]} and {many[1]})",
                "each once, so that nothing counts twice",
                "Keep the one that counts; points of a sweep go into one list.",
                where=where,
            )
    return Measurements(
        items,
        _meter(file.meter, where),
        _sensor(file.sensor, knowledge, where),
        _day(file, where),
        where,
        tuple(taken_back),
    )


def measurements_of(paths: Sequence[Path], knowledge: Knowledge) -> list[Measurements]:
    """The measurements in any of the reading files: one session, or none; a later file may take back by id.

    Raises UnusableFile where two files hold some: what they share (meter, sensor, day) can be told in one file only.
    """
    found: list[Measurements] = []
    for one in (load_measurements(path, knowledge) for path in paths):
        said_anew = {*one.taken_back, *(item.name for item in one.items if item.name)}
        found = [
            replace(earlier, items=tuple(item for item in earlier.items if item.name not in said_anew))
            for earlier in found
        ]
        found = [earlier for earlier in (*found, one) if earlier.items]
    if len(found) > 1:
        raise UnusableFile(
            f"measurements, and {found[0].where} has some too",
            "all measurements of a sensor in one file",
            "Put the [[measured]] tables into one.",
            where=found[1].where,
        )
    return found


class _Refuse:
    """Turns the faults of one entry into lines that say which entry it is."""

    def __init__(self, place: str, where: str) -> None:
        self.place, self.where = place, where

    def __call__(self, given: str, wanted: str, way_out: str = WAY_OUT) -> UnusableFile:
        return UnusableFile(f"{self.place}: {given}", wanted, way_out, where=self.where)

    def __enter__(self) -> _Refuse:
        return self

    def __exit__(self, _kind: object, fault: object, _trace: object) -> None:
        if isinstance(fault, AirproofError) and not isinstance(fault, UnusableFile):
            raise self(fault.given, fault.wanted, fault.way_out) from fault


def _meter(given: _Meter, where: str) -> Meter:
    with _Refuse("meter", where) as refuse:
        resolution = None if given.resolution is None else float(parse_quantity(given.resolution, "voltage"))
        if resolution is not None and not 0.0 < resolution <= 1.0:
            raise refuse(f"resolution = {given.resolution!r}", "the worth of the last place on the range, up to 1 V")
        ohm = METER_OHM if given.input is None else float(parse_quantity(given.input, "resistance"))
        if not ohm >= 1e3:
            raise refuse(f"input = {given.input!r}", "1 kohm or more; a usual digital meter has 10 Mohm")
        return Meter(
            USUAL_METER if given.accuracy is None else parse_accuracy(given.accuracy),
            USUAL_OHMS if given.ohms is None else parse_accuracy(given.ohms),
            resolution,
            ohm,
            given.accuracy is not None,
        )


def _day(file: _File, where: str) -> Barometer | None:
    given = file.day
    if given.altitude is None and given.barometer is None:
        return None
    with _Refuse("day", where):
        altitude = None if given.altitude is None else float(parse_quantity(given.altitude, "length"))
        pascals = None if given.barometer is None else float(parse_quantity(given.barometer, "pressure"))
        return barometer_of(altitude_m=altitude, barometer_kpa=None if pascals is None else 1e-3 * pascals)


def _sensor(given: _Sensor, knowledge: Knowledge, where: str) -> Sensor:
    with _Refuse("sensor", where) as refuse:
        if given.line is not None and given.points:
            raise refuse("both line and points", "one of the two: a published line, or points of this one")
        line = find_line(given.line, knowledge, refuse) if given.line is not None else None
        if given.points:
            line = _stated_line(given, refuse)
        thermistor = None
        if given.thermistor is not None:
            thermistor = knowledge.thermistors.get(given.thermistor)
            if thermistor is None:
                raise refuse(*_unknown(given.thermistor, "a thermistor table", knowledge.thermistors))
        if given.kind is not None and given.kind not in knowledge.sensor_kinds:
            raise refuse(*_unknown(given.kind, "a kind of sensor", knowledge.sensor_kinds))
        celsius = None if given.temperature is None else _celsius(given.temperature, refuse)
        output = None if given.output is None else float(parse_quantity(given.output, "resistance"))
        return Sensor(line, thermistor, given.kind or "", celsius, output)


def find_line(name: str, knowledge: Knowledge, refuse: _Refuse | None = None) -> Line:
    """The published line of that id.

    Raises UnusableFile through `refuse`, naming those near, where there is none or only its range is known.
    """
    refuse = refuse or _Refuse("sensor", "")
    entry = knowledge.sensors.get(name)
    if entry is None:
        raise refuse(*_unknown(name, "a sensor line", knowledge.sensors))
    if not entry.known:
        raise refuse(
            f"of {name} only the range is known, not the line",
            "a line that is known",
            "Give points of it instead: two readings of volts at known pressures learn it.",
        )
    return published(entry)


def _unknown(name: str, what: str, names: Mapping[str, object]) -> tuple[str, str, str]:
    near = ", ".join(get_close_matches(name, list(names), 4, 0.4)) or ", ".join(names)
    return f"{name!r} is not {what} that is known here", f"the id of {what}", f"Near: {near}."


def _celsius(text: str, refuse: _Refuse) -> float:
    celsius = float(parse_quantity(text, "temperature")) - ZERO_CELSIUS
    if not -60.0 <= celsius <= 180.0:
        raise refuse(f"{text!r}", "-60 to 180 degC", "Check the unit: C or F.")
    return celsius


def _stated_line(given: _Sensor, refuse: _Refuse) -> Line:
    """The line through the points that the maker's data (or an earlier good day) give: absolute pressure, reading."""
    supply = 5.0 if given.supply is None else float(parse_quantity(given.supply, "voltage"))
    if not 3.0 <= supply <= 6.0:
        raise refuse(f"supply = {given.supply!r}", "3 to 6 V")
    points = [(applied_pressure(kpa, None), taken(reading, "V", "Hz")) for kpa, reading in given.points]
    if any(from_air for (_, from_air), _ in points):
        raise refuse("a point counted from the air outside", "absolute pressures: a line holds on any day")
    units = {reading.read_as for _, reading in points}
    if len(units) != 1:
        raise refuse("points in V and in Hz", "points in one unit")
    scale = supply if units == {"V"} else 1.0
    kpa = np.array([at for (at, _), _ in points])
    readings = np.array([reading.value / scale for _, reading in points])
    digits = np.array([max(EVEN * 0.5 * reading.digit / scale, 1e-6) for _, reading in points])
    fit = fit_straight(kpa, readings, np.diag(digits**2), np.diag(np.full(kpa.size, (EVEN * USUAL_POINT_KPA) ** 2)))
    if fit.slope == 0.0:
        raise refuse("points that all read alike", "a line that rises or falls")
    error = None if given.error is None else 1e-3 * float(parse_quantity(given.error, "pressure difference"))
    if error is not None and not 0.0 < error <= 50.0:
        raise refuse(f"error = {given.error!r}", "the largest error of a good part, up to 50 kPa")
    return Line(
        STATED, "the line that the file states", next(iter(units)), fit.intercept, fit.slope, float(kpa.min()),
        float(kpa.max()), supply, error, standing=f"stated by {len(points)} points", covariance=fit.covariance,
    )  # fmt: skip


def _item(entry: _Measured, number: int, where: str) -> Measured:
    what = entry.what
    if what is None:
        raise _Refuse(f"measured {number}", where)("what is missing", f"one of {', '.join(_TAKES)}")
    with _Refuse(f"measured {number} ({what})", where) as refuse:
        strange = sorted(entry.model_fields_set - {"what", "id", "withdrawn", "note", *_TAKES[what]})
        if strange:
            raise refuse(f"{strange[0]} does not belong to it", f"{', '.join(_TAKES[what])}, and a note")
        missing = [key for key in _NEEDS[what] if key not in entry.model_fields_set]
        if missing:
            raise refuse(f"{missing[0]} is missing", ", ".join(_NEEDS[what]))
        value = None if entry.value is None else taken(entry.value, *_UNITS[what])
        shown = None if entry.shown is None or what == "thermistor" else taken(entry.shown, "kPa")
        if what == "signal" and value is None and shown is None:
            raise refuse("neither value nor shown", "what the meter read, what live data showed, or both")
        celsius = None if entry.temperature is None else _celsius(entry.temperature, refuse)
        if what == "thermistor":
            if (value is None) == (entry.shown is None):
                raise refuse("value and shown" if value else "neither value nor shown", "one of the two")
            if entry.shown is not None:
                shown = Taken(_celsius(entry.shown, refuse), 1.0, "degC", entry.shown)
        points = tuple(
            Point(*applied_pressure(pressure, entry.counted), pressure.strip(), taken(reading, "V", "Hz", "kPa"))
            for pressure, reading in entry.points
        )
        if what == "wire" and entry.wire == entry.to == "supply":
            raise refuse("the supply wire against itself", 'to = "ground", or "control unit" for its other end')
        if what == "sweep":
            _check_sweep(entry, points, refuse)
        thermometer = USUAL_THERMOMETER_K
        if entry.thermometer is not None:
            thermometer = float(parse_quantity(entry.thermometer, "temperature difference"))
        return Measured(
            what, number, value, shown, points,
            USUAL_GAUGE_KPA if entry.gauge is None else gauge_limit(entry.gauge),
            entry.against, entry.creeps, entry.jumps, entry.found, celsius, thermometer,
            entry.wire, entry.to, entry.note, entry.id or "",
        )  # fmt: skip


_UNITS: Mapping[What, tuple[Literal["V", "Hz", "kPa", "ohm"], ...]] = {
    "supply": ("V",),
    "ground": ("V",),
    "signal": ("V", "Hz"),
    "thermistor": ("ohm", "V"),
    "wire": ("ohm",),
    "digital": ("V",),
}


def _check_sweep(entry: _Measured, points: tuple[Point, ...], refuse: _Refuse) -> None:
    if not points and entry.creeps is None and entry.jumps is None:
        raise refuse("no points, and nothing seen", "points, or whether it creeps or jumps")
    if points and not FEWEST <= len(points) <= MOST_POINTS:
        raise refuse(f"{len(points)} points", f"{FEWEST} to {MOST_POINTS}, five or so do")
    units = sorted({point.taken.read_as for point in points})
    if len(units) > 1:
        raise refuse(f"points in {' and '.join(units)}", "points in one unit")
