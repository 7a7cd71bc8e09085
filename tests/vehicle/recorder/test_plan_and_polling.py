"""What is asked for, how often, and how that is shared out where a car cannot manage all of it."""

from __future__ import annotations

from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from airproof.knowledge.load import knowledge
from airproof.recording.regimes import Regime
from airproof.recording.signals import glossary
from airproof.vehicle.items import items_table
from airproof.vehicle.recorder.plan import Speaker, plan_for
from airproof.vehicle.recorder.polling import LIVELIEST_S, Polling
from airproof.vehicle.recorder.wanted import wanted_signals, wanted_stretches

ENGINE = Speaker(0x7E8, False, (0x0B, 0x0C, 0x11, 0x10, 0x06, 0x05, 0x33, 0x70, 0x0D, 0x01))
GEARBOX = Speaker(0x7E9, False, (0x0C, 0x0D, 0x46))


def test_every_signal_is_wanted_at_some_rate_and_every_cause_named_is_one():
    assert set(wanted_signals()) == set(glossary().signals) - {"time"}
    causes = knowledge().causes
    assert all(cause in causes for row in wanted_signals().values() for cause in row.tells)
    assert set(wanted_stretches()) == set(Regime) - {Regime.CRANKING}


def test_each_signal_is_asked_of_the_engine_where_it_has_it():
    plan = plan_for([GEARBOX, ENGINE])
    asked = {signal: one.unit for one in plan.items for signal in one.values}
    assert asked["engine_speed"] == asked["vehicle_speed"] == 0x7E8
    assert asked["ambient_temperature"] == 0x7E9
    assert len({(one.unit, one.item.number) for one in plan.items}) == len(plan.items)


def test_what_is_in_question_is_asked_for_up_to_three_times_as_often():
    before = {one.item.number: one.hz for one in plan_for([ENGINE]).items}
    after = {one.item.number: one.hz for one in plan_for([ENGINE], {"map-offset": 0.5, "none": 0.5}).items}
    assert after[0x0B] == pytest.approx(2.0 * before[0x0B])
    assert after[0x11] == before[0x11]
    most = {one.item.number: one.hz for one in plan_for([ENGINE], {"map-offset": 0.9, "map-gain": 0.9}).items}
    assert most[0x0B] == pytest.approx(3.0 * before[0x0B])


def poll(polling: Polling, seconds: float, takes_s: float, answers=lambda asked: asked) -> Counter[int]:
    now, counts = 0.0, Counter()
    while now < seconds:
        asked = polling.next(now)
        if not asked:
            now += max(polling.wait_s(now), 1e-3)
            continue
        now += takes_s
        numbers = [one.item.number for one in answers(asked)]
        if numbers:
            polling.answered(asked, numbers)
        else:
            polling.unanswered(asked)
        counts.update(numbers)
    return counts


def test_a_slow_car_shares_its_answers_out_by_need():
    plan = plan_for([ENGINE])
    counts = poll(Polling(plan), 300.0, 0.100, lambda asked: asked[:1])
    rates = {one.item.number: one.hz for one in plan.items}
    share = counts[0x0C] / rates[0x0C]
    for number in (0x0B, 0x11, 0x10, 0x06, 0x0D):
        assert counts[number] / rates[number] == pytest.approx(share, rel=0.25)
    assert counts[0x33] >= 3, "nothing is starved"


def test_a_quick_car_is_not_asked_for_the_same_more_than_it_can_renew():
    counts = poll(Polling(plan_for([ENGINE])), 20.0, 0.0005)
    assert counts[0x0C] == pytest.approx(20.0 / LIVELIEST_S, rel=0.05)
    assert counts[0x05] == pytest.approx(20.0, rel=0.2), "five times as often as wanted, no more"


def test_a_unit_that_answers_two_at_once_is_asked_for_two():
    polling = Polling(plan_for([ENGINE]))
    poll(polling, 5.0, 0.01, lambda asked: asked[:2])
    assert polling.at_once[0x7E8] == 2


def test_after_a_bad_stretch_more_are_asked_for_again():
    polling = Polling(plan_for([ENGINE]))
    poll(polling, 1.0, 0.1, lambda asked: [])
    assert polling.at_once[0x7E8] == 1
    poll(polling, 10.0, 0.01)
    assert polling.at_once[0x7E8] == 6


def test_an_item_that_is_announced_and_never_answered_is_given_up_and_costs_nothing_else():
    polling = Polling(plan_for([ENGINE]))
    counts = poll(polling, 30.0, 0.01, lambda asked: [one for one in asked if one.item.number != 0x70])
    assert [one.item.number for one in polling.dropped] == [0x70]
    assert polling.at_once[0x7E8] == 6
    assert counts[0x0C] > 1000


def test_an_item_that_was_answered_once_is_never_given_up():
    polling, times = Polling(plan_for([Speaker(0x7E8, False, (0x0C,))])), iter(range(1000))
    poll(polling, 10.0, 0.1, lambda asked: asked if next(times) < 1 else [])
    assert polling.dropped == ()


@settings(max_examples=150, deadline=None)
@given(
    items=st.sets(st.sampled_from(sorted(items_table())), min_size=1, max_size=30),
    replies=st.lists(st.integers(0, 6), min_size=1, max_size=50),
    newer=st.booleans(),
)
def test_whatever_is_answered_every_question_is_of_planned_items_and_fits(items, replies, newer):
    plan = plan_for([Speaker(0x7E8, newer, tuple(items))])
    if not plan.items:
        return
    polling, now = Polling(plan), 0.0
    for reply in replies:
        asked = polling.next(now)
        now += 0.01
        assert len(asked) <= (3 if newer else 6)
        assert len({one.item.number for one in asked}) == len(asked)
        if asked:
            numbers = [one.item.number for one in asked[:reply]]
            polling.answered(asked, numbers) if numbers else polling.unanswered(asked)
        assert polling.wait_s(now) >= 0.0
