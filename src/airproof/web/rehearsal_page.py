"""The rehearsal: one engine, one cause, its size on a slider, and at once what the data would look like."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, replace
from typing import Any

from nicegui import ui

from airproof.engine.profile import EngineProfile
from airproof.engine.rehearsal.air.build import Details
from airproof.engine.rehearsal.compare import Comparison, as_recording, compare
from airproof.engine.rehearsal.compiled import is_ready
from airproof.engine.rehearsal.faults import CAUSES, UNSIZED, Fault, why_impossible
from airproof.engine.rehearsal.many import logged
from airproof.engine.rehearsal.rehearse import Rehearsal, Request, rehearse
from airproof.errors import UnusableRequest
from airproof.jobs.practice import practice_job
from airproof.knowledge.model import Knowledge
from airproof.quantities.wishes import Wish
from airproof.recording.recording import Recording
from airproof.recording.regimes import find_regimes
from airproof.report.rehearsal_in_words import compared_as_rows, compared_in_words
from airproof.report.trace import Seen, View, figure, groups_of, key
from airproof.report.wording import number
from airproof.web.bench import Bench
from airproof.web.case.intake import engine_drafts, engine_fields
from airproof.web.drawing import Drawing, set_it_up
from airproof.web.frame import hear, is_dark, page
from airproof.web.marks import Form, Mark, Values, button, choice, folded, heading, lines, new_key, say

LOGGER, FAULTY = "fast", "with the fault"
COARSE, FINE = 175, 350
"""Stretches drawn while the slider moves, since fewer come sooner, and once it rests."""

REST_S = 0.25
"""Without another move, before the slower half is reckoned."""

UNITS_SAID = {"mm": "mm, as a sharp round hole", "1/s": "times a second", "s": "s late"}
STEPS = 60
"""Places of the slider."""
SHOWN = ("pressures", "air flow", "trims", "throttle and pedal")
USUAL = EngineProfile(displacement_l=2.0, cylinders=4, induction="turbocharged", air_metering="air-flow sensor")


@dataclass(frozen=True)
class Sizes:
    """What a cause's slider goes through."""

    low: float
    usual: float
    high: float
    unit: str


def sizes_of(cause: str, known: Knowledge) -> Sizes:
    """From the least to the most that a driver notices; a little beyond for who wants to see where it ends."""
    if cause in UNSIZED:
        unit, usual, low, high = UNSIZED[cause]
        return Sizes(low, usual, high, unit)
    entry = known.causes[cause]
    size = entry.size
    assert size is not None  # every cause but those above has one: tests hold it
    return Sizes(-size.high if size.signed else 0.0, size.typical, size.high, entry.unit)


@dataclass(frozen=True)
class Shown:
    """One rehearsal as it would be recorded."""

    rehearsal: Rehearsal
    recording: Recording


def rehearsed(request: Request, name: str) -> Shown:
    """Drive it, and record it."""
    rehearsal = rehearse(request)
    return Shown(rehearsal, as_recording(logged(rehearsal, LOGGER), name))


async def show(bench: Bench) -> None:
    """The page."""
    with page(bench, "Rehearse", "/rehearse", draws="here"):
        ui.query("body").classes("wide")
        heading(1, "Rehearse a fault")
        say("A simulated car, no real one. Choose what is wrong with it, and see what its live data would show.")
        with Mark("div") as place:
            ready = is_ready()
            say("The simulated engine is made ready ..." if ready else _FIRST, "news", role="status")

        async def begin() -> None:
            stage = Stage(bench, await is_dark(bench))
            set_it_up()
            await stage.engine(USUAL)
            place.clear()
            with place:
                stage.show()

        ui.timer(0.0, begin, once=True)


_FIRST = "The simulated engine is being compiled: half a minute, this once."


class Stage:
    """The rehearsal as one browser plays it: a healthy drive, and the same one with the fault."""

    def __init__(self, bench: Bench, dark: bool) -> None:
        self.bench, self.dark = bench, dark
        self.cause, self.size = "map-offset", 8.0
        self.asked = 0
        self.busy = False

    async def engine(self, profile: EngineProfile) -> None:
        """Begin with another engine."""
        self.request = Request(profile, Details())
        self.healthy = await asyncio.to_thread(rehearsed, self.request, "healthy")
        self.faulty = self.healthy
        self.regimes = await asyncio.to_thread(find_regimes, self.healthy.recording, idle_rpm=profile.idle_rpm)

    def show(self) -> None:
        """Everything on the page."""
        self._engine_form()
        self.chooser = Mark("div")
        self.view = View((self.healthy.recording.start_s, self.healthy.recording.end_s), self._groups())
        self.view = replace(self.view, wish=self._wish, over_name="healthy", columns=COARSE)
        self.view = replace(self.view, dark=self.dark)
        say("Thin lines: with the fault. Broad grey lines: the same drive of the same car, healthy.", "soft")
        told = "The faulty drive over the healthy one; what moves stands in the table below."
        self.plot = Drawing(figure(self._seen(), self.view), told)
        self.plot.on("looked", self._zoomed, throttle=0.15, leading_events=False)
        with folded("Which line is which"):
            lines(key(self._seen(), self.view))
        self.table = Mark("div")
        self._choose()
        button("Save it as a job to practise on", self._save, once=True, aria_describedby="practise")
        say(
            "Somebody else can then find out what it is; the truth stays hidden until it is asked for.",
            "soft",
            id="practise",
        )

    def _groups(self) -> tuple[str, ...]:
        return tuple(name for name in SHOWN if name in groups_of(self.healthy.recording))

    def _seen(self) -> Seen:
        return Seen(self.faulty.recording, self.regimes)  # both are driven alike

    def _engine_form(self) -> None:
        async def use(values: Values) -> None:
            drafts = engine_drafts(values)
            if not drafts:
                raise UnusableRequest("no engine", "its four numbers", "Fill them in.")
            profile = drafts[0].payload.engine  # type: ignore[attr-defined]
            if profile.fuel == "diesel":
                raise UnusableRequest("a diesel engine", "a petrol engine", "Diesel engines are not rehearsed yet.")
            await self.engine(profile)
            self._choose()

        one = self.request.profile
        title = f"The engine: {one.displacement_l:g} l, {one.cylinders} cylinders, {one.induction}, {one.metering}"
        with folded(title), Form(use, send="Rehearse with this engine"):
            engine_fields()

    def _choose(self) -> None:
        known, request = self.bench.known, self.request
        possible = [c for c in CAUSES if why_impossible(c, request.profile, request.details) is None]
        if self.cause not in possible:
            self.cause = possible[0]
        self.chooser.clear()
        with self.chooser:
            chosen = choice("What is wrong", "cause", {c: known.causes[c].title for c in possible}, self.cause)
            chosen.on("change", self._other_cause, js_handler="(e) => emit(e.target.value)")
            self.slider = Mark("div")
        self._slide()

    def _slide(self) -> None:
        sizes = sizes_of(self.cause, self.bench.known)
        self.size = sizes.usual
        self.slider.clear()
        with self.slider:
            key = new_key("size")
            with Mark("div", classes="field"):
                self.label = Mark("label", f"How much: {self._size(sizes)}", for_=key)
                step = (sizes.high - sizes.low) / STEPS
                slider = Mark(
                    "input", id=key, type="range", min=sizes.low, max=sizes.high, step=step, defaultValue=sizes.usual
                )
                slider.on("input", self._slid, throttle=0.1, js_handler="(e) => emit(Number(e.target.value))")
        self._ask()

    def _size(self, sizes: Sizes) -> str:
        """How much it is, as one would say it."""
        if self.cause == "map-circuit":
            return sizes.unit.split(", ")[round(self.size) - 1].partition(" ")[2]
        return self._words(f"{number(self.size, 3)} {UNITS_SAID.get(sizes.unit, sizes.unit)}")

    @property
    def _wish(self) -> Wish:
        return self.bench.settings.wish(self.request.scene.barometer_kpa)

    def _words(self, text: str) -> str:
        return self.bench.words(text, self.request.scene.barometer_kpa)

    def _other_cause(self, event: Any) -> None:
        if event.args in CAUSES:
            self.cause = event.args
            self._slide()

    def _slid(self, event: Any) -> None:
        sizes = sizes_of(self.cause, self.bench.known)
        if isinstance(event.args, (int, float)):
            self.size = min(max(float(event.args), sizes.low), sizes.high)
            if self.cause == "map-circuit":
                self.size = round(self.size)
            self.label.write(f"How much: {self._size(sizes)}")
            self._ask()

    def _ask(self) -> None:
        """Rehearse what is asked for now; of what is asked while it is busy only the last is done."""
        self.asked += 1
        if not self.busy:
            ui.timer(0.0, self._follow, once=True)

    async def _follow(self) -> None:
        """Show at once what was asked, as if the fault had come this morning."""
        if self.busy:
            return
        self.busy = True
        try:
            done = -1
            while done != self.asked:
                done = self.asked
                self._draw(await asyncio.to_thread(rehearsed, self._request(0), FAULTY), COARSE)
        finally:
            self.busy = False
        await asyncio.sleep(REST_S)
        if done == self.asked:
            await self._settle(done)

    async def _settle(self, asked: int) -> None:
        """Then as the control unit has learnt to live with it, and in words; another move does not wait for this."""
        faulty = await asyncio.to_thread(rehearsed, self._request(self.request.earlier_drives), FAULTY)
        idle_rpm = self.request.profile.idle_rpm
        compared = await asyncio.to_thread(compare, self.healthy.recording, faulty.recording, idle_rpm=idle_rpm)
        if asked == self.asked:
            self._draw(faulty, FINE)
            self._tell(compared)

    def _request(self, earlier_drives: int) -> Request:
        faults = (Fault(self.cause, self.size),) if self.size else ()
        return replace(self.request, faults=faults, earlier_drives=earlier_drives)

    def _draw(self, faulty: Shown, columns: int) -> None:
        self.faulty = faulty
        self.view = replace(self.view, over=self.healthy.recording, columns=columns)
        self.plot.redraw(figure(self._seen(), self.view))

    def _tell(self, comparison: Comparison) -> None:
        words = self._words
        codes = [
            sorted(one.rehearsal.codes.pending | one.rehearsal.codes.confirmed) for one in (self.healthy, self.faulty)
        ]
        self.table.clear()
        with self.table:
            size = self._size(sizes_of(self.cause, self.bench.known))
            title = f"{self.bench.known.causes[self.cause].title}: {size}"
            parts = compared_in_words(comparison, codes[0], codes[1], title, self._wish)
            hear(" ".join(words(line) for line in parts[0].lines))
            heading(2, "What it shows")
            for part in parts:
                if part.id in ("answer", "still", "codes"):
                    if part.heading:
                        heading(3, part.heading)
                    lines(map(words, part.lines))
            rows = compared_as_rows(comparison, self._wish)
            if len(rows) == 1:
                return
            with Mark("div", classes="scroll"), Mark("table"):
                with Mark("thead"), Mark("tr"):
                    for place, cell in enumerate(rows[0]):
                        Mark("th", cell, scope="col", classes="number" if place > 1 else "")
                with Mark("tbody"):
                    for row in rows[1:]:
                        with Mark("tr"):
                            for place, cell in enumerate(row):
                                Mark("td", cell, classes="number" if place > 1 else "")

    def _zoomed(self, event: Any) -> None:
        said = event.args if isinstance(event.args, dict) else {}
        pair = said.get("xaxis.range") or [said.get("xaxis.range[0]"), said.get("xaxis.range[1]")]
        window = (self.healthy.recording.start_s, self.healthy.recording.end_s)
        if said.get("xaxis.autorange"):
            self.view = replace(self.view, window=window)
        elif all(isinstance(edge, (int, float)) for edge in pair) and pair[0] < pair[1]:
            self.view = replace(self.view, window=(float(pair[0]), float(pair[1])))
        else:
            return
        self.plot.redraw(figure(self._seen(), self.view))

    async def _save(self) -> None:
        rehearsal = await asyncio.to_thread(rehearse, self._request(self.request.earlier_drives))
        job = await asyncio.to_thread(practice_job, self.bench.store, rehearsal)
        ui.navigate.to(f"/job/{job}")
