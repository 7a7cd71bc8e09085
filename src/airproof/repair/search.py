"""The search for the cheapest plan: all plans where they are few, else the most promising ones.

A step that tells splits the belief by Bayes' rule; a step that cures leaves what it did not cure. Where few enough
states can be reached all are visited and the plan is the best there is; otherwise it is one that can be followed, at a
cost that is never below the best plan's.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np

from airproof.repair.choices import Choices, Flags, Floats
from airproof.repair.exhaustive import Exhaustive
from airproof.repair.look_ahead import SAME_COST, LookAhead
from airproof.repair.places import Option, Place, Ways

STATES_TO_VISIT_ALL = 2000
"""Up to that many states all are visited. judged: Airproof authors, a few tenths of a second."""

FAR, NEAR = (4, 2, 2), (2,)
"""Steps followed up as the first one, in each place after it, and so on, then one in each: for a plan, and for a quick
look. judged: Airproof authors, a quarter of a second at most; with three times the work plans are 0.3 % cheaper."""


class Search:
    """One planning task: the choices, and a memory of the places already looked into."""

    def __init__(self, choices: Choices, follow: Sequence[int] = FAR) -> None:
        self.choices = choices
        self._ways = Ways(choices)
        kinds = self._ways.tells[np.arange(len(choices.steps)) != choices.ending]
        states = 3.0 ** np.count_nonzero(kinds) * 2.0 ** np.count_nonzero(~kinds)
        self.complete = bool(states <= STATES_TO_VISIT_ALL)
        self._by = Exhaustive(choices) if self.complete else LookAhead(choices, follow)

    def start(self, belief: Floats, done: Flags) -> Place:
        """A job that stands at a belief (n,), with steps done (S,) and nothing set up."""
        return self._ways.start(belief, done)

    def options(self, place: Place, asked: Collection[int] = ()) -> list[Option]:
        """Steps that can be taken first, cheapest whole job first.

        Those followed up in earnest only, and those `asked` for.
        """
        return sorted(self._by.options(place, asked), key=lambda option: round(option.cost, SAME_COST))

    def best(self, place: Place) -> Option:
        """The step to take there."""
        return self._by.best(place) if isinstance(self._by, LookAhead) else self.options(place)[0]

    def leads(self, place: Place, step: int) -> list[tuple[bool, Place]]:
        """Where a step leads to if the job is not over with it: whether the outcome was positive, and the place."""
        return self._ways.leads(place, step)
