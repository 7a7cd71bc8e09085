"""What all pages share: one weighing for all who ask, kept when it is quiet, made anew when it is of yesterday."""

from __future__ import annotations

import asyncio
import gc
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from unittest.mock import AsyncMock, Mock

import pytest

from airproof.errors import UnusableFile, UnusableRequest
from airproof.jobs.events import Draft
from airproof.jobs.kinds import Code, Note, payload_of
from airproof.jobs.opening import open_store
from airproof.jobs.prepared import open_prepared
from airproof.jobs.settings import FILE, PRICES
from airproof.jobs.weighing import Weighed, todays_verdict
from airproof.knowledge.load import knowledge
from airproof.web import bench as module
from airproof.web.bench import KEPT, Bench
from airproof.web.case import proof as proof_page
from airproof.web.case.intake import drafts_of_new
from airproof.web.case.proof import _keep_checked
from airproof.web.work import Stopped

DEMO = Path(__file__).parents[2] / "examples" / "demo-job"


def said(kind: str, **data: Any) -> Draft:
    return Draft(kind, payload_of(kind, data))


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    made = Bench(tmp_path / "data", "me")
    open_prepared(made.store, DEMO, knowledge())
    yield made
    made.close()


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The jobs that were really weighed."""
    jobs: list[int] = []
    real = Bench._weigh

    def weigh(self: Bench, job: int, judged: Any, progress: Any) -> Weighed:
        jobs.append(job)
        return real(self, job, judged, progress)

    monkeypatch.setattr(Bench, "_weigh", weigh)
    return jobs


def add(bench: Bench, *drafts: Draft, job: int = 1) -> None:
    bench.store.append(job, drafts, seen=bench.store.last_event(job))


class TestWeighing:
    def test_the_verdict_is_told_before_its_plan(self, bench: Bench, counted: list[int]) -> None:
        told: list[Weighed] = []

        async def pages() -> list[Weighed]:
            return await asyncio.gather(*(bench.weigh(1, told.append) for _ in range(2)))

        whole = asyncio.run(pages())
        assert counted == [1]
        assert len(told) == 2  # to each page that asked
        assert [one.plan for one in told] == [None, None]
        assert all(one.weighing is whole[0].weighing for one in told)  # the same verdict, not another weighing
        assert whole[0].plan is not None

    def test_what_is_called_off_tells_no_verdict(self, bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
        """A stop that comes between the last progress and the verdict holds too."""
        told: list[Weighed] = []
        real = module.Work.progress

        def late(work: Any, share: float) -> None:
            if share == 1.0:
                work.call_off()
            real(work, share)

        monkeypatch.setattr(module.Work, "progress", late)
        with pytest.raises(Stopped):
            asyncio.run(bench.weigh(1, told.append))
        assert told == []
        assert bench.at_work(1) is None

    def test_all_who_ask_are_given_the_same(self, bench: Bench, counted: list[int]) -> None:
        async def pages() -> list[Weighed]:
            together = await asyncio.gather(*(bench.weigh(1) for _ in range(4)))
            return [*together, await bench.weigh(1)]

        first, *others = asyncio.run(pages())
        assert all(one is first for one in others)
        assert counted == [1]
        assert first.weighing.verdict.first.id == "map-offset"
        assert bench.at_work(1) is None

    def test_what_no_weighing_hears_costs_none(self, bench: Bench, counted: list[int]) -> None:
        asyncio.run(bench.weigh(1))
        add(bench, said("note", text="tea"))
        asyncio.run(bench.weigh(1))
        assert counted == [1]

    def test_a_new_fact_is_weighed(self, bench: Bench, counted: list[int]) -> None:
        before = asyncio.run(bench.weigh(1))
        add(bench, said("code", id="P0299"))
        assert bench.weighed(1, bench.store.state(1)) is None
        assert asyncio.run(bench.weigh(1)).facts_sha256 != before.facts_sha256
        assert counted == [1, 1]

    def test_a_step_that_could_not_be_done_is_not_asked_for_again(self, bench: Bench) -> None:
        before = asyncio.run(bench.weigh(1))
        assert before.plan is not None
        first = before.plan.next_steps[0].id
        add(bench, said("step", id=first, outcome="could not"))
        after = asyncio.run(bench.weigh(1))
        assert after.plan is not None
        assert first not in {step.id for step in after.plan.next_steps}

    def test_what_is_said_while_it_is_weighed_is_weighed_too(
        self, bench: Bench, counted: list[int], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        counting = Bench._weigh

        def weigh(self: Bench, job: int, judged: Any, progress: Any) -> Weighed:
            found = counting(self, job, judged, progress)
            if len(counted) == 1:
                add(bench, said("code", id="P0299"))
            return found

        monkeypatch.setattr(Bench, "_weigh", weigh)
        weighed = asyncio.run(bench.weigh(1))
        assert counted == [1, 1]
        assert weighed.seen == bench.store.last_event(1)
        assert bench.weighed(1, bench.store.state(1)) is weighed

    def test_it_can_be_called_off_and_begun_anew(self, bench: Bench) -> None:
        async def page() -> None:
            task = asyncio.create_task(bench.weigh(1))
            while (work := bench.at_work(1)) is None:
                await asyncio.sleep(0.001)
            work.call_off()
            with pytest.raises(Stopped):
                await task
            assert bench.at_work(1) is None
            assert (await bench.weigh(1)).plan is not None

        asyncio.run(page())

    def test_who_leaves_stops_nobody_else(self, bench: Bench, counted: list[int]) -> None:
        async def pages() -> None:
            leaves, stays = (asyncio.create_task(bench.weigh(1)) for _ in range(2))
            while bench.at_work(1) is None:
                await asyncio.sleep(0.001)
            leaves.cancel()
            assert (await stays).plan is not None
            with pytest.raises(asyncio.CancelledError):
                await leaves

        asyncio.run(pages())
        assert counted == [1]

    def test_a_job_that_cannot_be_weighed_says_why(self, bench: Bench) -> None:
        job = bench.store.new_job([said("note", text="x")])
        with pytest.raises(UnusableRequest, match="what engine it is"):
            asyncio.run(bench.weigh(job))
        with pytest.raises(UnusableRequest, match="there is no job 99"):
            asyncio.run(bench.weigh(99))

    def test_no_more_are_held_than_lie_on_a_bench(self, bench: Bench) -> None:
        weighed = asyncio.run(bench.weigh(1))
        others = [bench.store.new_job() for _ in range(KEPT)]

        async def many() -> None:
            for job in others:
                bench._keep(job, weighed)

        asyncio.run(many())
        assert bench.weighed(1, bench.store.state(1)) is None
        assert len(bench._weighed) == KEPT


class TestKeeping:
    def test_a_verdict_is_kept_once_it_is_quiet_and_only_once(
        self, bench: Bench, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(module, "QUIET_S", 0.01)

        async def page() -> None:
            await bench.weigh(1)
            await bench._to_keep[1]
            await bench.weigh(1)
            await asyncio.sleep(0.05)

        asyncio.run(page())
        state = bench.store.state(1)
        assert [fact.author for fact in state.verdicts] == ["me"]
        assert todays_verdict(state, knowledge()) is not None
        assert bench.store.line(1).cause == "map-offset"
        assert bench.keep_verdict(1)  # it is there: nothing is added
        assert len(bench.store.state(1).verdicts) == 1

    def test_one_of_yesterday_is_not_kept(self, bench: Bench) -> None:
        asyncio.run(bench.weigh(1))
        add(bench, said("code", id="P0299"))
        assert not bench.keep_verdict(1)
        assert bench.store.state(1).verdicts == ()

    def test_a_job_that_was_deleted_meanwhile_is_no_trouble(
        self, bench: Bench, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(module, "QUIET_S", 0.01)

        async def page() -> list[dict[str, Any]]:
            told: list[dict[str, Any]] = []
            asyncio.get_running_loop().set_exception_handler(lambda _, context: told.append(context))
            await bench.weigh(1)
            bench.store.delete(1, seen=bench.store.last_event(1))
            await asyncio.sleep(0.1)
            bench._to_keep.clear()
            gc.collect()
            await asyncio.sleep(0)
            return told

        assert asyncio.run(page()) == []


class TestSettings:
    def test_what_is_liked_is_kept_and_spoken(self, bench: Bench, tmp_path: Path) -> None:
        bench.like(bench.settings.model_copy(update={"name": "Kim", "pressure": "inHg"}))
        assert bench.speaker == "Kim"
        said = bench.words("It reads 50 kPa too high. Give it with --data.")
        assert said == "It reads 14.8\N{NO-BREAK SPACE}inHg too high."
        other = Bench(tmp_path / "data", "me")
        assert other.settings == bench.settings
        other.close()

    def test_a_vacuum_is_counted_from_the_air_of_a_job_and_stays_absolute_without_one(self, bench: Bench) -> None:
        bench.like(bench.settings.model_copy(update={"below_the_air_outside": True}))
        assert bench.words("It shows 52 kPa absolute.") == "It shows 52\N{NO-BREAK SPACE}kPa absolute."
        assert bench.words("It shows 52 kPa absolute.", 97.2) == "It shows 45\N{NO-BREAK SPACE}kPa vacuum."
        assert bench.words("It reads 8 kPa high.", 97.2) == "It reads 8\N{NO-BREAK SPACE}kPa high."

    def test_a_damaged_settings_file_opens_nothing(self, tmp_path: Path) -> None:
        (tmp_path / "data").mkdir()
        (tmp_path / "data" / FILE).write_text("[settings", encoding="utf-8")
        with pytest.raises(UnusableFile, match=FILE):
            Bench(tmp_path / "data", "me")
        assert (tmp_path / "data" / FILE).read_text(encoding="utf-8") == "[settings"

    def test_a_counted_job_is_named_and_can_be_taken_back(self, bench: Bench) -> None:
        add(bench, said("closed", cause="map-offset", standing="proved"))
        uid = bench.store.line(1).uid
        assert bench.counted_as(1) == ""
        assert uid in bench.learn_from(1)
        assert bench.counted_as(1) == uid
        assert uid in bench.learn_from(1)  # counted before
        assert bench.known.causes != knowledge().causes
        assert "taken back" in bench.forget(1)
        assert bench.counted_as(1) == ""
        assert bench.known.causes == knowledge().causes
        assert "taken back" in bench.forget(1)  # in another window, say

    @pytest.mark.parametrize("name", [PRICES, module.SHOP])
    def test_a_damaged_file_of_the_shop_is_told_and_not_used(self, tmp_path: Path, name: str) -> None:
        (tmp_path / "data").mkdir()
        (tmp_path / "data" / name).write_text("{", encoding="utf-8")
        made = Bench(tmp_path / "data", "me")
        assert name in made.trouble
        assert made.prices == knowledge().prices
        made.close()

    def test_other_prices_make_other_plans(self, bench: Bench, counted: list[int]) -> None:
        before = asyncio.run(bench.weigh(1)).plan
        bench.price('currency = "USD"\nlabour_per_hour = 1\n')
        after = asyncio.run(bench.weigh(1)).plan
        assert before is not None
        assert after is not None
        assert after.next_steps[0].expected_total_cost < before.next_steps[0].expected_total_cost
        assert counted == [1, 1]
        with pytest.raises(UnusableFile):
            bench.price("labour_per_hour = -1")
        assert bench.prices.labour_per_hour == 1.0

    def test_prices_that_change_while_a_job_is_weighed_are_those_of_its_plan(
        self, bench: Bench, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        real = Bench._weigh
        changed: list[bool] = []

        def weigh(self: Bench, job: int, judged: Any, progress: Any) -> Weighed:
            found = real(self, job, judged, progress)
            if not changed:
                changed.append(True)
                bench.price("labour_per_hour = 1\n")
            return found

        monkeypatch.setattr(Bench, "_weigh", weigh)
        slow = asyncio.run(bench.weigh(1)).plan
        bench._weighed.clear()
        right = asyncio.run(bench.weigh(1)).plan
        assert slow == right


def test_closing_lets_go_of_the_store(tmp_path: Path) -> None:
    made = Bench(tmp_path / "data", "me")
    made.store.new_job([Draft("note", Note(text="x"))])
    made.close()
    with open_store(tmp_path / "data") as again:
        assert again.last_event(1) == 1


def test_a_proof_that_cannot_be_kept_is_told_all_the_same(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object, **__: object) -> None:
        raise UnusableFile("there is no room left on the disk", "a store", "Make room.", where="jobs.sqlite")

    monkeypatch.setattr(proof_page, "prove_job", proved := Mock())
    monkeypatch.setattr(proof_page, "keep_proof", full)
    proving, not_kept = proof_page._proved(Mock(bench=bench, job=1))
    assert proving is proved.return_value
    assert not_kept.startswith("The proof was not kept in the job: ")
    assert "no room left on the disk" in not_kept


class TestCodesAsTheyStand:
    def test_in_a_new_job(self, bench: Bench) -> None:
        drafts = drafts_of_new(bench, {"codes": ["P0171 pending, P0106"]})
        assert [one.payload for one in drafts if one.kind == "code"] == [
            Code(id="P0171", status="pending"),
            Code(id="P0106", status="stored"),
        ]

    def test_after_a_repair(self, bench: Bench) -> None:
        case, kept = Mock(bench=bench, state=bench.store.state(1), add=AsyncMock()), {"codes": ["P0171 pending, P0106"]}
        asyncio.run(_keep_checked(case, kept))
        ((draft,),) = case.add.call_args.args
        assert draft.payload.codes == {"P0171": "pending", "P0106": "stored"}
