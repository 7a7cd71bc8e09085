"""Who, what car, and what its owner says."""

from __future__ import annotations

from dataclasses import replace

from airproof.jobs.in_place import in_place
from airproof.jobs.kinds import UNREADABLE
from airproof.jobs.overview import car_in_words
from airproof.jobs.prepared import NOTE
from airproof.knowledge.vin import doubts_of
from airproof.report.wording import sentence
from airproof.web.case import intake
from airproof.web.case.fact import facts
from airproof.web.case.file import CaseFile
from airproof.web.marks import Values, folded_form, folded_later, heading, lines, say

TOLD = ("complaint", "symptom", "condition", "history")
THE_CAR = ("car", "engine", "place")


def head(case: CaseFile) -> None:
    """The title, and whether the job is done."""
    car = case.state.car
    who = ", ".join(part for part in (car_in_words(case.state), car.plate, car.owner) if part)
    heading(1, f"Job {case.job}" + (f": {who}" if who else ""))
    if any(note.payload.text == NOTE for note in case.state.notes):
        say(NOTE, "soft")
    if case.state.closed is not None:
        closed = case.state.closed.payload
        cause = case.bench.known.causes.get(closed.cause)
        say(f"Closed: {cause.title if cause else closed.cause} ({closed.standing}).", "news")


def show(case: CaseFile) -> None:
    """The complaint, the car, the place: as they stand, and to be said or corrected."""
    case.part(_unreadable, on="facts", of=(UNREADABLE,))
    heading(2, "The complaint")
    case.part(_complaint, on="facts", of=TOLD)

    async def keep(values: Values) -> None:
        said = case.state.complaint
        drafts = intake.complaint_drafts(case.bench, values, "" if said is None else said.payload.text)
        if said is not None:
            drafts = [replace(d, corrects=said.number) if d.kind == "complaint" else d for d in drafts]
        drafts += intake.noted_drafts(case.bench, values, ("condition", "history"))
        await case.add(in_place(drafts, case.state))

    folded_form("Write down or correct the complaint", keep, lambda: _complaint_fields(case), "Keep")
    heading(3, "Car and engine", id="car")
    case.part(_car, on="facts", of=THE_CAR)

    async def keep_car(values: Values) -> None:
        state = case.state
        drafts = intake.car_drafts(values, state.car)
        drafts += [d for d in intake.engine_drafts(values) if state.engine is None or d.payload != state.engine.payload]
        drafts += intake.place_drafts(case.bench, values, state.place)
        await case.add(in_place(drafts, state))

    folded_form(
        "Say more about car, engine and place",
        keep_car,
        lambda: _car_fields(case),
        "Keep",
        opened=case.state.engine is None,
    )


def _unreadable(case: CaseFile) -> None:
    if case.state.unreadable:
        heading(2, "What cannot be read")
        facts(case, (UNREADABLE,))
        say("All else stands without it. Say anew what it said, and take back here what is still there.", "soft")


def _complaint(case: CaseFile) -> None:
    said = case.state.complaint
    text = said.payload.text if said is not None else ""
    for line in text.splitlines() or ["Nothing is written down yet."]:
        say(line, "" if text else "soft")
    facts(case, TOLD[1:])


def _complaint_fields(case: CaseFile) -> None:
    said = case.state.complaint
    intake.complaint_fields(case.bench, "" if said is None else said.payload.text)
    known = case.bench.known
    folded_later("When it is there", lambda: intake.noted_ticks(known, "condition", "Tick what fits"))
    folded_later("What was done to the car before", lambda: intake.noted_ticks(known, "history", "Tick what fits"))


def _car(case: CaseFile) -> None:
    facts(case, THE_CAR)
    lines(map(sentence, doubts_of(case.state.car.vin or "")), "soft")
    if case.bench.settings.below_the_air_outside and case.barometer_kpa is None:
        say("Pressures stay absolute here: the air outside, from which a vacuum is counted, is not known.", "soft")
    if case.state.engine is None:
        say("The engine is not known yet, and nothing can be weighed before it is: four things are enough.", "news")


def _car_fields(case: CaseFile) -> None:
    state = case.state
    intake.engine_fields(state.engine.payload if state.engine is not None else None)
    intake.place_fields(case.bench, case.bench.settings.altitude, state.place)
    intake.car_fields(state.car)
