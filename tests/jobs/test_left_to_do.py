"""What comes next in a job: its plan until somebody has repaired the car, then the proof, then the end."""

from __future__ import annotations

import pytest
from invented_jobs import draft

from airproof.jobs.events import Draft
from airproof.jobs.given import with_drafts
from airproof.jobs.kinds import Withdrawal
from airproof.jobs.left_to_do import Left, done_once, left_to_do, proof_of_before, proved_otherwise
from airproof.knowledge.load import knowledge
from airproof.report.left_in_words import in_the_terminal, left_in_words

FAILED = draft("step", id="replace-map-sensor", outcome="done")
REPAIR = draft("repair", steps=["replace-map-sensor"])
COULD_NOT = draft("step", id="clean-map-sensor", outcome="could not")
CLEANED = draft("step", id="clean-map-sensor", outcome="done")
HELPED = draft("repair", steps=["replace-map-sensor"], gone=True)
CLOSED = draft("closed", cause="map-offset", standing="proved")


def proof(judgement: str) -> Draft:
    return draft("proof", proof={"judgement": judgement}, program="x", facts_sha256="0" * 64)


@pytest.mark.parametrize(
    ("said", "left"),
    [
        ((), "plan"),
        ((FAILED,), "plan"),
        ((REPAIR,), "prove"),
        ((HELPED,), "prove"),
        ((REPAIR, FAILED), "plan"),
        ((FAILED, HELPED), "prove"),
        ((CLEANED, HELPED), "prove"),
        ((COULD_NOT, HELPED, CLEANED), "plan"),
        ((REPAIR, proof("proved")), "close"),
        ((REPAIR, proof("not proved yet")), "prove on"),
        ((REPAIR, proof("not fixed")), "plan"),
        ((REPAIR, proof("nothing to prove")), "plan"),
        ((REPAIR, proof("fixed, but something else shows")), "something else"),
        ((REPAIR, proof("not fixed"), REPAIR), "prove"),
        ((REPAIR, proof("proved"), draft("checked", returned=True)), "prove"),
        ((REPAIR, proof("proved"), CLOSED), "nothing"),
        ((REPAIR, proof("proved"), CLOSED, draft("reopened")), "prove"),
        ((CLOSED,), "nothing"),
        ((CLOSED, draft("reopened")), "plan"),
    ],
)
def test_what_is_left(said: tuple[Draft, ...], left: Left) -> None:
    state = with_drafts([], said)
    assert left_to_do(state) == left
    assert bool(left_in_words(state, knowledge())) == (left != "plan")


AFTER = draft("recording", sha256="a" * 64, bytes=1, name="again.csv", role="after")
PROVED = draft(
    "proof", proof={"judgement": "proved", "steps": ["replace-map-sensor"]}, program="x", facts_sha256="0" * 64
)
TAKEN_BACK = Draft("withdrawal", Withdrawal(), withdraws=1)


@pytest.mark.parametrize(
    ("said", "before"),
    [
        ((REPAIR,), False),
        ((REPAIR, PROVED), False),
        ((REPAIR, PROVED, CLOSED), False),
        ((REPAIR, PROVED, CLOSED, draft("reopened")), True),
        ((REPAIR, PROVED, CLOSED, draft("reopened"), PROVED), False),
        ((REPAIR, PROVED, CLOSED, draft("reopened"), AFTER), False),
        ((REPAIR, PROVED, CLOSED, draft("reopened"), draft("checked", returned=True)), False),
        ((REPAIR, PROVED, TAKEN_BACK), True),
        ((REPAIR, PROVED, TAKEN_BACK, proof("proved")), True),
        ((REPAIR, PROVED, TAKEN_BACK, REPAIR), False),
        ((REPAIR, PROVED, FAILED), True),
        ((AFTER, proof("proved")), False),
    ],
)
def test_a_proof_is_of_before(said: tuple[Draft, ...], *, before: bool) -> None:
    assert proof_of_before(with_drafts([], said)) == before


def test_what_nobody_has_said_is_asked_for_with_the_way_to_say_it() -> None:
    part = in_the_terminal(7, with_drafts([], [REPAIR]), knowledge())
    assert part is not None
    assert "airproof job add 7 --step replace-map-sensor=did-not-help" in part.lines
    part = in_the_terminal(7, with_drafts([], [HELPED]), knowledge())
    assert part is not None
    assert not any("did-not-help" in line for line in part.lines)
    assert in_the_terminal(7, with_drafts([], []), knowledge()) is None


@pytest.mark.parametrize("repair", [REPAIR, HELPED])
def test_trouble_that_is_said_to_be_back_leads_on_to_the_plan(repair: Draft) -> None:
    state = with_drafts([], [repair, draft("checked", returned=True), proof("not proved yet")])
    first, *others = left_in_words(state, knowledge())
    assert "said to be back" in first
    assert "the plan goes on" in first
    assert others == list(left_in_words(with_drafts([], [repair, proof("not proved yet")]), knowledge()))
    part = in_the_terminal(7, state, knowledge())
    assert part is not None
    assert "airproof job add 7 --step replace-map-sensor=did-not-help" in part.lines


def test_trouble_that_is_back_seems_gone_no_more() -> None:
    said = left_in_words(with_drafts([], [HELPED, draft("checked", returned=True)]), knowledge())
    assert not any("seems gone" in line for line in said)
    assert any("the plan goes on" in line for line in said)


def test_where_a_recording_of_after_is_there_none_is_asked_for() -> None:
    after = draft("recording", sha256="a" * 64, bytes=1, name="again.csv", role="after")
    assert left_in_words(with_drafts([], [REPAIR, after]), knowledge())[0].startswith("Prove the repair (replace the")


def test_a_repair_that_was_told_again_was_done_once() -> None:
    """Also in jobs in which both stand: a page used to keep what was said twice."""
    took = draft("repair", steps=["replace-map-sensor"], minutes=25.0)
    (one,) = done_once(with_drafts([], [took, HELPED]))
    assert (one.minutes, one.gone) == (25.0, True)
    both = draft("repair", steps=["replace-map-sensor", "mend-vacuum-leak"])
    assert done_once(with_drafts([], [took, both])) == [both.payload]
    assert done_once(with_drafts([], [took, proof("not fixed"), HELPED])) == [took.payload, HELPED.payload]
    unnamed = draft("repair", cause="map-offset")
    assert len(done_once(with_drafts([], [unnamed, unnamed]))) == 2


@pytest.mark.parametrize(
    ("said", "doubtful"),
    [
        ((REPAIR, CLOSED), False),  # seen or measured: nothing here says otherwise
        ((REPAIR, proof("proved"), CLOSED), False),
        ((REPAIR, proof("not proved yet"), CLOSED), True),
        ((REPAIR, proof("not fixed"), CLOSED), True),
        ((REPAIR, proof("not proved yet"), draft("closed", cause="map-offset", standing="believed")), False),
    ],
)
def test_closed_as_proved_against_its_own_proof_is_said(said: tuple[Draft, ...], doubtful: bool) -> None:
    assert bool(proved_otherwise(with_drafts([], said))) == doubtful
