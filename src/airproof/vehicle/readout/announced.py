"""What a unit announces of itself: bitmap after bitmap, each saying whether there is a next one."""

from __future__ import annotations

from collections.abc import Callable

from airproof.vehicle.items.bitmap import SPAN

LAST = 0xE0
"""The last bitmap there is."""


def announced(bitmap: Callable[[int, str], frozenset[int] | None], of: str, *, sure: bool = False) -> frozenset[int]:
    """The numbers announced, those of bitmaps left out.

    `bitmap(base, there)` is what the bitmap of that number announces, None where there is none; `there` names it in
    words where the unit is known to have it: `of` with its number, for the first one where that is `sure`.
    """
    found: set[int] = set()
    for base in range(0, LAST + 1, SPAN):
        if base and base not in found:
            break
        numbers = bitmap(base, f"{of} from {base:02X} on" if base or sure else "")
        if numbers is None:
            break
        found |= numbers
    return frozenset(number for number in found if number % SPAN)
