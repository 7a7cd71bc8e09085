"""One moment's items as the project's signals: which item speaks for a signal, in the signal's own unit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np

from airproof.errors import UnusableAnswer
from airproof.recording.signals import signal_kind
from airproof.recording.units_stated import in_signal_unit
from airproof.vehicle.items.decode import FullScales, decode_one
from airproof.vehicle.items.table import items_table


def by_signal(parts: Iterable[tuple[int, bytes]], full_scales: FullScales | None = None) -> Mapping[str, float]:
    """The signals that these items carry, by name; of items that carry the same one the best-ranked speaks.

    Read in the forgiving mode. Items that are not in the table, and values that cannot be, are left out.
    """
    ranked = sorted((item.rank, number, data) for number, data in parts if (item := items_table().get(number)))
    found: dict[str, float] = {}
    for _, number, data in ranked:
        item = items_table()[number]
        try:
            values = decode_one(item, data, mode="forgiving", full_scales=full_scales)
        except UnusableAnswer:
            continue
        for value in item.values:
            if value.signal is None or value.name not in values or value.signal in found:
                continue
            kind = signal_kind(value.signal)
            number_in_unit = float(in_signal_unit(np.array([values[value.name]]), value.unit, kind)[0])
            if kind.possible[0] <= number_in_unit <= kind.possible[1]:
                found[value.signal] = number_in_unit
    return found
