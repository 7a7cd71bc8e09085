"""Decoder and encoder are inverse, single answers and many at once alike, strict and forgiving."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airproof.engine.rehearsal.written.logger import DataItem, data_items
from airproof.errors import UnusableAnswer, UnusableRequest
from airproof.quantities.mixture import PETROL
from airproof.recording.signals import glossary
from airproof.vehicle.items import Item, by_signal, decode, decode_one, encode, encode_one, items_table
from airproof.vehicle.items.decode import FullScales

ITEMS = list(items_table().values())
SCALED = {0x4F: bytes([4, 12, 200, 40]), 0x50: bytes([140, 0, 0, 0])}


def legal(item: Item, data: bytes) -> bytes:
    """The bytes with reserved bits cleared and states that there are."""
    masked = bytearray(byte & ~mask for byte, mask in zip(data, item.reserved_mask, strict=True))
    for value in item.values:
        if value.means and not value.more:
            place = value.place
            code = masked[place.first] >> place.shift & ((1 << place.width) - 1)
            states = sorted(value.means)
            masked[place.first] &= ~place.mask & 0xFF
            masked[place.first] |= states[code % len(states)] << place.shift
    return bytes(masked)


@st.composite
def answers(draw: st.DrawFn) -> tuple[Item, list[bytes], FullScales]:
    item = draw(st.sampled_from(ITEMS))
    row = st.binary(min_size=item.length, max_size=item.length).map(lambda data: legal(item, data))
    return item, draw(st.lists(row, min_size=1, max_size=5)), draw(st.sampled_from([{}, SCALED]))


@given(answers())
def test_values_go_to_bytes_and_back(drawn: tuple[Item, list[bytes], FullScales]) -> None:
    item, rows, full_scales = drawn
    data = np.frombuffer(b"".join(rows), np.uint8).reshape(len(rows), item.length)
    values = decode(item, data, full_scales=full_scales).values
    again = encode(item, values, full_scales=full_scales)
    back = decode(item, again, full_scales=full_scales).values
    for name, numbers in values.items():
        assert back[name] == pytest.approx(numbers, rel=1e-12, abs=1e-9, nan_ok=True)
    # Where every value is there, the bytes are the same to the last bit: the table covers each item fully.
    complete = [row for row, whole in enumerate(zip(*values.values(), strict=True)) if np.isfinite(whole).all()]
    assert np.array_equal(again[complete], data[complete])


@given(answers())
def test_many_answers_at_once_are_read_as_one_by_one(drawn: tuple[Item, list[bytes], FullScales]) -> None:
    item, rows, full_scales = drawn
    data = np.frombuffer(b"".join(rows), np.uint8).reshape(len(rows), item.length)
    together = decode(item, data, full_scales=full_scales).values
    for row, one in enumerate(rows):
        alone = decode_one(item, one, full_scales=full_scales)
        assert alone == {name: float(numbers[row]) for name, numbers in together.items() if np.isfinite(numbers[row])}


@given(st.sampled_from(ITEMS), st.binary(max_size=40))
def test_any_bytes_are_read_or_refused(item: Item, data: bytes) -> None:
    for mode in ("strict", "forgiving"):
        try:
            values = decode_one(item, data, mode=mode)  # type: ignore[arg-type]
        except UnusableAnswer:
            assert mode == "strict" or not data
        else:
            assert all(np.isfinite(value) for value in values.values())
            assert mode == "forgiving" or len(data) == item.length


@given(st.lists(st.tuples(st.integers(0, 255), st.binary(max_size=12)), max_size=8))
def test_signals_of_any_items_are_possible_ones(parts: list[tuple[int, bytes]]) -> None:
    for name, value in by_signal(parts).items():
        low, high = glossary().signals[name].possible
        assert low <= value <= high


@pytest.mark.parametrize("item", ITEMS, ids=lambda item: item.id)
def test_every_row_stands_on_something(item: Item) -> None:
    assert item.title
    assert len(item.source) > 20
    if item.standing == "verified":
        assert not item.doubt
    if item.standing == "disputed length":
        assert item.also
    for value in item.values:
        assert value.step > 0.0
        if value.signal is not None:
            assert value.signal in glossary().signals


@pytest.mark.parametrize("item", [item for item in ITEMS if item.reserved], ids=lambda item: item.id)
def test_reserved_bits_are_refused_strictly_and_passed_over_forgivingly(item: Item) -> None:
    byte, mask = next((byte, mask) for byte, mask in enumerate(item.reserved_mask) if mask)
    data = bytearray(legal(item, bytes(item.length)))
    plain = decode_one(item, bytes(data))
    data[byte] |= mask
    with pytest.raises(UnusableAnswer, match="reserved bits"):
        decode_one(item, bytes(data))
    assert decode_one(item, bytes(data), mode="forgiving") == plain


def test_states_that_are_none() -> None:
    status = items_table()[0x03]
    with pytest.raises(UnusableAnswer, match="fuel_system_status is 3"):
        decode_one(status, b"\x03\x00")
    found = decode(status, np.array([[3, 0]], np.uint8), mode="forgiving")
    assert found.values["fuel_system_status"] == [3.0]
    assert "no state the standard has" in found.assumed[0]
    assert status.value("fuel_system_status").in_words(2.0) == "closed loop"
    assert status.value("fuel_system_status").in_words(3.0) is None


def test_the_forgiving_mode_says_what_it_took_for_granted() -> None:
    speed = items_table()[0x0C]
    short = decode(speed, np.array([[0x1A]], np.uint8), mode="forgiving")
    assert np.isnan(short.values["engine_speed"]).all()
    assert "came with 1 bytes, not 2" in short.assumed[0]
    long = decode(speed, np.array([[0x1A, 0xF8, 0xAA]], np.uint8), mode="forgiving")
    assert long.values["engine_speed"] == [1726.0]
    assert "what is beyond them was left out" in long.assumed[0]
    trims = decode(items_table()[0x06], np.array([[0x8A, 0x78]], np.uint8), mode="forgiving")
    assert (trims.values["short_trim_1"], trims.values["short_trim_3"]) == ([7.8125], [-6.25])
    assert "lists and cars have that too" in trims.assumed[0]


def test_what_is_out_of_range_goes_to_its_end() -> None:
    assert encode_one(items_table()[0x05], {"coolant_temperature": 300.0}) == b"\xff"
    assert encode_one(items_table()[0x05], {"coolant_temperature": -80.0}) == b"\x00"
    assert encode_one(items_table()[0x32], {"tank_vapour_pressure": -1.0}) == bytes.fromhex("FFFC")


def test_what_is_not_there_is_told_as_not_there() -> None:
    air = items_table()[0x66]
    assert encode_one(air, {"air_flow_b": 5.0}) == bytes.fromhex("02 00 00 00 A0")
    assert encode_one(items_table()[0x14], {"oxygen_b1s1": 0.45}) == bytes.fromhex("5A FF")
    with pytest.raises(UnusableRequest, match="engine_speed is missing"):
        encode_one(items_table()[0x0C], {})
    with pytest.raises(UnusableRequest, match="has no load"):
        encode_one(items_table()[0x0C], {"engine_speed": 800.0, "load": 1.0})


def test_of_two_items_with_one_signal_the_better_speaks() -> None:
    parts = [(0x0B, b"\x65"), (0x87, bytes.fromhex("01 0C B0 00 00"))]
    assert by_signal(parts) == {"manifold_pressure": 101.5}
    assert by_signal(parts[:1]) == {"manifold_pressure": 101.0}
    assert by_signal([(0x5E, bytes.fromhex("00 14"))])["fuel_rate"] == pytest.approx(PETROL.density_kg_l / 3.6)  # 1 L/h
    assert by_signal([(0xFE, b"\x00"), (0x0C, b"")]) == {}


LOGGED = [
    coded
    for coded in data_items()
    # Items in doubt are no signals here; the logger turns fuel by volume into mass by a rounded step.
    if not items_table()[int(coded.item, 16)].doubt and coded.signal != "fuel_rate"
]


@pytest.mark.parametrize("coded", LOGGED, ids=lambda coded: f"{coded.item}-{coded.signal}")
def test_the_rehearsals_logger_codes_as_this_table_does(coded: DataItem) -> None:
    item = items_table()[int(coded.item, 16)]
    (value,) = [one for one in item.values if one.signal == coded.signal]
    assert value.place.width == coded.bits
    for code in {0, 1, 37, 2**coded.bits - 2} & set(range(2**coded.bits)):
        data = bytearray(item.length)
        data[value.place.first : value.place.end] = (code << value.place.shift).to_bytes(value.place.count, "big")
        if value.present_place is not None:
            data[value.present_place.first] |= value.present_place.mask
        wanted = float(coded.decoded(np.array(float(code))))
        low, high = glossary().signals[coded.signal].possible
        if low <= wanted <= high:
            assert by_signal([(item.number, bytes(data))])[coded.signal] == pytest.approx(wanted)
