"""What was seen, measured and done."""

from __future__ import annotations

from airproof.jobs.adding import checked, in_place
from airproof.jobs.events import Draft
from airproof.jobs.kinds import payload_of
from airproof.web.case import intake
from airproof.web.case.fact import facts
from airproof.web.case.file import CaseFile
from airproof.web.marks import Form, Values, choice, field, folded, heading, one, say

SENSORS = {
    "manifold_pressure": "manifold pressure",
    "charge_pressure": "charge pressure, before the throttle",
    "barometric_pressure": "the car's own barometer",
}


def show(case: CaseFile) -> None:
    """Looks, readings, steps and notes, and fields for more."""
    heading(2, "Seen, measured and done")
    if not facts(case, ("look", "reading", "measured", "step", "note")):
        say("Nothing yet.", "soft")

    async def looked(values: Values) -> None:
        await case.add(in_place(intake.noted_drafts(case.bench, values, ("look",)), case.state))

    with folded("What was seen on the car"), Form(looked, send="Keep"):
        intake.noted_ticks(case.bench.known, "look", "Tick what is there")

    async def read(values: Values) -> None:
        data = {"signal": one(values, "signal"), "value": one(values, "value")}
        draft = Draft("reading", payload_of("reading", data))
        checked(draft, case.bench.known)
        before = case.state.readings.get(data["signal"])
        await case.add([draft if before is None else Draft("reading", draft.payload, corrects=before.number)])

    with folded("A pressure read with the key on and the engine off"), Form(read, send="Keep"):
        choice("Which sensor shows it", "signal", SENSORS)
        field("What it shows, absolute", "value", hint="With its unit, such as 98.2kPa or 29.0inHg.")

    async def note(values: Values) -> None:
        await case.add([Draft("note", payload_of("note", {"text": one(values, "text")}))])

    with folded("A note"), Form(note, send="Keep the note"):
        field("Anything else worth keeping", "text", long=True, required=True)
