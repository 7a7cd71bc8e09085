"""The fold: taking back is never said, corrections stand in place, order of independent facts does not matter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st
from invented_jobs import draft

from airproof.jobs.events import Draft, Event, withdrawal
from airproof.jobs.state import State, state_of

START = datetime(2026, 1, 1, tzinfo=UTC)


def event(number: int, said: Draft, corrects: int | None = None) -> Event:
    at = START + timedelta(seconds=number)
    return Event(
        number, f"{number:032x}", at, "x", said.kind, 1, said.payload, corrects or said.corrects, said.withdraws
    )


def events_of(*drafts: Draft) -> list[Event]:
    return [event(number, one) for number, one in enumerate(drafts, start=1)]


def correcting(target: int, kind: str, **data: object) -> Draft:
    return replace(draft(kind, **data), corrects=target)


# One of each kind, all on different things.
INDEPENDENT = [
    draft("car", make="A", plate="X 1"),
    draft(
        "engine", engine={"displacement_l": 1.4, "cylinders": 4, "induction": "turbocharged", "air_metering": "both"}
    ),
    draft("complaint", text="limp"),
    draft("place", altitude="350m"),
    draft("place", ambient="18C"),
    draft("code", id="P0106"),
    draft("code", id="P0299", status="pending", order=2),
    draft("freeze_frame", code="P0106", values={"engine_speed": "780 1/min"}),
    draft("readiness", codes_read=True, monitors={"misfire": "complete"}),
    draft("symptom", id="rough-idle"),
    draft("look", id="plug-loose", found=False),
    draft("history", id="new-map-sensor"),
    draft("condition", id="only-hot"),
    draft("reading", signal="manifold_pressure", value="98 kPa"),
    draft("measured", tables={"measured": [{"what": "signal", "value": "1.9 V"}]}),
    draft("recording", sha256="a" * 64, bytes=10, name="a.csv"),
    draft("step", id="look-hoses", outcome="found", minutes=5),
    draft("note", text="tea"),
    draft("note", text="rain"),
    draft("closed", cause="vacuum-leak", standing="proved"),
]


@settings(deadline=None, derandomize=True)
@given(st.permutations(range(len(INDEPENDENT))))
def test_independent_facts_may_come_in_any_order(order: Sequence[int]) -> None:
    made = events_of(*INDEPENDENT)
    shuffled = [replace(made[old], number=new) for new, old in enumerate(order, start=1)]
    assert state_of(shuffled) == state_of(made)


anything = st.sampled_from(
    [
        *INDEPENDENT,
        draft("car", plate="Y 2", owner="B"),
        draft("code", id="P0106", status="pending"),
        draft("look", id="plug-loose"),
        draft("closed", cause="map-offset", standing="believed"),
    ]
)


@st.composite
def histories(draw: st.DrawFn) -> list[Event]:
    """Facts, corrections of them and takings back, pointing anywhere they may."""
    made: list[Event] = []
    for number in range(1, draw(st.integers(0, 12)) + 1):
        way = draw(st.integers(0, 3))
        facts = [one for one in made if one.kind != "withdrawal"]
        if way == 0 and made:
            made.append(event(number, withdrawal(draw(st.integers(1, number - 1)))))
        elif way == 1 and facts:
            target = draw(st.sampled_from(facts))
            same = [one for one in INDEPENDENT if one.kind == target.kind]
            made.append(event(number, draw(st.sampled_from(same)), corrects=target.number))
        else:
            made.append(event(number, draw(anything)))
    return made


@settings(deadline=None, derandomize=True)
@given(histories(), anything)
def test_taken_back_is_never_said(before: list[Event], said: Draft) -> None:
    number = len(before) + 1
    after = [*before, event(number, said), event(number + 1, withdrawal(number))]
    assert state_of(after) == state_of(before)


@settings(deadline=None, derandomize=True)
@given(histories(), st.data())
def test_taking_back_a_correction_or_a_taking_back_undoes_it(before: list[Event], data: st.DataObject) -> None:
    if not before:
        return
    number, target = len(before) + 1, data.draw(st.sampled_from(before))
    if target.kind == "withdrawal":
        one = event(number, withdrawal(target.number))
    else:
        same = [said for said in INDEPENDENT if said.kind == target.kind]
        one = event(number, data.draw(st.sampled_from(same)), corrects=target.number)
    assert state_of([*before, one, event(number + 1, withdrawal(number))]) == state_of(before)


@settings(deadline=None, derandomize=True)
@given(histories())
def test_any_history_has_a_state_and_nothing_is_lost_in_reading_it(events: list[Event]) -> None:
    kept = list(events)
    assert isinstance(state_of(events), State)
    assert events == kept


def test_a_correction_takes_the_place_and_not_the_turn_of_what_it_corrects() -> None:
    first, second = draft("code", id="P0106"), draft("code", id="P0107", status="pending")
    state = state_of(events_of(first, second, correcting(1, "code", id="P0107")))
    assert set(state.codes) == {"P0107"}
    assert state.codes["P0107"].payload.status == "pending"  # said after the one that was corrected


def test_a_correction_of_what_was_taken_back_is_taken_back_with_it() -> None:
    said = (draft("code", id="P0106"), correcting(1, "code", id="P0107"), withdrawal(1))
    assert state_of(events_of(*said)).codes == {}
    assert set(state_of(events_of(*said, withdrawal(3))).codes) == {"P0107"}


def test_car_and_place_are_laid_over_each_other_field_by_field() -> None:
    state = state_of(
        events_of(draft("car", make="A", plate="X"), draft("car", plate="Y"), draft("place", altitude="1m"))
    )
    assert (state.car.make, state.car.plate) == ("A", "Y")
    back = state_of(events_of(draft("car", make="A", plate="X"), draft("car", plate="Y"), withdrawal(2)))
    assert back.car.plate == "X"
