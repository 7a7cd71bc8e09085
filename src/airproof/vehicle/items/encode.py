"""From values to the bytes of a data item: the other way through the same table, for a simulated car and for tests."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from airproof.errors import UnusableRequest
from airproof.recording.recording import Floats
from airproof.vehicle.items.decode import Bytes, FullScales, factor_of
from airproof.vehicle.items.table import Item, Value


def encode(
    item: Item,
    values: Mapping[str, Floats],
    *,
    full_scales: FullScales | None = None,
    length: int | None = None,
) -> Bytes:
    """The data bytes that stand for values, shape [answers, length]; all values have shape [answers].

    A value goes to the nearest code, and one out of range to the end of the range, as in a car. A value that is not
    given, or NaN, is told as not there, where the item can say so. `length`: another one than the standard's.
    Raises UnusableRequest for a name that the item does not have, and for a value missing that it cannot do without.
    """
    unknown = values.keys() - {value.name for value in item.values}
    if unknown:
        names = ", ".join(value.name for value in item.values)
        raise UnusableRequest(f"item {item.id} has no {', '.join(sorted(unknown))}", names, "Give those it has.")
    length = length or item.length
    answers = max((len(given) for given in values.values()), default=1)
    data = np.zeros((answers, max(length, item.length)), np.uint8)
    for value in item.values:
        if value.place.end > data.shape[1]:
            continue
        given = values.get(value.name)
        _put(item, value, np.full(answers, np.nan) if given is None else given, data, full_scales or {})
    return data[:, :length]


def encode_one(
    item: Item, values: Mapping[str, float], *, full_scales: FullScales | None = None, length: int | None = None
) -> bytes:
    """The data bytes of one answer; raises as encode does."""
    arrays = {name: np.array([value], np.float64) for name, value in values.items()}
    return encode(item, arrays, full_scales=full_scales, length=length).tobytes()


def _put(item: Item, value: Value, given: Floats, data: Bytes, full_scales: FullScales) -> None:
    """One value written into the rows."""
    there = np.isfinite(given)
    if not there.all() and value.present_place is None and value.unused is None:
        raise UnusableRequest(
            f"{value.name} is missing", f"a number for each answer of item {item.id}", "Give the value."
        )
    wished = np.rint(np.where(there, given, 0.0) / factor_of(value, full_scales)) + value.zero
    codes = np.clip(wished, value.lowest_code, value.highest_code).astype(np.int64)
    codes = np.where(there, codes, value.unused or 0) & ((1 << value.place.width) - 1)
    place = value.place
    codes <<= place.shift
    for byte in range(place.end - 1, place.first - 1, -1):
        data[:, byte] |= (codes & 0xFF).astype(np.uint8)
        codes >>= 8
    if value.present_place is not None:
        data[:, value.present_place.first] |= np.where(there, value.present_place.mask, 0).astype(np.uint8)
