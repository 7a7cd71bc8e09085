"""Carrying out `airproof job weigh` and `airproof job plan`: as the one-shot commands do, on what a job holds."""

from __future__ import annotations

from collections.abc import Sequence

from airproof.cli.job_request import Many, Where, number_of
from airproof.cli.progress import counting
from airproof.cli.streams import say, say_parts
from airproof.cli.typed import one_path
from airproof.errors import UnusableRequest
from airproof.jobs.kinds import Verdict
from airproof.jobs.state import Fact, State
from airproof.jobs.store import Store
from airproof.jobs.weighing import Weighed, keep_verdict, plan_task, todays_verdict, weigh_job
from airproof.knowledge.load import knowledge
from airproof.knowledge.model import Knowledge, Prices
from airproof.repair.advice import advise
from airproof.repair.prices import load_prices, tools_of
from airproof.report import as_json, plan_as_json, plan_in_words
from airproof.report.exhibits import Exhibit, check_folder, draw_exhibits
from airproof.report.in_words import Part, in_words


def weigh_and_tell(at: Where, typed: str, prices: Many, exhibits: Many) -> None:
    """Weigh, keep the verdict, tell it."""
    known, job = knowledge(), number_of(typed)
    folder = one_path("--exhibits", exhibits, "a folder")
    if folder is not None:
        check_folder(folder)
    with at.store() as store:
        weighed = _weighed(store, job, known, _prices(prices, known), at.author)
    drawn: Sequence[Exhibit] = () if folder is None else draw_exhibits(weighed.weighing, folder)
    if at.json:
        say(as_json.as_json(weighed.weighing, weighed.plan, weighed.recordings))
        return
    parts = [*in_words(weighed.weighing, weighed.plan, weighed.recordings)]
    if weighed.left_out:
        parts.append(Part("left-out", "Kept, and without weight", weighed.left_out))
    if drawn:
        parts.append(Part("exhibits", f"Exhibits, in {folder}", tuple(f"{one.number}. {one.title}." for one in drawn)))
    say_parts(parts)


def plan_and_tell(at: Where, typed: str, prices: Many) -> None:
    """Plan from today's verdict, weighing anew where there is none."""
    known, job = knowledge(), number_of(typed)
    priced = _prices(prices, known)
    with at.store() as store:
        state = store.state(job)
        verdict = todays_verdict(state, known)
        if verdict is None:
            _weighed(store, job, known, priced, at.author)
            state = store.state(job)
            verdict = _last(state, job)
    task = plan_task(state, verdict, known, priced)
    advice = advise(task)
    if at.json:
        say(plan_as_json.as_json(advice, task))
    else:
        say_parts(plan_in_words.in_words(advice, task))


def _weighed(store: Store, job: int, known: Knowledge, prices: Prices, author: str) -> Weighed:
    with counting(f"weighing job {job}") as progress:
        weighed = weigh_job(store, job, known, prices, progress)
    keep_verdict(store, job, weighed, as_json.verdict_object, author)
    return weighed


def _last(state: State, job: int) -> Fact[Verdict]:
    if not state.verdicts:
        raise UnusableRequest(f"the verdict of job {job} was taken back meanwhile", "a verdict", "Try again.")
    return state.verdicts[-1]


def _prices(many: Many, known: Knowledge) -> Prices:
    path = one_path("--prices", many)
    return known.prices if path is None else load_prices(path, known.prices, tools_of(known))
