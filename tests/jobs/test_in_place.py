"""What is said anew of a thing takes the place of what was said before, and both stay in the history."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from invented_jobs import draft

from airproof.jobs.adding import step_said
from airproof.jobs.events import Draft
from airproof.jobs.facts_written import written
from airproof.jobs.given import with_drafts
from airproof.jobs.in_place import SAID_ANEW, in_place, once_each
from airproof.jobs.kinds import Withdrawal
from airproof.jobs.left_to_do import left_to_do
from airproof.jobs.state import State
from airproof.knowledge.load import knowledge

KNOWN = knowledge()
SENSOR = "replace-map-sensor"


def after(*said: Draft) -> State:
    """The state after those, one after the other, each in its place."""
    drafts: list[Draft] = []
    for one in said:
        drafts += in_place([one], with_drafts([], drafts))
    return with_drafts([], drafts)


def failed(**data: object) -> Draft:
    return draft("step", id=SENSOR, outcome="done", **data)


def repaired(**data: object) -> Draft:
    return draft("repair", steps=[SENSOR], **data)


def corrected(drafts: Sequence[Draft]) -> list[int | None]:
    return [one.corrects for one in drafts]


def test_of_a_code_said_twice_at_once_the_later_stands() -> None:
    said = [
        draft("code", id="P0106"),
        draft("note", text="P0106 again"),
        draft("look", id="plug-loose", found=True),
        draft("code", id="P0106", status="pending"),
        draft("note", text="P0106 again"),
        draft("look", id="plug-loose", found=False),
    ]
    assert once_each(said) == [said[1], *said[3:]]
    pointed = [draft("code", id="P0106"), Draft("code", said[0].payload, corrects=4)]
    assert once_each(pointed) == pointed


class TestAStep:
    def test_has_one_outcome_and_it_is_the_later_one(self) -> None:
        state = after(*(draft("step", id="look-hoses", outcome=came) for came in ("not found", "found")))
        assert [fact.payload.outcome for fact in state.steps] == ["found"]

    def test_keeps_what_it_took(self) -> None:
        (fact,) = after(
            draft("step", id="look-hoses", outcome="not found", minutes=10.0, name="on Monday"),
            draft("step", id="look-hoses", outcome="found"),
        ).steps
        assert (fact.payload.minutes, fact.payload.name) == (10.0, "on Monday")

    def test_said_twice_before_is_told_once(self) -> None:
        twice = with_drafts([], [draft("step", id="look-hoses", outcome=came) for came in ("found", "not found")])
        drafts = in_place([draft("step", id="look-hoses", outcome="not found", minutes=5.0)], twice)
        assert corrected(drafts) == [2, None]
        assert drafts[1].withdraws == 1
        anew = in_place([draft("step", id="look-hoses", outcome="found")], twice)  # another outcome is news of today
        assert corrected(anew) == [None, None, None]
        assert [one.withdraws for one in anew] == [None, 1, 2]

    def test_whose_minutes_are_put_right_is_no_news_of_the_trouble(self) -> None:
        cleaned = {"id": "clean-map-sensor", "outcome": "done"}
        state = after(draft("step", **cleaned), repaired(gone=True), draft("step", **cleaned, minutes=20.0))
        assert left_to_do(state) == "prove"
        assert [fact.payload.minutes for fact in state.steps] == [20.0]

    def test_another_one_stands_beside_it(self) -> None:
        state = after(draft("step", id="look-hoses", outcome="found"), draft("step", id=SENSOR, outcome="could not"))
        assert len(state.steps) == 2


class TestARepair:
    def test_that_is_done_is_no_evidence_that_it_failed(self) -> None:
        assert SENSOR not in written(after(repaired()), KNOWN).facts
        assert SENSOR in written(after(failed()), KNOWN).facts

    def test_that_did_not_help_after_all_is_no_repair(self) -> None:
        state = after(repaired(minutes=25.0), failed())
        assert state.repairs == ()
        assert [fact.payload.minutes for fact in state.steps] == [25.0]

    def test_that_helped_after_all_is_no_evidence(self) -> None:
        state = after(failed(minutes=25.0), repaired(gone=True))
        assert state.steps == ()
        assert [(fact.payload.gone, fact.payload.minutes) for fact in state.repairs] == [(True, 25.0)]

    def test_told_again_is_one(self) -> None:
        (fact,) = after(repaired(minutes=25.0, gone=True), repaired(cause="map-offset")).repairs
        assert (fact.payload.minutes, fact.payload.gone, fact.payload.cause) == (25.0, True, "map-offset")

    @pytest.mark.parametrize(("typed", "gone"), [("=done", None), ("=helped", True), ("", True)])
    def test_of_which_nobody_knows_any_more_whether_it_helped(self, typed: str, gone: bool | None) -> None:
        (fact,) = after(repaired(minutes=25.0, gone=True), step_said(SENSOR + typed, KNOWN)).repairs
        assert (fact.payload.minutes, fact.payload.gone) == (25.0, gone)

    @pytest.mark.parametrize("judgement", ["not fixed", "not proved yet"])
    def test_done_again_after_it_was_found_in_vain_is_another(self, judgement: str) -> None:
        proof = draft("proof", proof={"judgement": judgement}, program="x", facts_sha256="0" * 64)
        assert len(after(repaired(), proof, repaired()).repairs) == (2 if judgement == "not fixed" else 1)

    def test_of_two_steps_is_left_alone(self) -> None:
        both = draft("repair", steps=[SENSOR, "mend-vacuum-leak"])
        assert in_place([both], after(both)) == [both]


class TestThePlace:
    def test_stands_once(self) -> None:
        state = after(draft("place", altitude="350m", ambient="18C"), draft("place", altitude="900m"))
        assert {fact.number for fact in state.placed.values()} == {1}
        assert (state.place.altitude, state.place.ambient) == ("900m", "18C")

    def test_said_in_parts_is_put_right_in_all_of_them(self) -> None:
        before = with_drafts([], [draft("place", altitude="350m"), draft("place", ambient="18C", barometer="97kPa")])
        drafts = in_place([draft("place", altitude="900m", ambient="5C")], before)
        assert drafts[0].payload == draft("place", altitude="900m", ambient="5C", barometer="97kPa").payload
        assert drafts[0].corrects == 2
        assert isinstance(drafts[1].payload, Withdrawal)
        assert (drafts[1].withdraws, drafts[1].payload.why) == (1, SAID_ANEW)

    def test_of_another_sort_stands_beside_it(self) -> None:
        before = with_drafts([], [draft("place", altitude="350m")])
        assert corrected(in_place([draft("place", ambient="5C")], before)) == [None]


def test_what_points_somewhere_itself_is_left_alone() -> None:
    said = Draft("code", draft("code", id="P0106").payload, corrects=3)
    assert in_place([said], with_drafts([], [draft("code", id="P0106")])) == [said]
