"""Meter work in plain words: the worksheet, and what the readings say."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from airproof.diagnosis.meter.expected_here import Expected
from airproof.diagnosis.meter.fitted import SURE_DECIBANS, Fitted, Interval, Recognised
from airproof.diagnosis.meter.judged import Judged, SessionJudged
from airproof.diagnosis.meter.learn import FromRecording
from airproof.diagnosis.meter.lines import STATED
from airproof.diagnosis.meter.measured import Measurements
from airproof.diagnosis.meter.pressures import supply_of
from airproof.knowledge.model import Knowledge
from airproof.repair.meter_work.worksheet import Task, Worksheet
from airproof.report.in_words import Part
from airproof.report.wording import number, sentence

FOREMOST_LINES = 3
CAUTION = "The car maker's service data comes first: lines and limits here are those of the sources named, and no more."


def band(expected: Expected) -> str:
    """A number to expect with its band: "1.81 V (1.73 to 1.89)"."""
    if expected.unit == "ohm":
        value, low, high = (ohms(v) for v in (expected.value, expected.low, expected.high))
        return f"{value} ({low} to {high})"
    digits = 2 if expected.unit == "V" else 1
    value, low, high = (f"{v:.{digits}f}" for v in (expected.value, expected.low, expected.high))
    return f"{value} {expected.unit} ({low} to {high})"


def ohms(value: float) -> str:
    """A resistance as one would write it: "2.31 kohm", "305 ohm"."""
    return f"{number(value / 1e3, 3)} kohm" if value >= 1e3 else f"{number(value, 3)} ohm"


def worksheet_in_words(sheet: Worksheet) -> tuple[Part, ...]:
    """The worksheet as parts, one for each thing to measure."""
    sensor = sheet.line.title if sheet.line is not None else sheet.kind.title
    supply = f"{sheet.supply.volts:.2f} V{', as measured' if sheet.supply.measured else ', give or take 0.1 V'}"
    meter = f"{sheet.meter.volts}{'' if sheet.meter.stated else ', a usual one: --accuracy says what yours has'}"
    head = [
        f"Worksheet: {sensor}",
        f"Here and today: {sheet.barometer.kpa:.1f} kPa absolute, give or take {1.645 * sheet.barometer.sd_kpa:.1f} "
        f"({sheet.barometer.says}). Supply {supply}. Meter {meter}.",
    ]
    if sheet.line is not None and sheet.line.standing:
        error = "" if sheet.line.error_kpa is None else f"; a good one is right within {sheet.line.error_kpa:g} kPa"
        head.append(
            f"Its line is {sheet.line.standing}, {sheet.line.low_kpa:g} to {sheet.line.high_kpa:g} kPa"
            f"{' above the air outside' if sheet.line.difference else ' absolute'}{error} from 0 to 85 degC."
        )
    parts = [Part("answer", "", tuple(head))]
    parts.append(Part("wires", "The wires", (*map(sentence, sheet.kind.wires), sentence(sheet.kind.told_by))))
    parts += [_task(number_, task) for number_, task in enumerate(sheet.tasks, start=1)]
    cannot = [f"It can tell: {'; '.join(sheet.kind.can_tell)}."]
    cannot += [sentence(f"It cannot tell {one}") for one in sheet.kind.cannot_tell]
    parts.append(Part("limits", "What a meter can tell here, and what not", tuple(cannot)))
    cautions = dict.fromkeys(caution for task in sheet.tasks for caution in task.task.cautions)
    parts.append(Part("cautions", "Take care", (*cautions, CAUTION)))
    return tuple(parts)


def _task(count: int, task: Task) -> Part:
    lines = [f"Probes: {task.task.probes}", f"Key: {task.task.key}", f"Plug: {task.task.plug}", *task.task.how]
    lines += [f"Expect, {row.label}: {band(row.expected)}." for row in task.rows]
    lines += task.notes
    lines += [f"If {outcome_words(name)}: {text}" for name, text in task.task.outcomes.items()]
    step = f" [{task.task.step}]" if task.task.step else ""
    return Part(f"task-{task.task.id}", f"{count}. {task.task.title}{step}", tuple(lines))


_OUTCOMES: Mapping[str, str] = {
    "right": "it is right",
    "low": "it is low",
    "high": "it is high",
    "none": "there is none",
    "grounded": "it stands next to 0 V",
    "railed": "it stands at the supply",
    "offset": "it is off by the same everywhere",
    "gain": "its slope is off",
    "stuck": "it hardly moves",
    "creeps": "it comes back slowly",
    "crooked": "the points lie on no line",
    "found": "it jumps",
    "open": "there are too many ohms along it",
    "short": "there are too few ohms to others",
}


def outcome_words(name: str) -> str:
    """An outcome of meter work, as it completes "If ..."."""
    return _OUTCOMES.get(name, name)


def judged_in_words(judged: SessionJudged, measurements: Measurements, known: Knowledge) -> tuple[Part, ...]:
    """What the readings say: first the answer, then each reading, the line, and which published one it is."""
    parts = [Part("answer", "", tuple(_answer(judged)))]
    parts.append(Part("items", "Reading by reading", tuple(_items(judged, known))))
    if judged.fitted is not None:
        parts.append(Part("line", "The line through the readings at the plug", _line(judged.fitted, measurements)))
    if judged.shown is not None:
        parts.append(Part("shown", "What live data shows against the pump", _shown(judged.shown)))
    if judged.recognised is not None:
        loosely = judged.fitted is not None and judged.fitted.within_band is False
        parts.append(Part("which", "Which line that is", tuple(_which(judged.recognised, loosely))))
    notes = [
        f"The day: {judged.barometer.kpa:.1f} kPa absolute, give or take {1.645 * judged.barometer.sd_kpa:.1f} "
        f"({judged.barometer.says})."
    ]
    if not measurements.meter.stated:
        notes.append(f"The meter's accuracy is not stated: {measurements.meter.volts} is taken, a usual cheap one's.")
    by_volts = any(one.item.what in ("signal", "sweep") and one.task != "frequency" for one in judged.items)
    if judged.fitted is not None:
        by_volts = judged.fitted.learned.unit == "V"
    if measurements.first("supply") is None and by_volts:
        notes.append("The supply was not measured: measure it with the same meter, and the line is known far better.")
    notes.append('The verdict on the car takes these readings too: "airproof weigh ... --reading FILE.toml".')
    notes.append(CAUTION)
    parts.append(Part("notes", "What this rests on", tuple(notes)))
    return tuple(parts)


def _answer(judged: SessionJudged) -> list[str]:
    named = judged.recognised
    if named is not None and named.wrong_part is not None and named.decibans >= SURE_DECIBANS:
        other = named.wrong_part.line
        shown = "; ".join(
            f"{where} ({true:.0f} kPa) it would show {seen:.0f} kPa absolute" for where, true, seen in named.reports
        )
        typed = named.expected is not None and named.expected.line.id == STATED
        or_typed = ", or the points that the file states are not this sensor's: read them once more" if typed else ""
        return [
            f"It fits the line of another sensor instead: {_lower(other.title)} [{other.id}]. "
            f"Probably a wrong part{or_typed}.",
            f"With it the car is deceived: {shown}. That is like a sensor {named.offset_kpa:+.1f} kPa off with a span "
            f"{named.gain_percent:+.1f} % off.",
        ]
    found = [one for one in (*judged.items, *judged.live) if one.found]
    if found:
        return [sentence(one.says) for one in found]
    unsure = [one for one in judged.items if one.outcome == "cannot-tell"]
    if unsure:
        return ["Nothing amiss is seen, but not everything can be told from this."]
    return ["Nothing amiss: everything measured is right within what meter, sensor and day leave."]


def _lower(title: str) -> str:
    return title[:1].lower() + title[1:]


def _items(judged: SessionJudged, known: Knowledge) -> list[str]:
    """Each reading in its order; what live data showed with the signal stands behind it."""
    lines = []
    for one in judged.items:
        lines.append(_item(one, known))
        lines += [sentence(live.says) for live in judged.live if live.item is one.item]
    return lines


def _item(one: Judged, known: Knowledge) -> str:
    meaning = known.meter_tasks[one.task].outcomes.get(one.outcome, "") if one.task in known.meter_tasks else ""
    return f"{sentence(one.says)} {meaning}".strip()


def _line(fitted: Fitted, measurements: Measurements) -> tuple[str, ...]:
    fit, unit = fitted.fit, fitted.learned.unit
    scale = supply_of(measurements).volts if unit == "V" else 1.0
    slope = tuple(scale * v for v in fit.interval(np.array([0.0, 1.0])))
    zero = tuple(scale * v for v in fit.interval(np.array([1.0, 0.0])))
    if unit == "V":
        lines = [
            f"V = {slope[0]:.5f} P {zero[0]:+.3f}, P in kPa absolute, at {scale:.2f} V: {1e3 * slope[0]:.2f} mV/kPa "
            f"({1e3 * slope[1]:.2f} to {1e3 * slope[2]:.2f}), {zero[0]:+.3f} V at 0 kPa ({zero[1]:+.3f} to "
            f"{zero[2]:+.3f})."
        ]
    else:
        lines = [f"{unit} = {slope[0]:.5g} P {zero[0]:+.5g}, P in kPa absolute."]
    lines += _errors(fitted)
    farthest = float(np.abs(fitted.off_line_kpa).max())
    straight = "crooked: more than the errors of meter and gauge explain" if fitted.crooked else "straight"
    if np.isfinite(farthest):
        lines.append(f"The points lie within {farthest:.1f} kPa of it: {straight}.")
    if fitted.offset_kpa is None:
        lines.append(f"To keep it: {learned_table(fitted, measurements)}")
    return tuple(lines)


def learned_table(fitted: Fitted, measurements: Measurements) -> str:
    """The lines of a [sensor] table that hold a learned line."""
    supply = supply_of(measurements).volts
    unit = fitted.learned.unit
    scale = supply if unit == "V" else 1.0
    points = ", ".join(
        f'["{kpa:.1f} kPa abs", "{scale * float(fitted.learned.reading(kpa)):.4g} {unit}"]'
        for kpa in (fitted.learned.low_kpa, fitted.learned.high_kpa)
    )
    return f'[sensor] points = [{points}], supply = "{supply:.2f} V".'


def _errors(fitted: Fitted) -> list[str]:
    lines = []
    if fitted.offset_kpa is not None and fitted.gain_percent is not None:
        lines.append(
            f"Against the line the car expects: offset {_interval(fitted.offset_kpa, 'kPa')}, "
            f"span {_interval(fitted.gain_percent, '%')} (90 % intervals)."
        )
        reads = " and ".join(f"{_interval(one.error, 'kPa')} {one.where} ({one.kpa:.0f} kPa)" for one in fitted.errors)
        lines.append(f"So it reads {reads}; plus is too high, minus too low.")
    return lines


def _interval(interval: Interval, unit: str) -> str:
    value, low, high = interval
    return f"{value:+.1f} {unit} ({low:+.1f} to {high:+.1f})"


def _shown(fitted: Fitted) -> tuple[str, ...]:
    lines = _errors(fitted)
    if fitted.crooked:
        lines.append("The points lie on no line.")
    return tuple(lines)


def _which(named: Recognised, loosely: bool) -> list[str]:
    lines = []
    if named.expected is not None:
        fits = "fits the readings" if named.expected.fitting else "does not fit the readings"
        if named.expected.fitting and loosely:
            fits = "fits them only as a part would that is off by what is said above"
        expected = named.expected.line
        lines.append(f"The line the car expects, {_lower(expected.title)} [{expected.id}], {fits}.")
    others = [one for one in named.candidates if named.expected is None or one.line.id != named.expected.line.id]
    fitting = [one for one in others if one.fitting][:FOREMOST_LINES]
    lines += [f"Fits: {_lower(one.line.title)} [{one.line.id}], {one.line.standing}." for one in fitting]
    if not fitting:
        lines.append("No other published line fits them.")
    if named.wrong_part is not None:
        strength = "better" if named.decibans >= 0.0 else "worse"
        lines.append(
            f"Another part's line explains them {strength} than a fault of the right part, by "
            f"{abs(named.decibans):.0f} decibans. Compare the numbers printed on the part."
        )
    return lines


def learned_in_words(learned: FromRecording) -> tuple[Part, ...]:
    """What a recording taught of a line, or of the sensor's own error."""
    lines = []
    if learned.fitted is not None and learned.fitted.offset_kpa is None:
        line = learned.fitted.learned
        first = (
            f"The line that the control unit expects, learned from {learned.points} stretches: "
            f"{learned.supply_v * line.slope * 1e3:.2f} mV/kPa at {learned.supply_v:.2f} V."
        )
        ends = ", ".join(
            f'["{kpa:.1f} kPa abs", "{learned.supply_v * float(line.reading(kpa)):.3f} V"]'
            for kpa in (line.low_kpa, line.high_kpa)
        )
        lines = [first, f'To keep it: [sensor] points = [{ends}], supply = "{learned.supply_v:.2f} V".']
    elif learned.fitted is not None:
        lines = [
            f"The manifold sensor against {learned.against}, {learned.points} stretches.",
            *_errors(learned.fitted),
        ]
    else:
        lines = [learned.says]
    if learned.fitted is not None and learned.says:
        lines.append(learned.says)
    return (Part("answer", "", tuple(lines)), Part("notes", "What this rests on", (*learned.notes, CAUTION)))
