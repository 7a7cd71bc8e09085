"""The plan laid open as one JSON object, "airproof.plan/1": keys are added over time, never renamed."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from airproof.repair.advice import Advice, Branch, Node
from airproof.repair.task import Task
from airproof.report.as_json import habit_object, learned_object, step_object

if TYPE_CHECKING:
    from airproof.repair.learned.sharpen import Learned

SCHEMA = "airproof.plan/1"


def as_json(advice: Advice, task: Task, learned: Learned | None = None, left: Mapping[str, Any] | None = None) -> str:
    """The object as text; never NaN or Infinity, which are not JSON.

    `left`: what is left to do in the job in the place of this plan, where it was repaired or closed since.
    """
    told = plan_object(advice, task, learned)
    return json.dumps(told if left is None else {**told, "left": dict(left)}, indent=1, allow_nan=False)


def plan_object(advice: Advice, task: Task, learned: Learned | None = None) -> dict[str, Any]:
    """The object itself; money in `currency`, costs with the minutes at the price of labour."""
    plan = advice.plan
    return {
        "schema": SCHEMA,
        "currency": plan.currency,
        "labour_per_hour": _number(task.prices.labour_per_hour),
        "causes": [{"id": c, "probability": _number(p)} for c, p in sorted(task.belief.items(), key=lambda x: -x[1])],
        "pairs": [{"ids": list(f), "weight": _number(p)} for f, p in task.pairs.items()],
        "done": sorted(task.done),
        "next_steps": [step_object(step) for step in plan.next_steps],
        "tree": _node(advice.tree),
        "first_saves": _number(advice.first_saves),
        "without_it": advice.without_it or None,
        "turns": [
            {"about": t.about, "of": t.of, "value": _number(t.value), "below": t.below, "then": t.then}
            for t in advice.turns
        ],
        "habit": habit_object(plan.habit),
        "best_there_is": plan.complete,
        "not_below": _number(advice.not_below),
        "gap": _number(advice.gap),
        "cautions": list(plan.cautions),
        "learned": learned_object(learned),
    }


def _node(node: Node) -> dict[str, Any]:
    return {
        "id": node.step,
        "title": node.title,
        "money": _number(node.money),
        "minutes": _number(node.minutes),
        "outcomes": [_branch(branch) for branch in node.branches],
    }


def _branch(branch: Branch) -> dict[str, Any]:
    return {
        "says": branch.says,
        "probability": _number(branch.probability),
        "then": None if branch.then is None else _node(branch.then),
    }


def _number(value: float) -> float | None:
    return round(float(value), 4) if math.isfinite(value) else None
