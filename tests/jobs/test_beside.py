"""Two who add at once: what touches other things stands beside, what touches the same thing is asked."""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from invented_jobs import draft, intake

from airproof.errors import UnusableRequest
from airproof.jobs.beside import append_beside
from airproof.jobs.events import Draft, withdrawal
from airproof.jobs.opening import open_store
from airproof.jobs.state import State, state_of
from airproof.jobs.store import Store
from airproof.jobs.trouble import ChangedMeanwhile

OTHER_ENGINE = {"displacement_l": 1.4, "cylinders": 4, "induction": "turbocharged", "air_metering": "both"}
APART = [
    draft("car", make="A"),
    draft("car", plate="X 1", owner="B"),
    draft("engine", engine=OTHER_ENGINE),
    draft("complaint", text="limp"),
    draft("place", altitude="350m"),
    draft("place", ambient="18C"),
    draft("code", id="P0106"),
    draft("code", id="P0299", status="pending"),
    draft("freeze_frame", code="P0106", values={"engine_speed": "780 1/min"}),
    draft("freeze_frame", code="P0106", name="second", values={"engine_speed": "900 1/min"}),
    draft("readiness", codes_read=True),
    draft("symptom", id="hesitation"),
    draft("look", id="plug-loose", found=False),
    draft("history", id="hesitation"),
    draft("reading", signal="manifold_pressure", value="98 kPa"),
    draft("reading", signal="manifold_pressure", name="cold", value="97 kPa"),
    draft("recording", sha256="a" * 64, bytes=10, name="a.csv"),
    draft("recording", sha256="b" * 64, bytes=10, name="a.csv"),
    draft("step", id="look-hoses", outcome="found"),
    draft("step", id="clean-map-sensor", outcome="done"),
    draft("closed", cause="vacuum-leak", standing="proved"),
]
"""All on different things, though some are of one kind."""

ONE_THING = [
    (draft("car", plate="X"), draft("car", plate="Y", make="A")),
    (draft("engine", engine=OTHER_ENGINE), draft("engine", engine={**OTHER_ENGINE, "cylinders": 3})),
    (draft("complaint", text="limp"), draft("complaint", text="smokes")),
    (draft("place", altitude="1m"), draft("place", altitude="2m", ambient="18C")),
    (draft("code", id="P0106"), draft("code", id="P0106", status="pending")),
    (draft("freeze_frame", code="P0106", values={}), draft("freeze_frame", code="P0106", values={"load": "20 %"})),
    (draft("readiness", codes_read=True), draft("readiness", monitors={"misfire": "complete"})),
    (draft("look", id="plug-loose"), draft("look", id="plug-loose", found=False)),
    (draft("reading", signal="manifold_pressure", value="98 kPa"),
     draft("reading", signal="manifold_pressure", value="99 kPa")),
    (draft("recording", sha256="a" * 64, bytes=10, name="a.csv"),
     draft("recording", sha256="a" * 64, bytes=10, name="b.csv", role="good")),
    (draft("step", id="look-hoses", outcome="found"), draft("step", id="look-hoses", outcome="could not")),
    (draft("closed", cause="vacuum-leak", standing="proved"), draft("closed", cause="rust", standing="believed")),
]  # fmt: skip

AS_OFTEN_AS_ONE_LIKES = [draft("note", text="tea"), draft("measured", tables={"measured": []})]


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path / "data") as opened:
        yield opened


def spoken(state: State) -> tuple[object, ...]:
    """What is so of a job, without when it was said."""
    alone = (state.engine, state.complaint, state.readiness, state.closed)
    many: Sequence[dict[object, object]] = [
        {key: fact.payload for key, fact in facts.items()}
        for facts in (state.codes, state.frames, state.noted, state.readings, state.recordings)
    ]
    steps = {fact.payload.id: fact.payload for fact in state.steps}
    return state.car, state.place, [one and one.payload for one in alone], many, steps


class TestOnDifferentThings:
    def test_the_later_writer_is_not_sent_back(self, store: Store) -> None:
        job = store.new_job(intake())
        seen = store.last_event(job)
        append_beside(store, job, [draft("code", id="P0299")], seen=seen, author="one")
        added, between = append_beside(store, job, [draft("code", id="P0107")], seen=seen, author="two")
        assert [event.number for event in added] == [seen + 2]
        assert [(event.author, event.payload) for event in between] == [("one", draft("code", id="P0299").payload)]
        assert set(store.state(job).codes) == {"P0106", "P0107", "P0299"}

    def test_who_was_alone_is_told_of_nobody(self, store: Store) -> None:
        job = store.new_job(intake())
        added, between = append_beside(store, job, [draft("note", text="x")], seen=6)
        assert [event.number for event in added] == [7]
        assert between == []

    @pytest.mark.parametrize("said", AS_OFTEN_AS_ONE_LIKES, ids=lambda one: one.kind)
    def test_what_is_kept_as_often_as_it_is_said_never_clashes(self, store: Store, said: Draft) -> None:
        job = store.new_job()
        for _ in range(2):
            append_beside(store, job, [said], seen=0)
        assert store.last_event(job) == 2

    @settings(
        deadline=None, derandomize=True, max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture]
    )
    @given(order=st.permutations(APART), cut=st.integers(0, len(APART)))
    def test_whoever_comes_first_the_job_holds_the_same(self, store: Store, order: list[Draft], cut: int) -> None:
        job = store.new_job()
        for part in (order[:cut], order[cut:]):
            append_beside(store, job, part, seen=0)  # neither has seen the other
        plainly = store.new_job(APART)
        assert spoken(store.state(job)) == spoken(store.state(plainly))

    def test_many_at_once_lose_nothing(self, store: Store) -> None:
        job = store.new_job()
        codes = [[f"P0{n}{k:02d}" for k in range(6)] for n in range(1, 4)]

        def write(mine: list[str]) -> None:
            with open_store(store.shelf.folder.parent) as own:
                for code in mine:
                    append_beside(own, job, [draft("code", id=code)], seen=0)

        threads = [threading.Thread(target=write, args=(mine,)) for mine in codes]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert set(store.state(job).codes) == {code for mine in codes for code in mine}


class TestOnTheSameThing:
    @pytest.mark.parametrize("pair", ONE_THING, ids=lambda pair: pair[0].kind)
    @pytest.mark.parametrize("first", [0, 1])
    def test_the_later_writer_is_asked_and_nothing_is_written(
        self, store: Store, pair: tuple[Draft, Draft], first: int
    ) -> None:
        job = store.new_job()
        store.append(job, [pair[first]], seen=0, author="one")
        with pytest.raises(ChangedMeanwhile) as refused:
            append_beside(store, job, [draft("note", text="mine"), pair[1 - first]], seen=0, author="two")
        assert [event.author for event in refused.value.events] == ["one"]
        assert store.last_event(job) == 1
        assert "by one" in str(refused.value)

    @pytest.mark.parametrize("both", [lambda said: replace(said, corrects=1), lambda _: withdrawal(1)])
    @pytest.mark.parametrize("mine", [lambda said: replace(said, corrects=1), lambda _: withdrawal(1)])
    def test_two_who_touch_one_note_are_two_on_one_thing(self, store: Store, both: object, mine: object) -> None:
        said = draft("note", text="tea")
        job = store.new_job([said])
        store.append(job, [both(said)], seen=1)  # type: ignore[operator]
        with pytest.raises(ChangedMeanwhile):
            append_beside(store, job, [mine(said)], seen=1)  # type: ignore[operator]
        assert store.last_event(job) == 2

    def test_another_kind_with_the_same_name_is_another_thing(self, store: Store) -> None:
        job = store.new_job()
        append_beside(store, job, [draft("symptom", id="x")], seen=0)
        append_beside(store, job, [draft("look", id="x")], seen=0)
        assert set(store.state(job).noted) == {("symptom", "x"), ("look", "x")}

    def test_seen_is_free_again_once_looked_at(self, store: Store) -> None:
        job = store.new_job([draft("code", id="P0106")])
        with pytest.raises(ChangedMeanwhile) as refused:
            append_beside(store, job, [draft("code", id="P0106", status="pending")], seen=0)
        seen = refused.value.events[-1].number
        append_beside(store, job, [draft("code", id="P0106", status="pending")], seen=seen)
        assert store.state(job).codes["P0106"].payload.status == "pending"


@pytest.mark.parametrize(
    ("job", "said", "message"),
    [(99, draft("note", text="x"), "there is no job 99"), (1, withdrawal(5), "there is no event 5")],
)
def test_what_cannot_be_added_alone_cannot_beside_others(store: Store, job: int, said: Draft, message: str) -> None:
    store.new_job([draft("note", text="tea")])
    with pytest.raises(UnusableRequest, match=message):
        append_beside(store, job, [said], seen=1)
    assert state_of(store.events(1)).notes
