"""Carrying out one `airproof learn`: all of it, or nothing where anything is wrong."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import nullcontext
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TypeVar

from airproof.cli.streams import say, say_parts
from airproof.errors import UnusableFile, UnusableRequest
from airproof.knowledge.load import knowledge
from airproof.knowledge.model import Knowledge
from airproof.repair.learned.closed_job import ClosedJob, load_closed_job
from airproof.repair.learned.counts import counts_of, remarks_on
from airproof.repair.learned.sharpen import Learned, sharpened
from airproof.repair.learned.shop_file import SCHEMA, Shop, new_shop, read_shop, with_secret, write_shop
from airproof.repair.learned.shop_held import held
from airproof.report.in_words import Part
from airproof.report.learned_as_json import as_json as all_as_json
from airproof.report.learned_in_words import in_short, in_words, jobs_in_words
from airproof.report.wording import sentence

Given = TypeVar("Given")
LONGEST_HALF_LIFE = 1200.0  # months


@dataclass(frozen=True)
class LearnRequest:
    """The options of `airproof learn` as they were typed."""

    shop: Path
    jobs: Sequence[Path]
    undo: Sequence[str]
    merge: Sequence[Path]
    export: Path | None
    half_life: str | None
    show: bool
    json: bool


def carry_out(request: LearnRequest) -> None:
    """Learn and tell."""
    changes = request.jobs or request.undo or request.merge or request.half_life is not None
    with held(request.shop) if changes else nullcontext():
        told = _carried_out(request)
    say(told) if isinstance(told, str) else say_parts(told)


def _carried_out(request: LearnRequest) -> str | list[Part]:
    """What is to be told, once it is written."""
    known = knowledge()
    there = request.shop.exists()
    if not there and not (request.jobs or request.merge):
        raise UnusableFile(
            "is not there",
            f"a shop's file, {SCHEMA}",
            "It is made with the first closed job: airproof learn JOB.toml --shop SHOP.json.",
            where=str(request.shop),
        )
    before = read_shop(request.shop) if there else new_shop()
    shop, notes = before, []
    if request.half_life is not None:
        shop = shop.model_copy(update={"half_life_months": _months(request.half_life)})
    for number in dict.fromkeys(request.undo):
        shop = _placed(shop.without, number, where="--undo")
        notes.append(f"job {number} is taken back")
    for other in request.merge:
        merged = _placed(shop.merged, read_shop(other), where=str(other))
        notes.append(f"{len(merged.jobs) - len(shop.jobs)} jobs of {other} are counted that were not there before")
        shop = merged
    shop, more = _with_jobs(shop, request.jobs, known)
    notes += more
    if request.export is not None:
        _may_be_written_over(request.export)
        notes.append(f"{jobs_in_words(len(shop.jobs))} are in {request.export}, to pass on")
    said = tuple(map(sentence, notes))
    learned = sharpened(known, shop)
    # Nothing is written before all of it has been understood, reckoned and put into words.
    told = all_as_json(learned, said) if request.json else _in_parts(request, learned, known, said)
    if shop != before or not there:
        write_shop(shop, request.shop)
    if request.export is not None:
        write_shop(shop.to_pass_on(), request.export)
    return told


def _with_jobs(shop: Shop, paths: Sequence[Path], known: Knowledge) -> tuple[Shop, list[str]]:
    notes = []
    for path in paths:
        job = load_closed_job(path, known)
        shop, more = with_job(shop, job, known, str(path), f"job {job.id}")
        notes += more
    return shop, notes


def with_job(shop: Shop, job: ClosedJob, known: Knowledge, where: str, called: str = "") -> tuple[Shop, list[str]]:
    """The shop with one more closed job, and what is to be said of that; raises where it says something else."""
    called = called or where
    able = with_secret(shop)
    more = _placed(partial(able.with_job, job), counts_of(job, known), where=where)
    notes = [f"{called} is counted" if more is not able else f"{called} was counted before"]
    return more, notes + [f"{called}: {remark}" for remark in remarks_on(job, known)]


def in_parts(shop: Shop, known: Knowledge, notes: Sequence[str], *, as_json: bool) -> str | list[Part]:
    """What the shop knows now in short, or all of it as JSON."""
    learned, said = sharpened(known, shop), tuple(map(sentence, notes))
    return all_as_json(learned, said) if as_json else [Part("done", "", said), *in_short(learned, known)]


def _placed(change: Callable[[Given], Shop], given: Given, where: str) -> Shop:
    """The changed shop, where a refusal says which file or option it is about."""
    try:
        return change(given)
    except UnusableRequest as fault:
        raise UnusableRequest(fault.given, fault.wanted, fault.way_out, where=where) from fault


def _months(typed: str) -> float | None:
    try:
        months = float(typed.replace(",", "."))
    except ValueError:
        months = -1.0
    if not 0.0 <= months <= LONGEST_HALF_LIFE:
        raise UnusableRequest(
            f"{typed!r} is not a number of months", f"0 to {LONGEST_HALF_LIFE:g}", "As --half-life 24.",
            where="--half-life",
        )  # fmt: skip
    return months or None


def _may_be_written_over(path: Path) -> None:
    """Only what was passed on before is written over, never a shop's own file, nor anything else."""
    if path.exists() and read_shop(path).secret is not None:
        raise UnusableFile(
            "is a shop's own file",
            "a new name, or a file that was passed on before",
            "Choose another.",
            where=str(path),
        )


def _in_parts(request: LearnRequest, learned: Learned, known: Knowledge, notes: tuple[str, ...]) -> list[Part]:
    changed = bool(notes) or request.half_life is not None
    parts = in_words(learned, known) if request.show or not changed else in_short(learned, known)
    return [*((Part("done", "", notes),) if notes else ()), *parts]
