"""The plan on what ships: sound first steps, the habit and its break-even price, and refusals."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from airproof.errors import UnusableRequest
from airproof.knowledge.load import knowledge
from airproof.knowledge.model import Knowledge, Prices
from airproof.repair.plan import Plan, already_recorded, make_plan
from airproof.repair.task import task_for

KNOWN = knowledge()
FAULTS = [cause for cause in KNOWN.causes if cause != "none"]


def leaning(cause: str, probability: float) -> dict[str, float]:
    """That cause with that probability, the others by their weight."""
    rest = {c.id: c.weight for c in KNOWN.causes.values() if c.id != cause}
    total = sum(rest.values())
    return {cause: probability, **{c: (1.0 - probability) * w / total for c, w in rest.items()}}


def priced(part: str, price: float, prices: Prices = KNOWN.prices) -> Prices:
    new = prices.parts[part].model_copy(update={"low": price, "typical": price, "high": price})
    return prices.model_copy(update={"parts": {**prices.parts, part: new}})


def plan_for(belief: dict[str, float], prices: Prices = KNOWN.prices, **rest: object) -> Plan:
    return make_plan(belief, KNOWN, prices, **rest)  # type: ignore[arg-type]


@pytest.mark.parametrize("cause", FAULTS)
def test_a_certain_cause_is_cured_at_once(cause: str) -> None:
    first = KNOWN.steps[plan_for({cause: 1.0}).next_steps[0].id]
    cures = [step for step in KNOWN.steps.values() if cause in step.cures]
    needed = {earlier for step in cures for earlier in step.after}
    assert first in cures or first.id in needed


def test_a_certain_lie_of_the_sensor_means_a_new_sensor() -> None:
    plan = plan_for({"map-offset": 1.0})
    assert plan.next_steps[0].id == "replace-map-sensor"
    # 95 % done with it; else a little cleaning that cures 15 %, then the specialist.
    specialist = KNOWN.prices.part("specialist")
    clean = 0.05 * (KNOWN.prices.part("sensor-cleaner") + 0.85 * specialist)
    assert plan.next_steps[0].expected_total_money == pytest.approx(50.0 + clean)


def test_nothing_wrong_means_change_nothing() -> None:
    assert plan_for({"none": 1.0}).next_steps[0].id == "drive-and-watch"
    assert plan_for(leaning("none", 0.95)).next_steps[0].id == "drive-and-watch"


@pytest.mark.parametrize("cause", ["vacuum-leak", "boost-leak", "maf-scale", "ignition"])
def test_a_sensor_is_not_the_answer_to_something_else(cause: str) -> None:
    plan = plan_for(leaning(cause, 0.8))
    assert plan.next_steps[0].id != "replace-map-sensor"
    assert plan.habit is not None
    assert plan.habit.replace_now_expected_cost > plan.next_steps[0].expected_total_cost


def test_the_first_step_leads_on() -> None:
    for belief in (leaning("vacuum-leak", 0.5), leaning("map-gain", 0.95), leaning("none", 0.95)):
        first = plan_for(belief).next_steps[0]
        assert sum(outcome.probability for outcome in first.outcomes) == pytest.approx(1.0)
        for outcome in first.outcomes:
            assert outcome.then is None or outcome.then in KNOWN.steps
            assert outcome.then != first.id


def test_what_is_done_is_not_offered_again() -> None:
    belief = leaning("vacuum-leak", 0.4)
    done = ["record-key-on", "record-idle", "look-hoses", "replace-map-sensor"]
    plan = plan_for(belief, done=done)
    assert not set(done) & {step.id for step in plan.next_steps}
    assert plan.habit is None


def test_steps_wait_for_what_must_come_first() -> None:
    plan = plan_for({"vacuum-leak": 1.0})
    assert plan.next_steps[0].id == "smoke-test-intake"
    assert plan_for({"vacuum-leak": 1.0}, done=["smoke-test-intake"]).next_steps[0].id == "mend-vacuum-leak"


def test_causes_that_do_not_apply_play_no_part() -> None:
    belief = {"boost-leak": 0.6, "vacuum-leak": 0.4}
    plan = plan_for(belief, applicable=["vacuum-leak", "none"])
    same = plan_for({"vacuum-leak": 1.0})
    assert plan.next_steps == same.next_steps


@pytest.mark.parametrize("cause", ["none", "map-offset", "vacuum-leak", "boost-leak", "maf-scale"])
def test_a_free_step_that_knows_never_makes_it_dearer(cause: str) -> None:
    belief = leaning(cause, 0.5)
    oracle = KNOWN.steps["look-hoses"].model_copy(
        update={"id": "oracle", "minutes": 0.0, "tells": {cause: 1.0 - 1e-9}, "otherwise": 1e-9}
    )
    wiser = replace(KNOWN, steps={**KNOWN.steps, "oracle": oracle})
    without = plan_for(belief).next_steps[0].expected_total_cost
    assert make_plan(belief, wiser, wiser.prices).next_steps[0].expected_total_cost <= without + 1e-6


def test_money_is_parts_and_minutes_are_ones_own() -> None:
    first = plan_for({"map-offset": 1.0}).next_steps[0]
    assert (first.money, first.minutes) == (50.0, 25.0)
    assert first.expected_total_cost == pytest.approx(
        first.expected_total_money + first.expected_total_minutes * KNOWN.prices.labour_per_hour / 60.0
    )


def test_own_time_that_is_free_costs_nothing_but_is_not_wasted() -> None:
    free = KNOWN.prices.model_copy(update={"labour_per_hour": 0.0})
    belief = leaning("vacuum-leak", 0.5)
    idle, paid = plan_for(belief, free).next_steps[0], plan_for(belief).next_steps[0]
    assert idle.expected_total_money < paid.expected_total_money
    assert idle.expected_total_minutes > paid.expected_total_minutes
    assert idle.expected_total_cost == pytest.approx(idle.expected_total_money, rel=1e-2)


@pytest.mark.parametrize(("cause", "probability"), [("map-offset", 0.6), ("map-offset", 0.8), ("map-gain", 0.9)])
def test_at_the_break_even_price_the_habit_is_as_good_and_below_it_right(cause: str, probability: float) -> None:
    belief = leaning(cause, probability)
    habit = plan_for(belief).habit
    assert habit is not None
    even = habit.worth_it_below_part_price
    assert even is not None
    below = plan_for(belief, priced("map-sensor", 0.8 * even)).next_steps[0]
    assert below.id == "replace-map-sensor"
    dear = plan_for(belief, priced("map-sensor", 1.5 * even + 20.0))
    assert dear.habit is not None
    assert dear.next_steps[0].id != "replace-map-sensor"
    for price in (even, dear.habit.worth_it_below_part_price):
        assert price is not None
        assert _habit_against_the_best_other(belief, price) == pytest.approx(0.0, abs=0.02)


def _habit_against_the_best_other(belief: dict[str, float], price: float) -> float:
    """By how much the whole job is dearer that begins with a new sensor of that price, as a share."""
    found = task_for(belief, KNOWN, priced("map-sensor", price)).looked_into(asked=["replace-map-sensor"])
    number = found.choices.index("replace-map-sensor")
    habit = next(option.cost for option in found.options if option.step == number)
    return habit / next(option.cost for option in found.options if option.step != number) - 1.0


def test_where_a_free_sensor_would_not_pay_for_its_minutes_the_habit_never_is_right() -> None:
    habit = plan_for({"vacuum-leak": 1.0}).habit
    assert habit is not None
    assert habit.worth_it_below_part_price is None
    assert plan_for({"vacuum-leak": 1.0}, priced("map-sensor", 0.0)).next_steps[0].id != "replace-map-sensor"


def test_the_habit_where_the_sensor_cures_nothing_in_question_costs_the_sensor_more() -> None:
    plan = plan_for({"vacuum-leak": 1.0})
    assert plan.habit is not None
    first = plan.next_steps[0]
    assert plan.habit.replace_now_expected_money == pytest.approx(first.expected_total_money + 50.0)
    assert plan.habit.replace_now_expected_minutes == pytest.approx(first.expected_total_minutes + 25.0)


def test_break_even_by_hand(workshop: Callable[..., Knowledge]) -> None:
    # One look for 6, perfect; sensor x, cures "lie" (p = 0.25); mending 40, cures "leak" (0.75); no labour.
    # At once: x + 0.75 x 40 = x + 30. Mending first: 40 + 0.25 x. Looking first: 6 + 0.25 x + 30 = 36 + 0.25 x.
    # x + 30 = 36 + 0.25 x at x = 8.
    known = workshop(
        ["lie", "leak"],
        {
            "look": {"money": 6.0, "tells": {"lie": 1.0 - 1e-12}, "otherwise": 1e-12},
            "replace-map-sensor": {"money": 50.0, "cures": {"lie": 1.0}},
            "mend": {"money": 40.0, "cures": {"leak": 1.0}},
        },
        ending=1000.0,
    )
    plan = make_plan({"lie": 0.25, "leak": 0.75}, known, known.prices)
    assert plan.next_steps[0].id == "look"
    assert plan.next_steps[0].expected_total_money == pytest.approx(36.0 + 12.5, abs=1e-6)
    assert plan.habit is not None
    assert plan.habit.replace_now_expected_money == pytest.approx(80.0, abs=1e-6)
    assert plan.habit.worth_it_below_part_price == pytest.approx(8.0, abs=0.1)


def test_every_plan_says_what_its_numbers_are() -> None:
    plan = plan_for(leaning("vacuum-leak", 0.5))
    assert plan.currency == "USD"
    assert "judged" in plan.cautions[0]
    assert "licensed practice" in plan.cautions[0]
    for step in plan.next_steps:
        assert step.why.endswith(("%.", "price.")), step.why


def test_cautions_of_the_first_step_come_with_the_plan() -> None:
    plan = plan_for({"boost-leak": 1.0})
    assert plan.next_steps[0].id == "pressure-test-charge-path"
    assert any("Eye protection" in caution for caution in plan.cautions)


@pytest.mark.parametrize(
    ("belief", "rest", "says"),
    [
        ({"gremlins": 1.0}, {}, "unknown cause gremlins"),
        ({"none": 1.0}, {"applicable": ["gremlins"]}, "unknown cause gremlins"),
        ({"none": 1.0}, {"done": ["pray"]}, "unknown step pray"),
        ({"none": float("nan")}, {}, "nan"),
        ({"none": -0.1, "ignition": 1.1}, {}, "-0.1"),
        ({"none": float("inf")}, {}, "inf"),
        ({"none": 0.0}, {}, "no cause has any probability"),
        ({}, {}, "no cause has any probability"),
        ({"boost-leak": 1.0}, {"applicable": ["none"]}, "no cause has any probability"),
    ],
)
def test_what_cannot_be_planned_is_refused(belief: dict[str, float], rest: dict[str, list[str]], says: str) -> None:
    with pytest.raises(UnusableRequest, match=says):
        plan_for(belief, **rest)


def test_all_done_leaves_the_specialist() -> None:
    plan = plan_for(leaning("vacuum-leak", 0.5), done=list(KNOWN.steps))
    assert [step.id for step in plan.next_steps] == ["send-to-specialist"]
    assert plan.next_steps[0].outcomes[0].then is None


@pytest.mark.parametrize("seen", ["smoke-test-intake", "look-hoses"])
def test_what_somebody_saw_is_never_only_watched(seen: str) -> None:
    belief = dict.fromkeys(KNOWN.causes, 0.01) | {"none": 0.8, "vacuum-leak": 1e-7}
    blind = make_plan(belief, KNOWN, KNOWN.prices, done=[seen])
    told = make_plan(belief, KNOWN, KNOWN.prices, done=[seen], seen=[seen])
    assert blind.next_steps[0].id == "drive-and-watch"
    assert told.next_steps[0].id != "drive-and-watch"


def test_what_was_seen_changes_nothing_where_a_cause_leads() -> None:
    belief = dict.fromkeys(KNOWN.causes, 0.01) | {"map-offset": 0.8}
    without = make_plan(belief, KNOWN, KNOWN.prices, done=["look-hoses"])
    told = make_plan(belief, KNOWN, KNOWN.prices, done=["look-hoses"], seen=["look-hoses"])
    assert told == without


def test_what_a_recording_holds_need_not_be_recorded_again() -> None:
    assert already_recorded({}, KNOWN) == set()
    assert already_recorded({"key-on": 12.0, "idle": 60.0}, KNOWN) == {"record-key-on"}
    everything = already_recorded({"key-on": 12.0, "idle": 60.0, "cruise": 60.0, "full-load": 4.0}, KNOWN)
    assert everything == {"record-key-on", "record-idle", "record-pull"}
