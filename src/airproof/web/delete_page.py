"""Deleting a job: exported first, asked twice."""

from __future__ import annotations

import asyncio

from nicegui import ui

from airproof.errors import UnusableRequest
from airproof.jobs.deleting import before_deleting, delete_job
from airproof.web.bench import Bench
from airproof.web.frame import page
from airproof.web.jobs_page import title_of
from airproof.web.marks import AtField, Form, Values, field, heading, link, one, say

EXPORTED = "deleted"


async def show(bench: Bench, job: int) -> None:
    """The page on which a job is deleted for good."""
    line = await asyncio.to_thread(bench.store.line, job)
    with page(bench, f"Delete job {job}"):
        heading(1, f"Delete {title_of(line)[:1].lower()}{title_of(line)[1:]}?")
        folder = bench.folder / EXPORTED
        say(f"It is written to a file first, whole, in {folder}; from there it can be taken in again.")
        say("Then it is gone from here for good, with recordings that no other job speaks of.")
        link("No, back to the job", f"/job/{job}", "press quiet")

        async def delete(values: Values) -> None:
            first, second = one(values, "first"), one(values, "second")
            if first != str(job) or second != str(job):
                fault = UnusableRequest("that is not the job's number, twice", str(job), "Nothing was deleted.")
                raise AtField(fault, "second" if first == str(job) else "first")
            await asyncio.to_thread(_delete, bench, job, line.uid, first, second)
            bench.waiting.forget_job(job)
            ui.navigate.to("/")

        with Form(delete, send="Delete it for good"):
            field("The job's number", "first", inputmode="numeric", required=True)
            field("And once more", "second", inputmode="numeric", required=True)


def _delete(bench: Bench, job: int, uid: str, first: str, second: str) -> None:
    folder = bench.folder / EXPORTED
    folder.mkdir(exist_ok=True, mode=0o700)
    file = folder / f"job-{job}-{uid[:8]}.zip"
    file.unlink(missing_ok=True)  # of an earlier try that was not finished
    delete_job(bench.store, before_deleting(bench.store, job, file), first, second)
