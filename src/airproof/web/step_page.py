"""One step: safety first, how to do it, the worksheet where a meter is needed, and what came of it."""

from __future__ import annotations

import asyncio

from nicegui import ui

from airproof.errors import UnusableRequest
from airproof.jobs.adding import step_said
from airproof.jobs.events import Draft
from airproof.jobs.in_place import in_place
from airproof.knowledge.model import Step
from airproof.report.case_file import sources_in_words
from airproof.report.job_in_words import overtaken_in_words
from airproof.report.wording import sentence
from airproof.web.bench import Bench
from airproof.web.case.fact import amount_at, facts_of_step
from airproof.web.case.file import LOOK_S, CaseFile
from airproof.web.frame import page
from airproof.web.marks import AtField, Form, Mark, Values, field, folded, heading, lines, link, one, picks, say
from airproof.web.worksheet import Sheet

SKILL = {
    "anyone": "Anyone with a steady hand can do it.",
    "mechanic": "Work for a trained mechanic.",
    "specialist": "Work for a specialist with the maker's equipment.",
}
STANDING = (
    "Work by the maker's service data and local rules; hot parts, turning belts and fans, fuel and exhaust gas injure."
)


async def show(bench: Bench, job: int, name: str) -> None:
    """The page of one step of one job."""
    step = bench.known.steps.get(name)
    if step is None:
        raise UnusableRequest(
            f"there is no step {name[:60]!r}", "one that the job's page leads to", "Go back to the job."
        )
    case = CaseFile(bench, job, await asyncio.to_thread(bench.store.events, job))
    with page(bench, step.title):
        link(f"Back to job {job}", f"/job/{job}#next", "back")
        heading(1, step.title)
        _cost(case, step)
        _safety(step)
        heading(2, "How")
        lines((case.words(sentence(one)) for one in step.how), ordered=True)
        sheet = Sheet(case, name) if any(task.step == name for task in bench.known.meter_tasks.values()) else None
        if sheet is not None:
            sheet.show()
        case.part(lambda one: _came_of_it(one, step, sheet), on="facts")
        with folded("Where this is from"):
            lines(sources_in_words(step.source, bench.known))
    ui.timer(LOOK_S, case.look)


def _cost(case: CaseFile, step: Step) -> None:
    prices = case.bench.prices
    part = f", about {prices.part(step.part):.0f} {prices.currency} for the part" if step.part else ""
    say(f"About {step.minutes:.0f} minutes{part}. {SKILL[step.skill]}")
    if step.tools:
        say(f"Tools: {', '.join(step.tools)}.")
    if step.after:
        with Mark("p"):
            Mark("span", "First comes: ")
            for count, name in enumerate(step.after):
                Mark("span", ", " if count else "")
                link(case.bench.known.steps[name].title, f"/job/{case.job}/step/{name}")


def _safety(step: Step) -> None:
    with Mark("section", classes="care", aria_label="Take care"):
        heading(2, "Take care")
        lines([*map(sentence, step.cautions), STANDING])
        if step.risk.chance > 0.0:
            say(f"In {100 * step.risk.chance:.0f} of 100 cars: {step.risk.says}.")


def _came_of_it(case: CaseFile, step: Step, sheet: Sheet | None) -> None:
    heading(2, "What came of it")
    facts_of_step(case, step.id)
    if step.ends:
        say("With this the job is over here: close it on its page.", "soft")
        return

    async def keep(values: Values) -> None:
        minutes, money = amount_at(values, "minutes"), amount_at(values, "money")
        draft = step_said(f"{step.id}={one(values, 'outcome')}", case.bench.known, minutes, money)
        drafts = in_place([draft], case.state)
        to_prove = draft.kind == "repair"
        kept = ["Kept. Now prove it." if to_prove else "Kept. The job is weighed anew."]
        kept += map(sentence, overtaken_in_words(drafts, case.events, case.bench.known))
        readings = [] if sheet is None else await _readings_of(sheet)
        if readings:
            kept.append("So are the readings.")
        await case.add([*readings, *drafts], case.words(" ".join(kept)))
        ui.navigate.to(f"/job/{case.job}#{'proof' if to_prove else 'next'}")

    outcomes = (
        {"found": sentence(step.if_so), "not-found": sentence(step.if_not), "could-not": "It could not be done."}
        if step.tells
        else {
            "helped": "Done, and the trouble is gone.",
            "did-not-help": "Done, and the trouble is still there.",
            "done": "Done; nobody knows yet whether it helped.",
            "could-not": "It could not be done.",
        }
    )
    with Form(keep, send="Keep it, and go on"):
        picks("This was found" if step.tells else "How it went", "outcome", outcomes)
        with folded("What it took"), Mark("div", classes="pair"):
            field("Minutes", "minutes", inputmode="decimal")
            field(f"Money, {case.bench.prices.currency}", "money", inputmode="decimal")


async def _readings_of(sheet: Sheet) -> list[Draft]:
    """What stands in the worksheet and was not kept yet: who goes on means to keep it too."""
    try:
        return await sheet.not_kept()
    except AtField as fault:
        sheet.form.tell_at(fault)
        where = sheet.form.fields[fault.field].label
        raise UnusableRequest(
            f"{where}, in the worksheet: {fault.given}", fault.wanted, f"{fault.way_out} Or empty it."
        ) from fault
