"""SENT frames. Figures of SAE J2716 as read in sensor sheets and public answers; checksums recomputed bit by
bit."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from airproof.errors import UnusableQuantity
from airproof.quantities import sent

frames = st.lists(st.integers(0, 15), min_size=1, max_size=6)


def bit_by_bit(nibbles: list[int], more_zeros: int) -> int:
    """The same polynomial as a shift register, one bit at a time: the outside check of the table."""
    register = 5
    for nibble in nibbles:
        for place in (3, 2, 1, 0):
            out = register >> 3
            register = ((register << 1) | (nibble >> place & 1)) & 0xF
            if out:
                register ^= 0b1101
    for _ in range(more_zeros):
        out = register >> 3
        register = (register << 1) & 0xF
        if out:
            register ^= 0b1101
    return register


def test_table_as_sensor_sheets_print_it() -> None:
    assert sent.CRC_TABLE == (0, 13, 7, 10, 14, 3, 9, 4, 1, 12, 6, 11, 15, 2, 8, 5)


# data, recommended, legacy: computed by brute force, no published example found
CHECKSUMS = [("000000", 5, 15), ("123456", 2, 13), ("ABC", 1, 8), ("FFFFFF", 10, 3), ("748748", 3, 5)]


@pytest.mark.parametrize(("data", "recommended", "legacy"), CHECKSUMS)
def test_checksums(data: str, recommended: int, legacy: int) -> None:
    nibbles = [int(digit, 16) for digit in data]
    assert sent.crc_recommended(nibbles) == recommended
    assert sent.crc_legacy(nibbles) == legacy


# third form, c = T[c xor d] with the status nibble: a hall sensor's own sheet, wrong for J2716
@pytest.mark.parametrize(("data", "third"), [("000000", 15), ("123456", 8), ("ABC", 14), ("FFFFFF", 0), ("748748", 9)])
def test_trap_the_third_form_is_another_checksum(data: str, third: int) -> None:
    nibbles = [int(digit, 16) for digit in data]
    c = sent.CRC_SEED
    for nibble in nibbles:
        c = sent.CRC_TABLE[c ^ nibble]
    assert c == third
    assert c != sent.crc_recommended(nibbles)


@given(frames)
def test_checksums_are_the_polynomial(data: list[int]) -> None:
    assert sent.crc_legacy(data) == bit_by_bit(data, 0)
    assert sent.crc_recommended(data) == bit_by_bit(data, 4)


@given(frames, st.data())
def test_any_one_changed_nibble_is_seen(data: list[int], draw: st.DataObject) -> None:
    place = draw.draw(st.integers(0, len(data) - 1))
    changed = list(data)
    changed[place] ^= draw.draw(st.integers(1, 15))
    assert sent.crc_recommended(changed) != sent.crc_recommended(data)
    assert sent.crc_legacy(changed) != sent.crc_legacy(data)


def test_lengths() -> None:
    # tick 3 us: calibration 56 ticks = 168 us; nibble 0 = 12 ticks = 36 us, 15 = 27 ticks = 81 us; six data
    # nibbles
    # 152 to 272 ticks = 456 to 816 us
    tick = sent.TYPICAL_TICK_S
    assert sent.CALIBRATION_TICKS * tick == pytest.approx(168e-6)
    assert (sent.nibble_ticks(0), sent.nibble_ticks(15)) == (12, 27)
    assert sent.frame_range_ticks() == (152, 272)
    assert [n * tick for n in sent.frame_range_ticks()] == pytest.approx([456e-6, 816e-6])
    assert sent.tick_from_calibration(168e-6) == pytest.approx(3e-6)
    assert sent.TICK_RANGE_S[0] <= tick <= sent.TICK_RANGE_S[1]


@given(st.integers(0, 15), frames)
def test_nibbles_and_frames(status: int, data: list[int]) -> None:
    assert [sent.nibble_from_ticks(sent.nibble_ticks(n) + 0.3) for n in data] == data
    shortest, longest = sent.frame_range_ticks(len(data))
    assert shortest <= sent.frame_ticks(status, data, sent.crc_recommended(data)) <= longest


def test_what_is_no_frame() -> None:
    for data in ([], [0] * 7, [16], [-1]):
        with pytest.raises(UnusableQuantity, match="one to six whole numbers"):
            sent.crc_recommended(data)
    for ticks in (11.0, 28.0, 56.0, float("nan"), float("inf")):
        with pytest.raises(UnusableQuantity, match="ticks"):
            sent.nibble_from_ticks(ticks)
    with pytest.raises(UnusableQuantity, match="from 0 to 15"):
        sent.frame_ticks(16, [1], 2)


def test_the_average_that_a_meter_shows() -> None:
    # Nine pulses of five low ticks in frames of 152 to 272 ticks, by hand: 107/152 and 227/272
    assert [sent.average_share(ticks) for ticks in sent.frame_range_ticks(6)] == pytest.approx([107 / 152, 227 / 272])
    assert sent.average_share(10_000) > 0.99  # a long pause: near its high level
