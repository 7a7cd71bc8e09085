"""What a task becomes with each new fact, and what of a plan is laid open."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from airproof.errors import UnusableRequest
from airproof.knowledge.load import knowledge
from airproof.knowledge.model import Knowledge
from airproof.repair.advice import Node, advise
from airproof.repair.choices import positive_given
from airproof.repair.task import HABIT, Task, task_for
from airproof.repair.turning import OTHER_RATES, Turn

KNOWN = knowledge()
Make = Callable[..., Knowledge]


def task(belief: dict[str, float], **rest: object) -> Task:
    return task_for(belief, KNOWN, KNOWN.prices, **rest)  # type: ignore[arg-type]


def test_a_test_moves_the_belief_by_bayes_rule() -> None:
    step = KNOWN.steps["smoke-test-intake"]
    after = task({"vacuum-leak": 0.5, "map-offset": 0.5}).after(step, found=True)
    odds = step.tells["vacuum-leak"] / (step.otherwise or 0.0)
    assert after.belief["vacuum-leak"] / after.belief["map-offset"] == pytest.approx(odds)
    assert after.done == {"smoke-test-intake"}


@pytest.mark.parametrize(
    ("cause", "mend", "test"),
    [
        ("vacuum-leak", "mend-vacuum-leak", "smoke-test-intake"),
        ("boost-leak", "mend-charge-path", "pressure-test-charge-path"),
    ],
)
def test_a_leak_that_was_seen_is_mended_without_a_test_that_looks_for_it(cause: str, mend: str, test: str) -> None:
    sure = {cause: 0.95, "none": 0.05}
    look = KNOWN.steps["look-hoses"]
    unseen, seen = task(sure).after(look, found=False), task(sure).after(look, found=True)
    assert unseen.looked_into().first == test
    assert seen.looked_into().first == mend
    assert task(sure, done=["look-hoses"], seen=["look-hoses"]).looked_into().first == mend  # as a verdict has it
    assert seen.cannot(KNOWN.steps[test]).looked_into().first == mend  # without the tool for it, too


def test_what_was_not_seen_by_eye_still_wants_its_test() -> None:
    plug = task({"supply-reference": 0.9, "none": 0.1}).after(KNOWN.steps["look-plug-and-wiring"], found=True)
    assert plug.looked_into().first != "repair-5v-supply"
    smoked = task({"boost-leak": 0.9, "none": 0.1}).after(KNOWN.steps["smoke-test-intake"], found=True)
    assert smoked.looked_into().first != "mend-charge-path"


def test_a_failed_repair_leaves_what_it_did_not_cure() -> None:
    step = KNOWN.steps["replace-map-sensor"]
    after = task({"map-offset": 0.9, "vacuum-leak": 0.1}).after(step, found=None)
    left = 0.9 * (1.0 - step.cures["map-offset"])
    assert after.belief["map-offset"] == pytest.approx(left / (left + 0.1))


def test_of_two_causes_at_once_a_repair_may_cure_one() -> None:
    step = KNOWN.steps["replace-map-sensor"]
    pair = ("map-offset", "vacuum-leak")
    after = task({"map-offset": 0.0, "vacuum-leak": 1e-12}, pairs={pair: 1.0}).after(step, found=None)
    cured = step.cures["map-offset"]
    assert after.belief["vacuum-leak"] == pytest.approx(cured)
    assert after.pairs[pair] == pytest.approx(1.0 - cured)


def test_two_causes_speak_by_noisy_or(workshop: Make) -> None:
    # CHECK_VALUES-style example of the textbooks: fever with cold .4, flu .8 and malaria .9, no leak; cold and flu .88.
    known = workshop(
        ["cold", "flu", "malaria"],
        {"fever": {"money": 1.0, "tells": {"cold": 0.4, "flu": 0.8, "malaria": 0.9}, "otherwise": 1e-12}},
    )
    step = known.steps["fever"]
    assert positive_given(step, ("cold", "flu")) == pytest.approx(0.88, abs=1e-9)
    assert positive_given(step, ("cold", "malaria")) == pytest.approx(0.94, abs=1e-9)
    assert positive_given(step, ("flu", "malaria")) == pytest.approx(0.98, abs=1e-9)
    assert positive_given(step.model_copy(update={"otherwise": 0.05}), ("cold",)) == pytest.approx(0.4)


def test_doubt_makes_one_look_elsewhere_after_the_sure_repair_failed() -> None:
    sure = task({**dict.fromkeys(KNOWN.causes, 1e-9), "map-offset": 1.0})
    step = KNOWN.steps[HABIT]
    assert sure.after(step, None).belief["map-offset"] > 0.999
    assert sure.doubted().after(step, None).belief["map-offset"] < 0.7
    assert sum(sure.doubted().belief.values()) == pytest.approx(1.0)


def test_a_set_up_that_stands_is_not_paid_twice() -> None:
    looked = task({"supply-reference": 0.5, "map-circuit": 0.3, "map-offset": 0.2}).looked_into()
    c = looked.choices
    supply, ground = c.index("measure-supply-5v"), c.index("measure-sensor-ground")
    assert supply is not None
    assert ground is not None
    (_, after), _ = looked.search.leads(looked.place, supply)
    shared = KNOWN.setups["meter-at-plug"].minutes
    now, then = c.uses_with(looked.place.standing)[ground], c.uses_with(after.standing)[ground]
    assert now[1] == KNOWN.steps["measure-sensor-ground"].minutes
    assert now[1] - then[1] == shared
    sensor = c.index(HABIT)
    assert sensor is not None
    ((_, refitted),) = looked.search.leads(after, sensor)
    assert not refitted.standing.any()  # the engine ran in the check that follows a repair


def _walk(node: Node) -> list[Node]:
    return [node, *(n for branch in node.branches if branch.then for n in _walk(branch.then))]


def test_the_tree_is_whole_and_begins_with_the_first_step() -> None:
    advice = advise(task({c.id: c.weight for c in KNOWN.causes.values()}))
    assert advice.tree.step == advice.plan.next_steps[0].id
    assert sum(b.probability for b in advice.tree.branches) == pytest.approx(1.0)
    for node in _walk(advice.tree):
        for branch in node.branches:
            if branch.then and branch.then.branches:
                assert sum(b.probability for b in branch.then.branches) == pytest.approx(branch.probability)
    assert 0.0 < advice.not_below < advice.plan.next_steps[0].expected_total_cost
    assert advice.first_saves >= 0.0


def test_beyond_a_turn_the_advice_is_the_other_one() -> None:
    open_case = task({**dict.fromkeys(KNOWN.causes, 0.01), "map-offset": 0.5, "vacuum-leak": 0.3})
    advice = advise(open_case)
    turns: tuple[Turn, ...] = advice.turns
    assert turns
    first = advice.plan.next_steps[0].id
    for turn in turns:
        if turn.about == "hour":
            now = open_case.prices.labour_per_hour
            beyond = [now * f for f in OTHER_RATES if (now * f < turn.value if turn.below else now * f > turn.value)]
            rate = max(beyond) if turn.below else min(beyond)
            there = open_case.prices.model_copy(update={"labour_per_hour": rate})
            other = Task(open_case.belief, {}, KNOWN, there, frozenset(), "map-sensor").looked_into(asked=[first])
            same = next(o.cost for o in other.options if other.choices.steps[o.step].id == first)
            assert other.options[0].cost < same


def test_value_of_a_test_in_money_by_hand(workshop: Make) -> None:
    # Look for 6 and repair what is found: 6 + 0.25 x 50 + 0.75 x 40 = 48.5. Without looking: the leak first,
    # 40 + 0.25 x 50 = 52.5. So looking saves 4.
    known = workshop(
        ["lie", "leak"],
        {
            "look": {"money": 6.0, "tells": {"lie": 1.0 - 1e-12}, "otherwise": 1e-12},
            "sensor": {"money": 50.0, "cures": {"lie": 1.0}},
            "mend": {"money": 40.0, "cures": {"leak": 1.0}},
        },
        ending=1000.0,
    )
    advice = advise(task_for({"lie": 0.25, "leak": 0.75}, known, known.prices))
    assert advice.plan.next_steps[0].id == "look"
    assert advice.first_saves == pytest.approx(4.0, abs=1e-6)
    assert advice.without_it == "mend"
    assert advice.gap == 0.0


def test_nothing_is_left_when_a_sure_cure_failed(workshop: Make) -> None:
    known = workshop(["lie"], {"sensor": {"money": 1.0, "cures": {"lie": 1.0}}})
    with pytest.raises(UnusableRequest, match="something else is wrong"):
        task_for({"lie": 1.0}, known, known.prices).after(known.steps["sensor"], None)
