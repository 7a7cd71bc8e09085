"""What was heard on one bus; a log may hold several, and a gateway may repeat the diagnostics of one on another."""

from __future__ import annotations

import math
from collections import Counter

from airproof.errors import UnusableFile
from airproof.vehicle.bus_log.dialogue import Dialogue
from airproof.vehicle.bus_log.frames import Frame
from airproof.vehicle.bus_log.joining import Joiner

MOST_BACKWARD = 0.1
"""Share of frames stamped earlier than the one ahead of them, above which stamps are no times. Judged: Airproof
authors, because a log merged of two receivers swaps neighbours now and then; differences go back every other time."""


class OneBus:
    """Takes the frames of one bus in their order. `zero_s` is the earliest stamp."""

    def __init__(self, channel: str) -> None:
        self.channel = channel
        self.dialogue = Dialogue()
        self.zero_s = math.inf
        self._joiner = Joiner()
        self._before_s = -math.inf
        self._count = 0
        self._backward = 0

    def take(self, frame: Frame) -> None:
        """One frame."""
        self.zero_s = min(self.zero_s, frame.time_s)
        self._count += 1
        self._backward += frame.time_s < self._before_s
        self._before_s = frame.time_s
        payload = self._joiner.take(frame)
        if payload is not None:
            self.dialogue.take(payload)

    def end(self) -> None:
        """All frames have been taken."""
        self._joiner.end()
        self.dialogue.end()

    @property
    def answers(self) -> int:
        """How many answers were heard."""
        return sum(unit.answers for unit in self.dialogue.units.values())

    def refuse_differences(self, where: str) -> None:
        """Raises UnusableFile where the stamps of the log are no times."""
        if self._backward > MOST_BACKWARD * self._count:
            raise UnusableFile(
                f"the time stamps go back {self._backward} times in {self._count} frames, as differences from frame to"
                " frame do",
                "the time of each frame",
                "Log with running time stamps (candump -ta or candump -l).",
                where=where,
            )

    def remarks(self) -> list[str]:
        """What was lost, taken for granted and told, in the user's words."""
        said = []
        if self._backward:
            said.append(f"the time stamps go back {self._backward} times: each signal was put in order")
        lost = self._joiner.lost.total()
        if lost:
            why = ", ".join(f"{reason} ({count})" for reason, count in self._joiner.lost.most_common() if count)
            said.append(f"messages that could not be put together: {lost}, namely {why}")
        for unit in self.dialogue.units.values():
            if unit.delay_s is not None:
                said.append(
                    f"{unit.name} answers a median of {unit.delay_s * 1e3:.1f} ms after the question; its values are"
                    " taken to be of half way between"
                )
            if unit.telling.codes:
                told = ", ".join(f"{code} ({status})" for code, status in unit.telling.statuses().items())
                said.append(f"codes of {unit.name}: {told or 'none'}")
            if unit.cleared_s:
                said.append(f"the codes of {unit.name} were cleared within the log; what it told before that counts")
        counted: Counter[str] = self.dialogue.unread + self.dialogue.live.assumed
        said.extend(f"{sentence}: {count} times" for sentence, count in counted.most_common())
        return said
