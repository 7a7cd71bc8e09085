"""Orders of repairs whose best is known: single faults, where falling p/C is best, and one where it is not.

The theorem is Kadane & Simon's, taken up by Heckerman, Breese & Rommelse (1995); the figures were found by trying
every order, and check arithmetic, not the world.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest

from airproof.knowledge.model import Knowledge
from airproof.repair.choices import lay_out
from airproof.repair.plan import Plan, make_plan
from airproof.repair.search import Search
from airproof.repair.sequence import Sequences

CASES = [
    pytest.param([0.40, 0.30, 0.20, 0.10], [40, 10, 5, 20], [3, 2, 1, 4], 35.0, id="A"),
    pytest.param([0.45, 0.25, 0.20, 0.10], [60, 5, 15, 8], [2, 3, 4, 1], 47.65, id="B"),
    pytest.param([0.35, 0.25, 0.15, 0.15, 0.10], [45, 10, 2, 20, 60], [3, 2, 1, 4, 5], 48.5, id="C"),
    pytest.param([0.5, 0.3, 0.2], [10, 2, 4], [2, 1, 3], 9.8, id="tie"),
]


def single_faults(
    make: Callable[..., Knowledge], p: list[float], cost: list[float]
) -> tuple[Knowledge, dict[str, float]]:
    faults = [f"f{i}" for i in range(1, len(p) + 1)]
    steps = {f"r{i}": {"money": c, "cures": {f"f{i}": 1.0}} for i, c in enumerate(cost, 1)}
    return make(faults, steps), dict(zip(faults, p, strict=True))


def order_of(plan_for: Callable[[list[str]], Plan], length: int) -> list[int]:
    """The order that comes of doing what the plan says, each time without success."""
    done: list[str] = []
    for _ in range(length):
        done.append(plan_for(done).next_steps[0].id)
    return [int(step[1:]) for step in done]


@pytest.mark.parametrize(("p", "cost", "order", "expected"), CASES)
def test_single_faults_are_repaired_by_falling_p_over_c(
    workshop: Callable[..., Knowledge], p: list[float], cost: list[float], order: list[int], expected: float
) -> None:
    known, belief = single_faults(workshop, p, cost)
    plan = make_plan(belief, known, known.prices)
    assert plan.complete
    assert plan.next_steps[0].expected_total_money == pytest.approx(expected, abs=1e-9)

    def left(done: list[str]) -> Plan:
        rest = {f: q for f, q in belief.items() if f"r{f[1:]}" not in done}
        return make_plan(rest, known, known.prices, done=done)

    assert order_of(left, len(p)) in ([order] if order != [2, 1, 3] else [[2, 1, 3], [2, 3, 1]])


@pytest.mark.parametrize(("p", "cost", "order", "expected"), CASES)
def test_the_sequence_alone_finds_them_too(
    workshop: Callable[..., Knowledge], p: list[float], cost: list[float], order: list[int], expected: float
) -> None:
    known, belief = single_faults(workshop, p, cost)
    choices, weights = lay_out(belief, known, known.prices, "")
    total = Sequences(choices).totals(weights[None, :], np.zeros((1, len(choices.steps)), dtype=np.bool_))
    assert total[0, 0] == pytest.approx(expected, abs=1e-9)


def test_looking_before_repairing(workshop: Callable[..., Knowledge]) -> None:
    # Look (cost Co) and repair (Cr) only what is found: ordered by p/Co (here a tie of the first and third look),
    # 43.2 in total. The last look can be spared, as it is certain what is left, which this planner sees: 43.2 less
    # the look at fault 4, 0.10 x 10.
    p, look, repair = [0.40, 0.30, 0.20, 0.10], [2, 5, 1, 10], [50, 20, 8, 100]
    steps: dict[str, dict[str, object]] = {}
    for i in range(4):
        steps[f"look{i}"] = {"money": look[i], "tells": {f"f{i}": 1.0 - 1e-12}, "otherwise": 1e-12}
        steps[f"mend{i}"] = {"money": repair[i], "cures": {f"f{i}": 1.0}}
    known = workshop([f"f{i}" for i in range(4)], steps)
    belief = {f"f{i}": q for i, q in enumerate(p)}
    plan = make_plan(belief, known, known.prices)
    assert plan.next_steps[0].expected_total_money == pytest.approx(43.2 - 0.10 * 10, abs=1e-6)
    assert plan.next_steps[0].id in {"look0", "look2"}


def test_greedy_fails_where_repairs_overlap(workshop: Callable[..., Knowledge]) -> None:
    # a cures f1, f2 for 3.0; b cures f1, f3 for 2.6; c cures f2, f4 for 2.6. By p/C a comes first and the order
    # costs 4.56; the best order is b, c at 3.90.
    known = workshop(
        ["f1", "f2", "f3", "f4"],
        {
            "a": {"money": 3.0, "cures": {"f1": 1.0, "f2": 1.0}},
            "b": {"money": 2.6, "cures": {"f1": 1.0, "f3": 1.0}},
            "c": {"money": 2.6, "cures": {"f2": 1.0, "f4": 1.0}},
        },
    )
    belief = {"f1": 0.3, "f2": 0.3, "f3": 0.2, "f4": 0.2}
    choices, weights = lay_out(belief, known, known.prices, "")
    greedy = Sequences(choices).totals(weights[None, :], np.zeros((1, 4), dtype=np.bool_))
    assert greedy[0, 0] == pytest.approx(4.56, abs=1e-9)
    plan = make_plan(belief, known, known.prices)
    assert plan.next_steps[0].id in {"b", "c"}
    assert plan.next_steps[0].expected_total_money == pytest.approx(3.90, abs=1e-9)
    by_a = next(step for step in plan.next_steps if step.id == "a")
    assert by_a.expected_total_money == pytest.approx(4.56, abs=1e-9)


def test_a_test_that_changes_nothing_is_not_bought(workshop: Callable[..., Knowledge]) -> None:
    # After the used car of Pearl (1988), where information is worth exactly 0: both outcomes lead to the same act.
    known = workshop(
        ["lemon", "sound"],
        {
            "test": {"money": 50.0, "tells": {"lemon": 0.65, "sound": 0.20}},
            "fix": {"money": 10.0, "cures": {"lemon": 1.0, "sound": 1.0}},
        },
    )
    plan = make_plan({"lemon": 0.3, "sound": 0.7}, known, known.prices)
    assert plan.next_steps[0].id == "fix"
    assert plan.next_steps[0].expected_total_money == pytest.approx(10.0)
    by_test = next(step for step in plan.next_steps if step.id == "test")
    assert by_test.expected_total_money == pytest.approx(60.0)


def test_next_steps_are_ordered_by_the_whole_job(workshop: Callable[..., Knowledge]) -> None:
    known, belief = single_faults(workshop, [0.4, 0.3, 0.2, 0.1], [40, 10, 5, 20])
    plan = make_plan(belief, known, known.prices)
    costs = [step.expected_total_cost for step in plan.next_steps]
    assert all(a <= b for a, b in pairwise(costs))


def test_all_states_or_not_is_said(workshop: Callable[..., Knowledge]) -> None:
    many = [f"f{i}" for i in range(1, 13)]
    known = workshop(many, {f"r{i}": {"money": 10.0 + i, "cures": {f"f{i}": 0.9}} for i in range(1, 13)})
    belief = dict.fromkeys(many, 1.0)
    choices, _ = lay_out(belief, known, known.prices, "")
    assert not Search(choices).complete
    assert not make_plan(belief, known, known.prices).complete
