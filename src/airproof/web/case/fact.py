"""Facts as they stand, each with who said it, to be taken back or corrected."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from airproof.diagnosis.facts import entries_of
from airproof.diagnosis.told import STILL_THERE
from airproof.jobs.adding import checked, code_said, noted_said, step_said
from airproof.jobs.events import Draft, withdrawal
from airproof.jobs.in_place import in_place
from airproof.jobs.kinds import (
    Car,
    Closed,
    Code,
    Complaint,
    Engine,
    Frame,
    Note,
    Noted,
    NotedKind,
    Payload,
    Place,
    Readiness,
    Reading,
    Repair,
    Step,
    payload_of,
)
from airproof.jobs.state import Fact, standing
from airproof.knowledge.model import Knowledge
from airproof.repair.proof.as_typed import amount_of
from airproof.report.job_in_words import DONE, fact_in_words, in_vain
from airproof.report.wording import sentence
from airproof.web.case.file import CaseFile
from airproof.web.case.intake import INDUCTION, METERING, ungrouped
from airproof.web.marks import Form, Mark, Values, at_field, button, choice, field, folded_later, one, say

STAYS = ("rehearsed",)
"""What is no fact that anybody said."""


def facts(case: CaseFile, kinds: Sequence[str]) -> int:
    """All facts of these kinds that stand, in the order in which they were first said; how many there are."""
    found = [(kind, fact) for kind, fact in standing(case.events) if kind in kinds]
    if found:
        with Mark("ul", classes="evidence"):
            for kind, fact in found:
                with Mark("li"):
                    show(case, kind, fact)
    return len(found)


def facts_of_step(case: CaseFile, step: str) -> None:
    """What was said of one step before."""
    for kind, fact in standing(case.events):
        one = fact.payload
        if (isinstance(one, Step) and one.id == step) or (isinstance(one, Repair) and step in one.steps):
            show(case, kind, fact)


def show(case: CaseFile, kind: str, fact: Fact[Payload], summary: str = "") -> None:
    """One fact, with what can be done about it folded away; `summary` where the fact itself stands beside it."""
    text, by = case.words(in_a_sentence(kind, fact.payload, case.bench.known)), case.state.overtaken.get(fact.number)
    if by is not None:
        text = f"Corrected since, by fact {by}: {text}"

    async def take_back() -> None:
        await case.add([withdrawal(fact.number)], "Taken back; it stays in the history.")

    def inside() -> None:
        say(f"Said by {fact.author}, {fact.at.astimezone():%Y-%m-%d %H:%M}. Fact {fact.number}.", "soft")
        _correction(case, kind, fact)
        if kind not in STAYS:
            button("Take this back", take_back, "quiet small", once=True, aria_label=f"Take this back: {text}")

    folded_later(summary or text, inside)


def in_a_sentence(kind: str, payload: Payload, known: Knowledge) -> str:
    """The fact as a person would say it."""
    match payload:
        case Noted():
            entry = entries_of(_noted(kind), known).get(payload.id)
            if entry is not None:
                return sentence(entry.says if payload.found else getattr(entry, "if_not", f"Not so: {entry.says}"))
        case Step() if payload.id in known.steps:
            step = known.steps[payload.id]
            came = {"found": step.if_so, "not found": step.if_not, "could not": "it could not be done"}
            says = STILL_THERE if in_vain(payload, known) else came.get(payload.outcome, payload.outcome)
            return f"{step.title}: {sentence(says)}{_took(payload)}"
        case Repair():
            done = (
                "; ".join(known.steps[one].title if one in known.steps else one for one in payload.steps) or "Repaired"
            )
            cause = known.causes.get(payload.cause or "")
            meant = "" if cause is None else f" ({sentence(cause.title).removesuffix('.')})"
            day = f" ({payload.day})" if payload.day else ""
            return f"{done}{meant}: {sentence(DONE[payload.gone] + day)}{_took(payload)}"
        case Closed() if payload.cause in known.causes:
            note = f" {sentence(payload.note)}" if payload.note else ""
            return f"Closed: {known.causes[payload.cause].title}, {payload.standing}.{note}"
        case Engine():
            one = payload.engine
            known_as = f"{one.name}: " if one.name else ""
            return (
                f"Engine: {known_as}{one.displacement_l:g} l, {one.cylinders} cylinders, {INDUCTION[one.induction]}, "
                f"{one.fuel}, its air metered {METERING[one.air_metering]}."
            )
        case Place() | Car() | Frame() | Readiness():
            return sentence(fact_in_words(kind, payload, known))
    return fact_in_words(kind, payload, known)


def _took(payload: Step | Repair) -> str:
    took = [f"{payload.minutes:g} minutes"] if payload.minutes else []
    took += [f"{payload.money:.10g} in money"] if payload.money else []
    return f" It took {' and '.join(took)}." if took else ""


def _correction(case: CaseFile, kind: str, fact: Fact[Payload]) -> None:
    """A form that puts something else in the place of the fact, where that is easily said."""
    payload, known = fact.payload, case.bench.known

    def form(draft: object) -> Form:
        async def correct(values: Values) -> None:
            made: Draft = draft(values)  # type: ignore[operator]
            # A repair that did help is a fact of another kind, which takes this one back.
            drafts = [replace(made, corrects=fact.number)] if made.kind == kind else in_place([made], case.state)
            await case.add(drafts, "Corrected.")

        return Form(correct, send="Correct it", classes="pair")

    match payload:
        case Code():

            def code(values: Values) -> Draft:
                with at_field("code"):
                    return code_said(f"{one(values, 'code')}={one(values, 'status')}", known)

            with form(code):
                field("Code", "code", payload.id)
                choice("How it stands", "status", {name: name for name in known.statuses}, payload.status)
        case Complaint() | Note():
            with form(lambda values: Draft(kind, payload_of(kind, {"text": one(values, "text")}))):
                field("Text", "text", payload.text, long=True)
        case Noted():
            with form(lambda values: noted_said(_noted(kind), f"{payload.id}={one(values, 'found')}", known)):
                choice("It is", "found", {"yes": "there", "no": "looked for, and not there"}, _yes(payload.found))
        case Reading():

            def reading(values: Values) -> Draft:
                data = payload.model_dump(exclude_unset=True) | {"value": one(values, "value")}
                with at_field("value"):
                    draft = Draft("reading", payload_of("reading", data))
                    checked(draft, known)
                return draft

            with form(reading):
                field("Pressure, absolute, with its unit", "value", payload.value)
        case Step() if payload.id in known.steps:
            outcomes = _outcomes(case, payload.id)

            def step(values: Values) -> Draft:
                minutes, money = amount_at(values, "minutes"), amount_at(values, "money")
                return step_said(f"{payload.id}={one(values, 'outcome')}", known, minutes, money)

            with form(step):
                came = "did-not-help" if in_vain(payload, known) else payload.outcome.replace(" ", "-")
                choice("What came of it", "outcome", outcomes, came)
                field("Minutes it took", "minutes", _number(payload.minutes), inputmode="decimal")
                field("Money it took", "money", _number(payload.money), inputmode="decimal")


def amount_at(values: Values, name: str) -> float | None:
    """Minutes or money as typed into that field, or None."""
    typed = one(values, name)
    with at_field(name):
        return amount_of(name, (ungrouped(typed) if name == "money" else typed) or None)


def _outcomes(case: CaseFile, step: str) -> dict[str, str]:
    entry = case.bench.known.steps[step]
    if entry.tells:
        return {"found": entry.if_so, "not-found": entry.if_not, "could-not": "it could not be done"}
    if entry.ends:
        return {"done": "done", "could-not": "it could not be done"}
    return {
        "did-not-help": "done, and the trouble is still there",
        "helped": "done, and the trouble is gone",
        "could-not": "it could not be done",
    }


def _noted(kind: str) -> NotedKind:
    return kind  # type: ignore[return-value]


def _yes(found: bool) -> str:
    return "yes" if found else "no"


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.10g}"
