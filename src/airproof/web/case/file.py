"""The case file: one page for one job, which follows what others add and what is worked out meanwhile."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field

from nicegui import Client, background_tasks, ui

from airproof.diagnosis.conditions import air_kpa
from airproof.diagnosis.place_as_typed import the_barometer
from airproof.diagnosis.weighing import Barometer
from airproof.errors import AirproofError
from airproof.jobs.beside import append_beside
from airproof.jobs.events import Draft, Event
from airproof.jobs.left_to_do import left_to_do
from airproof.jobs.state import State, state_of
from airproof.jobs.trouble import ChangedMeanwhile
from airproof.jobs.weighing import Weighed
from airproof.report.in_words import answer
from airproof.report.job_in_words import fact_in_words
from airproof.web.bench import Bench
from airproof.web.faults import reported
from airproof.web.frame import aloud, hear, page
from airproof.web.jobs_page import title_of
from airproof.web.marks import Mark, button, in_words, say
from airproof.web.work import Stopped

LOOK_S = 1.0
"""How often a page asks whether its job has moved on."""

WITH_ITS_PLAN_S = 0.1
"""A verdict whose plan follows within this time is shown with it, in one go."""

NAMED = 3
REACHED = ("verdict", "proof")
"""What the program itself puts into a job: nobody has said anything by it."""


def the_day(state: State, weighed: Weighed | None) -> Barometer | None:
    """What is known of the air outside where a job is."""
    if weighed is not None:
        return weighed.weighing.barometer
    return the_barometer(state.place.altitude, state.place.barometer)


@dataclass
class CaseFile:
    """One job as one browser sees it; its parts are drawn anew when what they show has changed."""

    bench: Bench
    job: int
    events: list[Event]
    parts: list[Part] = field(default_factory=list)
    weighed: Weighed | None = None
    trouble: str = ""
    gone: bool = False
    told: bool = False
    client: Client = field(default_factory=lambda: ui.context.client)

    def __post_init__(self) -> None:
        self.state: State = state_of(self.events)

    @property
    def seen(self) -> int:
        """The number of the last event that this page shows."""
        return len(self.events)

    @property
    def kept_back(self) -> bool:
        """Whether verdict and plan are kept back: of a job to practise on, until somebody asks for them."""
        return self.state.rehearsed is not None and not self.told

    def tell(self) -> None:
        """Keep nothing back any more on this page."""
        self.told = True
        self.redraw("weighing")
        self.redraw("plan")
        self._hear_it()

    @property
    def barometer_kpa(self) -> float | None:
        """The air outside where this job is, kPa absolute, if it is known."""
        return air_kpa(the_day(self.state, self.weighed))

    def words(self, text: str) -> str:
        """A sentence of ours in the units that the user likes; a vacuum is counted from the air of this job."""
        return self.bench.words(text, self.barometer_kpa)

    def aloud(self, text: str) -> None:
        """Say something aloud on this page; the part from which it is said may be gone by then."""
        with self.client:
            aloud(text)

    def hear(self, text: str) -> None:
        """Say what has come on this page, for those who only hear it."""
        with self.client:
            hear(text)

    def part(self, draw: Callable[[CaseFile], None], *, on: str, of: Collection[str] = ()) -> None:
        """A part of the page; `on` is "facts", "weighing" or "plan", whatever it is drawn from; `of` are the kinds of
        facts that it shows, none meaning all. Forms are no part of it: what somebody types stays when others add.
        """
        part = Part(draw, on, Mark("div"), frozenset(of))
        self.parts.append(part)
        part.redraw(self)

    def redraw(self, on: str, of: Collection[str] = ()) -> None:
        """Draw all parts anew that show this."""
        for part in self.parts:
            if part.on == on and (not of or not part.of or not part.of.isdisjoint(of)):
                part.redraw(self)

    async def add(self, drafts: Sequence[Draft], done: str = "Kept.") -> None:
        """Add what was said on this page; where others spoke of the same thing meanwhile, nothing is written.

        Raises errors of ours for the form to tell.
        """
        if not drafts:
            self.aloud("Nothing is new in that.")
            return
        try:
            with self.bench.adding_on(self.client.id) as added:
                new, _ = await asyncio.to_thread(
                    append_beside, self.bench.store, self.job, drafts, seen=self.seen, author=self.bench.speaker
                )
                added(new)
        except ChangedMeanwhile as other:
            told = "; ".join(map(self._told, other.events[:NAMED]))
            raise ChangedMeanwhile(
                f"somebody else spoke of the same thing meanwhile ({told})",
                "a look at it first",
                "It is shown above now. Say again what still holds; nothing of yours was written.",
                events=other.events,
            ) from other
        finally:
            await self.follow(aloud_=False)
        self.aloud(done)

    async def follow(self, *, aloud_: bool = True) -> None:
        """Show what has been added since this page was drawn, by whomever."""
        new = await asyncio.to_thread(self.bench.store.events, self.job, self.seen)
        new = [event for event in new if event.number > self.seen]
        own = self.bench.own_on(self.client.id)
        if not new or own is None:  # what is just being added here is shown at the next look
            return
        self.events += new
        before, self.state = self.state, state_of(self.events)
        if left_to_do(before) != left_to_do(self.state):
            self.redraw("plan")
        facts = [event for event in new if event.kind not in REACHED]
        if not facts:
            return
        self.redraw("facts", self._kinds(facts))
        others = [event for event in facts if event.number not in own]
        if aloud_ and others:
            self.aloud(f"Added meanwhile: {'; '.join(map(self._told, others[:NAMED]))}")
        if any(part.on == "weighing" for part in self.parts):
            background_tasks.create(self.weigh(), name=f"weighing job {self.job}")

    def _told(self, event: Event) -> str:
        """What somebody said, in short."""
        if event.withdraws is not None:
            return f"fact {event.withdraws} taken back by {event.author}"
        return self.words(f"{fact_in_words(event.kind, event.payload, self.bench.known)} (by {event.author})")

    def _kinds(self, events: Sequence[Event]) -> set[str]:
        """The kinds of what these events say, correct or take back."""
        touched = {n for event in events for n in (event.number, event.corrects, event.withdraws) if n is not None}
        return {event.kind for event in self.events if event.number in touched}

    async def weigh(self) -> None:
        """Weigh the job as it stands, and show it: the verdict by itself, where its plan takes longer."""
        self._in_trouble("")
        if self.state.engine is None:  # said where the answer would stand
            self._show(None)
            return
        late: list[asyncio.TimerHandle] = []

        def judged(found: Weighed) -> None:
            late.append(asyncio.get_running_loop().call_later(WITH_ITS_PLAN_S, self._show, found))

        try:
            found = self.bench.weighed(self.job, self.state)
            if found is None:
                self.redraw("work")
                found = await self.bench.weigh(self.job, judged)
        except Stopped:
            found = self.weighed
            self._in_trouble("The weighing was stopped. What is shown below is from before.")
        except AirproofError as fault:
            found = None
            self._in_trouble(in_words(fault))
        except Exception as fault:  # the facts are still there to be read and corrected
            found = self.weighed
            self._in_trouble(reported(fault))
        for one in late:
            one.cancel()
        self._show(found)

    def _show(self, found: Weighed | None) -> None:
        """Show what was found; a verdict that is shown already stays as it is, with what was unfolded in it."""
        shown, self.weighed = self.weighed, found
        self.redraw("work")
        if found is None or shown is None or shown.weighing is not found.weighing:
            self.redraw("weighing")
            self._hear_it()
        self.redraw("plan")

    def _hear_it(self) -> None:
        """Say the answer for those who only hear it, if there is one and it is not kept back."""
        if self.weighed is not None and not self.kept_back:
            self.hear(f"Weighed. {' '.join(map(self.words, answer(self.weighed.weighing.verdict)))}")

    def _in_trouble(self, words: str) -> None:
        """Say so, but never over it that the job is gone: a weighing may end after that was seen."""
        if not self.gone:
            self.trouble = words

    async def look(self) -> None:
        """Ask whether the job has moved on; cheap enough to be asked every second."""
        if self.gone:
            return
        try:
            last = await asyncio.to_thread(self.bench.store.last_event, self.job)
        except AirproofError:
            self._in_trouble("This job is not here any more: somebody has deleted it. Nothing more can be added to it.")
            self.gone = True
            self.bench.waiting.forget_job(self.job)
            self.redraw("work")
            return
        if last > self.seen:
            await self.follow()


@dataclass
class Part:
    """A part of a page and how it is drawn."""

    draw: Callable[[CaseFile], None]
    on: str
    place: Mark
    of: frozenset[str] = frozenset()

    def redraw(self, case: CaseFile) -> None:
        """Draw it anew in its place."""
        self.place.clear()
        with self.place:
            self.draw(case)


async def show(bench: Bench, job: int) -> None:
    """The page of one job."""
    from airproof.web.case import close, done, heard, history, next_step, proof, recordings, told, weighing

    events = await asyncio.to_thread(bench.store.events, job)
    line = await asyncio.to_thread(bench.store.line, job)
    case = CaseFile(bench, job, events)
    case.weighed = bench.weighed(job, case.state)
    with page(bench, title_of(line), draws="next"):
        case.part(told.head, on="facts", of=("car", "closed", "reopened"))
        case.part(weighing.answer_in_short, on="plan")
        case.part(_at_work, on="work")
        told.show(case)
        heard.show(case)
        recordings.show(case)
        case.part(weighing.show, on="weighing")
        case.part(next_step.show, on="plan")
        done.show(case)
        proof.show(case)
        close.show(case)
        case.part(history.show, on="facts")
    ui.timer(LOOK_S, case.look)
    if case.weighed is None:
        ui.timer(0.0, case.weigh, once=True)


def _at_work(case: CaseFile) -> None:
    """The weighing under way, with its progress, to be stopped."""
    work = case.bench.at_work(case.job)
    if case.trouble:
        say(f"{case.trouble[0].upper()}{case.trouble[1:]}", "news", role="status")
    if work is None:
        return
    with Mark("div", classes="news", role="status"):
        if work.share == 1.0:  # judged: from here on there is no way back
            say("The next step is being reckoned ...")
            return
        say("Weighing what is there ...")
        bar = Mark("progress", max=1, value=0, aria_label="How much has been weighed")
        button("Stop", work.call_off, "quiet small")

    def move() -> None:
        bar.props["value"] = work.share

    ui.timer(0.3, move)
