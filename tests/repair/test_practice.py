"""What mechanics do out of experience, where it should come out of the numbers, too. Common practice, no source: with
codes of the sensor alone, a cheap part and a quick job, clean it, then replace it, without testing deeply.
"""

from __future__ import annotations

import pytest

from airproof.knowledge.load import knowledge
from airproof.repair.task import HABIT, Looked, Task, task_for, with_price

KNOWN = knowledge()
CLEAN = "clean-map-sensor"


def by_codes(*codes: str) -> dict[str, float]:
    """The causes by their weights and these codes, each for itself."""
    belief = {cause.id: cause.weight for cause in KNOWN.causes.values()}
    for code in codes:
        belief = {cause: p * KNOWN.codes[code].given(cause) for cause, p in belief.items()}
    total = sum(belief.values())
    return {cause: p / total for cause, p in belief.items()}


def looked(codes: tuple[str, ...], price: float, hour: float, done: tuple[str, ...] = ()) -> tuple[Task, Looked]:
    prices = with_price(KNOWN.prices, "map-sensor", price).model_copy(update={"labour_per_hour": hour})
    task = task_for(by_codes(*codes), KNOWN, prices).doubted()
    for step in done:
        task = task.after(KNOWN.steps[step], None)
    return task, task.looked_into(asked=[CLEAN, HABIT])


def dearer_first(found: Looked, step: str) -> float:
    """By how much the job is dearer, begun with that step, as a share of the whole."""
    number = found.choices.index(step)
    cost = next(option.cost for option in found.options if option.step == number)
    return cost / found.options[0].cost - 1.0


@pytest.mark.parametrize("price", [25.0, 50.0, 75.0])
def test_who_works_for_nothing_cleans_and_then_replaces(price: float) -> None:
    _, found = looked(("P0106", "P0069"), price, 0.0)
    assert dearer_first(found, CLEAN) < 0.03  # a recording first, which costs nothing then, is a little better
    _, then = looked(("P0106", "P0069"), price, 0.0, done=(CLEAN,))
    assert dearer_first(then, HABIT) < 0.05


@pytest.mark.parametrize("price", [25.0, 50.0, 75.0])
@pytest.mark.parametrize("codes", [("P0106", "P0069"), ("P0069",)])
def test_who_is_paid_by_the_hour_replaces_at_once(codes: tuple[str, ...], price: float) -> None:
    _, found = looked(codes, price, 80.0)
    assert found.first == HABIT
    assert dearer_first(found, CLEAN) > 0.05  # 25 minutes for a cure in one of seven


def test_a_dear_part_is_tested_for_first() -> None:
    _, found = looked(("P0106",), 250.0, 60.0)
    assert found.first != HABIT
    assert KNOWN.steps[found.first].tells


def test_with_a_code_of_the_mixture_beside_it_one_looks_first() -> None:
    _, found = looked(("P0106", "P0171"), 50.0, 100.0)
    assert KNOWN.steps[found.first].tells
