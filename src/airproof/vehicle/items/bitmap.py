"""Which items a car announces: four bytes, their highest bit first, stand for the 32 numbers after `base`.

The bitmaps of monitors (service 06) and of vehicle information (service 09) are the same.
"""

from __future__ import annotations

from collections.abc import Iterable

SPAN = 0x20
"""Numbers in one bitmap; the last of them, where it is set, says that there is a next bitmap."""


def items_announced(base: int, four_bytes: bytes) -> frozenset[int]:
    """The numbers announced by the bitmap of item `base` (00, 20, 40, ...); missing bytes announce nothing."""
    bits = int.from_bytes(four_bytes[:4].ljust(4, b"\0"), "big")
    return frozenset(base + 1 + place for place in range(SPAN) if bits >> (SPAN - 1 - place) & 1)


def bitmap_bytes(base: int, numbers: Iterable[int]) -> bytes:
    """The four bytes of item `base` that announce those of the numbers that lie in its span.

    The last bit is set where a number beyond the span is announced, because there is a next bitmap then.
    """
    numbers = set(numbers)
    if any(number > base + SPAN for number in numbers):
        numbers.add(base + SPAN)
    bits = sum(1 << (SPAN - (number - base)) for number in numbers if base < number <= base + SPAN)
    return bits.to_bytes(4, "big")
