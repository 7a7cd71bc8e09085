"""Where a job can stand, and where each step leads from there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from airproof.repair.choices import Choices, Flags, Floats

ALIKE = 12
"""Digits after the point in which two beliefs agree that are one: reached by the same steps in another order, they
differ in the last."""

NOTHING = np.zeros(3)
"""Of money, minutes and the watched part."""

Key = tuple[bytes, bytes, bytes]


@dataclass(frozen=True)
class Place:
    """Where a job stands: belief (n,), steps done (S,), set-ups standing (K,), after so many steps looked ahead."""

    belief: Floats
    done: Flags
    standing: Flags
    ahead: int = 0

    @property
    def weight(self) -> float:
        """Probability of getting here."""
        return float(self.belief.sum())

    @property
    def key(self) -> Key:
        """The same for the same place, whichever way it was reached."""
        return np.round(self.belief, ALIKE).tobytes(), self.done.tobytes(), self.standing.tobytes()


@dataclass(frozen=True)
class Option:
    """One step to take now, and what the job uses up if it is taken and the best found follows (E,)."""

    step: int
    total: Floats
    cost: float


@dataclass(frozen=True)
class Ways:
    """The choices seen as ways from place to place."""

    choices: Choices

    @property
    def tells(self) -> Flags:
        """Which steps (S,) tell something."""
        return np.array([bool(step.tells) for step in self.choices.steps], dtype=np.bool_)

    def start(self, belief: Floats, done: Flags) -> Place:
        """A job that stands at a belief (n,), with steps done (S,) and nothing set up."""
        return Place(belief, done, np.zeros(len(self.choices.setting_up), dtype=np.bool_))

    def ready(self, done: Flags) -> Flags:
        """Steps (S,) not done, whose forerunners are."""
        return np.asarray(~done & ~(self.choices.before & ~done).any(axis=1))

    def leads(self, place: Place, step: int) -> list[tuple[bool, Place]]:
        """Where a step leads to if the job is not over with it: whether the outcome was positive, and the place."""
        c = self.choices
        if step == c.ending:
            return []
        if c.steps[step].tells:
            positive = place.belief * c.positive[step]
            children = [(True, positive), (False, place.belief - positive)]
        else:
            children = [(False, c.not_cured(place.belief[None, :], np.array([step]))[0])]
        done = place.done.copy()
        done[step] = True
        standing = c.standing_after(place.standing, step)
        return [(came, Place(child, done, standing, place.ahead + 1)) for came, child in children]
