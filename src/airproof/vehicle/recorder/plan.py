"""Which items to ask a car for, of which unit, and how often: by what would tell the open causes apart.

A signal is wanted as often as it changes (data/wanted.toml), and up to three times as often while causes that bend it
are in question: hz (1 + 2 p), p the probability of those causes together. What the car can manage of it is divided by
need while recording (polling.py).
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from airproof.vehicle.items import Item, Value, items_carrying
from airproof.vehicle.recorder.wanted import wanted_signals

MORE_WHILE_IN_QUESTION = 2.0
"""Judged: Airproof authors, because the other signals are needed beside the one in question."""


@dataclass(frozen=True, eq=False)
class PlannedItem:
    """An item asked of one unit `hz` times a second; `values` those of its values that are recorded, by signal."""

    item: Item
    unit: int
    new_style: bool
    hz: float
    values: Mapping[str, Value]


@dataclass(frozen=True)
class Plan:
    """All items to be asked for, the most often asked first."""

    items: tuple[PlannedItem, ...]

    @property
    def signals(self) -> tuple[str, ...]:
        """The signals that will be recorded, in the order of how often they are wanted."""
        return tuple(dict.fromkeys(signal for one in self.items for signal in one.values))


@dataclass(frozen=True)
class Speaker:
    """A unit and the items it announces."""

    unit: int
    new_style: bool
    items: Collection[int]


def plan_for(speakers: Sequence[Speaker], probability: Mapping[str, float] | None = None) -> Plan:
    """The plan for a car; `probability` by cause as it stands now, None where nothing is known yet.

    Each signal is asked of the unit that announces most items, which is the engine's, where it has it.
    """
    speakers = sorted(speakers, key=lambda one: -len(one.items))
    chosen: dict[tuple[int, int], dict[str, Value]] = {}
    asked_of: dict[tuple[int, int], tuple[Item, Speaker]] = {}
    for signal in wanted_signals():
        way = _way_to(signal, speakers)
        if way is not None:
            item, value, speaker = way
            chosen.setdefault((speaker.unit, item.number), {})[signal] = value
            asked_of[speaker.unit, item.number] = item, speaker
    known = probability or {}
    planned = [
        PlannedItem(
            item, speaker.unit, speaker.new_style, max(_hz(signal, known) for signal in chosen[key]), chosen[key]
        )
        for key, (item, speaker) in asked_of.items()
    ]
    return Plan(tuple(sorted(planned, key=lambda one: -one.hz)))


def _way_to(signal: str, speakers: Sequence[Speaker]) -> tuple[Item, Value, Speaker] | None:
    for speaker in speakers:
        for item, value in items_carrying(signal):
            if item.number in speaker.items:
                return item, value, speaker
    return None


def _hz(signal: str, probability: Mapping[str, float]) -> float:
    wanted = wanted_signals()[signal]
    in_question = min(sum(probability.get(cause, 0.0) for cause in wanted.tells), 1.0)
    return wanted.hz * (1.0 + MORE_WHILE_IN_QUESTION * in_question)
