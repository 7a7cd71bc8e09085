"""A worksheet for meter work: what to measure, what to expect here and today, and what the readings say while typed."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Mapping
from typing import Any

from airproof.diagnosis.conditions import UNKNOWN_PLACE
from airproof.diagnosis.expectations import expected
from airproof.diagnosis.meter.judged import USUAL_SENSOR_C, judge
from airproof.diagnosis.meter.lines import published
from airproof.diagnosis.meter.pressures import Supply
from airproof.diagnosis.meter.typed_values import ReadAs, taken
from airproof.diagnosis.place_as_typed import the_ambient_c, the_barometer
from airproof.errors import AirproofError, UnusableQuantity, UnusableRequest
from airproof.jobs.events import Draft
from airproof.jobs.kinds import payload_of
from airproof.jobs.measured_said import measured_tables, measurements_typed, typed_from
from airproof.quantities.units import parse_number, parse_quantity
from airproof.repair.meter_work.worksheet import Task, Wanted, Worksheet, worksheet
from airproof.report.meter_in_words import band, judged_in_words, outcome_words
from airproof.report.wording import sentence
from airproof.web.case.file import CaseFile
from airproof.web.marks import Form, Mark, Values, at_field, choice, field, folded, heading, in_words, lines, one, say

LATER_S = 0.4
USUAL_KIND = "three-wire"
YES_NO = {"": "not tried", "no": "no", "yes": "yes"}
TYPED = ("supply", "ground", "signal", "sweep", "thermistor", "wiggle")
READ_AS: dict[str, tuple[ReadAs, ...]] = {
    "supply value": ("V",),
    "ground value": ("V",),
    "signal value": ("V",),
    "signal shown": ("kPa",),
    "thermistor value": ("ohm", "V"),
}
"""What each field holds; what can only be volts may be typed without them, as its label says."""
_ALL = """(e) => { const all = {}; for (const [name, value] of new FormData(e.currentTarget))
(all[name] ??= []).push(String(value)); emit(all); }"""
COUNTED = {"vacuum": "vacuum", "gauge": "above the air outside (gauge)", "absolute": "absolute"}


class Sheet:
    """The worksheet of one job, with what was typed into it."""

    def __init__(self, case: CaseFile, step: str) -> None:
        self.case, self.step = case, step
        self.before = case.state.measured[-1] if case.state.measured else None
        self.typed = typed_from(self.held)
        self.line = self.typed.get("sensor line", "")
        self.now: dict[str, str] = {}  # what stands in the fields, once any was touched
        self.expected: dict[str, Mark] = {}

    @property
    def held(self) -> Mapping[Any, Any]:
        """The readings that are in the job."""
        return {} if self.before is None else self.before.payload.tables

    def show(self) -> None:
        """Fields with what to expect beside each, and what they say so far."""
        known = self.case.bench.known
        sensors = {"": "not known"} | {n: s.title for n, s in known.sensors.items() if s.known}
        sheet = self._sheet(self.line)
        kind = known.sensor_kinds[sheet.kind.id]
        heading(2, "Worksheet")
        say(f"{sentence(kind.title)} {sentence(kind.told_by)}", "soft")
        with Form(self._keep, send="Keep these readings") as form:
            choice(
                "The sensor's line",
                "sensor line",
                sensors,
                self.line,
                hint="From pressure to voltage, as its maker states it. Left out, all published ones are shown.",
            )
            field(
                "The meter's accuracy on volts",
                "meter accuracy",
                self.typed.get("meter accuracy", ""),
                hint='As its sheet prints it, such as "0.5 % + 2 digits"; a usual one is taken if you leave it out.',
            )
            asked = [task for task in sheet.tasks if task.task.id in TYPED]
            others = [task for task in asked if task.task.step != self.step]
            for task in asked:
                if task not in others:
                    self._task(task)
            self.says = Mark("div", role="status", aria_live="polite")
            with folded("Other things to measure while the meter is there"):
                for task in others:
                    self._task(task)
        self.form = form
        form.on("change", lambda event: self._note(event.args), js_handler=_ALL)  # before another form can be sent
        form.on("input", self._typed, throttle=LATER_S, leading_events=False, js_handler=_ALL)

    def _sheet(self, line: str) -> Worksheet:
        state, known = self.case.state, self.case.bench.known
        entry = known.sensors.get(line)
        usual = expected("sensor-supply")
        ambient = the_ambient_c(state.place.ambient)
        wanted = Wanted(
            known.sensor_kinds[entry.kind if entry else USUAL_KIND],
            published(entry) if entry and entry.known else None,
            None,
            the_barometer(state.place.altitude, state.place.barometer) or UNKNOWN_PLACE,
            Supply(usual.mean, usual.sd, measured=False),
            temperature_c=USUAL_SENSOR_C if ambient is None else ambient,
            ambient_c=ambient,
        )
        return worksheet(wanted, known)

    def _task(self, task: Task) -> None:
        words, what = self.case.words, task.task.id
        with Mark("section"):
            heading(3, task.task.title)
            say(f"Probes: {task.task.probes} Key: {task.task.key} Plug: {task.task.plug}")
            lines(map(words, task.task.how))
            self.expected[what] = Mark("div")
            self._expect(task)
            self._fields(what)
            with folded("What a reading can mean"):
                lines(f"If {outcome_words(name)}: {words(text)}" for name, text in task.task.outcomes.items())

    def _expect(self, task: Task) -> None:
        """What a good sensor would show here and today, on the line that was chosen or on every published one."""
        words, place = self.case.words, self.expected[task.task.id]
        place.clear()
        with place:
            if task.rows:
                with Mark("table"), Mark("tbody"):
                    for row in task.rows:
                        with Mark("tr"):
                            Mark("th", words(row.label), scope="row")
                            Mark("td", words(band(row.expected)), classes="number")
            lines((words(note) for note in task.notes), "soft")

    def _fields(self, what: str) -> None:
        typed = self.typed.get
        match what:
            case "supply" | "ground":
                field("Reading, V", f"{what} value", typed(f"{what} value", ""), hint="Such as 5.02, or 20 mV.")
            case "signal":
                with Mark("div", classes="pair"):
                    field("At the plug, V", "signal value", typed("signal value", ""), hint="Such as 1.85.")
                    field(
                        "Live data at that moment",
                        "signal shown",
                        typed("signal shown", ""),
                        hint="With its unit: 98 kPa.",
                    )
            case "sweep":
                choice("The gauge counts", "sweep counted", COUNTED, typed("sweep counted", "vacuum"))
                field(
                    "Points, one a line: gauge and reading",
                    "sweep points",
                    typed("sweep points", ""),
                    long=True,
                    hint="The first open to the air. Such as: 5 inHg, 1.49 V",
                )
            case "thermistor":
                with Mark("div", classes="pair"):
                    field("Reading", "thermistor value", typed("thermistor value", ""), hint="With its unit: 2.3 kohm.")
                    field(
                        "At", "thermistor temperature", typed("thermistor temperature", ""), hint="With its unit: 20 C."
                    )
            case "wiggle":
                choice("Does the reading jump?", "wiggle found", YES_NO, typed("wiggle found", ""))

    def _note(self, values: Values) -> dict[str, str]:
        self.now = _in_volts({name: one(values, name) for name in values})
        return self.now

    async def _typed(self, event: Any) -> None:
        """What the readings say, while they are typed."""
        said = self._note(event.args)
        line = said.get("sensor line", "")
        if line != self.line:
            self.line = line
            for task in self._sheet(line).tasks:
                if task.task.id in self.expected:
                    self._expect(task)
        self.says.clear()
        with self.says:
            try:
                _check(said)
                tables = measured_tables(said, self.held)
                if "measured" not in tables:
                    return
                parts = await asyncio.to_thread(self._judged, tables)
            except AirproofError as fault:
                say(f"Not yet: {in_words(fault)}", "soft")
                return
            heading(3, "What these readings say")
            for part in parts:
                if not part.heading:
                    lines(map(self.case.words, part.lines))
            with folded("Reading by reading, and what this rests on"):
                for part in parts:
                    if part.heading:
                        heading(4, part.heading)
                        lines(map(self.case.words, part.lines))

    def _judged(self, tables: dict[str, Any]) -> Any:
        known, place = self.case.bench.known, self.case.state.place
        measurements = measurements_typed(tables, known)
        return judged_in_words(
            judge(measurements, the_barometer(place.altitude, place.barometer), known), measurements, known
        )

    async def _keep(self, values: Values) -> None:
        self._note(values)
        drafts = await self.not_kept()
        if not drafts and not self.held:
            raise UnusableRequest("no reading", "one reading or more", "Type it with its unit.")
        await self.case.add(drafts)
        self.kept()

    async def not_kept(self) -> list[Draft]:
        """The readings as they stand in the fields, where the job does not hold them yet; raises for one that cannot
        be read.
        """
        if not self.now:
            return []
        _check(self.now)
        tables = measured_tables(self.now, self.held)
        if "measured" not in tables or tables == self.held:
            return []
        await asyncio.to_thread(measurements_typed, tables, self.case.bench.known)
        corrects = None if self.before is None else self.before.number
        return [Draft("measured", payload_of("measured", {"tables": tables}), corrects=corrects)]

    def kept(self) -> None:
        """What was typed is in the job now."""
        self.before = self.case.state.measured[-1] if self.case.state.measured else None


def _in_volts(said: Mapping[str, str]) -> dict[str, str]:
    """What was typed, with volts behind a bare number where nothing else can be meant."""
    whole = dict(said)
    for name, units in READ_AS.items():
        with contextlib.suppress(UnusableQuantity):
            if units == ("V",) and whole.get(name):
                parse_number(whole[name])
                whole[name] += " V"
    return whole


def _check(said: Mapping[str, str]) -> None:
    """Refuse a reading that cannot be read, at its field."""
    for name, units in READ_AS.items():
        if said.get(name):
            with at_field(name):
                taken(said[name], *units)
    if said.get("thermistor temperature"):
        with at_field("thermistor temperature"):
            parse_quantity(said["thermistor temperature"], "temperature")
