"""Carrying out `airproof job write-up`: everything cheap is refused before anything is weighed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

from airproof.cli.job_request import Many, Where, number_of
from airproof.cli.job_weighing import reckoned
from airproof.cli.progress import counting
from airproof.cli.streams import say, say_parts
from airproof.cli.typed import once, paths_of
from airproof.errors import UnusableRequest
from airproof.jobs.weighing import weigh_job
from airproof.quantities.wishes import Wish, wish_of
from airproof.report.in_words import Part
from airproof.report.language.language import Language, language
from airproof.report.whole_file import put_whole, refuse_others
from airproof.report.write_up.case import Case, case_of
from airproof.report.write_up.content import PAPERS, Paper
from airproof.report.write_up.written import write_up_of

ENDINGS = (".pdf", ".html")


@dataclass(frozen=True)
class Wanted:
    """Where a write-up goes, and how it is to read."""

    out: tuple[Path, ...]
    paper: Paper
    language: Language
    wish: Wish
    show_private: bool


def wanted_of(
    out: Many, paper: Many, units: Many, temperature: Many, in_language: Many, *, vacuum: bool, private: bool
) -> Wanted:
    """From what was typed.

    Raises UnusableRequest for another ending, paper, unit or language, UnusableFile where another's file is there.
    """
    files = tuple(paths_of("--out", out))
    if not files:
        raise UnusableRequest("--out is missing", "the file to write", "Add --out write-up.pdf.")
    for file in files:
        if file.suffix.lower() not in ENDINGS:
            raise UnusableRequest(
                f'"{file.suffix}"', f"one of {' and '.join(ENDINGS)}", "Name the file so.", where=str(file)
            )
    refuse_others(files)
    return Wanted(
        files,
        paper_of(paper),
        language(once("--language", in_language) or "en"),
        wish_of(once("--units", units) or "", once("--temperature", temperature) or "", vacuum=vacuum),
        not private,
    )


def paper_of(many: Many) -> Paper:
    """The paper as typed."""
    typed = once("--paper", many) or "a4"
    known: dict[str, Paper] = {name: name for name in PAPERS}
    if typed.strip().lower() not in known:
        raise UnusableRequest(f"{typed[:40]!r}", f"one of {', '.join(PAPERS)}", "Choose one.", where="--paper")
    return known[typed.strip().lower()]


def write_up_and_tell(at: Where, typed: str, wanted: Wanted, prices: Many, shop: Many) -> None:
    """Weigh the job where it can be, write it up, and say where it is."""
    with_, job = reckoned(prices, shop), number_of(typed)
    with at.store() as store:
        events, weighed, why_not = store.events(job), None, ""
        try:
            with counting(f"weighing job {job}") as progress:
                weighed = weigh_job(store, job, with_.known, with_.prices, progress, with_.mark)
        except UnusableRequest as fault:  # there is nothing to weigh yet; what is there can be written up all the same
            why_not = f"{fault.given}; wanted: {fault.wanted}."
    case = case_of(
        events,
        with_.known,
        datetime.now(UTC),
        number=job,
        weighing=None if weighed is None else weighed.weighing,
        plan=None if weighed is None else weighed.plan,
        why_not=why_not,
        show_private=wanted.show_private,
    )
    remarks = write(case, wanted)
    if at.json:
        import json

        files = [str(file) for file in wanted.out]
        say(
            json.dumps({"schema": "airproof.written/1", "job": job, "files": files, "remarks": list(remarks)}, indent=1)
        )
        return
    say_parts([Part("written", "", tuple(f"Written: {file}." for file in wanted.out) + remarks)])


def write(case: Case, wanted: Wanted) -> tuple[str, ...]:
    """Write the files; what is to be said of them."""
    remarks = []
    write_up = write_up_of(case, wanted.language, wanted.wish)
    for file in wanted.out:
        ending: Literal[".pdf", ".html"] | str = file.suffix.lower()
        if ending == ".pdf":
            from airproof.report.write_up.pdf import as_pdf  # heavy, and no need of it for HTML

            made = as_pdf(write_up, wanted.paper, case.made_at)
            if not made.whole:
                remarks.append(f"Letters that no font here has stand as boxes in {file}; a page of HTML has them all.")
            put_whole(file, made.content)
        else:
            from airproof.report.write_up.html import as_html

            put_whole(file, as_html(write_up).encode("utf-8"))
    return tuple(remarks)
