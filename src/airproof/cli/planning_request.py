"""Carrying out one `airproof plan`."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path

from airproof.cli.shop import in_your_shop, learned_in
from airproof.cli.streams import complain, say, say_parts
from airproof.cli.typed import path_of
from airproof.errors import UnusableFile, UnusableRequest
from airproof.knowledge.load import knowledge
from airproof.knowledge.model import Knowledge, Step
from airproof.repair.advice import advise
from airproof.repair.prices import load_prices, tools_of
from airproof.repair.proof.as_typed import COULD_NOT, OF_A_REPAIR
from airproof.repair.task import Task
from airproof.repair.verdict_file import WANTED, WAY_OUT, task_of
from airproof.report.plan_as_json import as_json
from airproof.report.plan_in_words import in_words

YES_OR_NO = {"yes": True, "no": False}
CANNOT = "cannot"


@dataclass(frozen=True)
class PlanRequest:
    """The options of `airproof plan` as they were typed."""

    verdict: str
    done: Sequence[str]
    prices: Path | None
    shop: Path | None
    json: bool


def carry_out(request: PlanRequest) -> None:
    """Plan and tell."""
    learned = learned_in(request.shop, knowledge())
    known = knowledge() if learned is None else learned.knowledge
    steps = [_done(typed, known) for typed in request.done]
    prices = known.prices if request.prices is None else load_prices(request.prices, known.prices, tools_of(known))
    task: Task = task_of(_text(request.verdict), known, prices, request.verdict)
    for step, outcome in steps:
        task = task.cannot(step) if outcome == CANNOT else task.after(step, YES_OR_NO.get(outcome))
    advice = advise(task)
    if request.json:
        say(as_json(advice, task, learned))
        return
    say_parts([*in_words(advice, task), *in_your_shop(learned, str(request.shop))])


def _text(verdict: str) -> str:
    if verdict == "-":
        return sys.stdin.read()
    path = path_of("VERDICT.json", verdict)
    try:
        return path.read_text(encoding="utf-8-sig")
    except OSError as fault:
        found = f"cannot be read ({fault.strerror or fault})"
        raise UnusableFile(found, WANTED, "Check the path.", where=verdict) from fault
    except UnicodeDecodeError as fault:
        raise UnusableFile("is not text in UTF-8", WANTED, WAY_OUT, where=verdict) from fault


def _done(typed: str, known: Knowledge) -> tuple[Step, str]:
    """A step and what came of it: yes or no, nothing for a repair, or that it cannot be.

    Of a repair that is only said to be done nobody knows whether it helped: the plan is for the case that it did not.
    """
    name, _, outcome = (part.strip() for part in typed.partition("="))
    step = known.steps.get(name)
    if step is None:
        near = ", ".join(get_close_matches(name, known.steps, 4, 0.4)) or ", ".join(list(known.steps)[:6])
        raise UnusableRequest(f"{name!r} is not a step", "the id of a step", f"Near: {near}.", where="--done")
    if step.ends:
        over = f"with {name} the job is over"
        raise UnusableRequest(over, "a step that leaves it open", "Leave it out.", where="--done")
    outcome = "-".join(outcome.lower().split())
    if outcome == CANNOT or outcome in COULD_NOT:
        return step, CANNOT
    if step.tells and outcome not in YES_OR_NO:
        raise UnusableRequest(
            f"{typed!r} does not say what came of it",
            f'{name}=yes ("{step.if_so}"), {name}=no ("{step.if_not}") or {name}=could-not',
            "Say which.",
            where="--done",
        )
    if step.tells:
        return step, outcome
    came = "helped" if outcome == "yes" else "did not help" if outcome == "no" else OF_A_REPAIR.get(outcome)
    if came == "helped":
        helped = f"{typed!r}: with a repair that helped the job is over"
        raise UnusableRequest(helped, "a repair that did not help", "Leave it out, and prove it.", where="--done")
    if came is None:
        raise UnusableRequest(
            f"{typed!r} does not say what came of it",
            f"{name}=did-not-help, {name}=done (nobody knows yet) or {name}=could-not",
            "Say which.",
            where="--done",
        )
    if came == "done":
        complain(f"it is not said whether {name} helped: this plan is for the case that it did not")
    return step, ""
