"""Answers to data items as they come in, packed, and the series of values they make."""

from __future__ import annotations

from array import array
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from airproof.errors import UnusableAnswer
from airproof.recording.recording import Floats
from airproof.recording.signals import signal_kind
from airproof.recording.units_stated import in_signal_unit
from airproof.vehicle.items import Item, Value, decode, items_table
from airproof.vehicle.items.decode import FullScales, factor_of

STATES_FULL_SCALE = (0x4F, 0x50)


@dataclass
class _Column:
    """Answers of one unit to one item, all of one length."""

    times: array[float] = field(default_factory=lambda: array("d"))
    data: bytearray = field(default_factory=bytearray)


@dataclass(frozen=True)
class Series:
    """One value of one item over time: NaN taken out, time never decreasing (s, as given).

    `values` in the signal's unit where it carries one, else in the value's, as are `step`, from one code to the next,
    and `highest`, the most that its code can tell.
    """

    unit: int
    item: Item
    value: Value
    time: Floats
    values: Floats
    step: float
    highest: float

    @property
    def at_its_end(self) -> NDArray[np.bool_]:
        """Which answers stand at the most that can be told, so that more may have been so."""
        return self.values >= self.highest


class Collected:
    """Answers to data items by control unit, item and length: eight bytes of time and the data for each."""

    def __init__(self) -> None:
        self._columns: dict[tuple[int, int, int], _Column] = {}
        self.assumed: Counter[str] = Counter()

    def add(self, unit: int, number: int, time_s: float, data: bytes) -> None:
        """Keep one answer."""
        key = (unit, number, len(data))
        column = self._columns.get(key)
        if column is None:
            column = self._columns[key] = _Column()
        column.times.append(time_s)
        column.data += data

    def __len__(self) -> int:
        return sum(len(column.times) for column in self._columns.values())

    def unknown(self) -> Counter[tuple[int, int]]:
        """How often items came that are not in the table, by unit and number."""
        counts: Counter[tuple[int, int]] = Counter()
        for (unit, number, _), column in self._columns.items():
            if number not in items_table():
                counts[unit, number] += len(column.times)
        return counts

    def last(self, unit: int, number: int) -> bytes | None:
        """The data of a unit's latest answer to an item."""
        latest: tuple[float, bytes] | None = None
        for (whose, which, length), column in self._columns.items():
            if (whose, which) == (unit, number) and (latest is None or column.times[-1] >= latest[0]):
                latest = column.times[-1], bytes(column.data[-length:])
        return None if latest is None else latest[1]

    def full_scales(self, unit: int) -> FullScales:
        """What a unit stated of its full scales."""
        stated = {number: self.last(unit, number) for number in STATES_FULL_SCALE}
        return {number: data for number, data in stated.items() if data is not None}

    def series(self) -> Iterator[Series]:
        """Every value that was answered at least once, by unit and item.

        What had to be taken for granted on the way is counted in `assumed`.
        """
        pieces: dict[tuple[int, int], list[tuple[Floats, dict[str, Floats]]]] = {}
        for (unit, number, length), column in sorted(self._columns.items(), key=lambda entry: entry[0]):
            item = items_table().get(number)
            if item is None:
                continue
            data = np.frombuffer(bytes(column.data), np.uint8).reshape(-1, length)
            try:
                found = decode(item, data, mode="forgiving", full_scales=self.full_scales(unit))
            except UnusableAnswer as fault:
                self.assumed[str(fault)] += len(column.times)
                continue
            self.assumed.update(dict.fromkeys(found.assumed, len(column.times)))
            times = np.frombuffer(column.times.tobytes(), np.float64)
            pieces.setdefault((unit, number), []).append((times, dict(found.values)))
        for (unit, number), parts in pieces.items():
            item = items_table()[number]
            for value in item.values:
                of_it = [(times, values[value.name]) for times, values in parts if value.name in values]
                made = _series(unit, item, value, of_it, self.full_scales(unit)) if of_it else None
                if made is not None:
                    yield made


def _series(
    unit: int, item: Item, value: Value, parts: list[tuple[Floats, Floats]], full_scales: FullScales
) -> Series | None:
    time = np.concatenate([times for times, _ in parts])
    values = np.concatenate([numbers for _, numbers in parts])
    there = np.isfinite(values)
    time, values = time[there], values[there]
    if not values.size:
        return None
    if np.any(np.diff(time) < 0.0):
        order = np.argsort(time, kind="stable")
        time, values = time[order], values[order]
    factor = factor_of(value, full_scales)
    scale = np.array([0.0, factor, (value.highest_code - value.zero) * factor])
    if value.signal is not None:
        kind = signal_kind(value.signal)
        values, scale = in_signal_unit(values, value.unit, kind), in_signal_unit(scale, value.unit, kind)
    zero, step, highest = scale
    return Series(unit, item, value, time, values, float(step - zero), float(highest))
