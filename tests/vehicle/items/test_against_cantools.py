"""The table against cantools, a general decoder of CAN databases, which is told of the same bytes in a DBC.

One message for each item, one signal for each of its values, with start, length, factor and offset written out from
the table. The two decoders share nothing else.
"""

from __future__ import annotations

import cantools
import numpy as np
import pytest
from cantools.database.can import Database

from airproof.vehicle.items import Item, Value, decode, encode, items_table

ANSWERS = 40


def signal_line(value: Value) -> str:
    """One signal of a DBC: start of a big-endian one is its highest bit, counted from bit 0 of byte 0."""
    place = value.place
    start = place.first * 8 + (7 if place.count > 1 or place.width == 8 else place.shift + place.width - 1)
    factor = value.times / value.over
    sign = "-" if value.signed else "+"
    return (
        f' SG_ {value.name} : {start}|{place.width}@0{sign} ({factor!r},{-value.zero * factor!r}) [0|0] "" Vector__XXX'
    )


def database(item: Item) -> Database:
    """The item as a DBC."""
    values = [value for value in item.values if value.place.end <= item.length]
    lines = ['VERSION ""', "NS_ :", "BS_:", "BU_:", f"BO_ {item.number + 1} ITEM_{item.id}: {item.length} Vector__XXX"]
    found = cantools.database.load_string("\n".join([*lines, *map(signal_line, values), ""]), "dbc")
    assert isinstance(found, Database)
    return found


@pytest.mark.parametrize("item", items_table().values(), ids=lambda item: item.id)
def test_cantools_reads_the_same_values(item: Item) -> None:
    rng = np.random.default_rng(item.number)
    data = rng.integers(0, 256, (ANSWERS, item.length), dtype=np.uint8)
    ours = decode(item, data, mode="forgiving").values
    message = database(item).get_message_by_name(f"ITEM_{item.id}")
    for row in range(ANSWERS):
        theirs = message.decode(data[row].tobytes(), decode_choices=False)
        assert isinstance(theirs, dict)
        for name, values in ours.items():
            if np.isfinite(values[row]):  # cantools knows nothing of values that are not there
                assert values[row] == pytest.approx(float(theirs[name]), rel=1e-12, abs=1e-9)


@pytest.mark.parametrize("number", [0x05, 0x0B, 0x0C, 0x0E, 0x10, 0x34, 0x42, 0x3C])
def test_cantools_writes_the_same_bytes(number: int) -> None:
    item = items_table()[number]
    message = database(item).get_message_by_name(f"ITEM_{item.id}")
    data = np.random.default_rng(number).integers(0, 256, (ANSWERS, item.length), dtype=np.uint8)
    values = decode(item, data).values
    for row in range(ANSWERS):
        theirs = message.encode({name: float(numbers[row]) for name, numbers in values.items()})
        assert encode(item, {name: numbers[row : row + 1] for name, numbers in values.items()}).tobytes() == theirs
