"""One recording: its traces, what was found in it and where, what was read of it, and headings put right by hand."""

from __future__ import annotations

import asyncio
import contextlib
import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from nicegui import ui

from airproof.diagnosis.conditions import air_kpa
from airproof.diagnosis.course import SWITCHING
from airproof.diagnosis.place_as_typed import the_barometer
from airproof.diagnosis.weighing import Weighing
from airproof.errors import AirproofError, UnusableRequest
from airproof.jobs.events import Draft
from airproof.jobs.kinds import Recording as RecordingFact
from airproof.jobs.kinds import payload_of
from airproof.jobs.state import Fact, State, state_of
from airproof.recording.mapping import MappedSignal, SignalMap
from airproof.recording.recording import Interval, Recording
from airproof.recording.regimes import find_regimes
from airproof.recording.signals import glossary
from airproof.report.trace import AT_FIRST, Seen, View, figure, groups_of, key
from airproof.report.wording import clock, duration, for_a_page, sentence, signals
from airproof.web.bench import Bench
from airproof.web.case.file import CaseFile, the_day
from airproof.web.drawing import Drawing, set_it_up
from airproof.web.frame import hear, is_dark, page
from airproof.web.marks import (
    Form,
    Mark,
    Values,
    at_field,
    button,
    choice,
    field,
    folded,
    heading,
    lines,
    link,
    one,
    say,
    ticks,
)
from airproof.web.work import Stopped

AROUND = 0.15
"""Of a stretch that is looked at, shown to either side."""

NOT_ONE = ""
BY_ITSELF = 3
"""Places of a finding that have a button each."""


async def show(bench: Bench, job: int, sha256: str, asked: Mapping[str, str]) -> None:
    """The page of one recording; `asked` may hold from and to, s."""
    state = state_of(await asyncio.to_thread(bench.store.events, job))
    fact = state.recordings.get(sha256)
    if fact is None:
        raise UnusableRequest(f"job {job} has no such recording", "one that its page names", "Go back to the job.")
    with page(bench, fact.payload.name, draws="here"):
        ui.query("body").classes("wide")
        link(f"Back to job {job}", f"/job/{job}#weighing", "back")
        heading(1, fact.payload.name)
        with Mark("div") as place:
            say("Reading ...", "soft", role="status")

        async def draw() -> None:
            dark = await is_dark(bench)
            set_it_up()
            viewer = await asyncio.to_thread(_viewer, bench, job, state, fact, dark)
            place.clear()
            with place:
                viewer.show(asked)

        ui.timer(0.0, draw, once=True)


def _viewer(bench: Bench, job: int, state: State, fact: Fact[RecordingFact], dark: bool = False) -> Viewer:
    recording = _signals(bench, state, fact)
    engine = state.engine.payload.engine if state.engine else None
    held = bench.weighed(job, state) if _alone(state, fact) else None
    if held is not None:
        seen = _found_in(recording, held.weighing)
    else:
        seen = Seen(recording, find_regimes(recording, idle_rpm=engine.idle_rpm if engine else None))
    return Viewer(bench, job, state, fact, seen, dark)


def _alone(state: State, fact: Fact[RecordingFact]) -> bool:
    """Whether what the weighing finds is of this recording and no other."""
    cars = [one.payload.sha256 for one in state.recordings_as("car")]
    return state.engine is not None and cars == [fact.payload.sha256]


def _found_in(recording: Recording, weighing: Weighing) -> Seen:
    return Seen(recording, weighing.regimes, weighing.traces, weighing.verdict.findings)


def _signals(bench: Bench, state: State, fact: Fact[RecordingFact]) -> Recording:
    day = the_barometer(state.place.altitude, state.place.barometer)
    one_ = fact.payload
    return bench.store.shelf.signals(one_.sha256, one_.name, one_.signals, None if day is None else day.kpa)


class Viewer:
    """The traces of one recording, as one browser looks at them."""

    def __init__(
        self, bench: Bench, job: int, state: State, fact: Fact[RecordingFact], seen: Seen, dark: bool = False
    ) -> None:
        self.bench, self.job, self.state, self.fact, self.seen = bench, job, state, fact, seen
        recording = seen.recording
        self.whole: Interval = (recording.start_s, max(recording.end_s, recording.start_s + 1.0))
        self.barometer_kpa = air_kpa(the_day(state, bench.weighed(job, state)))
        wish = bench.settings.wish(self.barometer_kpa)
        groups = groups_of(recording)
        self.view = View(self.whole, groups[:AT_FIRST], wish=wish, dark=dark)

    def words(self, text: str) -> str:
        """A sentence of ours in the units that the user likes."""
        return self.bench.words(text, self.barometer_kpa)

    def show(self, asked: Mapping[str, str]) -> None:
        """The whole of it."""
        recording = self.seen.recording
        long = f"{duration(recording.duration_s)}, {signals(len(recording.signals))}"
        say(f"{long}. With a mouse, draw across the picture to come closer; a tap shows the values there.")
        asked_window = _asked(asked)
        if asked_window is not None:
            self.view = replace(self.view, window=self._around(asked_window), marked=(asked_window,))
        self.laid_over = say("", "soft")
        other = self.state.recordings.get(asked.get("over", ""))
        if other is not None:
            self.view = replace(self.view, over=_signals(self.bench, self.state, other))
            self.laid_over.write(f"Broad grey lines: {other.payload.name}.")
        told = "Traces over time; what was found in them is listed below in words."
        self.plot = Drawing(figure(self.seen, self.view), told)
        # What zooming asks for comes as one of two forms; anything else it says is not for us.
        self.plot.on("looked", self._zoomed, throttle=0.15, leading_events=False)
        with Mark("div"):
            button("Show all of it", lambda: self._look(self.whole), "quiet")
            button("Earlier", lambda: self._move(-0.5), "quiet")
            button("Later", lambda: self._move(0.5), "quiet")
            button("Closer", lambda: self._scale(0.5), "quiet")
            button("Farther", lambda: self._scale(2.0), "quiet")
        with folded("Which line is which", opened=True):
            self.key = Mark("div")
        self._tell_key()
        self._choose()
        self.found = Mark("div")
        self._found()
        _what_was_read(self)
        if not self.seen.relations and _alone(self.state, self.fact):
            ui.timer(0.05, self._weigh, once=True)

    async def _weigh(self) -> None:
        """What the weighing finds in it comes after the traces, which are there at once."""
        with contextlib.suppress(AirproofError, Stopped):  # its own page says what is wrong with that
            weighing = (await self.bench.weigh(self.job)).weighing
            self.seen = _found_in(self.seen.recording, weighing)
            self._tell_key()
            self._draw()
            count = self._found()
            hear(f"{count} things are not as on a healthy engine." if count else "All is as on a healthy engine.")

    def _tell_key(self) -> None:
        self.key.clear()
        with self.key:
            lines(key(self.seen, self.view))

    def _choose(self) -> None:
        async def chosen(values: Values) -> None:
            groups = tuple(name for name in groups_of(self.seen.recording) if name in values.get("groups", []))
            if not groups:
                raise UnusableRequest("no signal was chosen", "one at least", "Tick what you want to see.")
            other = self.state.recordings.get(one(values, "over"))
            over = None if other is None else await asyncio.to_thread(_signals, self.bench, self.state, other)
            with at_field("shift"):
                shift_s = _seconds(one(values, "shift"))
            self.view = replace(self.view, groups=groups, over=over, shift_s=shift_s)
            self._tell_key()
            self.laid_over.write("" if other is None else f"Broad grey lines: {other.payload.name}.")
            self._draw()

        others = {sha: f.payload.name for sha, f in self.state.recordings.items() if sha != self.fact.payload.sha256}
        with folded("Which signals, and another recording laid over"), Form(chosen, send="Show these"):
            with Mark("div", classes="many"):
                names = {name: name for name in groups_of(self.seen.recording)}
                ticks("Signals", "groups", names, self.view.groups)
            if others:
                choice("Lay over it", "over", {NOT_ONE: "no other", **others})
                field("Move that one by, s", "shift", "0", inputmode="decimal")

    def _found(self) -> int:
        """What is odd, in words; how much of it."""
        odd = [f for f in self.seen.findings if f.unexpected and (f.unit or f.id == SWITCHING) and f.intervals]
        self.found.clear()
        if not odd:
            return 0
        with self.found:
            heading(2, "What is not as on a healthy engine")
        with self.found, Mark("ul", classes="evidence"):
            for finding in odd:
                with Mark("li"):
                    say(sentence(self.words(finding.says)))
                    for told, intervals in shown_by(finding.intervals):
                        button(told, self._shower(intervals), "quiet small")
        return len(odd)

    def _shower(self, intervals: tuple[Interval, ...]) -> Any:
        def look() -> None:
            self.view = replace(self.view, marked=intervals)
            self._look(self._around((intervals[0][0], intervals[-1][1])))

        return look

    def _around(self, stretch: Interval) -> Interval:
        more = max(AROUND * (stretch[1] - stretch[0]), 2.0)
        return max(stretch[0] - more, self.whole[0]), min(stretch[1] + more, self.whole[1])

    def _zoomed(self, event: Any) -> None:
        said = event.args if isinstance(event.args, dict) else {}
        pair = said.get("xaxis.range") or [said.get("xaxis.range[0]"), said.get("xaxis.range[1]")]
        if said.get("xaxis.autorange"):
            self._look(self.whole)
        elif all(isinstance(edge, (int, float)) for edge in pair):
            self._look((float(pair[0]), float(pair[1])))

    def _move(self, share: float) -> None:
        start, end = self.view.window
        by = share * (end - start)
        self._look((start + by, end + by))

    def _scale(self, by: float) -> None:
        start, end = self.view.window
        middle, half = (start + end) / 2.0, by * (end - start) / 2.0
        self._look((middle - half, middle + half))

    def _look(self, window: Interval) -> None:
        """Look at a window, kept within the recording."""
        length = min(max(window[1] - window[0], 0.5), self.whole[1] - self.whole[0])
        start = min(max(window[0], self.whole[0]), self.whole[1] - length)
        window = (start, start + length)
        if window != self.view.window:
            self.view = replace(self.view, window=window)
        self._draw()

    def _draw(self) -> None:
        self.plot.redraw(figure(self.seen, self.view))


def shown_by(intervals: tuple[Interval, ...]) -> list[tuple[str, tuple[Interval, ...]]]:
    """What can be shown of the places of a finding: each by itself, or all of many at once."""
    if len(intervals) <= BY_ITSELF:
        return [(f"Show {clock(start)} to {clock(end)}", ((start, end),)) for start, end in intervals]
    return [(f"Show {clock(intervals[0][0])} to {clock(intervals[-1][1])}, {len(intervals)} places", intervals)]


def _seconds(typed: str) -> float:
    try:
        seconds = float(typed.replace(",", ".") or "0")
    except ValueError:
        seconds = math.nan
    if not math.isfinite(seconds):
        raise UnusableRequest(f"{typed[:20]!r}", "seconds, as a number", "Such as -3.5.")
    return seconds


def _asked(asked: Mapping[str, str]) -> Interval | None:
    try:
        start, end = float(asked["from"]), float(asked["to"])
    except (KeyError, ValueError):
        return None
    return (start, end) if math.inf > end > start >= 0.0 else None


def _what_was_read(viewer: Viewer) -> None:
    """Column by column, what each was taken for; and to put it right."""
    report = viewer.seen.recording.report
    heading(2, "What was read")
    for remark in report.remarks:
        say(sentence(viewer.words(remark)), "soft")
    if report.guessed:
        say(f"Units the file does not state were guessed: {', '.join(report.guessed)}. Put right below what is wrong.")
    for column in report.without_unit:
        say(f"{column.heading}: left out. {sentence(column.says.partition(';')[0])} State its unit below.")
    if not report.columns:
        return
    signals = {NOT_ONE: "left out", **{n: kind.title for n, kind in glossary().signals.items() if n != "time"}}

    async def put_right(values: Values) -> None:
        await _put_right(viewer, values)

    with folded(f"All {len(report.columns)} columns"), Mark("div", classes="scroll"), Mark("table"):
        with Mark("thead"), Mark("tr"):
            for title in ("Heading", "Taken as", "How"):
                Mark("th", title, scope="col")
        with Mark("tbody"):
            for column in report.columns:
                with Mark("tr"):
                    Mark("td", column.heading)
                    known = glossary().signals.get(column.signal or "")
                    Mark("td", f"{known.title}, {column.unit}" if known else "left out")
                    Mark("td", for_a_page(column.says))
    with folded("Put a heading or unit right", id="headings"), Form(put_right, send="Read it so from now on"):
        say("Files with the same headings are read so too.", "soft")
        choice("Heading", "heading", {c.heading: c.heading for c in report.columns})
        choice("It is", "signal", signals)
        field("Its unit", "unit", hint="Such as kPa, psi gauge, degF, g/s; leave it out where the file says it.")


async def _put_right(viewer: Viewer, values: Values) -> None:
    heading_, signal, unit = one(values, "heading"), one(values, "signal"), one(values, "unit")
    if not signal:
        raise UnusableRequest("no signal", "what the column is", "Choose one; a column that is none needs nothing.")
    before = viewer.fact.payload.signals or SignalMap()
    rows = {name: row for name, row in before.signals.items() if row.heading != heading_}
    rows[signal] = MappedSignal(heading=heading_, unit=unit or None)
    mapping = SignalMap(signals=rows, rate_hz=before.rate_hz, source="this page")
    with at_field("unit"):
        mapping.check()
    bench, fact = viewer.bench, viewer.fact
    day = the_barometer(viewer.state.place.altitude, viewer.state.place.barometer)
    read = await asyncio.to_thread(
        bench.store.shelf.signals, fact.payload.sha256, fact.payload.name, mapping, None if day is None else day.kpa
    )
    data = fact.payload.model_dump(exclude_unset=True) | {
        "signals": mapping.model_dump(mode="json"),
        "holds": sorted(read),
        "seconds": read.duration_s,
    }
    case = CaseFile(bench, viewer.job, await asyncio.to_thread(bench.store.events, viewer.job))
    await case.add([Draft("recording", payload_of("recording", data), corrects=fact.number)])
    headings = [column.heading for column in viewer.seen.recording.report.columns]
    bench.like(bench.settings.with_map(headings, mapping))
    ui.navigate.to(f"/job/{viewer.job}/recording/{fact.payload.sha256}")
