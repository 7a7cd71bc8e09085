"""Readings with a meter as evidence: what supply, ground, signal, sweep, thermistor and wires say of every cause.

The readings of the pressure sensor (signal and sweep, at the plug and in live data) are one Gaussian: they share the
meter, the supply, the gauge, the day and the sensor's own tolerance. They are heard given what the recording shows
with the engine off, which shares the day and the sensor with them, so that nothing counts twice. Each cause that has a
size bends them by it; what dies or slips is one of several ways (diagnosis/meter/ways.py).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.case import Case
from airproof.diagnosis.checks.engine_off import seen_engine_off
from airproof.diagnosis.expectations import expected
from airproof.diagnosis.finding import Finding
from airproof.diagnosis.meter.fitted import SURE_DECIBANS
from airproof.diagnosis.meter.judged import USUAL_SENSOR_C, Judged, SessionJudged, judge
from airproof.diagnosis.meter.lines import SHOWN
from airproof.diagnosis.meter.measured import Measured, Measurements, What
from airproof.diagnosis.meter.pressure_group import PressureGroup
from airproof.diagnosis.meter.pressures import Rows, held_against, rows_at_plug, rows_shown
from airproof.diagnosis.meter.thermistor import thermistor_kelvin, thermistor_sd
from airproof.diagnosis.meter.ways import Way, heard, t_row
from airproof.diagnosis.testimony import Testimony
from airproof.diagnosis.weighing import Barometer
from airproof.knowledge.model import Knowledge
from airproof.quantities.constants import ZERO_CELSIUS
from airproof.quantities.line_fit import NORMAL_90

Floats = NDArray[np.float64]

SUPPLY_SPAN_V, DROP_SPAN_V, THERMISTOR_SPAN_K = 6.0, 2.0, 160.0
"""Ranges that slips are spread over."""

CREEPS_OTHERWISE, JUMPS_OTHERWISE = 0.03, 0.02
"""How often a sweep seems to creep or jump when neither fouling nor a break is the cause; judged: Airproof authors."""

DEAD_OTHERWISE, FOUND_OTHERWISE = 0.01, 0.02
"""How often a signal seems dead, and a wire or plug at fault, when nothing of the kind is the cause and the data say no
number of their own; judged: Airproof authors."""

STEPS: Mapping[What, str] = {
    "supply": "measure-supply-5v",
    "ground": "measure-sensor-ground",
    "signal": "measure-key-on-signal",
    "digital": "measure-key-on-signal",
    "sweep": "sweep-with-hand-pump",
    "thermistor": "measure-thermistor",
    "wiggle": "wiggle-and-watch",
}
"""The step of the catalogue that each measurement carries out."""


def steps_done(judged: SessionJudged) -> dict[str, bool]:
    """Steps that the measurements carried out, and whether they found what they look for."""
    done: dict[str, bool] = {}
    for one in judged.items:
        step = STEPS.get(one.item.what)
        if step is not None and one.outcome != "cannot-tell":
            done[step] = done.get(step, False) or one.found
    return done


def heard_from(case: Case, readings: Sequence[object], known: Knowledge) -> tuple[list[Testimony], dict[str, bool]]:
    """Testimonies of the measurements among the readings, and the steps they carried out, each with what it found.

    Such a step is done with what was measured: an outcome told of it besides says nothing more.
    """
    testimonies = [t for one in readings if isinstance(one, Measurements) for t in check(case, one, known)]
    return testimonies, measured_steps(readings, case.weather, known)


def measured_steps(readings: Sequence[object], barometer: Barometer, known: Knowledge) -> dict[str, bool]:
    """Steps that the measurements among the readings carried out, and whether they found what they look for."""
    done: dict[str, bool] = {}
    for one in readings:
        if isinstance(one, Measurements):
            done |= steps_done(judge(one, barometer, known))
    return done


def check(case: Case, measurements: Measurements, known: Knowledge) -> list[Testimony]:
    """One testimony for each thing measured that says anything."""
    day = measurements.day or case.weather
    judged = judge(measurements, day, known)
    testimonies = [
        *_supply_and_ground(case, measurements, judged, known),
        *_pressures(case, measurements, judged, day, known),
        *_sweep_seen(case, measurements, known),
        *_thermistor(case, measurements, judged, known),
        *_wires(case, judged, known),
        *_wiggle(case, judged, known),
    ]
    return [replace(one, finding=replace(one.finding, id=f"meter {one.finding.id}")) for one in testimonies]


def _finding(name: str, says: str, value: float = 1.0, sd: float = 0.0, unit: str = "", band: float = 0.0) -> Finding:
    return Finding(name, value, sd, unit, (-band, band), (), says)


def _chance(known: Knowledge, step: str, cause: str) -> float:
    return known.steps[step].positive_given(cause)


# Pressures


def _pressures(
    case: Case, measurements: Measurements, judged: SessionJudged, day: Barometer, known: Knowledge
) -> list[Testimony]:
    line = measurements.sensor.line
    celsius = USUAL_SENSOR_C if measurements.sensor.temperature_c is None else measurements.sensor.temperature_c
    plug, shown = rows_at_plug(measurements), rows_shown(measurements)
    seen = []
    if plug is not None and line is not None and _same_unit(plug, line.unit):
        seen.append(held_against(plug, line, celsius))
    if shown is not None:
        seen.append(held_against(shown, SHOWN, celsius))
    with_line = plug is not None and line is not None and _same_unit(plug, line.unit)
    without_line = _dead(case, judged, known, ("digital",) if with_line else ("digital", "signal", "sweep"))
    if not seen:
        return without_line
    group = PressureGroup(seen, day, measurements)
    before = seen_engine_off(case)
    rows = {cause: group.heard(cause, sizes, before, known) for cause, sizes in case.sizes.items()}
    alone = {cause: group.heard(cause, sizes, None, known) for cause, sizes in case.sizes.items()}
    testimonies = list(without_line)
    for item in dict.fromkeys(group.items):
        mine = [k for k, one in enumerate(group.items) if one is item]
        finding = _of_pressure(item, mine, group, judged)
        heard_now, by_itself = (
            {cause: row[:, mine].sum(axis=1) for cause, row in one.items()} for one in (rows, alone)
        )
        testimonies.append(Testimony(finding, heard_now, by_itself))
    return testimonies


def _same_unit(rows: Rows, unit: str) -> bool:
    readings = [item.value if item.what == "signal" else item.points[0].taken for item in rows.item]
    return all(one is not None and one.read_as == unit for one in readings)


def _of_pressure(item: Measured, mine: Sequence[int], group: PressureGroup, judged: SessionJudged) -> Finding:
    verdict = next(one for one in judged.items if one.item is item)
    named, says = judged.recognised, verdict.says
    if item.what == "sweep" and named is not None and named.wrong_part is not None and named.decibans >= SURE_DECIBANS:
        says += f"; it fits the line of another part instead [{named.wrong_part.line.id}]"
    apart = group.off_day[list(mine)]
    sd = float(np.sqrt(np.mean(np.diag(group.healthy)[list(mine)])))
    return _finding(item.what, says, float(np.mean(apart)), sd, "kPa", NORMAL_90 * sd)


def _dead(case: Case, judged: SessionJudged, known: Knowledge, which: Sequence[str]) -> list[Testimony]:
    """Without the sensor's line, all that its volts say is whether they are those of a live sensor."""
    testimonies = []
    for what, step, dead in (
        ("signal", "measure-key-on-signal", ("grounded", "railed", "none")),
        ("digital", "measure-key-on-signal", ("grounded", "railed")),
        ("sweep", "sweep-with-hand-pump", ("stuck",)),
    ):
        one = judged.of(what)
        if one is None or what not in which or (what == "sweep" and not one.item.points):
            continue
        amiss = one.outcome in dead
        speaks = ("map-stuck", "map-circuit") if what == "sweep" else ("map-circuit", "map-intermittent")
        testimonies.append(_outcome(case, one, amiss, {c: _chance(known, step, c) for c in speaks}, DEAD_OTHERWISE))
    return testimonies


def _outcome(case: Case, one: Judged, amiss: bool, tells: Mapping[str, float], otherwise: float) -> Testimony:
    rows = {}
    for cause, sizes in case.sizes.items():
        chance = tells.get(cause, otherwise)
        rows[cause] = np.full(sizes.size, np.log(chance if amiss else 1.0 - chance))
    return Testimony(_finding(one.item.what, one.says), rows)


# Supply and ground


def _supply_and_ground(
    case: Case, measurements: Measurements, judged: SessionJudged, known: Knowledge
) -> list[Testimony]:
    """A fault of supply or ground shows in one of the two, or comes and goes: they are heard together."""
    verdicts = [one for one in (judged.of("supply"), judged.of("ground")) if one is not None]
    if not verdicts:
        return []
    meter = measurements.meter
    in_supply = expected("supply-fault-shows-in-supply").mean
    in_ground = expected("supply-fault-shows-in-ground").mean
    values, sds, spans, means, steps = [], [], [], [], []
    for one in verdicts:
        assert one.item.value is not None
        healthy = expected("sensor-supply" if one.item.what == "supply" else "ground-drop")
        values.append(one.item.value.value)
        means.append(healthy.mean)
        sds.append(float(np.hypot(healthy.sd, meter.volts.sd(one.item.value.value, meter.digit(one.item.value)))))
        spans.append(SUPPLY_SPAN_V if one.item.what == "supply" else DROP_SPAN_V)
        steps.append(STEPS[one.item.what])
    value, sd, mean = np.array(values), np.array(sds), np.array(means)

    def rows(shift: Floats) -> Floats:
        """Log densities (S, n) where the readings are moved by `shift` (S, n) volts."""
        return np.concatenate([t_row(value[k] - mean[k] - shift[:, k], sd[k]) for k in range(value.size)], axis=1)

    likelihood = {}
    for cause, sizes in case.sizes.items():
        still = rows(np.zeros((sizes.size, value.size)))
        if cause == "supply-reference":
            supplied, grounded = (np.zeros((sizes.size, value.size)) for _ in range(2))
            for k, one in enumerate(verdicts):
                if one.item.what == "supply":
                    supplied[:, k] = sizes
                    # Across the sensor's own pins a lifted ground takes away from the supply.
                    grounded[:, k] = -np.abs(sizes) if one.item.against == "sensor ground" else 0.0
                else:
                    grounded[:, k] = np.abs(sizes)
            ways: list[Way] = [
                (in_supply, rows(supplied)),
                (in_ground, rows(grounded)),
                (1.0 - in_supply - in_ground, still),
            ]
            likelihood[cause] = heard(ways)
            continue
        slips = np.array([_chance(known, step, cause) for step in steps])
        even = -np.log(np.array(spans))
        likelihood[cause] = np.logaddexp(np.log1p(-slips) + still, np.log(slips) + even)
    return [
        Testimony(
            _finding(one.item.what, one.says, float(value[k] - mean[k]), float(sd[k]), "V", NORMAL_90 * float(sd[k])),
            {cause: row[:, k] for cause, row in likelihood.items()},
        )
        for k, one in enumerate(verdicts)
    ]


# What was seen at the sweep, the thermistor, wires


def _sweep_seen(case: Case, measurements: Measurements, known: Knowledge) -> list[Testimony]:
    item = measurements.first("sweep")
    testimonies: list[Testimony] = []
    if item is None:
        return testimonies
    for seen, cause, otherwise, yes, no in (
        (item.creeps, "map-slow", CREEPS_OTHERWISE, "comes back slowly when the air is let in", "comes back at once"),
        (item.jumps, "map-intermittent", JUMPS_OTHERWISE, "jumps on the way", "follows the pump without jumps"),
    ):
        if seen is None:
            continue
        says = f"Swept with a pump, the reading {yes if seen else no}"
        one = Judged(item, "sweep", "", says)
        testimony = _outcome(case, one, seen, {cause: _chance(known, "sweep-with-hand-pump", cause)}, otherwise)
        named = f"sweep {'creeps' if cause == 'map-slow' else 'jumps'}"
        testimonies.append(replace(testimony, finding=replace(testimony.finding, id=named)))
    return testimonies


def _thermistor(case: Case, measurements: Measurements, judged: SessionJudged, known: Knowledge) -> list[Testimony]:
    one = judged.of("thermistor")
    if one is None or one.outcome == "cannot-tell":
        return []
    kelvin = thermistor_kelvin(one.item, measurements)
    assert kelvin is not None
    assert one.item.temperature_c is not None
    apart, sd = kelvin - ZERO_CELSIUS - one.item.temperature_c, thermistor_sd(one.item, measurements)
    rows = {}
    for cause, sizes in case.sizes.items():
        off = apart - (sizes if cause == "iat-offset" else np.zeros(sizes.size))
        # Open or shorted it reads as the end of its table, whatever the size.
        slip = (
            1.0 - _chance(known, STEPS["thermistor"], cause)
            if cause == "iat-offset"
            else _chance(known, STEPS["thermistor"], cause)
        )
        even = np.full((sizes.size, 1), -np.log(THERMISTOR_SPAN_K))
        rows[cause] = heard([(1.0 - slip, t_row(off, sd)), (slip, even)])[:, 0]
    return [Testimony(_finding("thermistor", one.says, apart, sd, "K", NORMAL_90 * sd), rows)]


def _wires(case: Case, judged: SessionJudged, known: Knowledge) -> list[Testimony]:
    """All wires together are one witness: any that is found wanting speaks."""
    wires = [
        one
        for one in judged.items
        if one.item.what == "wire" and one.item.wire != "temperature" and one.outcome != "cannot-tell"
    ]
    if not wires:
        return []
    task = known.meter_tasks["wire"]
    said = next((one for one in wires if one.found), wires[0])
    says = said.says if said.found or len(wires) == 1 else f"{len(wires)} measurements of wires: all sound"
    return [_outcome(case, replace(said, says=says), said.found, task.tells, task.otherwise or FOUND_OTHERWISE)]


def _wiggle(case: Case, judged: SessionJudged, known: Knowledge) -> list[Testimony]:
    one = judged.of("wiggle")
    if one is None:
        return []
    step = known.steps[STEPS["wiggle"]]
    return [_outcome(case, one, one.found, step.tells, step.otherwise or FOUND_OTHERWISE)]
