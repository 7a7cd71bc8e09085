"""From the bytes of a data item to its values, thousands of answers at a time.

The strict mode refuses what the standard does not allow: another length, a reserved bit, a state that is none. The
forgiving mode reads what is there, leaves out what is not, and says what it took for granted.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from airproof.errors import UnusableAnswer
from airproof.recording.recording import Floats
from airproof.vehicle.items.table import Item, Place, Value

Mode = Literal["strict", "forgiving"]
Bytes = NDArray[np.uint8]
Codes = NDArray[np.int64]

FullScales = Mapping[int, bytes]
"""What the car stated in items 4F and 50, the four bytes by the item's number; empty where it was not asked."""

SHOWN = 12


@dataclass(frozen=True)
class Decoded:
    """The values of one item, each with as many numbers as there were answers; NaN where the car says there is none.

    `assumed` says what was taken for granted, one line each; empty in the strict mode.
    """

    item: Item
    values: Mapping[str, Floats]
    assumed: tuple[str, ...] = ()


def decode(item: Item, data: Bytes, *, mode: Mode = "strict", full_scales: FullScales | None = None) -> Decoded:
    """The values in answers of one item.

    `data` has shape [answers, length], one row for the data bytes of each answer; values have shape [answers], in the
    units of the table. `full_scales` are the car's own (items 4F and 50).
    Raises UnusableAnswer in the strict mode for a length, reserved bit or state that the standard does not have, and
    in both for answers without any byte.
    """
    answers, length = data.shape
    if not length:
        raise UnusableAnswer(f"item {item.id} was answered without data", _wanted(item), "Ask again.")
    assumed: list[str] = []
    if mode == "strict":
        _refuse_other_length(item, length)
        _refuse_reserved(item, data)
    elif length != item.length:
        assumed.append(_about_length(item, length))
    values: dict[str, Floats] = {}
    for value in item.values:
        if value.place.end > length:
            if value.place.end <= item.length:
                values[value.name] = np.full(answers, np.nan)
            continue
        codes = codes_at(value.place, data)
        if value.means and not value.more:
            _check_states(item, value, codes, mode, assumed)
        values[value.name] = _scaled(value, codes, data, full_scales or {})
    return Decoded(item, values, tuple(assumed))


def decode_one(
    item: Item, data: bytes, *, mode: Mode = "strict", full_scales: FullScales | None = None
) -> dict[str, float]:
    """The values in one answer, by name; those that the car says are not there are left out.

    The same numbers as decode, without arrays: several times quicker for one answer. Raises as decode does.
    """
    if mode == "strict" or not data:
        decode(item, np.frombuffer(data, np.uint8).reshape(1, -1))  # which knows what to refuse
    found: dict[str, float] = {}
    length = len(data)
    for name, first, end, shift, mask, highest, unused, present_at, present, zero, factor, value in item.one_by_one:
        if end > length or (present and not data[present_at] & present):
            continue
        code = int.from_bytes(data[first:end], "big") >> shift & mask
        if code == unused:
            continue
        if code > highest:  # of signed ones only: two's complement
            code -= mask + 1
        found[name] = (code - zero) * (factor_of(value, full_scales) if full_scales else factor)
    return found


def codes_at(place: Place, data: Bytes) -> Codes:
    """The codes at a place of answers of shape [answers, length], as shape [answers]."""
    codes = data[:, place.first].astype(np.int64)
    for byte in range(place.first + 1, place.end):
        codes <<= 8
        codes |= data[:, byte]
    if place.width < 8 * place.count:
        codes >>= place.shift
        codes &= (1 << place.width) - 1
    return codes


def _scaled(value: Value, codes: Codes, data: Bytes, full_scales: FullScales) -> Floats:
    scaled = codes.astype(np.float64)
    if value.signed:
        scaled[codes > value.highest_code] -= 1 << value.place.width
    if value.zero:
        scaled -= value.zero
    scaled *= factor_of(value, full_scales)
    if value.unused is not None:
        scaled[codes == value.unused] = np.nan
    if value.present_place is not None:
        scaled[codes_at(value.present_place, data) == 0] = np.nan
    return scaled


def factor_of(value: Value, full_scales: FullScales) -> float:
    """What a code is multiplied with: the table's factor, or the one that the car's own full scale makes."""
    own = value.full_scale
    if own is not None:
        stated = full_scales.get(own.number, b"")
        if own.byte < len(stated) and stated[own.byte]:
            return stated[own.byte] * own.times / own.over
    return value.times / value.over


def _wanted(item: Item) -> str:
    return f"{item.length} bytes of data for {item.title}"


def _refuse_other_length(item: Item, length: int) -> None:
    if length != item.length:
        raise UnusableAnswer(
            f"item {item.id} was answered with {length} bytes", _wanted(item), "Read it in the forgiving mode."
        )


def _refuse_reserved(item: Item, data: Bytes) -> None:
    for byte, mask in enumerate(item.reserved_mask):
        bad = np.flatnonzero(data[:, byte] & mask)
        if bad.size:
            shown = data[bad[0]].tobytes()[:SHOWN].hex(" ").upper()
            raise UnusableAnswer(
                f"item {item.id} was answered with {shown}, where reserved bits are set",
                f"the reserved bits of {item.title} as 0",
                "Read it in the forgiving mode.",
            )


def _about_length(item: Item, length: int) -> str:
    what = f"item {item.id} ({item.title}) came with {length} bytes, not {item.length}"
    if length in item.also:
        return f"{what}; lists and cars have that too: read by the bytes there are"
    less = "what is missing was left out" if length < item.length else "what is beyond them was left out"
    return f"{what}: read as if the first bytes were in their places, {less}"


def _check_states(item: Item, value: Value, codes: Codes, mode: Mode, assumed: list[str]) -> None:
    odd = sorted(set(np.flatnonzero(np.bincount(codes)).tolist()) - value.means.keys())  # far faster than unique
    if not odd:
        return
    given = f"item {item.id}: {value.name} is {', '.join(map(str, odd[:3]))}"
    if mode == "strict":
        states = ", ".join(f"{code} {words}" for code, words in value.means.items())
        raise UnusableAnswer(given, states, "Read it in the forgiving mode.")
    assumed.append(f"{given}, which is no state the standard has: kept as a number")
