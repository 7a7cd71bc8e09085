"""The search where too many places can be reached: the most promising steps are followed, level by level.

From each place every step worth a look is judged by a sequence of repairs after it; the best, or the best few, are
followed to the places they lead to, and so on. All places of one depth are judged together, which is several times
faster than one by one.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airproof.repair.choices import Choices, Flags, Floats
from airproof.repair.places import NOTHING, Key, Option, Place, Ways
from airproof.repair.sequence import Sequences

DEEPEST = 12
"""Steps looked ahead. judged: Airproof authors, few jobs get there."""

RARE = 0.005
"""Where the job gets with less than this probability, the sequence of repairs is good enough. judged: Airproof authors,
what could be gained there is a few per cent of that."""

LOOKED_AT = 6
"""Steps looked at in each place, those that shift or cure most per cost. judged: Airproof authors, more find nothing
better."""

SMALL_CHANGE = 5.0
"""Added to the cost of each step in that comparison, in the currency, so that what is nearly free does not crowd out
all else. judged: Airproof authors, the price of a can of cleaner."""

WORTHWHILE = 0.004
"""A step is looked at if it cures that share of the weight, or shifts that share of it between its outcomes. judged:
Airproof authors, below it no step pays for its minutes."""

SAME_COST = 6
"""Digits of the currency after the point that are compared: what is cheaper by less costs the same, so that the last
digit of a sum, which no two processors share, does not choose."""


@dataclass(frozen=True)
class _Follow:
    """A step followed from a place: what it uses up there (E,), and the places it leads to, with the sequence (E,)
    from each.
    """

    step: int
    used: Floats
    children: tuple[tuple[Place, Floats], ...]


class LookAhead:
    """Follows the best steps; remembers what the rest of the job uses up from each place it has been to."""

    def __init__(self, choices: Choices, follow: Sequence[int]) -> None:
        self._ways = Ways(choices)
        self._choices = choices
        self._follow = follow
        self._sequences = Sequences(choices)
        self._tells = self._ways.tells
        self._positive = np.where(self._tells[:, None], choices.positive, 0.0)
        self._known: dict[Key, Floats] = {}

    def options(self, place: Place, asked: Collection[int] = ()) -> list[Option]:
        """Steps that can be taken, in no order: the best, and those `asked` for."""
        return self._options(place, self._width(0), asked)

    def best(self, place: Place) -> Option:
        """The step to take there."""
        return self._options(place, 1, ())[0]

    def _options(self, place: Place, width: int, asked: Collection[int]) -> list[Option]:
        (follows,) = self._judged([place], width, asked)
        self._look_into([child for follow in follows for child in follow.children])
        found = []
        for follow in follows:
            total = self._total(follow)
            found.append(Option(follow.step, total, float(total @ self._choices.worth)))
        return found

    def _look_into(self, children: list[tuple[Place, Floats]]) -> None:
        """Follow the best step from these places and all that come of it, then reckon back."""
        levels: list[list[tuple[Key, Floats, list[_Follow]]]] = []
        while children:
            here: dict[Key, tuple[Place, Floats]] = {}
            for place, sequence in children:
                if self._worth_a_look(place) and (key := place.key) not in self._known:
                    here[key] = (place, sequence)
            if not here:
                break
            judged = self._judged([place for place, _ in here.values()], self._width(len(levels) + 1), ())
            level = [(key, here[key][1], follows) for key, follows in zip(here, judged, strict=True)]
            levels.append(level)
            children = [child for _, _, follows in level for follow in follows for child in follow.children]
        worth = self._choices.worth
        for level in reversed(levels):
            for key, sequence, follows in level:
                totals = [sequence, *map(self._total, follows)]
                self._known[key] = min(totals, key=lambda total: float(total @ worth))

    def _width(self, ahead: int) -> int:
        """Steps followed up in a place that is so many steps ahead."""
        return self._follow[ahead] if ahead < len(self._follow) else 1

    def _worth_a_look(self, place: Place) -> bool:
        return place.ahead < DEEPEST and place.weight >= RARE

    def _total(self, follow: _Follow) -> Floats:
        """What the job uses up (E,) with a step and what follows."""
        total = follow.used
        for place, sequence in follow.children:
            total = total + (self._known.get(place.key, sequence) if self._worth_a_look(place) else sequence)
        return total

    def _judged(self, places: list[Place], width: int, asked: Collection[int]) -> list[list[_Follow]]:
        """For each place the `width` best steps, judged by the sequence of repairs after them, and those asked for."""
        c = self._choices
        possible = self._possible(places, asked)
        beliefs, done, standing, owners, steps = self._children(places, possible)
        totals = self._sequences.totals(beliefs, done, standing) if len(owners) else np.zeros((0, NOTHING.size))
        judged = []
        first = 0
        for place, own in zip(places, possible, strict=True):
            used = place.weight * c.uses_with(place.standing)[own]
            count = int(np.where(self._tells[own], 2, 1).sum()) - int((own == c.ending).sum())
            rows = slice(first, first + count)
            first += count
            cost = used @ c.worth
            np.add.at(cost, np.searchsorted(own, steps[rows]), totals[rows] @ c.worth)
            order = np.argsort(np.round(cost, SAME_COST), kind="stable")
            chosen = list(order[:width]) + [row for row in order[width:] if own[row] in asked]
            follows = []
            for row in chosen:
                step = int(own[row])
                sequences = totals[rows][steps[rows] == step]
                leads = [child for _, child in self._ways.leads(place, step)]
                follows.append(_Follow(step, used[row], tuple(zip(leads, sequences, strict=True))))
            judged.append(follows)
        return judged

    def _children(
        self, places: list[Place], possible: list[NDArray[np.intp]]
    ) -> tuple[Floats, Flags, Flags, NDArray[np.intp], NDArray[np.intp]]:
        """Every place that a possible step leads to, in the order of places, steps and outcomes (yes, no): beliefs
        (L, n), done (L, S), standing (L, K), the place (L,) and the step (L,).
        """
        c = self._choices
        going = [own[own != c.ending] for own in possible]
        outcomes = [np.where(self._tells[own], 2, 1) for own in going]
        steps = np.concatenate([np.repeat(own, count) for own, count in zip(going, outcomes, strict=True)])
        owners = np.repeat(np.arange(len(places)), [int(count.sum()) for count in outcomes])
        before = np.array([place.belief for place in places])[owners]
        positive = before * self._positive[steps]
        again = np.concatenate([[False], (steps[1:] == steps[:-1]) & (owners[1:] == owners[:-1])])[: steps.size]
        beliefs = np.where((self._tells[steps] & ~again)[:, None], positive, before - positive)
        cures = ~self._tells[steps]
        beliefs[cures] = c.not_cured(before[cures], steps[cures])
        done = np.array([place.done for place in places])[owners]
        done[np.arange(steps.size), steps] = True
        standing = np.array([place.standing for place in places])[owners]
        return beliefs, done, (standing | c.set_up[steps]) & ~c.clears[steps], owners, steps

    def _possible(self, places: list[Place], asked: Collection[int]) -> list[NDArray[np.intp]]:
        """For each place the steps not done, whose forerunners are, and which promise something there, be it only by
        what they make way for; the ending step always.
        """
        c = self._choices
        beliefs = np.array([place.belief for place in places])
        done = np.array([place.done for place in places])
        standing = np.array([place.standing for place in places])
        weight = beliefs.sum(axis=1)[:, None]
        mean = beliefs @ self._positive.T / weight
        moved = np.einsum("psn,pn->ps", np.abs(self._positive - mean[:, :, None]), beliefs)
        promise = np.where(done, 0.0, np.maximum(beliefs @ (1.0 - c.stays).T, moved))
        promise[promise < WORTHWHILE * weight] = 0.0
        cost = c.uses @ c.worth + (c.set_up & ~standing[:, None, :]) @ (c.setting_up @ c.worth)
        waits = c.before & ~done[:, None, :]
        rate = promise / (cost + np.einsum("psg,pg->ps", waits, cost) + SMALL_CHANGE)
        ready = ~done & ~waits.any(axis=2)
        rate = np.where(ready, np.maximum(rate, (waits * rate[:, :, None]).max(axis=1)), 0.0)
        chosen = (rate > 0.0) & (rate >= np.sort(rate, axis=1)[:, -LOOKED_AT:][:, :1])
        chosen[:, list(asked)] |= ready[:, list(asked)]
        chosen[:, c.ending] = True
        return [np.flatnonzero(row) for row in chosen]
