"""The plan in plain words: what to do now, why, where it leads, and what would change it."""

from __future__ import annotations

import math

from airproof.knowledge.model import Knowledge
from airproof.repair.advice import Advice, Node
from airproof.repair.habit import Habit
from airproof.repair.task import HABIT, Task
from airproof.repair.turning import Turn
from airproof.report.in_words import Part, below
from airproof.report.wording import in_hundred, sentence

OTHERS = 3
LESS = {True: "less", False: "more"}
WIDE = 0.05  # of a plan's cost: where more than that might be saved, it is said what little is known of it
LEAST_SAID = 0.5  # of a currency: less is told as nothing
ANY_USUAL_PRICE = 3.0  # of the typical price: no part is worth naming a limit beyond


def in_words(advice: Advice, task: Task) -> tuple[Part, ...]:
    """The whole plan as parts in reading order; parts with nothing to say are left out."""
    parts = [
        Part("first", "", _first(advice, task)),
        Part("how", "How", task.knowledge.steps[advice.plan.next_steps[0].id].how),
        Part("care", "Take care", tuple(map(sentence, advice.plan.cautions[1:]))),
        Part("way", "Where it leads", tuple(_way(advice.tree))),
        Part("others", "Other ways to begin", _others(advice)),
        Part("turns", "What would change this", tuple(_turn(turn, task) for turn in advice.turns)),
        Part("habit", "The habit: a new manifold pressure sensor at once", _habit(advice, task)),
        Part("sure", "How far to rely on it", _reliance(advice, task)),
    ]
    return tuple(part for part in parts if part.lines)


def _first(advice: Advice, task: Task) -> tuple[str, ...]:
    step = advice.plan.next_steps[0]
    currency = advice.plan.currency
    lines = [f"Next: {step.title[0].lower()}{step.title[1:]}. {_cost(step.money, step.minutes, currency)}. [{step.id}]"]
    lines.append(sentence(step.why))
    total = _cost(step.expected_total_money, step.expected_total_minutes, currency)
    lines.append(f"The whole job, begun this way, is expected to take {total} to a cured and proved car.")
    if advice.without_it:
        other = task.knowledge.steps[advice.without_it].title
        lines.append(
            f"Leaving this step out would make the job {_dearer(advice.first_saves, currency)} on average, "
            f"time included; one would begin with: {other[0].lower()}{other[1:]}."
        )
    return (*lines, *_out_of_reach(step.id, task))


def _out_of_reach(first: str, task: Task) -> tuple[str, ...]:
    """Why a job that one would mend oneself is handed over: what it wants is not to hand."""
    known = task.knowledge
    beyond = [f"{_title(one.id, known)} [{one.id}]" for one in task.out_of_reach()] if known.steps[first].ends else []
    if not beyond:
        return ()
    return (
        f"Not planned, since a tool is missing or what comes first cannot be: {'; '.join(beyond)}. Look all the same: "
        "what is found by eye is mended without.",
    )


def _way(node: Node, number: str = "") -> list[str]:
    """The tree as numbered lines: 1, 1.1, 1.1.1; each says what came out and what to do then."""
    lines = []
    for place, branch in enumerate(node.branches, 1):
        here = f"{number}{place}."
        then = "" if branch.then is None else f" Then: {branch.then.title[0].lower()}{branch.then.title[1:]}."
        lines.append(f"{here} {branch.says} ({in_hundred(branch.probability)} of such jobs come here.){then}")
        if branch.then is not None:
            lines += _way(branch.then, here)
    return lines


def _others(advice: Advice) -> tuple[str, ...]:
    best, *others = advice.plan.next_steps
    return tuple(
        f"{one.title}: the whole job "
        f"{_dearer(one.expected_total_cost - best.expected_total_cost, advice.plan.currency)}, "
        f"time included. [{one.id}]"
        for one in others[:OTHERS]
    )


def _turn(turn: Turn, task: Task) -> str:
    known, currency = task.knowledge, task.prices.currency
    then = f"begin with: {_title(turn.then, known)}"
    side = "below" if turn.below else "above"
    if turn.about == "part price":
        part = task.prices.parts[turn.of]
        if turn.value > ANY_USUAL_PRICE * part.high > 0.0:
            return f"No usual price of the part ({part.title}) changes it."
        return f"If the part ({part.title}) costs more than {_money(turn.value, currency)}, {then}."
    if turn.about == "hour":
        return f"If an hour of work is worth {LESS[turn.below]} than {_money(turn.value, currency)}, {then}."
    cause = known.causes[turn.of].title
    return f"If {cause[0].lower()}{cause[1:]} were {side} {in_hundred(turn.value)}, {then}."


def _title(step: str, known: Knowledge) -> str:
    title = known.steps[step].title
    return title[0].lower() + title[1:]


def _habit(advice: Advice, task: Task) -> tuple[str, ...]:
    habit: Habit | None = advice.plan.habit
    if habit is None:
        return ()
    best, currency = advice.plan.next_steps[0], advice.plan.currency
    price = habit.worth_it_below_part_price
    now = _cost(habit.replace_now_expected_money, habit.replace_now_expected_minutes, currency)
    if best.id == HABIT:
        usual = task.prices.part(task.knowledge.steps[HABIT].part)
        limit = (
            ""
            if price is None or price > ANY_USUAL_PRICE * usual > 0.0
            else f" as long as it costs {below(price, currency)}"
        )
        return (f"It is right here{limit}: the whole job is expected to take {now}.",)
    dearer = habit.replace_now_expected_cost - best.expected_total_cost
    so = f"Begun so, the whole job takes {now}: {_dearer(dearer, currency)} than this plan, time included."
    if price is not None:
        return (so, f"It would be worth it if the sensor cost {below(price, currency)}.")
    return (so, "It would not be worth it even if the sensor cost nothing.") if dearer >= LEAST_SAID else (so,)


def _reliance(advice: Advice, task: Task) -> tuple[str, ...]:
    plan, currency = advice.plan, advice.plan.currency
    if plan.complete:
        good = "Every plan there is was compared: with these numbers none is cheaper."
    else:
        good = (
            f"With these numbers no plan can be expected to cost less than {_money(advice.not_below, currency)}, time "
            f"included; this one {_money(plan.next_steps[0].expected_total_cost, currency)}: another could save at "
            f"most {max(1, math.ceil(100.0 * advice.gap))} in 100."
        )
        if advice.gap > WIDE:
            good += (
                " How much of that there is to save is not known: where all plans can be tried, plans made like this "
                "one were 0.2 per cent dearer than the best on average."
            )
    missing = task.prices.tools_missing
    without = (f"Planned without: {', '.join(missing)}; steps that need them were left out.",) if missing else ()
    return (good, *without, plan.cautions[0])


def _cost(money: float, minutes: float, currency: str) -> str:
    spent = f"{_money(money, currency)} and " if money >= LEAST_SAID else ""
    return f"{spent}{minutes:.0f} minutes"


def _dearer(amount: float, currency: str) -> str:
    return f"{_money(amount, currency)} dearer" if amount >= LEAST_SAID else "no dearer"


def _money(amount: float, currency: str) -> str:
    return f"{amount:.0f} {currency}"
