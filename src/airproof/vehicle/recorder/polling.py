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

FEWER_AFTER, MORE_AFTER = 2, 20
"""Questions in a row that fail before fewer items are asked for at once, and that go well before one more is tried."""


@dataclass
class _Turn:
    planned: PlannedItem
    asked_s: float = -1e9
    least_s: float = 0.0
    silent: int = 0
    answered: bool = False
    dropped: bool = False

    def urgency(self, now_s: float) -> float:
        """How overdue it is: 1 when the wanted time has passed."""
        return (now_s - self.asked_s) * self.planned.hz

    def __post_init__(self) -> None:
        self.least_s = max(LIVELIEST_S, 1.0 / (MORE_OFTEN * self.planned.hz))

    def ready_s(self) -> float:
        return self.asked_s + self.least_s


class _AtOnce:
    """How many items one unit is asked for at once."""

    def __init__(self, most: int) -> None:
        self._most = self.now = most
        self._well = self._badly = self._short = 0

    def went_well(self) -> None:
        self._badly = self._short = 0
        self._well += 1
        if self._well >= MORE_AFTER and self.now < self._most:
            self.now, self._well = self.now + 1, 0

    def answered_only(self, count: int) -> None:
        """It answers the first few items and leaves out the rest, as its make is; or a part got lost, once."""
        self._short += 1
        if self._short >= FEWER_AFTER:
            self._most = self.now = max(count, 1)
            self._short = 0

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
        first = ready[0].planned
        same = [turn for turn in ready if turn.planned.unit == first.unit][: self._units[first.unit].now]
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
            if one.item.number in numbers:
                self._turn(one).answered = True
        if not missing:
            unit.went_well()
        elif numbers:
            unit.answered_only(len(numbers))
        for one in missing:  # asked for again soon
            self._turn(one).asked_s -= 1.0 / one.hz

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
