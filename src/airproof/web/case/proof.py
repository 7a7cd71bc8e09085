"""The proof: what was repaired, what the car says since, and whether the same checks find the fault gone."""

from __future__ import annotations

import asyncio
from typing import Any

from nicegui import ui

from airproof.errors import AirproofError, UnusableFile, UnusableRequest
from airproof.jobs.events import Draft
from airproof.jobs.in_place import in_place
from airproof.jobs.kinds import payload_of
from airproof.jobs.left_to_do import proof_of_before, to_be_proved
from airproof.jobs.pasted import statuses_pasted
from airproof.jobs.proving import Proving, cleared_said, keep_proof, proof_fingerprint, prove_job, said_of
from airproof.repair.proof.as_typed import amount_of, count_of, days_of
from airproof.report.proof_as_json import proof_object
from airproof.report.proof_in_words import in_words as proof_in_words
from airproof.report.write_up.case import proof_from
from airproof.web.case.fact import amount_at, facts
from airproof.web.case.file import CaseFile
from airproof.web.case.intake import ungrouped
from airproof.web.faults import reported
from airproof.web.marks import (
    Mark,
    Values,
    at_field,
    button,
    choice,
    field,
    folded_form,
    folded_later,
    heading,
    in_words,
    lines,
    link,
    one,
    say,
)

KINDS = ("repair", "cleared", "checked", "reopened", "closed")
CLEARED = {"": "nobody knows", "yes": "cleared after the repair", "no": "not cleared"}


def show(case: CaseFile) -> None:
    """What was done, what the car says since, and the judgement."""
    heading(2, "Proof", id="proof")
    case.part(_done, on="facts", of=(*KINDS, "recording"))
    case.part(_judgement, on="facts", of=(*KINDS, "step", "recording", "proof", "place", "engine"))
    folded_form("What was repaired", lambda values: _keep_repair(case, values), lambda: _repair_fields(case), "Keep")
    folded_form(
        "What the car says after the repair",
        lambda values: _keep_checked(case, values),
        lambda: _checked_fields(case),
        "Keep",
    )


def _done(case: CaseFile) -> None:
    facts(case, KINDS)
    if not case.state.recordings_as("after"):
        say(
            "A repair is proved when the same checks that found the fault find it gone. Record again as before, in the "
            "same regimes, and give the recording above as one of after the repair.",
        )


def _judgement(case: CaseFile) -> None:
    if not case.state.recordings_as("after"):
        return
    before = proof_of_before(case.state)
    with Mark("section", classes="answer", aria_label="The proof") as place:
        if not before:
            say("Judging the repair ...", role="status")

    async def judge(*, anew: bool = False) -> None:
        try:
            proving, not_kept = await asyncio.to_thread(_proved, case, anew=anew)
        except AirproofError as fault:
            text = in_words(fault)
        except Exception as fault:  # what was said is kept, and can be judged another time
            text = reported(fault)
        else:
            _tell(case, place, proving)
            if not_kept:
                with place:
                    say(not_kept)
            return
        place.clear()
        with place:
            say(text)

    async def again() -> None:
        place.clear()
        with place:
            say("Judging the repair ...", role="status")
        await judge(anew=True)
        await case.follow(aloud_=False)

    if not before:
        ui.timer(0.0, judge, once=True)
        return
    with place:
        _tell_of_before(case)
        if to_be_proved(case.state) is not None:
            button("Prove the repair again", again, once=True)


def _tell_of_before(case: CaseFile) -> None:
    """The last proof, where it is of before, folded away under what became of it."""
    said = case.state.proofs[-1].payload.proof
    if to_be_proved(case.state) is None:
        say("What was proved here is of before: that repair was taken back, or the trouble is there in spite of it.")
        say("Once it is said what was repaired, it is judged anew.", "soft")
    else:
        say("The job was opened again since its proof: that is of before, and the repair is to be proved again.")

    def earlier() -> None:
        try:
            parts = proof_in_words(proof_from(said))
        except UnusableRequest as fault:
            say(in_words(fault))
            return
        for part in parts:
            if part.heading:
                heading(3, part.heading)
            lines(map(case.words, part.lines))

    folded_later("The proof of before", earlier)


def _proved(case: CaseFile, *, anew: bool = False) -> tuple[Proving, str]:
    """The job proved as it stands, and what is to be said where that could not be kept.

    It is kept in the job, unless the same is there already and none is wanted `anew`.
    """
    bench = case.bench
    proving = prove_job(bench.store, case.job, bench.known, learned=bench.mark)
    state = bench.store.state(case.job)
    last = state.proofs[-1].payload.facts_sha256 if state.proofs else ""
    if anew or last != proof_fingerprint(state, bench.known, bench.mark):
        try:
            keep_proof(bench.store, case.job, proving, proof_object, bench.speaker)
        except UnusableFile as fault:  # a full disk, say: what was judged is there all the same
            return proving, f"The proof was not kept in the job: {in_words(fault)}"
    return proving, ""


def _tell(case: CaseFile, place: Mark, proving: Proving) -> None:
    place.clear()
    parts = proof_in_words(proving.proof)
    case.hear(" ".join(map(case.words, parts[0].lines)))
    with place:
        for part in parts:
            if part.heading:
                heading(3, part.heading)
                lines(map(case.words, part.lines))
            else:
                for line in part.lines:
                    say(case.words(line))
        before, after = (case.state.recordings_as(role) for role in ("car", "after"))
        if before and after:
            address = f"/job/{case.job}/recording/{after[-1].payload.sha256}?over={before[0].payload.sha256}"
            link("See it over the recording from before", address)


def _repair_fields(case: CaseFile) -> None:
    known = case.bench.known
    steps = {name: step.title for name, step in known.steps.items() if step.cures and step.kind != "watch"}
    first = "" if case.weighed is None or case.kept_back else case.weighed.weighing.verdict.first.id
    choice("What mended it", "step", {"": "something else", **steps})
    choice("What was wrong", "cause", {"": "nobody knows", **{n: c.title for n, c in known.causes.items()}}, first)
    with Mark("div", classes="pair"):
        field("Minutes it took", "minutes", inputmode="decimal")
        field(f"Money it took, {case.bench.prices.currency}", "money", inputmode="decimal")
    field("A word on it", "note")


async def _keep_repair(case: CaseFile, values: Values) -> None:
    step, cause = one(values, "step"), one(values, "cause")
    if not step and not cause:
        raise UnusableRequest("neither what was done nor what was wrong", "one of them", "Choose it.")
    data: dict[str, Any] = {"steps": [step] if step else []}
    data |= {name: one(values, name) for name in ("cause", "note") if one(values, name)}
    data |= {name: amount_at(values, name) for name in ("minutes", "money") if one(values, name)}
    await case.add(in_place([Draft("repair", payload_of("repair", data))], case.state))


def _checked_fields(case: CaseFile) -> None:
    field(
        "Codes that it holds now",
        "codes",
        long=True,
        hint="Pasted in any form; leave it empty where there are none, and say so below.",
    )
    with Mark("label", classes="tick"):
        Mark("input", type="checkbox", name="codes_read", value="yes")
        Mark("span", "All codes were read: there are no others")
    said = {True: "yes", False: "no", None: ""}[said_of(case.state).cleared]
    choice("Codes were", "cleared", CLEARED, said)
    with Mark("div", classes="pair"):
        field("Warm-ups since clearing", "warm_ups", inputmode="numeric")
        field("Kilometres since clearing", "distance_km", inputmode="decimal")
        field("Days since the repair", "days", inputmode="decimal")
    with Mark("label", classes="tick"):
        Mark("input", type="checkbox", name="returned", value="yes")
        Mark("span", "The trouble is back")


async def _keep_checked(case: CaseFile, values: Values) -> None:
    with at_field("codes"):
        codes = statuses_pasted(one(values, "codes"), case.bench.known)
    read = "codes_read" in values
    data: dict[str, Any] = {
        **({"codes": codes} if codes or read else {}),  # an empty field alone says nothing of the codes of before
        "codes_read": read,
        "cleared": False if one(values, "cleared") == "no" else None,
        "returned": "returned" in values,
    }
    said = ("codes", "codes_read", "cleared", "returned", "warm_ups", "distance_km", "days")
    if not any(one(values, name) for name in said):
        raise UnusableRequest(
            "nothing was said",
            "the codes, whether the trouble is back, or one of the others",
            "Where it holds no codes, tick that all were read.",
        )
    for name, as_typed in (("warm_ups", count_of), ("distance_km", amount_of), ("days", days_of)):
        if one(values, name):
            with at_field(name):
                typed = one(values, name)
                data[name] = as_typed(name, ungrouped(typed) if name == "distance_km" else typed)
    cleared = {"yes": True, "no": False}.get(one(values, "cleared"))
    await case.add([*cleared_said(cleared, case.state), Draft("checked", payload_of("checked", data))])
