"""Carrying out `airproof job weigh` and `airproof job plan`: as the one-shot commands do, on what a job holds."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

from airproof.cli.job_request import Many, Where, number_of
from airproof.cli.progress import counting
from airproof.cli.shop import in_your_shop, learned_in
from airproof.cli.streams import complain, say, say_parts
from airproof.cli.typed import one_path
from airproof.errors import UnusableFile, UnusableRequest
from airproof.jobs.left_to_do import left_to_do
from airproof.jobs.store import Store
from airproof.jobs.weighing import Weighed, keep_verdict, plan_task, planning_task, todays_verdict, weigh_job
from airproof.knowledge.load import knowledge
from airproof.knowledge.model import Knowledge, Prices
from airproof.repair.advice import advise
from airproof.repair.prices import load_prices, tools_of
from airproof.report import as_json, plan_as_json, plan_in_words
from airproof.report.exhibits import Exhibit, check_folder, draw_exhibits
from airproof.report.in_words import Part, in_words
from airproof.report.left_in_words import in_the_terminal, left_in_words

if TYPE_CHECKING:
    from airproof.repair.learned.sharpen import Learned


@dataclass(frozen=True)
class Reckoned:
    """What is reckoned with: the knowledge with the shop's own numbers in it, and a fingerprint of these."""

    known: Knowledge
    prices: Prices
    learned: Learned | None
    mark: str
    shop: str


def weigh_and_tell(at: Where, typed: str, prices: Many, shop: Many, exhibits: Many) -> None:
    """Weigh, keep the verdict, tell it."""
    with_, job = reckoned(prices, shop), number_of(typed)
    folder = one_path("--exhibits", exhibits, "a folder")
    if folder is not None:
        check_folder(folder)
    with at.store() as store:
        weighed = _weighed(store, job, with_, at.author)
        left = in_the_terminal(job, store.state(job), with_.known)
    drawn: Sequence[Exhibit] = () if folder is None else draw_exhibits(weighed.weighing, folder)
    if at.json:
        say(as_json.as_json(weighed.weighing, weighed.plan, weighed.recordings, learned=with_.learned))
        return
    parts = [*in_words(weighed.weighing, weighed.plan, weighed.recordings), *in_your_shop(with_.learned, with_.shop)]
    if left is not None:
        parts = [left if part.id == "next" else part for part in parts]
    if weighed.left_out:
        parts.append(Part("left-out", "Kept, and without weight", weighed.left_out))
    if drawn:
        parts.append(Part("exhibits", f"Exhibits, in {folder}", tuple(f"{one.number}. {one.title}." for one in drawn)))
    say_parts(parts)


def plan_and_tell(at: Where, typed: str, prices: Many, shop: Many) -> None:
    """Plan from today's verdict, weighing anew where there is none."""
    with_, job = reckoned(prices, shop), number_of(typed)
    with at.store() as store:
        state = store.state(job)
        left = in_the_terminal(job, state, with_.known)
        if left is not None and not at.json:
            say_parts([left])
            return
        verdict = todays_verdict(state, with_.known, with_.mark)
        if verdict is None:
            weighed = _weighed(store, job, with_, at.author)
            refusal = weighed.weighing.verdict.refusal
            if refusal is not None:
                way_out = "See to that, then plan again."
                raise UnusableRequest(f"nothing was judged: {refusal}", "a verdict that judges", way_out)
            task = planning_task(weighed, store.state(job), with_.known, with_.prices)
        else:
            task = plan_task(state, verdict, with_.known, with_.prices)
    advice = advise(task)
    if at.json:
        to_do = None if left is None else {"to_do": left_to_do(state), "says": list(left_in_words(state, with_.known))}
        say(plan_as_json.as_json(advice, task, with_.learned, to_do))
    else:
        say_parts([*plan_in_words.in_words(advice, task), *in_your_shop(with_.learned, with_.shop)])


def _weighed(store: Store, job: int, with_: Reckoned, author: str) -> Weighed:
    with counting(f"weighing job {job}") as progress:
        weighed = weigh_job(store, job, with_.known, with_.prices, progress, with_.mark)
    try:
        keep_verdict(store, job, weighed, partial(as_json.verdict_object, learned=with_.learned), author)
    except UnusableFile as fault:  # a full disk, say: what was weighed is there all the same
        complain(f"the verdict was not kept in job {job}: {fault}")
    return weighed


def reckoned(prices: Many, shop: Many) -> Reckoned:
    """The knowledge and prices, with the user's own in them."""
    own = one_path("--shop", shop)
    learned = learned_in(own, knowledge())
    known = knowledge() if learned is None else learned.knowledge
    mark = "" if own is None else hashlib.sha256(own.read_bytes()).hexdigest()
    path = one_path("--prices", prices)
    priced = known.prices if path is None else load_prices(path, known.prices, tools_of(known))
    return Reckoned(known, priced, learned, mark, str(own))
