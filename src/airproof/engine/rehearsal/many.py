"""Rehearsing: one recording with its truth, or many side by side on all cores, each decided by its own seed alone."""

from __future__ import annotations

import csv
import multiprocessing
import os
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from airproof.engine.rehearsal.faults import Fault
from airproof.engine.rehearsal.rehearse import Rehearsal, Request, rehearse
from airproof.engine.rehearsal.road.drives import Drive
from airproof.engine.rehearsal.spread import Case, draw
from airproof.engine.rehearsal.written.logger import Log, log, logger_named
from airproof.engine.rehearsal.written.recording_file import dialect_named, write_recording
from airproof.engine.rehearsal.written.truth import DRAWN, engine_file_text, refuse_others, refused, write_truth
from airproof.errors import UnusableFile

USUAL_LOGGER, USUAL_DIALECT = "two-first", "plain"
LIST, COLUMNS = "cases.csv", ("recording", "engine", "causes", "confirmed codes", "pending codes")
AT_ONCE = 8  # cases handed to a worker together


@dataclass(frozen=True)
class Plan:
    """Many rehearsals: how many, from which seed on, and what is the same in all of them.

    `request` is one car driven again and again with other tolerances and noise; None draws everything.
    """

    number: int
    seed: int
    folder: Path
    request: Request | None
    faults: tuple[Fault, ...] | None
    drive: Drive | None
    logger: str | None
    dialect: str | None


def logged(rehearsal: Rehearsal, logger: str) -> Log:
    """What that logger stored of a rehearsal. Its polls fall alike for every fault of one seed."""
    request = rehearsal.request
    return log(rehearsal.trace, logger_named(logger), np.random.default_rng([request.seed, request.day, 2]))


def record(rehearsal: Rehearsal, path: Path, logger: str, dialect: str) -> Path:
    """Write the recording and, beside it, the truth; returns where that is. Raises UnusableFile where it cannot."""
    write_recording(logged(rehearsal, logger), path, dialect_named(dialect))
    return write_truth(rehearsal, path, logger, dialect)


def refuse_others_in(plan: Plan) -> None:
    """Refuse to write into a folder where somebody else's files bear the names that these rehearsals will have.

    Raises UnusableFile.
    """
    begins = {plan.folder / LIST: ",".join(COLUMNS)}
    if not plan.folder.is_dir():
        return
    for place in range(plan.number):
        recording, engine = _files_of(plan, place)
        refuse_others(recording)
        begins[engine] = DRAWN
    for path, first in begins.items():
        if path.exists() and not _begins(path, first):
            raise refused(path)


def _begins(path: Path, first: str) -> bool:
    try:
        with path.open(encoding="utf-8") as file:
            return file.readline(len(first) + 1).rstrip("\n") == first
    except (OSError, ValueError):
        return False


def _files_of(plan: Plan, place: int) -> tuple[Path, Path]:
    """The recording and the engine file of the case at that place."""
    name = f"{place + 1:04d}"
    return plan.folder / f"{name}.csv.gz", plan.folder / f"{name}.engine.toml"


def case_of(plan: Plan, place: int) -> Case:
    """The case at that place."""
    if plan.request is None:
        return draw(plan.seed, place, faults=plan.faults, drive=plan.drive, logger=plan.logger, dialect=plan.dialect)
    seed = int(np.random.SeedSequence([plan.seed, place]).generate_state(1)[0])
    return Case(replace(plan.request, seed=seed), plan.logger or USUAL_LOGGER, plan.dialect or USUAL_DIALECT)


def rehearse_many(plan: Plan, progress: Callable[[float], None] | None = None, workers: int | None = None) -> Path:
    """Write NUMBER recordings 0001.csv.gz ... with engine files and truths to the folder; returns the list of them.

    What stands in a file depends on its seed and place alone, not on the number of cores.
    Raises UnusableFile where the folder cannot be written.
    """
    try:
        plan.folder.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        way_out = "Name another folder."
        raise UnusableFile(f"cannot be made ({fault.strerror})", "a folder", way_out, where=str(plan.folder)) from fault
    batches = [range(k, min(k + AT_ONCE, plan.number)) for k in range(0, plan.number, AT_ONCE)]
    rows: list[tuple[int, Sequence[str]]] = []
    cores = min(workers or os.cpu_count() or 1, len(batches))
    if cores <= 1:
        for batch in batches:
            rows += _rehearse_batch(plan, batch)
            if progress is not None:
                progress(len(rows) / plan.number)
    else:
        # the first case is made here, so that the model is compiled once and not in every worker
        rows += _rehearse_batch(plan, range(1))
        with ProcessPoolExecutor(cores, mp_context=multiprocessing.get_context("spawn")) as pool:
            todo = [pool.submit(_rehearse_batch, plan, batch) for batch in (range(1, batches[0].stop), *batches[1:])]
            for done in as_completed(todo):
                rows += done.result()
                if progress is not None:
                    progress(len(rows) / plan.number)
    index = plan.folder / LIST
    with index.open("w", newline="", encoding="utf-8") as out:
        table = csv.writer(out, lineterminator="\n")
        table.writerow(COLUMNS)
        table.writerows(row for _, row in sorted(rows))
    return index


def _rehearse_batch(plan: Plan, places: range) -> list[tuple[int, Sequence[str]]]:
    rows: list[tuple[int, Sequence[str]]] = []
    for place in places:
        case = case_of(plan, place)
        rehearsal = rehearse(case.request)
        path, engine = _files_of(plan, place)
        record(rehearsal, path, case.logger, case.dialect)  # first: it says plainly where a folder cannot be written
        details = case.request.details.model_dump(exclude_none=True)
        engine.write_text(engine_file_text(case.request.profile, details), encoding="utf-8")
        causes = " and ".join(f"{fault.cause} {fault.size:g}" for fault in case.request.faults) or "none"
        codes = rehearsal.codes
        pending = codes.pending - codes.confirmed
        rows.append(
            (place, (path.name, engine.name, causes, " ".join(sorted(codes.confirmed)), " ".join(sorted(pending))))
        )
    return rows
