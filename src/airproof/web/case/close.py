"""Proof and the end of a job: what it was, whether that is proved, and the file to take along."""

from __future__ import annotations

from typing import Any

from airproof.jobs.events import Draft
from airproof.jobs.kinds import payload_of
from airproof.web.case.fact import facts
from airproof.web.case.file import CaseFile
from airproof.web.marks import Values, choice, field, folded, folded_form, folded_later, heading, link, one, picks, say


def show(case: CaseFile) -> None:
    """Closing, reopening (by taking the closing back), exporting."""
    heading(2, "Proof", id="proof")
    case.part(_standing, on="facts", of=("closed",))
    _closing(case)
    if case.state.rehearsed is not None:
        folded_later("This job is a rehearsal: lay the truth open", lambda: _truth(case))
    with folded("Take the whole job along"):
        link("Export the job as one file", f"/job/{case.job}/export", "press quiet")
        link("Without VIN, plate and owner", f"/job/{case.job}/export?private=no", "press quiet")
        link("Delete the job ...", f"/job/{case.job}/delete")


def _standing(case: CaseFile) -> None:
    if not facts(case, ("closed",)):
        say(
            "A repair is proved when the same checks that found the fault find it gone: record again as before, in "
            "the same regimes, and see that the codes stay away. Until then a cause is only believed.",
        )


def _truth(case: CaseFile) -> None:
    assert case.state.rehearsed is not None
    truth: Any = case.state.rehearsed.payload.truth
    for cause in truth.get("causes", []):
        entry = case.bench.known.causes.get(cause.get("id"))
        size = "" if cause.get("size") is None else f": {cause['size']:.3g} {cause.get('unit', '')}"
        say(case.bench.words(f"{entry.title if entry else cause.get('id')}{size}."))


def _closing(case: CaseFile) -> None:
    causes = {name: cause.title for name, cause in case.bench.known.causes.items()}

    async def close_(values: Values) -> None:
        data = {"cause": one(values, "cause"), "standing": one(values, "standing"), "note": one(values, "note")}
        await case.add(
            [Draft("closed", payload_of("closed", data))], "The job is closed. Taking that back opens it again."
        )

    def fields() -> None:
        first = "" if case.weighed is None else case.weighed.weighing.verdict.first.id
        choice("What it was", "cause", causes, first)
        standings = {
            "proved": "proved: the check that showed the fault shows it gone, and the codes stay away",
            "believed": "believed: it seems gone",
        }
        picks("How sure", "standing", standings, "believed")
        field("A word on it", "note")

    folded_form("Close the job", close_, fields, "Close the job")
