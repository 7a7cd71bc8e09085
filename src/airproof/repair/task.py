"""One planning task: what may be wrong, what has been done, and what steps there are at what price."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from airproof.errors import UnusableRequest
from airproof.knowledge.model import NONE, Knowledge, PartPrice, Prices, Step
from airproof.repair.choices import Choices, Fault, Floats, lay_out, positive_given, to_hand
from airproof.repair.places import Option, Place
from airproof.repair.search import FAR, Search

HABIT = "replace-map-sensor"
"""The step that is taken out of habit."""

SEEN_COUNTS = 0.9
"""What was seen counts for so much when planning; judged: Airproof authors: a split hose is mended, whatever else."""


DOUBT = 0.03
"""Of a verdict, when planning from it: so often it was sure of another cause than the true one in 1000 rehearsals
(docs/whole_picture.md, section 7). With that share of the belief everything stays as common as it is, so that a failed
repair makes one look elsewhere."""


WELL_POSSIBLE = 0.05
"""A cause so probable may well be what is wrong; judged: Airproof authors."""

SHOWN = 6.0
"""A look that finds something so many times as often with a cause as otherwise has shown the eye where it is. judged:
Airproof authors: a hose seen split is mended, and no test looks for it first."""


@dataclass(frozen=True)
class Task:
    """What the planner is asked: a belief over causes, pairs of causes beside it, steps done, prices.

    `watched_part`: the part whose purchases are counted, for the price at which the advice changes; `without`: steps
    that are not to be taken; `seen`: steps done that found what they look for.
    """

    belief: Mapping[str, float]
    pairs: Mapping[Fault, float]
    knowledge: Knowledge
    prices: Prices
    done: frozenset[str] = frozenset()
    watched_part: str = ""
    without: frozenset[str] = frozenset()
    seen: frozenset[str] = frozenset()

    def laid_out(self) -> tuple[Choices, Floats]:
        """The choices, and the belief (n,) over their faults."""
        return lay_out(self.belief, self._open(), self.prices, self.watched_part, self.pairs, self.without)

    def _open(self) -> Knowledge:
        """The knowledge, in which what a look has shown is mended without a test that looks for it."""
        steps = self.knowledge.steps
        looks = [steps[name] for name in self.seen if steps[name].kind == "look"]
        told = [(cause, p / look.otherwise) for look in looks if look.otherwise for cause, p in look.tells.items()]
        shown = {cause for cause, times in told if times >= SHOWN and cause != NONE}
        opened = {
            name: step.model_copy(update={"after": ()})
            for name, step in steps.items()
            if step.after and step.cures and max(step.cures, key=lambda cause: step.cures[cause]) in shown
        }
        return replace(self.knowledge, steps={**steps, **opened}) if opened else self.knowledge

    def out_of_reach(self) -> tuple[Step, ...]:
        """Repairs of what may well be wrong that cannot be planned, for want of a tool or of what must come first."""
        steps = self._open().steps
        kept = to_hand(steps, self.prices, self.without)
        likely = {cause for cause, p in self.belief.items() if p >= WELL_POSSIBLE and cause != NONE}
        return tuple(
            step
            for name, step in steps.items()
            if name not in kept and name not in {*self.without, *self.done} and not likely.isdisjoint(step.cures)
        )

    def looked_into(self, follow: Sequence[int] = FAR, asked: Collection[str] = ()) -> Looked:
        """The search for it: as many first steps as `follow` says, and those `asked` for."""
        choices, weights = self.laid_out()
        search = Search(choices, follow)
        done = np.array([step.id in self.done and not step.ends for step in choices.steps], dtype=np.bool_)
        place = search.start(weights, done)
        numbers = [number for number in map(choices.index, asked) if number is not None]
        return Looked(search, place, tuple(search.options(place, numbers)))

    def after(self, step: Step, found: bool | None) -> Task:
        """The same after one more step: a test that `found` what it looks for or did not, or a repair (None) after
        which the trouble is still there.

        Raises UnusableRequest where the step was done before, or nothing would be left that could be wrong.
        """
        if step.id in self.done:
            raise UnusableRequest(f"{step.id} is done already", "each step once", "Keep the outcome that counts.")
        weights: dict[Fault, float] = {}
        for fault, weight in [*(((c,), p) for c, p in self.belief.items()), *self.pairs.items()]:
            for rest, share in _left(step, fault, found).items():
                weights[rest] = weights.get(rest, 0.0) + weight * share
        total = sum(weights.values())
        if total <= 0.0:
            raise UnusableRequest(
                f"{step.id} cures all that was thought possible, and did not help",
                "a cause that is left",
                "Weigh the evidence again: something else is wrong.",
            )
        return replace(
            self,
            belief={f[0]: p / total for f, p in weights.items() if len(f) == 1},
            pairs={f: p / total for f, p in weights.items() if len(f) > 1},
            done=self.done | {step.id},
            seen=self.seen | {step.id} if found else self.seen,
        )

    def cannot(self, step: Step) -> Task:
        """The same where a step cannot be taken, nor what needs it done first."""
        return replace(self, without=self.without | {step.id})

    def doubted(self) -> Task:
        """The same with a little doubt about the verdict it comes from."""
        weights = {cause: self.knowledge.causes[cause].weight for cause in self.belief}
        total = sum(weights.values())
        return replace(self, belief={c: (1.0 - DOUBT) * p + DOUBT * weights[c] / total for c, p in self.belief.items()})

    def at_price(self, part: str, price: float) -> Task:
        """The same with that part at another price."""
        return replace(self, prices=with_price(self.prices, part, price))


def _left(step: Step, fault: Fault, found: bool | None) -> dict[Fault, float]:
    """What is left of a fault after a step, each with its chance; what is cured is not in it."""
    if step.tells:
        chance = positive_given(step, fault)
        return {fault: chance if found else 1.0 - chance}
    left: dict[Fault, float] = {(): 1.0}
    for cause in fault:
        cured = step.cures.get(cause, 0.0)
        without = {rest: p * cured for rest, p in left.items()}
        left = without | {(*rest, cause): p * (1.0 - cured) for rest, p in left.items()}
    return {rest: p for rest, p in left.items() if rest}


@dataclass(frozen=True)
class Looked:
    """A task looked into: where it stands, and the first steps, cheapest whole job first."""

    search: Search
    place: Place
    options: tuple[Option, ...]

    @property
    def choices(self) -> Choices:
        """The steps as arrays."""
        return self.search.choices

    @property
    def first(self) -> str:
        """Id of the step to take first."""
        return self.choices.steps[self.options[0].step].id


def task_for(
    probabilities: Mapping[str, float],
    knowledge: Knowledge,
    prices: Prices,
    *,
    applicable: Collection[str] | None = None,
    done: Collection[str] = (),
    seen: Collection[str] = (),
    pairs: Mapping[Fault, float] | None = None,
    fuel: str = "petrol",
) -> Task:
    """The task for these probabilities of the causes (any positive sum; they are scaled to 1).

    `pairs`: probabilities of two causes at once, beside those of one and scaled with them. `applicable`: causes that
    the engine can have, None for all; `done`: ids of steps whose outcome the probabilities already hold; `seen`: those
    of them that found what they look for; `fuel`: what it burns. Raises UnusableRequest for a cause or step that is
    not known, or probabilities that are none.
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
    scale = sum(belief.values()) / sum(probabilities.values())
    twos = {pair: scale * p for pair, p in (pairs or {}).items() if applicable is None or set(pair) <= set(applicable)}
    sensor = knowledge.steps.get(HABIT)
    watched = (sensor.part if sensor else None) or ""
    pointless = frozenset(step.id for step in knowledge.steps.values() if step.fuel and fuel not in step.fuel)
    found = frozenset(seen) & knowledge.steps.keys()
    return Task(belief, twos, knowledge, prices, frozenset(done), watched, pointless - frozenset(done), found)


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


def with_price(prices: Prices, part: str, price: float) -> Prices:
    """The prices with one part at another price."""
    old = prices.parts[part]
    new = PartPrice(id=part, title=old.title, low=price, typical=price, high=price, source=old.source)
    return prices.model_copy(update={"parts": {**prices.parts, part: new}})
