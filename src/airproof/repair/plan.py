"""The plan: which step comes next so that the whole repair is cheapest in expected money and minutes.

Money is for parts and other people's bills; minutes are one's own. The order of steps weighs both, at the
price of labour. Against it stands the habit of fitting a new manifold pressure sensor at once, and the part
price at which the habit would be right.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

from airproof.diagnosis.weighing import Weighing
from airproof.knowledge.model import Knowledge, Prices
from airproof.repair.choices import MINUTES, MONEY, Fault
from airproof.repair.habit import Habit
from airproof.repair.habit import beside as habit_beside
from airproof.repair.places import Option
from airproof.repair.reasons import GONE, STILL_THERE, why
from airproof.repair.search import FAR
from airproof.repair.task import HABIT, Looked, Task, task_for

CAUTION = (
    "All money and minutes are expectations from judged probabilities, times and prices, not promises; "
    "the maker's service data, local codes and licensed practice come first."
)


@dataclass(frozen=True)
class Outcome:
    """What may come of a step, how probable that is, and the step to take then; None when the job is over."""

    says: str
    probability: float
    then: str | None


@dataclass(frozen=True)
class NextStep:
    """A step one can take now, and what the whole job is expected to take with it.

    `money` and `minutes` are the step's own; `expected_total_cost` is the money with the minutes at the price
    of labour: the list is ordered by it. `outcomes` are filled in for the first step of a plan.
    """

    id: str
    title: str
    kind: str
    money: float
    minutes: float
    why: str
    expected_total_money: float
    expected_total_minutes: float
    expected_total_cost: float
    outcomes: tuple[Outcome, ...] = ()


@dataclass(frozen=True)
class Plan:
    """Steps to take next, cheapest whole job first, the habit beside them, all in `currency`.

    `complete`: every plan there is was compared; otherwise the totals are those of a plan that can be
    followed, and the best there is may be somewhat cheaper. `habit` is None when the sensor has been replaced
    already.
    """

    currency: str
    next_steps: tuple[NextStep, ...]
    habit: Habit | None
    complete: bool
    cautions: tuple[str, ...]


def make_plan(
    probabilities: Mapping[str, float],
    knowledge: Knowledge,
    prices: Prices,
    *,
    applicable: Collection[str] | None = None,
    done: Collection[str] = (),
    seen: Collection[str] = (),
    pairs: Mapping[Fault, float] | None = None,
) -> Plan:
    """The plan for these probabilities of the causes, taken at their word; the arguments, and what is refused, are
    those of `task_for`.
    """
    task = task_for(probabilities, knowledge, prices, applicable=applicable, done=done, seen=seen, pairs=pairs)
    return plan_of(task, task.looked_into(asked=[HABIT]))


def plan_from(weighing: Weighing, knowledge: Knowledge, prices: Prices) -> Plan | None:
    """The plan from a verdict, with a little doubt about it; None where nothing was judged."""
    verdict = weighing.verdict
    if verdict.refusal is not None:
        return None
    task = task_from(weighing, knowledge, prices)
    return plan_of(task, task.looked_into(asked=[HABIT]))


def task_from(weighing: Weighing, knowledge: Knowledge, prices: Prices) -> Task:
    """The planning task of a verdict that judged, with a little doubt about it."""
    verdict = weighing.verdict
    return task_for(
        {cause.id: cause.probability for cause in verdict.causes},
        knowledge,
        prices,
        done={*weighing.steps_done, *already_recorded(verdict.regimes_s, knowledge)},
        seen={step for step, found in weighing.steps_done.items() if found},
        pairs=verdict.pair_weights(),
        fuel=weighing.profile.fuel,
    ).doubted()


def plan_of(task: Task, looked: Looked) -> Plan:
    """The plan for a task that has been looked into."""
    options = looked.options
    shown = options if looked.search.complete else options[: FAR[0]]
    steps = [_next_step(task, looked, option) for option in shown]
    steps[0] = replace(steps[0], outcomes=_outcomes(looked, options[0].step))
    return Plan(
        currency=task.prices.currency,
        next_steps=tuple(steps),
        habit=habit_beside(task, looked),
        complete=looked.search.complete,
        cautions=(CAUTION, *task.knowledge.steps[looked.first].cautions),
    )


def already_recorded(regimes_s: Mapping[str, float], knowledge: Knowledge) -> set[str]:
    """Ids of the recording steps that a recording with so many seconds of each regime has done."""
    return {
        step.id
        for step in knowledge.steps.values()
        if step.records and all(regimes_s.get(regime, 0.0) >= least for regime, least in step.records.items())
    }


def _next_step(task: Task, looked: Looked, option: Option) -> NextStep:
    choices = looked.choices
    step = choices.steps[option.step]
    return NextStep(
        id=step.id,
        title=step.title,
        kind=step.kind,
        money=float(choices.uses[option.step, MONEY]),
        minutes=step.minutes,
        why=why(choices, looked.place.belief, task.knowledge, option.step),
        expected_total_money=float(option.total[MONEY]),
        expected_total_minutes=float(option.total[MINUTES]),
        expected_total_cost=option.cost,
    )


def _outcomes(looked: Looked, number: int) -> tuple[Outcome, ...]:
    search, place = looked.search, looked.place
    steps = search.choices.steps
    step = steps[number]
    leads = [
        (came, child.weight / place.weight, search.best(child).step)
        for came, child in search.leads(place, number)
        if child.weight > 0.0
    ]
    if step.ends:
        return (Outcome("The job is over.", 1.0, None),)
    if step.tells:
        return tuple(Outcome(step.if_so if came else step.if_not, p, steps[then].id) for came, p, then in leads)
    failed = sum(p for _, p, _ in leads)
    cured = Outcome(GONE, 1.0 - failed, None)
    return (cured, *(Outcome(STILL_THERE, p, steps[then].id) for _, p, then in leads))
