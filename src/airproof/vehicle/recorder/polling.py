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
"""Times in a row that an item, asked for alone and never answered before, is met by silence before it is given up."""

FEWER_AFTER, MORE_AFTER, DOUBTED_AFTER = 2, 20, 200
"""Questions in a row that fail before fewer items are asked for at once, that go well before one more is tried, and
before more is tried than was ever answered: it may have been a bad stretch that taught it."""


@dataclass
class _Turn:
    """One item: when it was asked for, and how that went.

    `left_out_of` is the number of items in an answer that lacked it: it is asked for alone then, which tells whether
    the unit answers so few at once, or has no such item.
    """

    planned: PlannedItem
    asked_s: float = -1e9
    silent: int = 0
    left_out_of: int = 0
    answered: bool = False
    dropped: bool = False

    def urgency(self, now_s: float) -> float:
        """How overdue it is: 1 when the wanted time has passed."""
        return (now_s - self.asked_s) * self.planned.hz

    def ready_s(self) -> float:
        """When it may be asked for again."""
        return self.asked_s + max(LIVELIEST_S, 1.0 / (MORE_OFTEN * self.planned.hz))


class _AtOnce:
    """How many items one unit is asked for at once."""

    def __init__(self, most: int) -> None:
        self._most = self.now = most
        self._known = most  # how many it was seen to answer at most
        self._well = self._badly = self._short = 0

    def went_well(self, count: int) -> None:
        self._badly = 0
        if count > 1:
            self._short = 0
        self._well += 1
        sure = self.now < self._known
        if self.now < self._most and self._well >= (MORE_AFTER if sure else DOUBTED_AFTER):
            self.now, self._well = self.now + 1, 0
            self._known = max(self._known, self.now)

    def answered_only(self, count: int) -> None:
        """It left out of an answer what it has: it answers no more at once, as its make is, or a part got lost."""
        self._short += 1
        if self._short >= FEWER_AFTER and count < self.now:
            self._known = self.now = max(count, 1)
            self._short = self._well = 0

    def went_badly(self) -> None:
        self._badly += 1
        self._well = 0
        if self._badly >= FEWER_AFTER:
            self.now, self._badly = max(self.now // 2, 1), 0


class Polling:
    """Turns of the items of a plan; it learns how many items a unit answers at once, and which it never answers."""

    def __init__(self, plan: Plan, *, as_fast_as_possible: bool = False) -> None:
        self._turns = [_Turn(one) for one in plan.items]
        self._by_item = {(turn.planned.unit, turn.planned.item.number): turn for turn in self._turns}
        self._units = {one.unit: _AtOnce(MOST_IDENTIFIERS if one.new_style else MOST_ITEMS) for one in plan.items}
        self._eager = as_fast_as_possible

    @property
    def at_once(self) -> dict[int, int]:
        """Items asked for in one question, by unit."""
        return {unit: one.now for unit, one in self._units.items()}

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
        first = ready[0]
        unit = first.planned.unit
        together = [turn for turn in ready if turn.planned.unit == unit and not turn.left_out_of]
        same = [first] if first.left_out_of else together[: self._units[unit].now]
        for turn in same:
            turn.asked_s = now_s
        return tuple(turn.planned for turn in same)

    def wait_s(self, now_s: float) -> float:
        """How long until some item may be asked again, s."""
        ready = [turn.ready_s() for turn in self._turns if not turn.dropped]
        return max(min(ready, default=now_s + 1.0) - now_s, 0.0)

    def answered(self, asked: Sequence[PlannedItem], numbers: Sequence[int]) -> None:
        """Which of the items asked for were in the answer."""
        unit = self._units[asked[0].unit]
        missing = [one for one in asked if one.item.number not in numbers]
        for one in asked:
            turn = self._turn(one)
            if one.item.number in numbers:
                if turn.left_out_of:
                    unit.answered_only(turn.left_out_of)
                turn.answered, turn.silent, turn.left_out_of = True, 0, 0
            else:
                turn.left_out_of = len(numbers)
                turn.asked_s -= 1.0 / one.hz  # asked for again soon
        if not missing:
            unit.went_well(len(asked))

    def unanswered(self, asked: Sequence[PlannedItem], *, not_there: bool = True) -> None:
        """The question was met by silence or refused; `not_there` is False where that says nothing of the items."""
        if len(asked) > 1:
            self._units[asked[0].unit].went_badly()
        elif not_there:
            turn = self._turn(asked[0])
            turn.silent += 1
            turn.dropped = not turn.answered and turn.silent >= SILENT_TO_DROP

    def _turn(self, planned: PlannedItem) -> _Turn:
        return self._by_item[planned.unit, planned.item.number]
