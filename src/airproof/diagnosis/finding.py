"""A finding: what one check concluded, its size, its uncertainty, and which intervals of the recording it rests on."""

from __future__ import annotations

from dataclasses import dataclass

from airproof.recording.recording import Interval


@dataclass(frozen=True)
class Finding:
    """One number that a check took from the recording, and what a healthy engine would have shown.

    `value` +- `sd` in `unit`; `expected` is the 90 % range on a healthy engine, everything unknown about it included;
    `intervals` are the stretches of the recording the number rests on; `says` is one plain sentence with the numbers.
    """

    id: str
    value: float
    sd: float
    unit: str
    expected: tuple[float, float]
    intervals: tuple[Interval, ...]
    says: str

    @property
    def unexpected(self) -> bool:
        """Whether the value lies outside what a healthy engine shows."""
        return not self.expected[0] <= self.value <= self.expected[1]
