"""The write-up of a job as a file to take away."""

from __future__ import annotations

import asyncio
from datetime import UTC, datetime

from starlette.responses import Response

from airproof.errors import AirproofError, UnusableRequest
from airproof.report.language.language import language
from airproof.report.write_up.case import case_of
from airproof.report.write_up.content import PAPERS, Paper
from airproof.report.write_up.written import write_up_of
from airproof.web.bench import Bench
from airproof.web.marks import in_words
from airproof.web.plain import plain


async def write_up(bench: Bench, job: int, form: str, paper: str, in_language: str, private: str) -> Response:
    """The write-up, or a page that says why there is none."""
    try:
        weighed, why_not = None, ""
        try:
            weighed = await bench.weigh(job)
        except UnusableRequest as fault:  # what is there can be written up all the same
            why_not = f"{fault.given}; wanted: {fault.wanted}."
        return await asyncio.to_thread(_written, bench, job, weighed, why_not, form, paper, in_language, private)
    except AirproofError as fault:
        return plain("Not written up", in_words(fault), status=422)


def _written(
    bench: Bench, job: int, weighed: object, why_not: str, form: str, paper: str, in_language: str, private: str
) -> Response:
    from airproof.jobs.weighing import Weighed

    papers: dict[str, Paper] = {name: name for name in PAPERS}
    if form not in ("pdf", "html") or paper not in papers:
        raise UnusableRequest("a form or paper that there is not", "one of the page's", "Choose again.")
    made_at = datetime.now(UTC)
    judged = weighed if isinstance(weighed, Weighed) else None
    case = case_of(
        bench.store.events(job),
        bench.known,
        made_at,
        number=job,
        weighing=None if judged is None else judged.weighing,
        plan=None if judged is None else judged.plan,
        why_not=why_not,
        show_private=private != "no",
    )
    written = write_up_of(case, language(in_language), bench.settings.wish())
    name = f"airproof-job-{job}.{form}"
    if form == "html":
        from airproof.report.write_up.html import as_html

        # A file of its own: nothing in it acts, so it may be looked at in the place of a page.
        headers = {
            "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; img-src data:; font-src data:"
        }
        return Response(as_html(written), media_type="text/html; charset=utf-8", headers=headers)
    from airproof.report.write_up.pdf import as_pdf

    made = as_pdf(written, papers[paper], made_at)
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(made.content, media_type="application/pdf", headers=headers)
