"""Data items byte for byte against what was read of SAE J1979 / ISO 15031-5, and what stands on memory marked as such.

Verified rows: encyclopaedia copies of the standard's items 00 to 1B (aidilj.com 2012/12, supported items listed;
liquisearch.com, standard items; blog.csdn.net 136609335). A stored text of ISO 15031-5 for the bits of item 01.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from airproof.errors import UnusableAnswer
from airproof.vehicle.items import decode_one, encode_one, items_announced, items_carrying, items_table

VERIFIED = [
    ("04", "80", "load", 50.196, 5e-4),
    ("05", "7B", "coolant_temperature", 83, 0),
    ("06", "8A", "short_trim_1", 7.8125, 0),
    ("06", "78", "short_trim_1", -6.25, 0),
    ("08", "8A", "short_trim_2", 7.8125, 0),
    ("07", "99", "long_trim_1", 19.53125, 0),
    ("09", "99", "long_trim_2", 19.53125, 0),
    ("0A", "5A", "fuel_rail_pressure", 270, 0),
    ("0B", "65", "manifold_pressure", 101, 0),
    ("0C", "1A F8", "engine_speed", 1726, 0),
    ("0C", "FF FF", "engine_speed", 16383.75, 0),
    ("0D", "32", "vehicle_speed", 50, 0),
    ("0E", "94", "ignition_advance", 10, 0),
    ("0F", "46", "intake_temperature", 30, 0),
    ("0F", "FF", "intake_temperature", 215, 0),  # a legal value, not "missing"
    ("05", "FF", "coolant_temperature", 215, 0),
    ("10", "01 A4", "air_flow", 4.20, 1e-12),
    ("11", "33", "throttle", 20.0, 1e-12),
    ("13", "03", "oxygen_sensors_of_2_banks", 0b11, 0),
    ("14", "5A FF", "oxygen_b1s1", 0.450, 1e-12),
    ("1B", "5A FF", "oxygen_b2s4", 0.450, 1e-12),
    ("01", "81 07 65 04", "lamp", 1, 0),
    ("01", "81 07 65 04", "code_count", 1, 0),
    ("01", "81 07 65 04", "ignition_kind", 0, 0),
    ("02", "01 06", "frame_code", 0x0106, 0),
    ("02", "00 00", "frame_code", 0, 0),  # no frame
    ("13", "F0", "oxygen_sensors_of_2_banks", 0b11110000, 0),
]
"""Item, data bytes, value, what it must be, and by how much it may differ: half the last digit printed."""

RANGES = [
    ("04", "load", 0, 100),
    ("05", "coolant_temperature", -40, 215),
    ("06", "short_trim_1", -100, 99.22),
    ("07", "long_trim_1", -100, 99.22),
    ("08", "short_trim_2", -100, 99.22),
    ("09", "long_trim_2", -100, 99.22),
    ("0A", "fuel_rail_pressure", 0, 765),
    ("0B", "manifold_pressure", 0, 255),
    ("0C", "engine_speed", 0, 16383.75),
    ("0D", "vehicle_speed", 0, 255),
    ("0E", "ignition_advance", -64, 63.5),
    ("0F", "intake_temperature", -40, 215),
    ("10", "air_flow", 0, 655.35),
    ("11", "throttle", 0, 100),
    ("14", "oxygen_b1s1", 0, 1.275),
]
"""The ranges that the same copies print."""

MEMORY = [
    ("03", "02 00", "fuel_system_status", 2, 0),
    ("1F", "01 2C", "time_since_start", 300, 0),
    ("21", "00 64", "distance_with_lamp", 100, 0),
    ("23", "0F A0", "fuel_rail_pressure", 40000, 0),
    ("24", "80 00 80 00", "lambda_b1s1", 1.0, 0),
    ("24", "80 00 80 00", "wide_band_b1s1", 4.0, 0),
    ("2C", "40", "egr", 25.098, 5e-4),
    ("2D", "70", "egr_error", -12.5, 0),
    ("2F", "80", "fuel_level", 50.196, 5e-4),
    ("33", "62", "barometric_pressure", 98, 0),
    ("34", "80 00 80 00", "lambda_b1s1", 1.0, 0),
    ("34", "80 00 80 00", "wide_band_current_b1s1", 0.0, 0),
    ("3C", "11 94", "catalyst_temperature_b1s1", 410.0, 1e-9),
    ("42", "36 B0", "supply_voltage", 14.0, 1e-12),
    ("43", "00 40", "absolute_load", 25.098, 5e-4),
    ("44", "73 33", "lambda_target", 0.89999, 5e-6),
    ("45", "33", "relative_throttle", 20.0, 1e-12),
    ("46", "3C", "ambient_temperature", 20, 0),
    ("51", "01", "fuel", 1, 0),
    ("5E", "13 88", "fuel_rate", 250.0, 1e-9),
    ("61", "7D", "torque_asked", 0, 0),
    ("63", "01 2C", "reference_torque", 300, 0),
    ("66", "01 00 A0 00 00", "air_flow_a", 5.00, 0),
    ("70", "03 0C 80 0C A0 00 00 00 00 00", "charge_pressure_target_a", 100.0, 0),
    ("70", "03 0C 80 0C A0 00 00 00 00 00", "charge_pressure_a", 101.0, 0),
    ("73", "01 27 10 00 00", "exhaust_pressure_1", 100.0, 1e-9),
    ("87", "01 0C A0 00 00", "manifold_pressure_a", 101.0, 0),
]
"""The same from memory of SAE J1979: they hold the table to what is remembered, and prove nothing about cars."""


def check(number: str, data: str, name: str, wanted: float, within: float) -> None:
    item = items_table()[int(number, 16)]
    assert decode_one(item, bytes.fromhex(data))[name] == pytest.approx(wanted, rel=0, abs=within)


@pytest.mark.parametrize(("number", "data", "name", "wanted", "within"), VERIFIED)
def test_verified_rows_are_read_as_the_copies_print_them(
    number: str, data: str, name: str, wanted: float, within: float
) -> None:
    assert items_table()[int(number, 16)].standing in ("verified", "from memory")
    check(number, data, name, wanted, within)


@pytest.mark.parametrize(("number", "name", "low", "high"), RANGES)
def test_ranges_are_those_the_copies_print(number: str, name: str, low: float, high: float) -> None:
    item = items_table()[int(number, 16)]
    value = item.value(name)
    bytes_ = value.place.count
    rest = bytes(item.length - bytes_)
    assert decode_one(item, b"\x00" * bytes_ + rest)[name] == low
    assert decode_one(item, b"\xff" * bytes_ + rest)[name] == pytest.approx(high, rel=0, abs=5e-3)


@pytest.mark.parametrize(("number", "data", "name", "wanted", "within"), MEMORY)
def test_rows_from_memory_are_read_as_remembered(
    number: str, data: str, name: str, wanted: float, within: float
) -> None:
    assert items_table()[int(number, 16)].standing in ("from memory", "disputed length")
    check(number, data, name, wanted, within)


def test_oxygen_sensors_give_volts_and_their_trim() -> None:
    for number in range(0x14, 0x1C):  # A / 200; (B - 128) x 100 / 128 (the same copies)
        item = items_table()[number]
        assert item.standing == "verified"
        for data, volts, trim in (("5A 8A", 0.450, 7.8125), ("FF 00", 1.275, -100.0), ("00 78", 0.0, -6.25)):
            assert sorted(decode_one(item, bytes.fromhex(data)).values()) == pytest.approx(sorted((volts, trim)))


def test_an_oxygen_sensor_that_serves_no_trim_has_none() -> None:
    for number in range(0x14, 0x1C):  # B = FF: not used (the same copies)
        values = decode_one(items_table()[number], bytes.fromhex("5AFF"))
        assert len(values) == 1
        assert next(iter(values.values())) == pytest.approx(0.450)


@pytest.mark.parametrize(
    ("data", "wanted"),
    [
        # The encyclopaedia's worked example (bytes from memory of it, bits recomputed): it does not announce item 0B.
        ("BE 1F A8 13", "01 03 04 05 06 07 0C 0D 0E 0F 10 11 13 15 1C 1F 20"),
        # Seen in a stored table, bits recomputed.
        ("BE 1F B8 10", "01 03 04 05 06 07 0C 0D 0E 0F 10 11 13 14 15 1C"),
        ("00 00 00 00", ""),
        ("80 00 00 01", "01 20"),  # A7 is the first, D0 the 32nd
    ],
)
def test_bitmaps_announce_what_they_should(data: str, wanted: str) -> None:
    found = items_announced(0x00, bytes.fromhex(data))
    assert found == {int(number, 16) for number in wanted.split()}
    assert 0x0B not in found


@pytest.mark.parametrize("base", [0x00, 0x20, 0x40, 0x60, 0x80, 0xA0, 0xC0])
def test_each_bitmap_counts_from_its_own_number(base: int) -> None:
    # A7 is the first of its 32, D0 the last (the same copies).
    assert items_table()[base].standing == "verified"
    for place in range(32):
        assert items_announced(base, (1 << (31 - place)).to_bytes(4, "big")) == {base + 1 + place}


def test_item_0b_stops_at_255_unless_4f_states_another_full_scale() -> None:
    item = items_table()[0x0B]  # from memory of SAE J1979: D = 28h -> 400 kPa; 0B = 80h -> 200.78 kPa
    stated = {0x4F: bytes.fromhex("00000028")}
    assert decode_one(item, b"\xff")["manifold_pressure"] == 255
    assert decode_one(item, b"\xff", full_scales=stated)["manifold_pressure"] == pytest.approx(400)
    assert decode_one(item, b"\x80", full_scales=stated)["manifold_pressure"] == pytest.approx(200.78, abs=5e-3)
    assert decode_one(item, b"\x80", full_scales={0x4F: bytes(4)})["manifold_pressure"] == 128
    assert encode_one(item, {"manifold_pressure": 300.0}) == b"\xff"
    assert encode_one(item, {"manifold_pressure": 300.0}, full_scales=stated) == b"\xbf"


def test_item_10_by_the_full_scale_of_item_50() -> None:
    item = items_table()[0x10]  # from memory of SAE J1979: A = 8Ch -> 1400 g/s
    stated = {0x50: bytes.fromhex("8C000000")}
    assert decode_one(item, b"\xff\xff", full_scales=stated)["air_flow"] == pytest.approx(1400)


def test_the_lengths_that_lists_dispute_are_read_by_the_bytes_there_are() -> None:
    boost = items_table()[0x70]
    nine = bytes.fromhex("03 0C 80 0C A0 00 00 00 00")
    with pytest.raises(UnusableAnswer, match="9 bytes"):
        decode_one(boost, nine)
    assert decode_one(boost, nine, mode="forgiving") == {"charge_pressure_target_a": 100.0, "charge_pressure_a": 101.0}


def test_the_finer_of_two_items_that_carry_a_signal_comes_first() -> None:
    assert [item.id for item, _ in items_carrying("manifold_pressure")] == ["87", "0B"]
    assert [item.id for item, _ in items_carrying("air_flow")] == ["10", "66"]
    assert items_carrying("time") == ()


def numbers_in(row: str) -> set[int]:
    """The items that a row of the document names: "04 to 11, 13 to 1B" and single ones."""
    found = {int(number, 16) for number in re.findall(r"\b[0-9A-F]{2}\b", row)}
    for first, last in re.findall(r"\b([0-9A-F]{2}) to ([0-9A-F]{2})\b", row):
        found |= set(range(int(first, 16), int(last, 16) + 1))
    return found


@pytest.mark.parametrize("standing", ["verified", "disputed length"])
def test_the_document_says_how_each_item_stands(standing: str) -> None:
    text = (Path(__file__).parents[3] / "docs" / "data_items.md").read_text(encoding="utf-8")
    (row,) = [line for line in text.splitlines() if line.startswith(f"| {standing} |")]
    assert numbers_in(row) == {item.number for item in items_table().values() if item.standing == standing}
