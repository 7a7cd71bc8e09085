"""All jobs: the ones changed last, a search, a new one, one taken in from a file."""

from __future__ import annotations

import asyncio

from nicegui import ui

from airproof.jobs.overview import JobLine
from airproof.jobs.store import Wanted
from airproof.web.bench import Bench
from airproof.web.drop import drop
from airproof.web.frame import page
from airproof.web.marks import Form, Mark, Values, field, folded, heading, link, say

SHOWN = 40


async def show(bench: Bench, words: str = "") -> None:
    """The page; `words` are searched for."""
    with page(bench, "Jobs", "/", draws="next"):
        heading(1, "Jobs")
        say("One car, one complaint, from the first words of its owner to a proved repair.")
        link("Open a new job", "/new", "press")
        with Mark("form", method="get", action="/", role="search"):
            field(
                "Search",
                "words",
                words,
                hint="Any words in a job: plate, owner, a code, the complaint, a cause.",
                kind="search",
            )
            Mark("button", "Search", type="submit", classes="quiet")
        found, count = await asyncio.to_thread(_found, bench, words)
        _list(bench, found, count, words)
        with folded("Take in a job from a file"):
            say("A job that was exported here or elsewhere, as one .zip file.")
            drop("/jobs/import", "Choose a job file", accept=".zip")


def _found(bench: Bench, words: str) -> tuple[list[JobLine], int]:
    wanted = Wanted(words=words)
    return bench.store.jobs(wanted, limit=SHOWN), bench.store.count(wanted)


def _list(bench: Bench, found: list[JobLine], count: int, words: str) -> None:
    if not found:
        say(f"No job speaks of {words!r}." if words else "No job yet.")
        return
    if count > len(found):
        say(f"The {len(found)} changed last of {count}.", "soft")
    with Mark("ul", classes="evidence"):
        for line in found:
            with Mark("li"):
                link(title_of(line), f"/job/{line.number}")
                Mark("div", line.complaint or "no complaint written down yet", classes="soft")
                Mark("div", _where_it_stands(bench, line), classes="soft")


def title_of(line: JobLine) -> str:
    """A job in one line: its number and which car."""
    who = ", ".join(part for part in (line.car, line.plate, line.owner) if part)
    return f"Job {line.number}: {who}" if who else f"Job {line.number}"


def _where_it_stands(bench: Bench, line: JobLine) -> str:
    cause = bench.known.causes.get(line.cause)
    what = cause.title if cause else line.cause
    if line.closed:
        return f"Closed {line.changed_at[:10]}: {what} ({line.closed})."
    return f"Changed {line.changed_at[:10]}." + (f" Foremost at the last look: {what}." if what else "")


def new(bench: Bench) -> None:
    """The page on which a job is opened: a few words are enough, everything can be added later."""
    with page(bench, "A new job", "/new"):
        heading(1, "A new job")
        say("What you know now. Everything can be left out and added later.")

        async def open_(values: Values) -> None:
            from airproof.web.case.intake import drafts_of_new

            drafts = drafts_of_new(bench, values)
            job = await asyncio.to_thread(bench.store.new_job, drafts, bench.speaker)
            ui.navigate.to(f"/job/{job}")

        with Form(open_, send="Open the job"):
            from airproof.web.case import intake

            intake.complaint_fields(bench)
            intake.car_fields()
            intake.engine_fields()
            intake.place_fields(bench, bench.settings.altitude)
            field(
                "Codes, as you have them",
                "codes",
                long=True,
                hint="Any text with codes in it. Read them, and their freeze frames, before anybody clears them.",
            )
