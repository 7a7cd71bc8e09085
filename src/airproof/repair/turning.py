"""What would change the advice: the price of a part, the worth of an hour, the probability of the foremost cause."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from airproof.knowledge.model import Step
from airproof.repair.choices import MINUTES, MONEY, WATCHED, Floats
from airproof.repair.search import FAR, NEAR
from airproof.repair.task import Looked, Task

LOOKS = 3
"""How often the break-even price is put right by looking again. judged: Airproof authors, it hardly moves
after that, and each look takes a tenth of a second."""

CLOSE = 0.02
"""Where looking again moves the break-even price by less than that share, it stands. judged: Airproof
authors, prices are not known better."""

BEYOND = 3.0
"""Times today's price: no usual part costs so much more; judged: Airproof authors."""

ALWAYS_BOUGHT = 1e-3
"""Plans whose chances of buying the part differ by less than this both buy it. judged: Airproof authors,
rounding."""

MATTERS = 0.01
"""Another first step that saves less than this share of the whole job changes nothing that anyone would notice. judged:
Airproof authors, the numbers behind it are not known better."""

OTHER_PROBABILITIES = (0.02, 0.05, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9, 0.95)
"""Probabilities of the foremost cause at which the advice is looked at again. judged: Airproof authors, nobody
weighs evidence finer."""

OTHER_RATES = (0.0, 0.25, 0.5, 2.0, 3.0)
"""The same for the worth of an hour, as multiples of what was stated. judged: Airproof authors, from one's own time
for nothing to a dear shop."""


@dataclass(frozen=True)
class Turn:
    """Where the advice changes: `about` "part price", "hour" or "probability"; beyond `value` (`below` it or above)
    one begins with the step `then` instead. `of` is the part or the cause.
    """

    about: str
    of: str
    value: float
    below: bool
    then: str


def turns(task: Task, looked: Looked) -> tuple[Turn, ...]:
    """Every turn found, nearest to today first within its kind."""
    return (*_of_the_part(task, looked), *_of_the_hour(task, looked), *_of_the_cause(task, looked))


def _of_the_part(task: Task, looked: Looked) -> list[Turn]:
    """The price from which on the first step, if it buys a part, is not first any more."""
    first = task.knowledge.steps[looked.first]
    if first.part is None or first.ends:
        return []
    watching = replace(task, watched_part=first.part)
    again = watching.looked_into(FAR, asked=[first.id])
    if again.first != first.id:
        return []
    price = price_to_begin_with(watching, again, first)
    others = [again.choices.steps[o.step].id for o in again.options if again.choices.steps[o.step].id != first.id]
    return [] if price is None or not others else [Turn("part price", first.part, price, False, others[0])]


def _of_the_hour(task: Task, looked: Looked) -> list[Turn]:
    now = task.prices.labour_per_hour
    found = []
    if now > 0.0:
        rates = [now * factor for factor in OTHER_RATES]
        below = _first_other(task, looked, "hour", [r for r in reversed(rates) if r < now], now, below=True)
        above = _first_other(task, looked, "hour", [r for r in rates if r > now], now, below=False)
        found = [turn for turn in (below, above) if turn is not None]
    return found


def _of_the_cause(task: Task, looked: Looked) -> list[Turn]:
    foremost = max(task.belief, key=lambda cause: task.belief[cause])
    now = task.belief[foremost]
    lower = [p for p in reversed(OTHER_PROBABILITIES) if p < now]
    higher = [p for p in OTHER_PROBABILITIES if p > now]
    below = _first_other(task, looked, foremost, lower, now, below=True)
    above = _first_other(task, looked, foremost, higher, now, below=False)
    return [turn for turn in (below, above) if turn is not None]


def _first_other(task: Task, looked: Looked, of: str, values: list[float], now: float, *, below: bool) -> Turn | None:
    """The first of some values, going away from today's, at which another step comes first; half way back to the last
    at which it did not.
    """
    for last, value in pairwise([now, *values]):
        if of == "hour":
            other = replace(task, prices=task.prices.model_copy(update={"labour_per_hour": value}))
        else:
            rest = (1.0 - value) / max(1.0 - task.belief[of], 1e-12)
            other = replace(
                task,
                belief={c: value if c == of else rest * p for c, p in task.belief.items()},
                pairs={pair: rest * p for pair, p in task.pairs.items()},
            )
        there = other.looked_into(NEAR, asked=[looked.first])
        same = next((o.cost for o in there.options if there.choices.steps[o.step].id == looked.first), np.inf)
        if there.options[0].cost < (1.0 - MATTERS) * same:
            about = "hour" if of == "hour" else "probability"
            return Turn(about, "" if of == "hour" else of, (last + value) / 2.0, below, there.first)
    return None


def price_to_begin_with(task: Task, looked: Looked, step: Step) -> float | None:
    """The price of its part below which it is cheapest to begin with a step; None if it never is, not even with a part
    that costs nothing. The task watches that part.
    """
    part = step.part or ""
    price = task.prices.part(part)
    worth = looked.choices.worth
    now, rest = now_and_rest(task, looked, step)
    is_best = float((now - rest) @ worth) <= 0.0
    even = _break_even(price, now, rest, worth)
    for _ in range(LOOKS):
        if even is None or looked.choices.index(step.id) is None:
            break
        there = task.at_price(part, even)
        better = _break_even(even, *now_and_rest(there, there.looked_into(FAR, asked=[step.id]), step), worth)
        if better is not None and abs(better - even) <= CLOSE * max(even, 1.0):
            break
        beyond = is_best and better is not None and min(even, better) > BEYOND * price > 0.0
        even = better
        if beyond:  # it is best at any price that anybody asks: where that ends is of no use to know
            break
    if is_best:
        # The first look went farthest: on which side of today's price the break-even lies is for it to say.
        return max(even or 0.0, price)
    return None if even is None else min(even, price)


def now_and_rest(task: Task, looked: Looked, step: Step) -> tuple[Floats, Floats]:
    """What the job uses up (E,) begun with a step, and begun with the best other one."""
    number = looked.choices.index(step.id)
    rest = next(option.total for option in looked.options if option.step != number)
    now = next((option.total for option in looked.options if option.step == number), None)
    if now is None:
        used = np.zeros(3)
        used[MONEY], used[MINUTES], used[WATCHED] = task.prices.part(step.part), step.minutes, 1.0
        now = used + looked.options[0].total
    return now, rest


def _break_even(price: float, now: Floats, rest: Floats, worth: Floats) -> float | None:
    """The part price at which both would cost the same if nothing else changed; None if there is none above
    zero.

    A plan that buys the part with probability b costs b times the price more; beginning with it buys one.
    Where both always buy it the price does not matter as long as they do: if the first is better, the price
    to look at next is beyond any that is asked; a part got for nothing has none to go by, and what the job costs
    stands in for it."""
    buys_less = float(now[WATCHED] - rest[WATCHED])
    dearer = float((now - rest) @ worth)
    if buys_less < ALWAYS_BOUGHT:
        return (4.0 * price or float(rest @ worth)) if dearer <= 0.0 else None
    even = price - dearer / buys_less
    return even if even >= 0.0 else None
