"""The search where few enough places can be reached: all of them are visited, and the plan is the best there is."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from airproof.repair.choices import Choices, Floats
from airproof.repair.places import NOTHING, Key, Option, Place, Ways


class Exhaustive:
    """Visits every place; remembers what the rest of the job uses up from each."""

    def __init__(self, choices: Choices) -> None:
        self._ways = Ways(choices)
        self._choices = choices
        self._known: dict[Key, Floats] = {}

    def options(self, place: Place, _asked: Collection[int] = ()) -> list[Option]:
        """Every step that can be taken, in no order."""
        weight, uses = place.weight, self._choices.uses_with(place.standing)
        found = []
        for step in map(int, np.flatnonzero(self._ways.ready(place.done))):
            total = weight * uses[step]
            for _, child in self._ways.leads(place, step):
                total = total + self._value(child)
            found.append(Option(step, total, float(total @ self._choices.worth)))
        return found

    def _value(self, place: Place) -> Floats:
        """What the rest of the job uses up (E,), weighted by the chance of it."""
        if place.weight <= 0.0:
            return NOTHING
        key = place.key
        if key not in self._known:
            self._known[key] = min(self.options(place), key=lambda option: option.cost).total
        return self._known[key]
