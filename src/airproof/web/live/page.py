"""The page of a car on the line, for one hand: find it, read it out, record it, watch the verdict, clear at the end."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Awaitable, Callable, Sequence
from contextlib import closing
from datetime import UTC, datetime
from typing import Any

from nicegui import ui

from airproof.errors import AirproofError, UnusableRequest
from airproof.jobs.beside import append_beside
from airproof.jobs.events import Draft
from airproof.jobs.given import append_with
from airproof.jobs.heard import read_from_car
from airproof.jobs.kinds import Cleared, Note
from airproof.jobs.weighing import weigh_job
from airproof.recording.readers import read_recording
from airproof.recording.regimes import Regimes
from airproof.repair.proof.as_typed import amount_of
from airproof.report.in_words import answer
from airproof.report.readout_as_json import readout_as_json
from airproof.report.readout_in_words import before_clearing, cleared_in_words, found_in_words, readout_in_words
from airproof.report.recording_in_words import status_in_a_line
from airproof.report.trace import Seen, View, figure, groups_of
from airproof.vehicle.link.adapter import Adapter, adapter_of, adapters_here
from airproof.vehicle.link.clearing import Clearing
from airproof.vehicle.readout.read_out import read_again, read_out
from airproof.vehicle.readout.readout import Readout
from airproof.web.bench import Bench
from airproof.web.case.file import CaseFile
from airproof.web.drawing import Drawing
from airproof.web.faults import reported
from airproof.web.frame import page
from airproof.web.live.session import FOLDER, Session, find_car
from airproof.web.marks import (
    AtField,
    Form,
    Mark,
    Values,
    at_field,
    button,
    field,
    folded,
    heading,
    in_words,
    lines,
    link,
    one,
    say,
)

LOOK_S = 0.5
SHOWN_S = 90.0
VERDICT_S = 8.0
"""Between two weighings of a recording under way; longer where one takes long."""

SHARE_OF_TIME = 0.1
CAUTIONS = (
    "Somebody else drives or reads: never both by one person, and never alone on a public road.",
    "Hot parts, turning belts and fans; exhaust gas: outdoors, or with extraction.",
    "Key on for long drains the battery: connect a charger.",
)
NOTHING_ANSWERS = (
    "Is the key on? Most cars answer only then.",
    "Is the adapter in its plug on both sides, and does this computer show it?",
    "Cars before about 2008 may have no CAN at their plug.",
    "Some cars keep their bus behind a gateway that asks for the maker's own access: then read with the maker's tools.",
)
SHOWN = ("pressures", "engine speed", "air flow", "trims")


async def show(bench: Bench, job: int) -> None:
    """The page."""
    case = CaseFile(bench, job, await asyncio.to_thread(bench.store.events, job))
    with page(bench, f"Job {job}: the car on the line", draws="next"):
        Line(bench, case).show()


def adapter_said(values: Values) -> tuple[Adapter, float]:
    """The adapter with its bit rate, and the pace; what cannot be is told at its field."""
    named, rate = one(values, "adapter"), one(values, "rate")
    with at_field("adapter"):
        adapter = adapter_of(named)
    with at_field("rate"):
        adapter = adapter_of(named, rate or None)
    with at_field("pace"):
        return adapter, amount_of("pace", one(values, "pace") or None) or 1.0


class Line:
    """One browser's look at the line to the car."""

    def __init__(self, bench: Bench, case: CaseFile) -> None:
        self.bench, self.case = bench, case
        self.weighed_at = time.monotonic()
        self.took = 0.0
        self.drawn = -1.0

    @property
    def session(self) -> Session | None:
        """The car that was found, for all pages."""
        return self.bench.line

    def show(self) -> None:
        """Everything on it."""
        link(f"Back to job {self.case.job}", f"/job/{self.case.job}", "back")
        heading(1, "The car on the line")
        say(
            "An adapter for CAN at the car's diagnostic plug. It asks what cars must answer by law, and changes "
            "nothing in the car unless you clear its codes."
        )
        with Mark("section", classes="care", aria_label="Take care"):
            heading(2, "Take care")
            lines(CAUTIONS)
        self.place = Mark("div")
        self._draw()

    def _draw(self) -> None:
        self.place.clear()
        with self.place:
            if self.session is None:
                self._finding()
            else:
                self._found(self.session)

    def _finding(self) -> None:
        async def look(values: Values) -> None:
            adapter, pace = adapter_said(values)
            self.bench.line = await asyncio.to_thread(find_car, adapter, pace)
            self._draw()

        async def look_around() -> None:
            here = await asyncio.to_thread(adapters_here)  # drivers take their time, some seconds in all
            seen.write(f"This computer shows: {', '.join(here)}." if here else "This computer shows none by itself.")
            if here:
                adapter.props["defaultValue"] = here[0]  # what somebody has typed meanwhile stays
                adapter.update()

        with Form(look, send="Find the car"):
            adapter = field("Adapter", "adapter", hint="Kind and channel, as gs_usb:0.", required=True)
            seen = say("Looking for those that this computer shows.", "soft")
            ui.timer(0.0, look_around, once=True)
            with folded("More about it"):
                field("Bit rate", "rate", hint="Left out, it is found by listening first.", inputmode="numeric")
                field("Pace", "pace", "1", hint="With a stand-in: its seconds in one.", inputmode="decimal")
        with folded("Nothing answers?"):
            lines(NOTHING_ANSWERS)

    def _found(self, session: Session) -> None:
        for part in found_in_words(session.found):
            lines(map(self.case.words, part.lines))
        button("Let go of the car", self._let_go, "quiet small")
        self._reading(session)
        heading(2, "Record")
        self.controls = Mark("div")
        self._controls()
        self.line = say("", "news", role="status")
        self.missing = Mark("div")
        self.plot: Drawing | None = None
        self.traces = Mark("div")
        self.verdict = Mark("section", classes="answer", aria_label="The answer so far")
        self.verdict.set_visibility(False)
        self._clearing(session)
        ui.timer(LOOK_S, self._look)

    async def _let_go(self) -> None:
        if self.session is not None and self.session.recording:
            await self._stop()
        self.bench.line = None
        self._draw()

    # Reading out

    def _reading(self, session: Session) -> None:
        heading(2, "What the car says")
        place = Mark("div")

        async def read(_: Values) -> None:
            readout = await asyncio.to_thread(session.read_out)
            await self._keep_facts(readout)
            place.clear()
            with place, folded(f"What it said: {len(self.case.state.codes)} codes, and all that stands with them"):
                for part in readout_in_words(readout, self.bench.known):
                    heading(3, part.heading)
                    lines(map(self.case.words, part.lines))

        with Form(read, send="Read codes, freeze frames and readiness into the job"):
            say("Before anything is cleared or unplugged. Nothing is changed by it.", "soft")

    async def _keep_facts(self, readout: Readout) -> None:
        heard = read_from_car(readout, self.case.state, self.bench.known)
        await self.case.add(heard.drafts, " ".join(["It is in the job.", *(f"{one}." for one in heard.remarks)]))

    # Recording

    def _controls(self) -> None:
        session = self.session
        self.controls.clear()
        if session is None:
            return
        with self.controls:
            if session.recording:
                button("Stop, and keep it in the job", self._told(self._stop))
                button("Mark this moment", self._mark, "quiet")
            else:
                button("Begin to record", self._told(self._begin))
            self.alert = Mark("p", role="alert", classes="wrong")

    def _told(self, act: Callable[[], Awaitable[None]]) -> Callable[[], Awaitable[None]]:
        async def carry_out() -> None:
            try:
                await act()
            except AirproofError as fault:
                self.alert.write(in_words(fault))
            except Exception as fault:  # the recording goes on, and its file is whole
                self.alert.write(reported(fault))

        return carry_out

    async def _begin(self) -> None:
        session = self.session
        assert session is not None
        weighed = self.bench.weighed(self.case.job, self.case.state)
        probability = None
        if weighed is not None:
            probability = {cause.id: cause.probability for cause in weighed.weighing.verdict.causes}
        await asyncio.to_thread(session.begin, self.bench.folder / FOLDER, probability)
        self._controls()

    def _mark(self) -> None:
        if self.session is not None and self.session.recorder is not None:
            self.session.recorder.mark("marked")
            self.case.aloud("Marked.")

    async def _stop(self) -> None:
        session = self.session
        assert session is not None
        path = await asyncio.to_thread(session.end)
        self._controls()
        if path is None or session.status is None or not session.status.rows:
            raise UnusableRequest("nothing was recorded", "answers of the car", "Is its key on?")
        await self.case.follow(aloud_=False)
        await asyncio.to_thread(
            append_with,
            self.bench.store,
            self.case.job,
            [],
            [("car", path)],
            seen=self.case.seen,
            author=self.bench.speaker,
        )
        ui.navigate.to(f"/job/{self.case.job}#weighing")

    async def _look(self) -> None:
        session = self.session
        if session is None or session.status is None:
            return
        status = session.status
        if session.fault:
            self.alert.write(session.fault)
        self.line.write(status_in_a_line(status))
        if status.at_s - self.drawn >= 1.0 and session.recording:
            self.drawn = status.at_s
            self._trace(session)
            self._still_missing(session)
        if session.recording and time.monotonic() - self.weighed_at > max(VERDICT_S, self.took / SHARE_OF_TIME):
            await self._weigh(session)

    def _still_missing(self, session: Session) -> None:
        assert session.status is not None
        self.missing.clear()
        with self.missing:
            lines(f"{one_.now}: {one_.why}" for one_ in session.status.missing[:3])

    def _trace(self, session: Session) -> None:
        recording = session.lately(SHOWN_S)
        if not recording.signals:
            return
        groups = tuple(name for name in groups_of(recording) if name in SHOWN) or groups_of(recording)[:3]
        end = recording.end_s
        wish = self.bench.settings.wish(self.case.barometer_kpa)
        view = View((end - SHOWN_S, end), groups, wish=wish, dark=self.bench.settings.look == "dark")
        drawn = figure(Seen(recording, Regimes({}, None)), view)
        if self.plot is None:
            with self.traces:
                told = "Live traces; how the recording stands is told above in words."
                self.plot = Drawing(drawn, told)
        else:
            self.plot.redraw(drawn)

    async def _weigh(self, session: Session) -> None:
        """The verdict on the job with what has been recorded so far."""
        self.weighed_at = began = time.monotonic()
        recorder = session.recorder
        assert recorder is not None

        def so_far() -> Any:
            recording = read_recording(recorder.path)
            return weigh_job(self.bench.store, self.case.job, self.bench.known, self.bench.prices, beside=[recording])

        try:
            weighed = await asyncio.to_thread(so_far)
        except AirproofError:  # too little yet, or no engine: the page of the job says which
            return
        self.took = time.monotonic() - began
        self.verdict.clear()
        self.verdict.set_visibility(True)
        with self.verdict:
            for text in answer(weighed.weighing.verdict):
                say(self.case.words(text))
            say("So far; it is weighed anew while you record.", "soft")

    # Clearing

    def _clearing(self, session: Session) -> None:
        async def clear(values: Values) -> None:
            if [one(values, "first").lower(), one(values, "second").lower()] != ["clear", "clear"]:
                fault = UnusableRequest(
                    "it was not asked for twice", "the word clear, in both fields", "Nothing was cleared."
                )
                raise AtField(fault, "second" if one(values, "first").lower() == "clear" else "first")
            if session.recording:
                raise UnusableRequest("a recording is under way", "none", "Stop it first.")
            cleared, after = await asyncio.to_thread(self._clear, session)
            place.clear()
            with place:
                for part in cleared_in_words(cleared, after):
                    lines(map(self.case.words, part.lines))

        heading(2, "Clear the codes")
        with folded("After the repair, when everything readable is in the job"):
            for part in before_clearing():
                heading(3, part.heading)
                lines(map(self.case.words, part.lines))
            with Form(clear, send="Read out, save, and clear"):
                field("Type clear", "first", required=True)
                field("And once more", "second", required=True)
            place = Mark("div")

    def _clear(self, session: Session) -> Any:
        folder = self.bench.folder / "readouts"
        folder.mkdir(exist_ok=True, mode=0o700)
        saved = folder / f"job-{self.case.job}-{datetime.now(UTC):%Y%m%d-%H%M%S}.json"
        with closing(session.found.connect(session.clock)) as link_:
            clearing = Clearing(link_, session.found)
            before = read_out(link_, session.found)
            saved.write_text(readout_as_json(before) + "\n", encoding="utf-8")
            drafts = read_from_car(before, self.bench.store.state(self.case.job), self.bench.known).drafts
            if drafts:
                self._append(drafts)
            clearing.saved(saved)
            clearing.confirm()
            clearing.confirm()
            cleared = clearing.carry_out()
            says = "Codes cleared" if cleared.all_of_them else "Not all control units cleared their codes"
            note = Draft("note", Note(text=f"{says}. All that was read before is in {saved}."))
            self._append([note, *([Draft("cleared", Cleared())] if cleared.all_of_them else [])])
            return cleared, read_again(link_, session.found)

    def _append(self, drafts: Sequence[Draft]) -> None:
        store, job = self.bench.store, self.case.job
        append_beside(store, job, drafts, seen=store.last_event(job), author=self.bench.speaker)
