"""Whose turn it is: the items most overdue go into the next question, as many as the car answers at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from airproof.vehicle.answers.live import MOST_ITEMS
from airproof.vehicle.recorder.plan import Plan, PlannedItem

MOST_IDENTIFIERS = 3
"""Identifiers of service 22 that fit into a question of one frame."""

LIVELIEST_S = 0.020
"""No item is asked for more often: control units renew their values every 10 to 100 ms (common practice, no source)."""

MORE_OFTEN = 5.0
"""How much more often than wanted an item is asked for at most, where the car has time; judged: Airproof authors."""

SILENT_TO_DROP = 4
FEWER_AFTER = 2


@dataclass
class _Turn:
    planned: PlannedItem
    asked_s: float = -1e9
    least_s: float = 0.0
    silent: int = 0
    dropped: bool = False

    def urgency(self, now_s: float) -> float:
        """How overdue it is: 1 when the wanted time has passed."""
        return (now_s - self.asked_s) * self.planned.hz

    def __post_init__(self) -> None:
        self.least_s = max(LIVELIEST_S, 1.0 / (MORE_OFTEN * self.planned.hz))

    def ready_s(self) -> float:
        return self.asked_s + self.least_s


class Polling:
    """Turns of the items of a plan; it learns how many items a unit answers at once, and which it never answers."""

    def __init__(self, plan: Plan, *, as_fast_as_possible: bool = False) -> None:
        self._turns = [_Turn(one) for one in plan.items]
        self._by_item = {(turn.planned.unit, turn.planned.item.number): turn for turn in self._turns}
        self._at_once = {one.unit: MOST_IDENTIFIERS if one.new_style else MOST_ITEMS for one in plan.items}
        self._short: dict[int, int] = dict.fromkeys(self._at_once, 0)
        self._eager = as_fast_as_possible

    @property
    def at_once(self) -> dict[int, int]:
        """Items asked for in one question, by unit."""
        return dict(self._at_once)

    @property
    def dropped(self) -> tuple[PlannedItem, ...]:
        """Items that were announced and are never answered."""
        return tuple(turn.planned for turn in self._turns if turn.dropped)

    def next(self, now_s: float) -> tuple[PlannedItem, ...]:
        """The items of the next question, all of one unit; none where all were asked only just now."""
        ready = [turn for turn in self._turns if not turn.dropped and (self._eager or turn.ready_s() <= now_s)]
        if not ready:
            return ()
        ready.sort(key=lambda turn: -turn.urgency(now_s))
        first = ready[0].planned
        same = [turn for turn in ready if turn.planned.unit == first.unit][: self._at_once[first.unit]]
        for turn in same:
            turn.asked_s = now_s
        return tuple(turn.planned for turn in same)

    def wait_s(self, now_s: float) -> float:
        """How long until some item may be asked again, s."""
        ready = [turn.ready_s() for turn in self._turns if not turn.dropped]
        return max(min(ready, default=now_s + 1.0) - now_s, 0.0)

    def answered(self, asked: Sequence[PlannedItem], numbers: Sequence[int]) -> None:
        """Which of the items asked for were in the answer."""
        turns = {one.item.number: self._by_item[one.unit, one.item.number] for one in asked}
        missing = [one for one in asked if one.item.number not in numbers]
        for number in numbers:
            if number in turns:
                turns[number].silent = 0
        unit = asked[0].unit
        if numbers and missing:
            self._short[unit] += 1
            if self._short[unit] >= FEWER_AFTER:
                self._at_once[unit] = max(len(numbers), 1)
                self._short[unit] = 0
        elif not missing:
            self._short[unit] = 0
        for one in missing:
            # Left out of a long answer it is asked for again soon; alone and silent again and again it is not there.
            turns[one.item.number].asked_s -= 1.0 / one.hz
            if not numbers and len(asked) == 1:
                turns[one.item.number].silent += 1
                turns[one.item.number].dropped = turns[one.item.number].silent >= SILENT_TO_DROP

    def unanswered(self, asked: Sequence[PlannedItem]) -> None:
        """The question was met by silence, or its answer could not be read: fewer items next time."""
        unit = asked[0].unit
        if len(asked) > 1:
            self._short[unit] += 1
            if self._short[unit] >= FEWER_AFTER:
                self._at_once[unit] = max(self._at_once[unit] // 2, 1)
                self._short[unit] = 0
        else:
            self.answered(asked, ())
