"""What a unit announces of itself: bitmap after bitmap, each saying whether there is a next one."""

from __future__ import annotations

from collections.abc import Callable

from airproof.vehicle.items.bitmap import SPAN, items_announced

LAST = 0xE0
"""The last bitmap there is."""


def announced(bitmap: Callable[[int], bytes | None]) -> frozenset[int]:
    """The numbers announced; `bitmap(base)` is the answer for a bitmap's own number, None where there is none."""
    found: set[int] = set()
    for base in range(0, LAST + 1, SPAN):
        if base and base not in found:
            break
        data = bitmap(base)
        if data is None:
            break
        found |= items_announced(base, data)
    return frozenset(number for number in found if number % SPAN)
