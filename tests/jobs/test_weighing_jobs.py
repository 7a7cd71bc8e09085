"""Weighing a job, keeping the verdict, and planning: of today as long as nothing that is heard changes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented_jobs import draft, intake, recording
from test_state import INDEPENDENT, events_of

from airproof.errors import UnusableFile, UnusableRequest
from airproof.jobs.events import Draft, withdrawal
from airproof.jobs.given import append_with
from airproof.jobs.opening import open_store
from airproof.jobs.state import state_of
from airproof.jobs.store import Store
from airproof.jobs.weighing import (
    Weighed,
    fingerprint,
    keep_verdict,
    plan_task,
    planning_task,
    todays_verdict,
    weigh_job,
)
from airproof.knowledge.load import knowledge
from airproof.repair.plan import plan_of
from airproof.report.as_json import verdict_object

KNOWN = knowledge()


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path / "data") as opened:
        yield opened


@pytest.fixture
def job(store: Store, tmp_path: Path) -> int:
    """A job whose sensor reads 9 kPa too high."""
    number = store.new_job(intake())
    append_with(store, number, [], [("car", recording(tmp_path / "drive.csv", 9.0))], seen=6)
    return number


def add(store: Store, job: int, *drafts: Draft) -> None:
    store.append(job, drafts, seen=store.last_event(job))


def kept(store: Store, job: int) -> Weighed:
    weighed = weigh_job(store, job, KNOWN)
    keep_verdict(store, job, weighed, partial(verdict_object), "me")
    return weighed


class TestWhatCannotBeWeighed:
    def test_without_an_engine(self, store: Store) -> None:
        with pytest.raises(UnusableRequest, match="does not say what engine it is") as refused:
            weigh_job(store, store.new_job([draft("code", id="P0106")]), KNOWN)
        assert "--engine" in refused.value.way_out

    def test_with_nothing_to_weigh(self, store: Store) -> None:
        job = store.new_job([draft("engine", engine=dict(intake()[1].payload.model_dump()["engine"]))])
        with pytest.raises(UnusableRequest, match="neither a recording nor anything told"):
            weigh_job(store, job, KNOWN)

    def test_with_recordings_of_something_else_alone(self, store: Store) -> None:
        engine = draft("engine", engine=dict(intake()[1].payload.model_dump()["engine"]))
        after = draft("recording", sha256="a" * 64, bytes=1, name="again.csv", role="after")
        with pytest.raises(UnusableRequest, match="no recording of the car with its trouble") as refused:
            weigh_job(store, store.new_job([engine, after]), KNOWN)
        assert "give it again as such" in refused.value.way_out

    def test_a_recording_that_is_no_longer_there(self, store: Store, job: int) -> None:
        (sha256,) = store.state(job).recordings
        store.shelf.remove(sha256)
        with pytest.raises(UnusableFile, match="is not among the files"):
            weigh_job(store, job, KNOWN)

    def test_readings_that_cannot_be_name_the_job_and_no_file(self, store: Store, job: int) -> None:
        add(store, job, draft("measured", tables={"measured": [{"what": "signal", "value": "9 furlongs"}]}))
        with pytest.raises(UnusableFile) as refused:
            weigh_job(store, job, KNOWN)
        assert refused.value.where == f"job {job}"


class TestOfToday:
    def test_a_verdict_is_of_today_until_something_that_is_heard_changes(self, store: Store, job: int) -> None:
        weighed = kept(store, job)
        assert weighed.weighing.verdict.first.id == "map-offset"
        verdict = todays_verdict(store.state(job), KNOWN)
        assert verdict is not None
        assert verdict.payload.recordings == list(store.state(job).recordings)
        add(store, job, draft("note", text="tea"), draft("complaint", text="other words"), draft("car", plate="Z 1"))
        assert todays_verdict(store.state(job), KNOWN) is not None
        assert todays_verdict(store.state(job), KNOWN, "learned since") is None
        number = store.last_event(job) + 1
        for said in (
            draft("code", id="P0299"), draft("look", id="plug-loose", found=False), draft("place", altitude="900m"),
            draft("reading", signal="barometric_pressure", value="97.2 kPa"), draft("readiness", codes_read=True),
            draft("recording", sha256="c" * 64, bytes=9, name="x.csv", role="good"),
            draft("step", id="look-hoses", outcome="not found"),
            draft("step", id="measure-key-on-signal", outcome="could not"),
        ):  # fmt: skip
            add(store, job, said)
            assert todays_verdict(store.state(job), KNOWN) is None, said.kind
            add(store, job, withdrawal(number))
            assert todays_verdict(store.state(job), KNOWN) is not None, said.kind
            number += 2

    def test_one_of_another_version_is_not(self, store: Store, job: int) -> None:
        kept(store, job)
        state = store.state(job)
        (last,) = state.verdicts
        old = replace(last, payload=last.payload.model_copy(update={"program": "airproof 0.0.1"}))
        assert todays_verdict(replace(state, verdicts=(old,)), KNOWN) is None
        assert todays_verdict(replace(state, verdicts=()), KNOWN) is None

    def test_facts_that_come_in_meanwhile_do_not_keep_it_out(self, store: Store, job: int) -> None:
        weighed = weigh_job(store, job, KNOWN)
        add(store, job, draft("note", text="tea"), draft("code", id="P0299"))
        keep_verdict(store, job, weighed, partial(verdict_object), "me")
        state = store.state(job)
        assert len(state.verdicts) == 1
        assert set(state.codes) == {"P0106", "P0299"}
        assert todays_verdict(state, KNOWN) is None  # it has not heard the later code

    @settings(deadline=None, derandomize=True, max_examples=60)
    @given(st.permutations(range(len(INDEPENDENT))))
    def test_in_whatever_order_it_was_said_it_is_the_same(self, order: Sequence[int]) -> None:
        made = events_of(*INDEPENDENT)
        shuffled = [replace(made[old], number=new) for new, old in enumerate(order, start=1)]
        assert fingerprint(state_of(shuffled), KNOWN) == fingerprint(state_of(made), KNOWN)


class TestExaminedOnce:
    """What is told comes in bit by bit, recordings once: they are examined anew where something of them changes."""

    TOLD = (
        draft("code", id="P0299"),
        draft("symptom", id="rough-idle"),
        draft(
            "freeze_frame",
            code="P0106",
            values={"engine_speed": "2200 1/min", "manifold_pressure": "70 kPa", "air_flow": "20 g/s"},
        ),
        draft("reading", signal="manifold_pressure", value="106 kPa"),
        draft("measured", tables={"measured": [{"what": "signal", "value": "1.9 V"}]}),
        draft("look", id="plug-loose", found=False),
        draft("step", id="look-hoses", outcome="not found", minutes=5),
    )
    RECORDED = (
        draft("place", altitude="900m"),
        draft("place", ambient="-5C"),
        draft(
            "engine",
            engine={"displacement_l": 1.4, "cylinders": 3, "induction": "turbocharged", "air_metering": "both"},
        ),
    )

    @pytest.mark.parametrize("said", [*TOLD, *RECORDED], ids=lambda one: one.kind)
    def test_it_is_as_if_weighed_from_the_beginning(self, store: Store, job: int, said: Draft) -> None:
        before = weigh_job(store, job, KNOWN)
        add(store, job, said)
        after, afresh = weigh_job(store, job, KNOWN, before=before), weigh_job(store, job, KNOWN)
        assert after.weighing.verdict == afresh.weighing.verdict
        assert after.plan == afresh.plan
        assert after.weighing.verdict != before.weighing.verdict
        assert (after.examined is before.examined) == (said in self.TOLD)

    def test_another_recording_is_examined_with_the_first(self, store: Store, job: int, tmp_path: Path) -> None:
        before = weigh_job(store, job, KNOWN)
        good = recording(tmp_path / "good.csv")
        append_with(store, job, [], [("good", good)], seen=store.last_event(job))
        after = weigh_job(store, job, KNOWN, before=before)
        assert after.weighing.verdict == weigh_job(store, job, KNOWN).weighing.verdict
        assert len(after.weighing.baselines) == 1
        again = weigh_job(store, job, KNOWN, before=after)
        assert again.examined is after.examined

    def test_nor_by_other_knowledge_or_with_what_is_beside_the_job(self, store: Store, job: int) -> None:
        before = weigh_job(store, job, KNOWN)
        other = replace(KNOWN)
        assert weigh_job(store, job, other, before=before).examined.known is other
        live = weigh_job(store, job, KNOWN, beside=before.recordings, before=before)
        assert live.examined is not before.examined
        assert weigh_job(store, job, KNOWN, beside=before.recordings, before=live).examined is not live.examined


class TestPlanning:
    def test_from_a_kept_verdict_as_from_the_weighing(self, store: Store, job: int) -> None:
        weighed = kept(store, job)
        state = store.state(job)
        (verdict,) = state.verdicts
        there, here = plan_task(state, verdict, KNOWN), planning_task(weighed, state, KNOWN)
        assert there.belief == pytest.approx(here.belief, rel=1e-3, abs=1e-4)
        assert there.done == here.done
        assert (
            plan_of(there, there.looked_into()).next_steps[0].id == plan_of(here, here.looked_into()).next_steps[0].id
        )

    def test_steps_that_could_not_be_done_are_left_out_of_both(self, store: Store, job: int) -> None:
        weighed = kept(store, job)
        assert weighed.plan is not None
        first = weighed.plan.next_steps[0].id
        add(store, job, draft("step", id=first, outcome="could not"))
        state = store.state(job)
        for task in (plan_task(state, state.verdicts[0], KNOWN), planning_task(weighed, state, KNOWN)):
            assert task.without == {first}
            assert first not in {step.id for step in plan_of(task, task.looked_into()).next_steps}

    def test_one_that_could_be_done_after_all_is_not_left_out(self, store: Store, job: int) -> None:
        weighed = kept(store, job)
        add(store, job, draft("step", id="smoke-test-intake", outcome="could not"))
        add(store, job, draft("step", id="smoke-test-intake", outcome="not found"))
        assert planning_task(weighed, store.state(job), KNOWN).without == frozenset()

    def test_a_step_that_is_not_known_here_is_no_trouble(self, store: Store, job: int) -> None:
        weighed = kept(store, job)
        add(store, job, draft("step", id="dance", outcome="could not"), draft("step", id="sing", outcome="done"))
        assert planning_task(weighed, store.state(job), KNOWN).without == frozenset()
        assert weigh_job(store, job, KNOWN).plan is not None

    def test_where_the_sensor_cannot_be_replaced_there_is_a_plan_all_the_same(self, store: Store, job: int) -> None:
        add(store, job, draft("step", id="replace-map-sensor", outcome="could not"))
        plan = weigh_job(store, job, KNOWN).plan
        assert plan is not None
        assert "replace-map-sensor" not in {step.id for step in plan.next_steps}

    def test_other_prices_are_heard(self, store: Store, job: int) -> None:
        dear = KNOWN.prices.model_copy(update={"labour_per_hour": 10.0 * KNOWN.prices.labour_per_hour})
        usual, other = (weigh_job(store, job, KNOWN, prices).plan for prices in (None, dear))
        assert usual is not None
        assert other is not None
        assert other.next_steps[0].expected_total_cost > usual.next_steps[0].expected_total_cost
