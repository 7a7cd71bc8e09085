"""The end of a job: what it was, what the shop learns from it, the write-up and the file to take along."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Any

from airproof.errors import UnusableRequest
from airproof.jobs.events import Draft
from airproof.jobs.kinds import payload_of
from airproof.jobs.left_to_do import proof_of_before
from airproof.report.language.language import LANGUAGES
from airproof.report.write_up.content import PAPERS
from airproof.web.case.file import CaseFile
from airproof.web.marks import (
    AtField,
    Mark,
    Values,
    button,
    choice,
    field,
    folded,
    folded_form,
    folded_later,
    heading,
    link,
    one,
    picks,
    say,
)

LANGUAGE_NAMES = {"en": "English", "de": "Deutsch", "fr": "français", "es": "español"}
PAPER_NAMES = {"a4": "A4", "letter": "Letter"}


def show(case: CaseFile) -> None:
    """Closing, reopening, the write-up, exporting."""
    heading(2, "The end of the job")
    _closing(case)
    case.part(_closed, on="facts", of=("closed", "reopened"))
    if case.state.rehearsed is not None:
        folded_later("This job is a rehearsal: lay the truth open", lambda: _truth(case))
    with folded("Write it up: for the owner on the first page, for the trade behind it"):
        _write_up(case)
    with folded("Take the whole job along"):
        link("Export the job as one file", f"/job/{case.job}/export", "press quiet")
        link("Without VIN, plate and owner", f"/job/{case.job}/export?private=no", "press quiet")
        link("Delete the job ...", f"/job/{case.job}/delete")


def _closed(case: CaseFile) -> None:
    async def reopen() -> None:
        await case.add(
            [Draft("reopened", payload_of("reopened", {}))], "The job is open again, with everything in place."
        )

    if case.state.closed is not None:
        button("Open the job again", reopen, "quiet", once=True)
    with Mark("div") as place:
        _learning(case, place)


def _learning(case: CaseFile, place: Mark) -> None:
    """Letting the shop learn from the job once it is closed, and taking that back, drawn in that place."""

    async def act(how: Callable[[int], str]) -> None:
        said = await asyncio.to_thread(how, case.job)
        place.clear()
        with place:
            _learning(case, place)
        case.aloud(said)

    counted = case.bench.counted_as(case.job)
    if counted:
        say(f"The shop has learned from this job: it is counted as {counted}.")
        button("Take it back from what the shop learned", lambda: act(case.bench.forget), "quiet", once=True)
    elif case.state.closed is not None:
        button("Let the shop learn from it", lambda: act(case.bench.learn_from), "quiet", once=True)


def _write_up(case: CaseFile) -> None:
    with Mark("form", method="get", action=f"/job/{case.job}/write-up", target="_blank"):
        with Mark("div", classes="pair"):
            choice("As", "form", {"pdf": "a PDF to print or send", "html": "a page for any browser"})
            choice("Language", "language", {code: LANGUAGE_NAMES[code] for code in LANGUAGES})
            choice("Paper", "paper", {name: PAPER_NAMES[name] for name in PAPERS})
            choice("VIN, plate and owner", "private", {"yes": "in it", "no": "left out"})
        Mark("button", "Write it up", type="submit")
        say("In the units of the settings. It says which parts have English words only.", "soft")


def _truth(case: CaseFile) -> None:
    assert case.state.rehearsed is not None
    truth: Any = case.state.rehearsed.payload.truth
    for cause in truth.get("causes", []):
        entry = case.bench.known.causes.get(cause.get("id"))
        size = "" if cause.get("size") is None else f": {cause['size']:.3g} {cause.get('unit', '')}"
        say(case.words(f"{entry.title if entry else cause.get('id')}{size}."))


def _closing(case: CaseFile) -> None:
    causes = {name: cause.title for name, cause in case.bench.known.causes.items()}

    async def close_(values: Values) -> None:
        if not one(values, "cause"):
            raise AtField(UnusableRequest("nothing was said of it", "one of the causes", "Choose it."), "cause")
        data = {"cause": one(values, "cause"), "standing": one(values, "standing"), "note": one(values, "note")}
        said = "The job is closed. It can be opened again."
        await case.add([Draft("closed", payload_of("closed", data))], said)

    def fields() -> None:
        first = "" if case.weighed is None or case.kept_back else case.weighed.weighing.verdict.first.id
        choice("What it was", "cause", causes if first else {"": "not said yet", **causes}, first)
        standings = {
            "proved": "proved: the check that showed the fault shows it gone, and the codes stay away",
            "believed": "believed: it seems gone",
        }
        proofs = case.state.proofs
        stands = bool(proofs) and not proof_of_before(case.state)
        proved = stands and proofs[-1].payload.proof.get("judgement") == "proved"
        picks("How sure", "standing", standings, "proved" if proved else "believed")
        field("A word on it", "note")

    folded_form("Close the job", close_, fields, "Close the job")
