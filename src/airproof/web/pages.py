"""Which address leads where."""

from __future__ import annotations

import asyncio
import re
import tempfile
from collections.abc import Awaitable
from pathlib import Path
from typing import TYPE_CHECKING

from fastapi.exceptions import RequestValidationError
from nicegui import app, ui
from starlette.background import BackgroundTask
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, Response

from airproof.errors import AirproofError
from airproof.web.faults import reported
from airproof.web.guard import HEADERS
from airproof.web.marks import in_words
from airproof.web.pictures import picture_called
from airproof.web.plain import ALL_JOBS, not_there, plain

if TYPE_CHECKING:
    from airproof.web.bench import Bench

ASSETS = Path(__file__).parent / "assets"
PATIENT_S = 20.0
"""Before a page that is not there counts as failed: an old laptop that weighs meanwhile may take a while."""

_ROOMY = re.compile(r"/job/[0-9]+/recordings|/jobs/import")


def roomy(path: str) -> bool:
    """Whether whole recordings may be sent to that address."""
    return _ROOMY.fullmatch(path) is not None


def lay_out(bench: Bench) -> None:
    """Put all pages of the bench in their places. What a page needs is loaded when it is first asked for."""
    app.add_static_files("/assets", ASSETS)
    _places(bench)
    _of_a_job(bench)
    _files(bench)
    app.exception_handler(404)(_nothing_here)
    app.exception_handler(RequestValidationError)(_no_address)
    app.exception_handler(500)(_own_fault)
    app.on_page_exception(_told_on_the_page)


def _places(bench: Bench) -> None:
    @ui.page("/", response_timeout=PATIENT_S)
    async def jobs(words: str = "") -> None:
        from airproof.web import jobs_page

        await jobs_page.show(bench, words)

    @ui.page("/new", response_timeout=PATIENT_S)
    def new() -> None:
        from airproof.web import jobs_page

        jobs_page.new(bench)

    @ui.page("/settings", response_timeout=PATIENT_S)
    def settings() -> None:
        from airproof.web import settings_page

        settings_page.show(bench)

    @ui.page("/rehearse", response_timeout=PATIENT_S)
    async def rehearse() -> None:
        from airproof.web import rehearsal_page

        await rehearsal_page.show(bench)


def _of_a_job(bench: Bench) -> None:
    @ui.page("/job/{job}", response_timeout=PATIENT_S)
    async def case(job: int) -> Response | None:
        from airproof.web.case import file

        return await _there(file.show(bench, job))

    @ui.page("/job/{job}/step/{step}", response_timeout=PATIENT_S)
    async def step(job: int, step: str) -> Response | None:
        from airproof.web import step_page

        return await _there(step_page.show(bench, job, step))

    @ui.page("/job/{job}/recording/{sha256}", response_timeout=PATIENT_S)
    async def recording(job: int, sha256: str, request: Request) -> Response | None:
        from airproof.web import trace_page

        return await _there(trace_page.show(bench, job, sha256, dict(request.query_params)))

    @ui.page("/job/{job}/headings/{key}", response_timeout=PATIENT_S)
    async def headings(job: int, key: str) -> Response | None:
        from airproof.web import headings_page

        return await _there(headings_page.show(bench, job, key))

    @ui.page("/job/{job}/line", response_timeout=PATIENT_S)
    async def line(job: int) -> Response | None:
        from airproof.web.live import page

        return await _there(page.show(bench, job))

    @ui.page("/job/{job}/delete", response_timeout=PATIENT_S)
    async def delete(job: int) -> Response | None:
        from airproof.web import delete_page

        return await _there(delete_page.show(bench, job))


def _files(bench: Bench) -> None:
    from airproof.web import uploads

    @app.post("/job/{job}/recordings")
    async def take_recording(job: int, request: Request) -> Response:
        return await uploads.take_recording(bench, job, request)

    @app.post("/jobs/import")
    async def take_job_file(request: Request) -> Response:
        return await uploads.take_job_file(bench, request)

    @app.get("/job/{job}/exhibit/{key}/{name}")
    def exhibit(job: int, key: str, name: str) -> Response:
        del job
        found = picture_called(key, name)
        if found is None:
            raise HTTPException(404)
        # A picture is no page: nothing in it may act, whatever stands in it.
        policy = {"Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; img-src data:"}
        return Response(found, media_type="image/svg+xml", headers=policy)

    @app.get("/job/{job}/write-up")
    async def write_up(
        job: int, form: str = "pdf", paper: str = "a4", language: str = "en", private: str = "yes"
    ) -> Response:
        from airproof.web import writing

        return await writing.write_up(bench, job, form, paper, language, private)

    @app.get("/job/{job}/export")
    async def export(job: int, private: str = "yes") -> Response:
        from airproof.jobs.job_file import export_job

        folder = tempfile.TemporaryDirectory(prefix="airproof-out-")
        name = f"airproof-job-{job}{'' if private == 'yes' else '-without-private'}.zip"
        target = Path(folder.name) / name
        try:
            await asyncio.to_thread(export_job, bench.store, job, target, private=private == "yes")
        except AirproofError as fault:
            folder.cleanup()
            return plain("Not exported", in_words(fault), status=422)
        return FileResponse(target, filename=name, background=BackgroundTask(folder.cleanup))


async def _there(drawn: Awaitable[None]) -> Response | None:
    """Draw a page of a job; one that is not there is told as every wrong address is."""
    try:
        await drawn
    except AirproofError as fault:
        return not_there(in_words(fault))
    return None


async def _no_address(request: Request, fault: Exception) -> Response:
    del request, fault
    return not_there("")


async def _nothing_here(request: Request, fault: Exception) -> Response:
    del request
    detail = getattr(fault, "detail", "")
    return not_there("" if detail in ("", "Not Found") else str(detail))


async def _own_fault(request: Request, fault: Exception) -> Response:
    del request
    told = plain("Something went wrong", reported(fault), status=500, inside=ALL_JOBS)
    told.headers.update(HEADERS)  # this answer is given outside the guard
    return told


def _told_on_the_page(fault: Exception) -> None:
    """In the place of a page that could not be drawn."""
    from airproof.web.marks import heading, link, say

    heading(1, "Something went wrong")
    say(reported(fault))
    link("All jobs", "/", "press")
