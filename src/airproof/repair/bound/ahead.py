"""The form, looked ahead with: at each place the cheapest step by the form, and what it leads to.

The plan that is cheapest by the form is followed, and the dearest places that it comes to are looked into, again and
again: a place then costs at least what its cheapest step takes and the places this leads to cost. Every place keeps a
bound at any time, so one may stop anywhere; where no place is left open the bound is what the best plan costs.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airproof.repair.bound.form import Form
from airproof.repair.choices import Flags, Floats
from airproof.repair.places import ALIKE, Place, Ways

LOOKED_INTO = 1000
"""Places looked into. judged: Airproof authors, a tenth of a second; with three times as many the bound is 0.3 %
higher."""

AT_ONCE = 8
"""Places looked into together. judged: Airproof authors, one by one takes several times as long."""

HARDLY = 1e-9
"""Places less probable than this cost nothing, and a bound is not raised by less."""

NOWHERE = 0
"""The number that stands for no place."""


def raised(form: Form, place: Place) -> float:
    """The bound at a place, raised by looking ahead."""
    ahead = _Ahead(form, place)
    for _ in range(LOOKED_INTO // AT_ONCE):
        places = ahead.open_places()
        if not places:
            break
        ahead.look_into(places)
    return ahead.bound


@dataclass(frozen=True)
class _Places:
    """M places: beliefs (M, n), steps done (M, S), set-ups standing (M, K)."""

    beliefs: Floats
    done: Flags
    standing: Flags

    def keys(self) -> list[bytes]:
        """The same for the same place. The belief is in it, since with two causes the order of steps matters: a test
        before a repair hears both.
        """
        beliefs = (np.round(self.beliefs, ALIKE) + 0.0).view(np.uint8)
        rest = [np.packbits(flags, axis=1) for flags in (self.done, self.standing)]
        return [row.tobytes() for row in np.concatenate([beliefs, *rest], axis=1)]

    def at(self, rows: NDArray[np.intp]) -> _Places:
        """Some of them."""
        return _Places(self.beliefs[rows], self.done[rows], self.standing[rows])


class _Ahead:
    """Places by number: what each is, its bound, from which others it is reached; and, once looked into, what each step
    costs there, its number less 1 the two places it leads to, and which is the cheapest.
    """

    def __init__(self, form: Form, place: Place) -> None:
        self._form, self._choices = form, form.choices
        self._ways = Ways(form.choices)
        self._tells = self._ways.tells
        self._chances = np.where(self._tells[:, None], form.choices.positive, 0.0)
        self._places: list[tuple[_Places, int]] = []
        self._numbers: dict[bytes, int] = {}
        self._bounds = np.zeros(1)
        self._from: list[set[int]] = [set()]
        self._steps: dict[int, tuple[Floats, NDArray[np.intp]]] = {}
        self._best: dict[int, int] = {}
        self._start = int(self._numbered(_Places(place.belief[None], place.done[None], place.standing[None]))[0])

    @property
    def bound(self) -> float:
        """At the place where one stands."""
        return float(self._bounds[self._start])

    def open_places(self) -> list[int]:
        """The dearest places that the cheapest plan comes to and that were not looked into."""
        found: set[int] = set()
        waiting = [self._start]
        while waiting:
            number = waiting.pop()
            if number in self._steps:
                waiting += [int(child) for child in self._steps[number][1][self._best[number]] if child != NOWHERE]
            else:
                found.add(number)
        return sorted(found, key=lambda number: (-self._bounds[number], number))[:AT_ONCE]

    def look_into(self, numbers: list[int]) -> None:
        """Take every step from these places, and reckon back."""
        tried = [self._tried(*self._places[number - 1]) for number in numbers]
        children = self._numbered(
            _Places(
                *(
                    np.concatenate([getattr(then, name) for _, _, then in tried])
                    for name in ("beliefs", "done", "standing")
                )
            )
        )
        first = 0
        for number, (cost, repairs, then) in zip(numbers, tried, strict=True):
            own = children[first : first + len(then.beliefs)]
            first += own.size
            tests = (own.size - repairs) // 2
            leads = np.full((cost.size, 2), NOWHERE, dtype=np.intp)
            leads[:tests] = own[: 2 * tests].reshape(2, tests).T
            leads[tests : tests + repairs, 0] = own[2 * tests :]
            self._steps[number] = cost, leads
            for child in own[own != NOWHERE].tolist():
                self._from[child].add(number)
        self._reckon_back(numbers)

    def _tried(self, places: _Places, row: int) -> tuple[Floats, int, _Places]:
        """What each step costs from one of some places, weighted as it is (tests, repairs, and the ending), how many
        repairs there are, and where the steps lead: positive tests, negative ones, repairs that failed.
        """
        c = self._choices
        belief, done, standing = places.beliefs[row], places.done[row], places.standing[row]
        ready = self._ways.ready(done)
        ready[c.ending] = False
        tests, repairs = np.flatnonzero(ready & self._tells), np.flatnonzero(ready & ~self._tells)
        yes = belief * self._chances[tests]
        failed = c.not_cured(np.repeat(belief[None], repairs.size, axis=0), repairs)
        taken = np.concatenate([tests, tests, repairs])
        then_done = np.tile(done, (taken.size, 1))
        then_done[np.arange(taken.size), taken] = True
        then_standing = (standing | c.set_up[taken]) & ~c.clears[taken]
        then = _Places(np.concatenate([yes, belief - yes, failed]), then_done, then_standing)
        cost = belief.sum() * (c.uses_with(standing) @ c.worth)
        return cost[np.concatenate([tests, repairs, [c.ending]])], repairs.size, then

    def _reckon_back(self, numbers: list[int]) -> None:
        """Raise the bounds of these places, and of all from which they are reached."""
        waiting = list(numbers)
        while waiting:
            number = waiting.pop()
            cost, leads = self._steps[number]
            totals = cost + self._bounds[leads].sum(axis=1)
            best = int(totals.argmin())
            self._best[number] = best
            if totals[best] > self._bounds[number] + HARDLY:
                self._bounds[number] = totals[best]
                waiting += self._from[number]

    def _numbered(self, places: _Places) -> NDArray[np.intp]:
        """The numbers (M,): of places met before, new ones of new places, none where hardly any job comes to."""
        numbers = np.full(len(places.beliefs), NOWHERE, dtype=np.intp)
        keys, new = places.keys(), []
        for row in np.flatnonzero(places.beliefs.sum(axis=1) > HARDLY).tolist():
            number = self._numbers.get(keys[row])
            if number is None:
                number = self._numbers[keys[row]] = len(self._from)
                self._from.append(set())
                new.append(row)
            numbers[row] = number
        if new:
            found = places.at(np.array(new))
            self._places += [(found, row) for row in range(len(new))]
            self._bounds = np.append(self._bounds, self._form.at(found.beliefs, found.done, found.standing))
        return numbers
