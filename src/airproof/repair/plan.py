"""The plan: which step comes next so that the whole repair is cheapest in expected money and minutes.

Money is for parts and other people's bills; minutes are one's own. The order of steps weighs both, at the
price of labour. Against it stands the habit of fitting a new manifold pressure sensor at once, and the part
price at which the habit would be right.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

import numpy as np

from airproof.errors import UnusableRequest
from airproof.knowledge.model import NONE, Knowledge, PartPrice, Prices, Step
from airproof.repair.choices import MINUTES, MONEY, WATCHED, Choices, Flags, Floats, lay_out
from airproof.repair.search import FAR, NEAR, Option, Search

HABIT = "replace-map-sensor"
"""The step that is taken out of habit."""

LOOKS = 3
"""How often the break-even price is put right by looking again. judged: Airproof authors, it hardly moves
after that, and each look takes a tenth of a second."""

CLOSE = 0.02
"""Where looking again moves the break-even price by less than that share, it stands. judged: Airproof
authors, prices are not known better."""

ALWAYS_BOUGHT = 1e-3
"""Plans whose chances of buying the sensor differ by less than this both buy it. judged: Airproof authors,
rounding."""

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
class Habit:
    """Fitting a new manifold pressure sensor at once and going on from there.

    `worth_it_below_part_price`: below that price of the part the habit is the cheapest plan; None if it never
    is, not even with a part that costs nothing.
    """

    replace_now_expected_money: float
    replace_now_expected_minutes: float
    replace_now_expected_cost: float
    worth_it_below_part_price: float | None


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


SEEN_COUNTS = 0.9
"""What was seen counts for so much when planning; judged: Airproof authors: a split hose is mended, whatever else."""


def make_plan(
    probabilities: Mapping[str, float],
    knowledge: Knowledge,
    prices: Prices,
    *,
    applicable: Collection[str] | None = None,
    done: Collection[str] = (),
    seen: Collection[str] = (),
) -> Plan:
    """The plan for these probabilities of the causes (any positive sum; they are scaled to 1).

    `applicable`: causes that the engine can have, None for all; `done`: ids of steps whose outcome the
    probabilities already hold; `seen`: those of them that found what they look for. Raises UnusableRequest for a
    cause or step that is not known, or probabilities that are none.
    """
    belief = _sound_belief(probabilities, knowledge, applicable)
    unknown = sorted(set(done) - set(knowledge.steps))
    if unknown:
        raise UnusableRequest(
            f"unknown step {', '.join(unknown)}",
            "ids of steps",
            f"Known are {', '.join(knowledge.steps)}.",
        )
    belief = _not_passed_over(belief, seen, knowledge)
    sensor = knowledge.steps.get(HABIT)
    watched = (sensor.part if sensor else None) or ""
    choices, weights = lay_out(belief, knowledge, prices, watched)
    search = Search(choices, FAR)
    already = np.array([step.id in done and not step.ends for step in choices.steps], dtype=np.bool_)
    habit = choices.index(HABIT)
    options = search.options(weights, already, () if habit is None else (habit,))
    shown = options if search.complete else options[:FAR]
    steps = [_next_step(choices, weights, knowledge, option) for option in shown]
    first = choices.steps[options[0].step]
    steps[0] = replace(steps[0], outcomes=_outcomes(first, search, weights, already, options[0].step))
    return Plan(
        currency=prices.currency,
        next_steps=tuple(steps),
        habit=_habit(belief, knowledge, prices, already, choices, options, sensor, done),
        complete=search.complete,
        cautions=(CAUTION, *first.cautions),
    )


def already_recorded(regimes_s: Mapping[str, float], knowledge: Knowledge) -> set[str]:
    """Ids of the recording steps that a recording with so many seconds of each regime has done."""
    return {
        step.id
        for step in knowledge.steps.values()
        if step.records and all(regimes_s.get(regime, 0.0) >= least for regime, least in step.records.items())
    }


def _sound_belief(
    probabilities: Mapping[str, float], knowledge: Knowledge, applicable: Collection[str] | None
) -> dict[str, float]:
    unknown = sorted((set(probabilities) | set(applicable or ())) - set(knowledge.causes))
    if unknown:
        raise UnusableRequest(
            f"unknown cause {', '.join(unknown)}",
            "ids of causes",
            f"Known are {', '.join(knowledge.causes)}.",
        )
    wrong = {c: p for c, p in probabilities.items() if not (math.isfinite(p) and p >= 0.0)}
    if wrong:
        raise UnusableRequest(f"probabilities {wrong}", "numbers from 0 to 1", "Weigh the evidence again.")
    belief = {c: p for c, p in probabilities.items() if applicable is None or c in applicable}
    total = sum(belief.values())
    if total <= 0.0:
        raise UnusableRequest(
            "no cause has any probability", "at least one that has", "Give the probabilities of all causes."
        )
    return {c: p / total for c, p in belief.items()}


def _not_passed_over(belief: dict[str, float], seen: Collection[str], knowledge: Knowledge) -> dict[str, float]:
    """The belief to plan by: a defect that somebody saw is dealt with, however healthy a recording looks.

    Where nothing wrong is foremost although a step found what it looks for, most of the belief goes to the causes that
    the step tells of, by how strongly it tells and how common they are.
    """
    if belief.get(NONE, 0.0) < max(belief.values()):
        return belief
    pull = dict.fromkeys(belief, 0.0)
    for name in seen:
        step = knowledge.steps[name]
        for cause, chance in step.tells.items():
            if cause in pull and cause != NONE:
                pull[cause] += max(chance - (step.otherwise or 0.0), 0.0) * knowledge.causes[cause].weight
    total = sum(pull.values())
    if total <= 0.0:
        return belief
    return {c: (1.0 - SEEN_COUNTS) * p + SEEN_COUNTS * pull[c] / total for c, p in belief.items()}


def _next_step(choices: Choices, belief: Floats, knowledge: Knowledge, option: Option) -> NextStep:
    step = choices.steps[option.step]
    return NextStep(
        id=step.id,
        title=step.title,
        kind=step.kind,
        money=float(choices.uses[option.step, MONEY]),
        minutes=step.minutes,
        why=_why(choices, belief, knowledge, option.step),
        expected_total_money=float(option.total[MONEY]),
        expected_total_minutes=float(option.total[MINUTES]),
        expected_total_cost=option.cost,
    )


def _why(choices: Choices, belief: Floats, knowledge: Knowledge, number: int) -> str:
    step = choices.steps[number]
    if step.ends:
        return "It settles the job whatever the cause, at a known price."
    if step.tells:
        speaks = belief * np.maximum(choices.positive[number] - (step.otherwise or 0.0), 0.0)
        chance = float(belief @ choices.positive[number])
        about = _strongest(choices, speaks, knowledge)
        return f'It asks after: {about}. Chance of "{step.if_so}": {_percent(chance)}.'
    cured = belief * choices.cures[number]
    done_with_it = _percent(float(cured.sum()))
    if step.kind == "watch":
        return f"Chance that nothing comes back, because nothing is wrong: {done_with_it}."
    about = _strongest(choices, cured, knowledge)
    return f"It can cure: {about}. Chance that the job is done with it: {done_with_it}."


def _strongest(choices: Choices, share: Floats, knowledge: Knowledge) -> str:
    order = [int(i) for i in np.argsort(-share, kind="stable") if share[i] > 0.0][:3]
    large = [i for i in order if share[i] > 0.1 * share[order[0]]]
    names = [knowledge.causes[choices.causes[i]].title for i in large]
    return "; ".join(name[0].lower() + name[1:] for name in names) or "nothing in question here"


def _percent(probability: float) -> str:
    return f"{100.0 * probability:.0f} %" if 0.01 <= probability <= 0.99 else f"{100.0 * probability:.1f} %"


def _outcomes(step: Step, search: Search, belief: Floats, done: Flags, number: int) -> tuple[Outcome, ...]:
    if step.ends:
        return (Outcome("The job is over.", 1.0, None),)
    leads = search.after(belief, done, number)
    steps = search.choices.steps
    if step.tells:
        return tuple(Outcome(step.if_so if came else step.if_not, p, steps[then].id) for came, p, then in leads)
    failed = sum(p for _, p, _ in leads)
    cured = Outcome("The trouble is gone: prove it, and the job is over.", 1.0 - failed, None)
    return (cured, *(Outcome("The trouble is still there.", p, steps[then].id) for _, p, then in leads))


def _habit(
    belief: Mapping[str, float],
    knowledge: Knowledge,
    prices: Prices,
    already: Flags,
    choices: Choices,
    options: list[Option],
    sensor: Step | None,
    done: Collection[str],
) -> Habit | None:
    if sensor is None or sensor.id in done or sensor.part is None:
        return None
    now, rest = _now_and_rest(choices, options, sensor, prices)
    price = prices.part(sensor.part)
    habit_is_best = float((now - rest) @ choices.worth) <= 0.0
    even = _break_even(price, now, rest, choices.worth)
    for _ in range(LOOKS):
        if even is None or choices.index(sensor.id) is None:
            break
        there = _with_price(prices, sensor.part, even)
        again, weights = lay_out(belief, knowledge, there, sensor.part)
        looked = Search(again, NEAR).options(weights, already, [i for i in (again.index(HABIT),) if i is not None])
        better = _break_even(even, *_now_and_rest(again, looked, sensor, there), again.worth)
        if better is not None and abs(better - even) <= CLOSE * max(even, 1.0):
            break
        even = better
    if habit_is_best:
        # The first look went farthest: on which side of today's price the break-even lies is for it to say.
        even = max(even or 0.0, price)
    elif even is not None:
        even = min(even, price)
    return Habit(
        replace_now_expected_money=float(now[MONEY]),
        replace_now_expected_minutes=float(now[MINUTES]),
        replace_now_expected_cost=float(now @ choices.worth),
        worth_it_below_part_price=even,
    )


def _now_and_rest(choices: Choices, options: list[Option], sensor: Step, prices: Prices) -> tuple[Floats, Floats]:
    """What the job uses up with the sensor fitted at once, and with the best other first step."""
    number = choices.index(sensor.id)
    rest = next(option.total for option in options if option.step != number)
    now = next((option.total for option in options if option.step == number), None)
    if now is None:
        now = np.array([prices.part(sensor.part), sensor.minutes, 1.0]) + options[0].total
    return now, rest


def _break_even(price: float, now: Floats, rest: Floats, worth: Floats) -> float | None:
    """The part price at which both would cost the same if nothing else changed; None if there is none above
    zero.

    A plan that buys the sensor with probability b costs b times the price more; fitting it at once buys one.
    Where both always buy it the price does not matter as long as they do: if the habit is better, the price
    to look at next is twice as high."""
    buys_less = float(now[WATCHED] - rest[WATCHED])
    dearer = float((now - rest) @ worth)
    if buys_less < ALWAYS_BOUGHT:
        return 2.0 * price if dearer <= 0.0 else None
    even = price - dearer / buys_less
    return even if even >= 0.0 else None


def _with_price(prices: Prices, part: str, price: float) -> Prices:
    old = prices.parts[part]
    new = PartPrice(id=part, title=old.title, low=price, typical=price, high=price, source=old.source)
    return Prices(
        currency=prices.currency,
        labour_per_hour=prices.labour_per_hour,
        source=prices.source,
        parts={**prices.parts, part: new},
    )
