"""Who, what car, and what its owner says."""

from __future__ import annotations

from dataclasses import replace

from airproof.jobs.adding import in_place
from airproof.jobs.overview import car_in_words
from airproof.knowledge.vin import doubts_of
from airproof.web.case import intake
from airproof.web.case.fact import facts
from airproof.web.case.file import CaseFile
from airproof.web.marks import Form, Values, folded, heading, lines, say


def head(case: CaseFile) -> None:
    """The title, and whether the job is done."""
    car = case.state.car
    who = ", ".join(part for part in (car_in_words(case.state), car.plate, car.owner) if part)
    heading(1, f"Job {case.job}" + (f": {who}" if who else ""))
    if case.state.closed is not None:
        closed = case.state.closed.payload
        cause = case.bench.known.causes.get(closed.cause)
        say(f"Closed: {cause.title if cause else closed.cause} ({closed.standing}).", "news")


def complaint(case: CaseFile) -> None:
    """The complaint, the car, the place: as they stand, and to be said or corrected."""
    heading(2, "The complaint")
    said = case.state.complaint
    text = said.payload.text if said is not None else ""
    if text:
        with_lines = [line for line in text.splitlines() if line.strip()]
        for line in with_lines:
            say(line)
    else:
        say("Nothing is written down yet.", "soft")
    facts(case, ("symptom", "condition", "history"))

    async def add_complaint(values: Values) -> None:
        drafts = intake.complaint_drafts(case.bench, values, text)
        if said is not None:
            drafts = [replace(d, corrects=said.number) if d.kind == "complaint" else d for d in drafts]
        drafts += intake.noted_drafts(case.bench, values, ("condition", "history"))
        await case.add(in_place(drafts, case.state))

    with folded("Write down or correct the complaint"), Form(add_complaint, send="Keep"):
        intake.complaint_fields(case.bench, text)
        with folded("When it is there"):
            intake.noted_ticks(case.bench.known, "condition", "Tick what fits")
        with folded("What was done to the car before"):
            intake.noted_ticks(case.bench.known, "history", "Tick what fits")
    _car(case)


def _car(case: CaseFile) -> None:
    state = case.state
    heading(3, "Car and engine")
    facts(case, ("car", "engine", "place"))
    lines(doubts_of(state.car.vin or ""), "soft")
    if state.engine is None:
        say("The engine is not known yet: nothing can be weighed before it is.", "news")

    async def keep(values: Values) -> None:
        drafts = intake.car_drafts(values, state.car)
        drafts += [d for d in intake.engine_drafts(values) if state.engine is None or d.payload != state.engine.payload]
        drafts += intake.place_drafts(values, state.place)
        await case.add(drafts)

    with (
        folded("Say more about car, engine and place", opened=state.engine is None),
        Form(keep, send="Keep"),
    ):
        intake.engine_fields(state.engine.payload if state.engine is not None else None)
        intake.place_fields(case.bench.settings.altitude, state.place)
        intake.car_fields(state.car)
