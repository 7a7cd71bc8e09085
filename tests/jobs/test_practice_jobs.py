"""A rehearsal as a job: all that a mechanic would be given, and the truth where nobody looks by accident."""

from __future__ import annotations

import json
import zipfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from invented_jobs import draft

from airproof.engine.profile import EngineProfile
from airproof.engine.rehearsal.faults import Fault
from airproof.engine.rehearsal.rehearse import Rehearsal, Request, Scene, rehearse
from airproof.jobs.adding import checked
from airproof.jobs.events import Draft, withdrawal
from airproof.jobs.facts_written import written
from airproof.jobs.job_file import JOB, export_job
from airproof.jobs.job_file_reading import import_job
from airproof.jobs.opening import open_store
from airproof.jobs.overview import words_of
from airproof.jobs.practice import COMPLAINT, practice_job
from airproof.jobs.state import state_of
from airproof.jobs.store import Store, Wanted
from airproof.jobs.weighing import fingerprint, planning_task, weigh_job
from airproof.knowledge.load import knowledge

TURBO = EngineProfile(
    displacement_l=2.0, cylinders=4, induction="turbocharged", air_metering="air-flow sensor", rated_boost_kpa=110.0
)
CAUSE, SIZE = "map-offset", 12.0


@pytest.fixture(scope="module")
def rehearsal() -> Rehearsal:
    return rehearse(Request(TURBO, faults=(Fault(CAUSE, SIZE),), scene=Scene(altitude_m=350.0)))


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    with open_store(tmp_path_factory.mktemp("practice")) as opened:
        yield opened


@pytest.fixture(scope="module")
def job(store: Store, rehearsal: Rehearsal) -> int:
    return practice_job(store, rehearsal)


class TestWhatAMechanicIsGiven:
    def test_complaint_place_engine_codes_and_the_recording(self, store: Store, job: int, rehearsal: Rehearsal) -> None:
        state = store.state(job)
        assert state.complaint is not None
        assert state.complaint.payload.text == COMPLAINT
        assert (state.place.altitude, state.place.ambient) == ("350m", "18C")
        assert state.engine is not None
        assert state.engine.payload.engine == TURBO
        stored = {code for code, fact in state.codes.items() if fact.payload.status == "stored"}
        assert stored == set(rehearsal.codes.confirmed)
        assert set(state.codes) == set(rehearsal.codes.confirmed) | set(rehearsal.codes.pending)
        assert set(state.frames) == set(rehearsal.codes.frames)
        assert state.readiness is not None
        assert state.readiness.payload.codes_read
        (recording,) = state.recordings_as("car")
        assert recording.payload.seconds is not None
        assert recording.payload.seconds > 300.0
        assert "manifold_pressure" in recording.payload.holds

    def test_each_frame_is_one_that_could_have_been_typed(self, store: Store, job: int) -> None:
        for fact in store.state(job).frames.values():
            checked(Draft("freeze_frame", fact.payload), knowledge())

    def test_every_monitor_is_one_we_know(self, store: Store, job: int) -> None:
        readiness = store.state(job).readiness
        assert readiness is not None
        assert readiness.payload.monitors
        assert set(readiness.payload.monitors) <= set(knowledge().monitors)


class TestTheTruth:
    def test_it_is_kept(self, store: Store, job: int) -> None:
        rehearsed = store.state(job).rehearsed
        assert rehearsed is not None
        assert rehearsed.payload.truth["causes"] == [{"id": CAUSE, "size": SIZE, "unit": "kPa"}]

    def test_no_search_finds_it(self, store: Store, job: int) -> None:
        assert CAUSE not in words_of(store.events(job))
        assert store.jobs(Wanted(words=CAUSE)) == store.jobs(Wanted(cause=CAUSE)) == []
        assert [line.number for line in store.jobs(Wanted(words="rehearsal to practise"))] == [job]
        assert store.line(job).cause == ""

    def test_nothing_that_is_weighed_holds_it(self, store: Store, job: int) -> None:
        state = store.state(job)
        says = written(state, knowledge())
        assert CAUSE not in says.facts
        assert "truth" not in says.facts
        assert says.left_out == ()
        assert state.engine is not None
        assert CAUSE not in state.engine.payload.model_dump_json()
        bare = replace(state, rehearsed=None)
        assert fingerprint(state, knowledge()) == fingerprint(bare, knowledge())

    def test_another_truth_weighs_the_same(self, store: Store, job: int) -> None:
        events = store.events(job)
        (told,) = [event for event in events if event.kind == "rehearsed"]
        lying = replace(told, payload=draft("rehearsed", truth={"causes": []}).payload)
        other = state_of([lying if event is told else event for event in events])
        assert fingerprint(other, knowledge()) == fingerprint(store.state(job), knowledge())

    @pytest.mark.parametrize("private", [True, False])
    def test_it_goes_with_the_job_and_comes_back(self, store: Store, job: int, tmp_path: Path, private: bool) -> None:
        export_job(store, job, tmp_path / "job.zip", private=private)
        with open_store(tmp_path / "other") as other:
            there = other.state(import_job(other, tmp_path / "job.zip").job)
            here = store.state(job)
            assert there.rehearsed is not None
            assert here.rehearsed is not None
            assert there.rehearsed.payload == here.rehearsed.payload
            assert {code: fact.payload for code, fact in there.codes.items()} == {
                code: fact.payload for code, fact in here.codes.items()
            }
            assert other.jobs(Wanted(words=CAUSE)) == []
            export_job(other, 1, tmp_path / "again.zip")
        if private:
            assert (tmp_path / "again.zip").read_bytes() == (tmp_path / "job.zip").read_bytes()
        with zipfile.ZipFile(tmp_path / "job.zip") as archive:
            kinds = [event["kind"] for event in json.loads(archive.read(JOB))["events"]]
        assert kinds.count("rehearsed") == 1

    def test_taken_back_it_is_a_job_like_any_other(self, store: Store, rehearsal: Rehearsal) -> None:
        number = practice_job(store, rehearsal)
        (told,) = [event for event in store.events(number) if event.kind == "rehearsed"]
        store.append(number, [withdrawal(told.number)], seen=store.last_event(number))
        assert store.state(number).rehearsed is None


class TestWeighing:
    """A regression guard: car and checks share their authors, so it proves nothing about real cars."""

    def test_a_big_fault_is_foremost_and_the_plan_leaves_out_what_could_not_be_done(
        self, store: Store, job: int
    ) -> None:
        shares: list[float] = []
        weighed = weigh_job(store, job, knowledge(), progress=shares.append)
        assert weighed.weighing.verdict.first.id == CAUSE
        assert weighed.left_out == ()
        assert weighed.seen == store.last_event(job)
        assert weighed.facts_sha256 == fingerprint(store.state(job), knowledge())
        assert shares == sorted(shares)
        assert 0.0 <= shares[0] <= shares[-1] <= 1.0

        state, plan = store.state(job), weighed.plan
        assert plan is not None
        first = plan.next_steps[0].id
        store.append(job, [draft("step", id=first, outcome="could not")], seen=weighed.seen)
        again = weigh_job(store, job, knowledge())
        assert again.facts_sha256 != weighed.facts_sha256  # it says nothing of the car, but the plan goes round it
        assert again.weighing.verdict.first == weighed.weighing.verdict.first
        assert again.plan is not None
        assert first not in {step.id for step in again.plan.next_steps}
        task = planning_task(again, store.state(job), knowledge())
        assert first in task.without
        assert planning_task(weighed, state, knowledge()).without == frozenset()

        later = store.last_event(job)
        store.append(job, [withdrawal(later)], seen=later)
        assert planning_task(weighed, store.state(job), knowledge()).without == frozenset()

    def test_where_no_step_could_be_done_the_job_ends_by_the_steps_that_end_it(self, store: Store, job: int) -> None:
        seen = store.last_event(job)
        every = [draft("step", id=id_, outcome="could not") for id_ in knowledge().steps]
        store.append(job, every, seen=seen)
        weighed = weigh_job(store, job, knowledge())
        assert weighed.plan is not None
        assert {knowledge().steps[step.id].ends for step in weighed.plan.next_steps} == {True}
        store.append(job, [withdrawal(seen + n) for n in range(1, len(every) + 1)], seen=seen + len(every))
