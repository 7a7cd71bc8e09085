"""What was seen, measured and done."""

from __future__ import annotations

from airproof.jobs.adding import checked
from airproof.jobs.events import Draft
from airproof.jobs.in_place import in_place
from airproof.jobs.kinds import payload_of
from airproof.web.case import intake
from airproof.web.case.fact import facts
from airproof.web.case.file import CaseFile
from airproof.web.marks import Values, at_field, choice, field, folded_form, heading, one, say

KINDS = ("look", "reading", "measured", "step", "repair", "note")
SENSORS = {
    "manifold_pressure": "manifold pressure",
    "charge_pressure": "charge pressure, before the throttle",
    "barometric_pressure": "the car's own barometer",
}


def show(case: CaseFile) -> None:
    """Looks, readings, steps and notes, and fields for more."""
    heading(2, "Seen, measured and done")
    case.part(_all, on="facts", of=KINDS)

    async def looked(values: Values) -> None:
        await case.add(in_place(intake.noted_drafts(case.bench, values, ("look",)), case.state))

    def looks() -> None:
        intake.noted_ticks(case.bench.known, "look", "Tick what is there")

    folded_form("What was seen on the car", looked, looks, "Keep")

    unit = intake.bare_units(case.bench.settings)["barometer"]

    async def read(values: Values) -> None:
        data = {"signal": one(values, "signal"), "value": one(values, "value")}
        with at_field("value"):
            data["value"] = intake.with_unit(data["value"], unit, intake.AS_A_PLACE["barometer"])
            draft = Draft("reading", payload_of("reading", data))
            checked(draft, case.bench.known)
        before = case.state.readings.get(data["signal"])
        await case.add([draft if before is None else Draft("reading", draft.payload, corrects=before.number)])

    def reading() -> None:
        choice("Which sensor shows it", "signal", SENSORS)
        hint = "A number alone is taken so. In another unit with it, such as 98.2 kPa or 29.0 inHg."
        field(f"What it shows, absolute, {unit}", "value", hint=hint)

    folded_form("A pressure read with the key on and the engine off", read, reading, "Keep")

    async def note(values: Values) -> None:
        await case.add([Draft("note", payload_of("note", {"text": one(values, "text")}))])

    def text() -> None:
        field("Anything else worth keeping", "text", long=True, required=True)

    folded_form("A note", note, text, "Keep the note")


def _all(case: CaseFile) -> None:
    if not facts(case, KINDS):
        say("Nothing yet.", "soft")
