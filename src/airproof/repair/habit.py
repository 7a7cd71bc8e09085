"""The habit of fitting a new manifold pressure sensor at once, beside the plan."""

from __future__ import annotations

from dataclasses import dataclass

from airproof.repair.choices import MINUTES, MONEY
from airproof.repair.task import HABIT, Looked, Task
from airproof.repair.turning import now_and_rest, price_to_begin_with


@dataclass(frozen=True)
class Habit:
    """Fitting a new manifold pressure sensor at once and going on from there.

    `worth_it_below_part_price`: below that price of the part the habit is the cheapest plan; None if it never
    is, not even with a part that costs nothing.
    """

    replace_now_expected_money: float
    replace_now_expected_minutes: float
    replace_now_expected_cost: float
    worth_it_below_part_price: float | None


def beside(task: Task, looked: Looked) -> Habit | None:
    """The habit beside a plan; None when the sensor has been replaced already, or cannot be."""
    sensor = task.knowledge.steps.get(HABIT)
    if sensor is None or sensor.part is None or sensor.id in task.done:
        return None
    now, _ = now_and_rest(task, looked, sensor)
    return Habit(
        replace_now_expected_money=float(now[MONEY]),
        replace_now_expected_minutes=float(now[MINUTES]),
        replace_now_expected_cost=float(now @ looked.choices.worth),
        worth_it_below_part_price=price_to_begin_with(task, looked, sensor),
    )
