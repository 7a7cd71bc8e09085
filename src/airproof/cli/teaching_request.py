"""Carrying out `airproof job teach`, and what it shares with `airproof rehearse --sheet`: the teaching sheet."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, cast

from airproof.cli.job_request import Many, Where, number_of
from airproof.cli.streams import complain, say, say_parts
from airproof.cli.typed import once, one_path
from airproof.cli.write_up_request import paper_of
from airproof.engine.profile import EngineProfile
from airproof.engine.rehearsal.air.build import Details
from airproof.engine.rehearsal.compare import as_recording, compare
from airproof.engine.rehearsal.compiled import is_ready
from airproof.engine.rehearsal.faults import CAUSES, UNSIZED, Fault, parse_fault
from airproof.engine.rehearsal.many import logged
from airproof.engine.rehearsal.rehearse import Rehearsal, Request, rehearse
from airproof.errors import UnusableRequest
from airproof.jobs.state import State
from airproof.quantities.wishes import Wish, wish_of
from airproof.report.exhibits import check_folder
from airproof.report.in_words import Part
from airproof.report.language.language import Language, language
from airproof.report.rehearsed_in_words import fault_in_words
from airproof.report.whole_file import put_whole
from airproof.report.write_up.content import Paper
from airproof.report.write_up.html import as_html
from airproof.report.write_up.teaching import EXHIBITS, Taught, sheet_of

SHEET = (
    "sheet.html",
    "sheet.pdf",
    *(f"exhibit-{number}.{ending}" for number in range(1, EXHIBITS + 1) for ending in ("svg", "png")),
)
LOGGER = "fast"  # as smooth as the picture can show


@dataclass(frozen=True)
class SheetWanted:
    """Where a teaching sheet goes, and how it is to read."""

    folder: Path
    paper: Paper
    language: Language
    wish: Wish


def sheet_wanted(folder: Path, paper: Many, units: Many, in_language: Many) -> SheetWanted:
    """From what was typed; refused where the folder cannot be written to."""
    check_folder(folder, SHEET)
    return SheetWanted(
        folder,
        paper_of(paper),
        language(once("--language", in_language) or "en"),
        wish_of(once("--units", units) or ""),
    )


def teach_and_tell(at: Where, typed: str, out: Many, paper: Many, units: Many, in_language: Many) -> None:
    """Rehearse the job's engine with what was wrong with it, and write the sheet."""
    job, folder = number_of(typed), one_path("--out", out, "a folder")
    if folder is None:
        raise UnusableRequest("--out is missing", "a folder for the sheet", "Add --out sheet.")
    wanted = sheet_wanted(folder, paper, units, in_language)
    with at.store() as store:
        state = store.state(job)
        if state.engine is None:
            way_out = f"Add it: airproof job add {job} --engine ENGINE.toml."
            raise UnusableRequest(f"job {job} does not say what engine it is", "an engine profile", way_out)
    profile, details = state.engine.payload.engine, Details.model_validate(state.engine.payload.rehearsal)
    fault = _fault(state, job, profile, details)
    if not is_ready():
        complain("the first rehearsal compiles the simulated engine: about half a minute, once")
    faulty = rehearse(Request(profile, details, (fault,)))
    write_sheet(faulty, wanted)
    if at.json:
        import json

        say(json.dumps({"schema": "airproof.taught/1", "job": job, "folder": str(wanted.folder)}, indent=1))
    else:
        say_parts([Part("written", "", (written(wanted),))])


def write_sheet(faulty: Rehearsal, wanted: SheetWanted) -> None:
    """Rehearse the same car healthy, and write sheet.pdf, sheet.html and the exhibits into the folder."""
    from airproof.report.write_up.pdf import as_pdf

    request = faulty.request
    healthy = rehearse(replace(request, faults=()))
    one, other = (as_recording(logged(each, LOGGER), "rehearsed") for each in (healthy, faulty))
    codes = [sorted(each.codes.pending | each.codes.confirmed) for each in (healthy, faulty)]
    taught = Taught(
        causes=tuple(fault.cause for fault in request.faults),
        wrong=tuple(map(fault_in_words, request.faults)),
        comparison=compare(one, other, idle_rpm=request.profile.idle_rpm),
        healthy=one,
        faulty=other,
        codes=tuple(code for code in codes[1] if code not in codes[0]),
        made_at=datetime.now(UTC),
    )
    sheet = sheet_of(taught, wanted.language, wanted.wish)
    wanted.folder.mkdir(parents=True, exist_ok=True)
    files = {
        **sheet.files,
        "sheet.html": as_html(sheet.write_up).encode("utf-8"),
        "sheet.pdf": as_pdf(sheet.write_up, wanted.paper, taught.made_at).content,
    }
    for name, content in files.items():
        put_whole(wanted.folder / name, content)


def written(wanted: SheetWanted) -> str:
    """What is where, in a sentence."""
    return f"The teaching sheet is in {wanted.folder}: sheet.pdf, sheet.html, and its exhibits as SVG and PNG."


def _fault(state: State, job: int, profile: EngineProfile, details: Details) -> Fault:
    """What the job was closed with, else what its last verdict holds most probable, as large as the verdict has it."""
    causes: list[dict[str, Any]] = []
    if state.verdicts:
        causes = list(cast("Any", state.verdicts[-1].payload.verdict.get("causes")) or [])
    id_ = state.closed.payload.cause if state.closed is not None else causes[0]["id"] if causes else ""
    if id_ not in CAUSES:
        given = f"job {job} says {id_!r}" if id_ else f"job {job} has neither a verdict nor an end"
        way_out = (
            f"Weigh it: airproof job weigh {job}. Or rehearse a cause: airproof rehearse --cause --compare --sheet."
        )
        raise UnusableRequest(given, "a cause that can be rehearsed", way_out)
    size = next((one.get("size") for one in causes if one["id"] == id_), None)
    if size is None or not size.get("told", True) or id_ in UNSIZED:
        return parse_fault(id_, profile, details)
    try:
        return parse_fault(f"{id_}={float(size['value']):.2g}", profile, details)
    except UnusableRequest:  # no size that can be rehearsed, or no engine for it, which the usual size then tells
        return parse_fault(id_, profile, details)
