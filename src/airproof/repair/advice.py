"""The plan laid open: the next few steps as a tree, what the first one saves, what would change it, and how much
cheaper any plan could be.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from airproof.repair.bound.lowest import lowest
from airproof.repair.places import Place
from airproof.repair.plan import Plan, plan_of
from airproof.repair.reasons import GONE, STILL_THERE
from airproof.repair.search import Search
from airproof.repair.task import HABIT, Looked, Task
from airproof.repair.turning import Turn, turns

DEEP = 4
"""Steps shown after each other."""

WORTH_SHOWING = 0.05
"""Branches that the job takes with less than this probability are not followed further."""


@dataclass(frozen=True)
class Branch:
    """One outcome of a step: what it says, how probable it is that the job gets there, and the step taken then.

    `then` is None where the job is over, or where the tree is cut.
    """

    says: str
    probability: float
    then: Node | None


@dataclass(frozen=True)
class Node:
    """A step in the tree, with what it takes as things stand there (money, minutes)."""

    step: str
    title: str
    money: float
    minutes: float
    branches: tuple[Branch, ...]


@dataclass(frozen=True)
class Advice:
    """The plan with its reasons, money in the plan's currency.

    `tree`: the next few steps; `first_saves`: what the whole job costs more if the first step is never taken, its
    minutes at the price of labour; `without_it`: with which step one would begin then; `turns`: what would change the
    first step; `not_below`: no plan there is can be expected to cost less, minutes included.
    """

    plan: Plan
    tree: Node
    first_saves: float
    without_it: str
    turns: tuple[Turn, ...]
    not_below: float

    @property
    def gap(self) -> float:
        """The share of the plan's cost by which a better plan, if there is one, could be cheaper at most."""
        cost = self.plan.next_steps[0].expected_total_cost
        return 0.0 if self.plan.complete or cost <= 0.0 else max(0.0, 1.0 - self.not_below / cost)


def advise(task: Task) -> Advice:
    """The plan for a task, laid open."""
    looked = task.looked_into(asked=[HABIT])
    plan = plan_of(task, looked)
    best = looked.options[0]
    complete = looked.search.complete
    other = replace(task, without=task.without | {looked.first}).looked_into() if not _ends(task, looked) else None
    return Advice(
        plan=plan,
        tree=_node(looked.search, looked.place, best.step, looked.place.weight, DEEP),
        first_saves=0.0 if other is None else max(0.0, other.options[0].cost - best.cost),
        without_it="" if other is None else other.first,
        turns=turns(task, looked),
        not_below=best.cost if complete else min(best.cost, lowest(looked.choices, looked.place)),
    )


def _ends(task: Task, looked: Looked) -> bool:
    return task.knowledge.steps[looked.first].ends


def _node(search: Search, place: Place, number: int, whole: float, deep: int) -> Node:
    step = search.choices.steps[number]
    uses = search.choices.uses_with(place.standing)[number]
    branches = []
    for came, child in search.leads(place, number):
        probability = child.weight / whole
        says = (step.if_so if came else step.if_not) if step.tells else STILL_THERE
        follow = deep > 1 and probability >= WORTH_SHOWING
        then = _node(search, child, search.best(child).step, whole, deep - 1) if follow else None
        branches.append(Branch(says, probability, then))
    over = place.weight / whole - sum(branch.probability for branch in branches)
    if step.ends:
        branches.append(Branch("The job is over.", over, None))
    elif not step.tells:
        branches.insert(0, Branch(GONE, over, None))
    return Node(step.id, step.title, float(uses[0]), float(uses[1]), tuple(branches))
