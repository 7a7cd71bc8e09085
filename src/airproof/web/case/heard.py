"""What the car says: codes, freeze frames, readiness."""

from __future__ import annotations

from collections.abc import Callable

from airproof.errors import UnusableRequest
from airproof.jobs.adding import checked
from airproof.jobs.events import Draft
from airproof.jobs.in_place import in_place
from airproof.jobs.kinds import Code, Readiness, payload_of
from airproof.jobs.pasted import frame_in_text, statuses_in_words, statuses_pasted
from airproof.knowledge.lookup import UnlistedCode, explain_code
from airproof.report.explained import explain
from airproof.web.case.fact import facts
from airproof.web.case.file import CaseFile
from airproof.web.marks import (
    AtField,
    Mark,
    Values,
    at_field,
    choice,
    field,
    folded_form,
    folded_later,
    heading,
    lines,
    one,
    say,
)

STANDINGS = {"": "not asked", "complete": "complete", "incomplete": "incomplete", "not supported": "not supported"}


def show(case: CaseFile) -> None:
    """All that was read from the control unit, and fields for more."""
    heading(2, "What the car says")
    case.part(_said, on="facts", of=("code", "freeze_frame", "readiness"))
    _codes(case)
    _frame(case)
    _readiness(case)


def _said(case: CaseFile) -> None:
    if not facts(case, ("code", "freeze_frame", "readiness")):
        say("No codes yet. Read them with their freeze frames before anybody clears them.", "soft")
    for code in case.state.codes:
        folded_later(f"What {code} claims, and what else sets it", _explained(case, code))


def _explained(case: CaseFile, code: str) -> Callable[[], None]:
    def draw() -> None:
        for part in explain(code, case.bench.known).parts:
            heading(3, part.heading)
            lines(map(case.words, part.lines))

    return draw


def _codes(case: CaseFile) -> None:
    async def add(values: Values) -> None:
        text, status = one(values, "text"), one(values, "status")
        with at_field("text"):
            found = statuses_pasted(text, case.bench.known, status)
        if not found:
            raise UnusableRequest(
                "nothing was pasted", "any text with codes such as P0106 in it", "Where there are none, say so below."
            )
        drafts = [Draft("code", Code(id=code, status=stands)) for code, stands in found.items()]
        unknown = [code for code in found if isinstance(explain_code(code, case.bench.known), UnlistedCode)]
        kept = f"Found: {statuses_in_words(found)}."
        if unknown:
            kept += f" {', '.join(unknown)} kept; not among those that are weighed here."
        await case.add(in_place(drafts, case.state), kept)

    def fields() -> None:
        field("Paste or type them, in any form", "text", long=True, spellcheck="false")
        choice("How they stand", "status", {name: name for name in case.bench.known.statuses}, "stored")

    nothing_yet = not case.state.codes and case.state.readiness is None
    folded_form("Add codes", add, fields, "Find the codes", opened=nothing_yet)


def _frame(case: CaseFile) -> None:
    async def add(values: Values) -> None:
        read = frame_in_text(one(values, "frame"))
        if read.doubtful:
            fault = UnusableRequest(
                "; ".join(map(repr, read.doubtful)),
                "each value with a unit that it can be in, pressures absolute, thousands without a comma",
                "Put it right, such as 52 kPa, 90 C, 780 rpm or 22 %, or take it out. Nothing was kept yet.",
            )
            raise AtField(fault, "frame")
        if not read.values:
            raise UnusableRequest(
                "no value with its unit was found in that",
                "one value a line, such as: engine speed 780 rpm",
                "Write the unit behind each value.",
            )
        data = {"code": one(values, "code"), "values": dict(read.values)}
        draft = Draft("freeze_frame", payload_of("freeze_frame", data))
        with at_field("frame"):
            checked(draft, case.bench.known)
        await case.add([draft])
        if read.left_out:
            count = len(read.values)
            case.aloud(f"Kept {count} value{'s' * (count != 1)}. Nothing was made of: {'; '.join(read.left_out)}")

    def fields() -> None:
        if not case.state.codes:
            say("It belongs to a code: add that first.", "soft")
        choice("Stored with", "code", {code: code for code in case.state.codes})
        field(
            "Its values, one a line, with their units",
            "frame",
            long=True,
            hint="Such as: engine speed 780 rpm; manifold pressure 52 kPa. Pressures absolute.",
            spellcheck="false",
        )

    folded_form("Add a freeze frame", add, fields, "Keep the freeze frame")


def _readiness(case: CaseFile) -> None:
    monitors = case.bench.known.monitors

    async def keep(values: Values) -> None:
        told = {name: one(values, f"monitor {name}") for name in monitors if one(values, f"monitor {name}")}
        data = {"codes_read": "codes_read" in values, "monitors": told}
        await case.add([Draft("readiness", payload_of("readiness", data))])

    def fields() -> None:
        said = case.state.readiness.payload if case.state.readiness else Readiness()
        say("What each monitor says of itself. Complete and no code is evidence too; incomplete is none.", "soft")
        with Mark("label", classes="tick"):
            Mark("input", type="checkbox", name="codes_read", value="yes", checked=said.codes_read)
            Mark("span", "All codes were read: there are no others than those above")
        with Mark("div", classes="pair"):
            for name, monitor in monitors.items():
                choice(monitor.title, f"monitor {name}", STANDINGS, said.monitors.get(name, ""))

    folded_form("Readiness", keep, fields, "Keep")
