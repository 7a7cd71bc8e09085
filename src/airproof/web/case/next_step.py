"""The next step with its price against the habit, and where it leads."""

from __future__ import annotations

import asyncio

from nicegui import ui

from airproof.jobs.left_to_do import to_be_proved
from airproof.jobs.weighing import Weighed, planning_task
from airproof.repair.advice import advise
from airproof.report.in_words import cautions_of
from airproof.report.in_words import in_words as verdict_in_words
from airproof.report.left_in_words import left_in_words
from airproof.report.plan_in_words import in_words as plan_in_words
from airproof.report.wording import sentence
from airproof.web.case.file import CaseFile
from airproof.web.marks import Mark, folded, folded_later, heading, lines, link, say

SHOWN = 5


def show(case: CaseFile) -> None:
    """What to do now, why, and what it saves; the rest of the plan folded away."""
    heading(2, "Next step", id="next")
    left = left_in_words(case.state, case.bench.known)
    if left:
        for line in left:
            say(line)
        if case.state.closed is None:
            link("To the proof", "#proof")
            _say_in_vain(case)
        return
    weighed = case.weighed
    if weighed is None or weighed.plan is None or not weighed.plan.next_steps:
        say("It follows from the weighing.", "soft")  # also while it is being reckoned: that is told at the top
        return
    if case.kept_back:
        say("It is kept back with the weighing.", "soft")
        return
    words = case.words
    step = weighed.plan.next_steps[0]
    parts = {part.id: part for part in verdict_in_words(weighed.weighing, weighed.plan, weighed.recordings)}
    for line in parts["next"].lines:
        say(words(line.removesuffix(f" [{step.id}]")))
    link(f"How to do it: {step.title[0].lower()}{step.title[1:]}", f"/job/{case.job}/step/{step.id}", "press")
    with Mark("section", classes="care", aria_label="Take care"):
        heading(3, "Take care")
        lines(sentence(words(one)) for one in cautions_of(weighed.weighing.verdict, weighed.plan))
    _others(case, weighed)
    folded_later("Where it leads, and what would change it", lambda: _way(case, weighed))


def _say_in_vain(case: CaseFile) -> None:
    """Where it is said that the trouble is there in spite of a repair."""
    repair = to_be_proved(case.state)
    steps = () if repair is None else repair.payload.steps
    for name in (one for one in steps if one in case.bench.known.steps):
        title = case.bench.known.steps[name].title
        with Mark("p"):
            link(f"Say what came of it: {title[0].lower()}{title[1:]}", f"/job/{case.job}/step/{name}")


def _way(case: CaseFile, weighed: Weighed) -> None:
    """The whole plan, reckoned when somebody wants to see it."""
    with Mark("div") as place:
        say("Reckoning ...", "soft", role="status")

    async def lay_open() -> None:
        task = planning_task(weighed, case.state, case.bench.known, case.bench.prices)
        advice = await asyncio.to_thread(advise, task)
        place.clear()
        case.hear("The plan is there.")
        with place:
            for part in plan_in_words(advice, task):
                if part.id in ("first", "how", "care"):
                    continue
                heading(3, part.heading)
                lines(map(case.words, part.lines))

    ui.timer(0.0, lay_open, once=True)


def _others(case: CaseFile, weighed: Weighed) -> None:
    assert weighed.plan is not None
    others = weighed.plan.next_steps[1 : 1 + SHOWN]
    with folded("Other steps, and any step at all"):
        with Mark("ul"):
            for one in others:
                with Mark("li"):
                    link(one.title, f"/job/{case.job}/step/{one.id}")
        say("All that can be done:", "soft")
        with Mark("ul", classes="many"):
            for name, step in case.bench.known.steps.items():
                with Mark("li"):
                    link(step.title, f"/job/{case.job}/step/{name}")
