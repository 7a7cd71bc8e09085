"""What all pages share: the store of jobs, what is known, the settings, and the jobs that have been weighed lately."""

from __future__ import annotations

import asyncio
import contextlib
import hashlib
import re
from collections import OrderedDict
from collections.abc import Callable, Collection, Iterable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from airproof.errors import AirproofError, UnusableFile
from airproof.jobs.events import Event
from airproof.jobs.folder import data_folder
from airproof.jobs.opening import open_store
from airproof.jobs.settings import Settings, keep_prices, keep_settings, load_settings, own_prices
from airproof.jobs.state import State, state_of
from airproof.knowledge.load import knowledge
from airproof.knowledge.model import Knowledge, Prices
from airproof.repair.prices import tools_of
from airproof.report.language.language import language
from airproof.report.wording import for_a_page, sentence
from airproof.web.waiting import WaitingRoom
from airproof.web.work import Work

if TYPE_CHECKING:
    from airproof.jobs.weighing import Weighed
    from airproof.repair.learned.sharpen import Learned
    from airproof.repair.learned.shop_file import Shop
    from airproof.web.live.session import Session

KEPT = 3
"""Jobs kept weighed at a time: as many as are open on a bench; judged: Airproof authors."""

QUIET_S = 20.0
"""After so long without a new fact a verdict is kept in the job; judged: Airproof authors: one burst, one verdict."""

SHOP = "shop.json"
ENGLISH = language("en")
_TIGHT = re.compile(r"(?<=\d)(?=kPa\b)")


@dataclass(frozen=True)
class UnderWay:
    """A weighing under way, by which knowledge and prices: what it has judged is there before its plan is."""

    work: Work
    by: tuple[str, Prices]
    whole: asyncio.Task[Weighed]
    judged: asyncio.Future[Weighed]


class _Own:
    """Numbers of the events that one page of a browser added, and how many it is adding."""

    def __init__(self) -> None:
        self.numbers: set[int] = set()
        self.adding = 0


class Bench:
    """The one bench that all pages work on; `author` is who says something where a page does not know better."""

    def __init__(self, folder: Path | None, author: str) -> None:
        self.folder = data_folder(folder)
        self.settings = load_settings(self.folder)  # before the store, which would stay open were they damaged
        self.store = open_store(folder)
        self.author = author
        self.trouble = ""
        self.line: Session | None = None
        self.waiting = WaitingRoom()
        self._own: dict[str, _Own] = {}
        self._weighed: OrderedDict[int, tuple[str, Weighed]] = OrderedDict()
        self._at_work: dict[int, UnderWay] = {}
        self._to_keep: dict[int, asyncio.Task[None]] = {}
        self._reckon()

    def _reckon(self) -> None:
        """What is known, with the shop's own numbers and prices in it; a file that cannot be read is told, not used."""
        self.trouble = ""
        self.learned: Learned | None = None
        self._shop: Shop | None = None
        self.known: Knowledge = knowledge()
        self.mark = ""
        shop = self.folder / SHOP
        try:
            if shop.is_file():
                from airproof.repair.learned.sharpen import sharpened
                from airproof.repair.learned.shop_file import read_shop

                self._shop = read_shop(shop)
                self.learned = sharpened(self.known, self._shop)
                self.known = self.learned.knowledge
                self.mark = hashlib.sha256(shop.read_bytes()).hexdigest()
        except UnusableFile as fault:
            self.trouble = str(fault)
        self.prices = self.known.prices
        try:
            self.prices = own_prices(self.folder, self.known.prices, tools_of(self.known))
        except UnusableFile as fault:
            self.trouble = str(fault)

    def close(self) -> None:
        """Let go of everything."""
        for held in self._at_work.values():
            held.work.call_off()
        if self.line is not None:
            self.line.end()
        self.waiting.close()
        self.store.close()

    # Words

    def words(self, text: str, barometer_kpa: float | None = None) -> str:
        """A sentence of ours in the units that the user likes, without what is meant for a command line.

        A vacuum needs the barometer of the day, kPa absolute: without it absolute pressures stay absolute.
        """
        return ENGLISH.words(_TIGHT.sub(" ", for_a_page(text)), self.settings.wish(barometer_kpa)).text

    @property
    def speaker(self) -> str:
        """Who says what is said on the pages."""
        return self.settings.name or self.author

    # Who adds what

    @contextlib.contextmanager
    def adding_on(self, page: str) -> Iterator[Callable[[Iterable[Event]], None]]:
        """While something is added on that page of a browser; what came of it is told to what this gives.

        It is that page's own: nobody has to tell it there as something that others added.
        """
        own = self._own.setdefault(page, _Own())
        own.adding += 1
        try:
            yield lambda events: own.numbers.update(event.number for event in events)
        finally:
            own.adding -= 1

    def own_on(self, page: str) -> Collection[int] | None:
        """The numbers of the events that were added on that page; None while some are just being added there."""
        own = self._own.get(page)
        return set() if own is None else own.numbers if not own.adding else None

    # Settings

    def like(self, settings: Settings) -> None:
        """Keep other settings."""
        keep_settings(self.folder, settings)
        self.settings = settings

    def price(self, text: str) -> Prices:
        """Keep another price file; all plans are made anew with it."""
        self.prices = keep_prices(self.folder, text, self.known.prices, tools_of(self.known))
        self._weighed.clear()
        return self.prices

    def learn_anew(self) -> None:
        """Read what the shop has learned again."""
        self._reckon()
        self._weighed.clear()

    def learn_from(self, job: int) -> str:
        """Count a closed job in what the shop has learned; what is to be said of that. Raises UnusableRequest."""
        from airproof.jobs.learning import closed_job_of, in_own_words
        from airproof.repair.learned.counts import counts_of
        from airproof.repair.learned.shop_file import new_shop, read_shop, with_secret, write_shop
        from airproof.repair.learned.shop_held import held

        state, line = self.store.state(job), self.store.line(job)
        plain = knowledge()
        closed = closed_job_of(state, job, line.uid, plain)
        path = self.folder / SHOP
        with held(path):
            before = with_secret(read_shop(path) if path.exists() else new_shop())
            after = before.with_job(closed, counts_of(closed, plain))
            if after is before:
                return f"Job {job} was counted before, as {line.uid}."
            write_shop(after, path)
        self.learn_anew()
        doubts = in_own_words(state.closed.payload.cause, plain) if state.closed is not None else ()
        said = f"Job {job} is counted, as {line.uid}; the settings say what the shop has learned."
        return " ".join([said, *map(sentence, doubts)])

    def counted_as(self, job: int) -> str:
        """The id under which the shop has learned from that job, by which it can be taken back; nothing where not."""
        if self._shop is None:
            return ""
        uid = self.store.line(job).uid
        return uid if self._shop.fingerprint(uid) in self._shop.jobs else ""

    def forget(self, job: int) -> str:
        """Take a job back from what the shop has learned, as if it had never been counted; what to say of that."""
        from airproof.repair.learned.shop_file import read_shop, write_shop
        from airproof.repair.learned.shop_held import held

        uid, path = self.store.line(job).uid, self.folder / SHOP
        with held(path):
            shop = read_shop(path)
            if shop.fingerprint(uid) in shop.jobs:
                write_shop(shop.without(uid), path)
        self.learn_anew()
        return f"Job {job} is taken back: the shop has learned nothing from it."

    # Weighing

    def fingerprint(self, state: State) -> str:
        """What a weighing of this state and its plan hear, in short."""
        from airproof.jobs.weighing import fingerprint

        return fingerprint(state, self.known, self.mark)

    def weighed(self, job: int, state: State) -> Weighed | None:
        """The job weighed as it stands now, if that has been done."""
        held = self._weighed.get(job)
        if held is None or held[0] != self.fingerprint(state):
            return None
        self._weighed.move_to_end(job)
        return held[1]

    def at_work(self, job: int) -> Work | None:
        """The weighing of that job that is under way."""
        held = self._at_work.get(job)
        return None if held is None else held.work

    async def weigh(self, job: int, judged: Callable[[Weighed], None] | None = None) -> Weighed:
        """Weigh the job as it stands; several pages that ask at once are given the same.

        `judged` is told each verdict before its plan is there. Raises as `weigh_job`, and Stopped where it was called
        off.
        """
        state = await asyncio.to_thread(self.store.state, job)
        found = self.weighed(job, state)
        if found is not None:
            return found
        held = self._at_work.get(job)
        if held is None:
            held = self._at_work[job] = self._begin(job)
            held.whole.add_done_callback(lambda _: self._at_work.pop(job, None))
        if judged is not None:
            held.judged.add_done_callback(lambda first: judged(first.result()))
        weighed = await asyncio.shield(held.whole)
        if held.by != self._by:  # prices or what was learned are others meanwhile
            return await self.weigh(job, judged)
        self._keep(job, weighed)
        if await asyncio.to_thread(self.store.state, job) != state:  # it has moved on meanwhile
            return await self.weigh(job, judged)
        return weighed

    @property
    def _by(self) -> tuple[str, Prices]:
        """What every job is weighed and planned by."""
        return self.mark, self.prices

    def _begin(self, job: int) -> UnderWay:
        loop = asyncio.get_running_loop()
        judged: asyncio.Future[Weighed] = loop.create_future()
        work = Work(f"weighing job {job}")

        def tell(found: Weighed) -> None:
            work.progress(1.0)  # the last moment at which it looks up: a plan is searched in one go
            loop.call_soon_threadsafe(judged.set_result, found)

        whole = asyncio.create_task(work.carry_out(partial(self._weigh, job, tell)))
        return UnderWay(work, self._by, whole, judged)

    def _weigh(self, job: int, judged: Callable[[Weighed], None], progress: Callable[[float], None]) -> Weighed:
        from airproof.jobs.weighing import weigh_job

        held = self._weighed.get(job)
        before = None if held is None else held[1]
        return weigh_job(self.store, job, self.known, self.prices, progress, self.mark, before=before, judged=judged)

    def _keep(self, job: int, weighed: Weighed) -> None:
        heard = state_of(self.store.events(job)[: weighed.seen])
        self._weighed[job] = self.fingerprint(heard), weighed
        self._weighed.move_to_end(job)
        while len(self._weighed) > KEPT:
            self._weighed.popitem(last=False)
        waiting = self._to_keep.pop(job, None)
        if waiting is not None:
            waiting.cancel()
        self._to_keep[job] = asyncio.create_task(self._keep_when_quiet(job))

    async def _keep_when_quiet(self, job: int) -> None:
        """Put the verdict into the job once nobody has added to it for a while, so that a list shows it."""
        await asyncio.sleep(QUIET_S)
        with contextlib.suppress(AirproofError):  # the next one is kept; what was said is in the store as it is
            await asyncio.to_thread(self.keep_verdict, job)

    def keep_verdict(self, job: int) -> bool:
        """Keep the verdict of today in the job, where it is not there yet; False where there is none of today."""
        from airproof.jobs.weighing import keep_verdict, todays_verdict
        from airproof.report.as_json import verdict_object

        state = state_of(self.store.events(job))
        weighed = self.weighed(job, state)
        if weighed is None:
            return False
        if todays_verdict(state, self.known, self.mark) is None:
            keep_verdict(self.store, job, weighed, partial(verdict_object, learned=self.learned), self.speaker)
        return True
