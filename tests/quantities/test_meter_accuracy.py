"""A meter's accuracy as its sheet prints it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airproof.errors import UnusableQuantity
from airproof.quantities.meter_accuracy import EVEN, Accuracy, last_place, parse_accuracy

# The same accuracy in the ways sheets write it.
WRITTEN = [
    "0.5 % + 2 digits", "0,5% + 2 digits", "±0.5 % + 2 dgt", "+/- 0.5 % of reading + 2 d", "0.5% rdg + 2 counts",
    "0.5 % and 2 digits", " 0.5 %+2digits ",
]  # fmt: skip


@pytest.mark.parametrize("text", WRITTEN)
def test_one_accuracy_in_many_spellings(text: str) -> None:
    assert parse_accuracy(text) == Accuracy(0.005, 2.0)


def test_a_share_alone_and_one_digit() -> None:
    assert parse_accuracy("1 %") == Accuracy(0.01, 0.0)
    assert str(parse_accuracy("1%+1 digit")) == "1 % + 1 digit"
    assert str(Accuracy(0.005, 2.0)) == "0.5 % + 2 digits"


@pytest.mark.parametrize(
    "text", ["", "2 digits", "half a percent", "0.5", "0.5 V", "-1 %", "50 %", "0 %", "1 % + 999 d", "1 % + x"]
)
def test_what_is_none_is_refused(text: str) -> None:
    with pytest.raises(UnusableQuantity, match=r"0\.5 % \+ 2 digits"):
        parse_accuracy(text)


def test_limit_of_a_reading() -> None:
    # 0.5 % of 1.95 V and two digits of 0.01 V, by hand: 0.00975 + 0.02
    assert Accuracy(0.005, 2.0).limit(1.95, 0.01) == pytest.approx(0.02975)
    assert Accuracy(0.005, 2.0).limit(np.array([-1.95, 0.0]), 0.01) == pytest.approx([0.02975, 0.02])


def test_an_even_error_has_its_limit_over_root_three() -> None:
    # JCGM 100:2008, 4.3.7, from memory of it
    assert pytest.approx(1.0 / math.sqrt(3.0)) == EVEN
    draws = np.random.default_rng(0).uniform(-1.0, 1.0, 200_000)
    assert pytest.approx(float(draws.std()), abs=2e-3) == EVEN


@pytest.mark.parametrize(
    ("text", "kind", "worth"),
    [
        ("1.86 V", "voltage", 0.01), ("1,86 V", "voltage", 0.01), ("1.860 V", "voltage", 0.001),
        ("2 V", "voltage", 1.0), ("1860 mV", "voltage", 0.001), ("-0.02 V", "voltage", 0.01),
        ("2.31 kohm", "resistance", 10.0), ("308.6 ohm", "resistance", 0.1),
        ("122 Hz", "rotation", 1.0), ("98 kPa", "pressure", 1000.0),
    ],
)  # fmt: skip
def test_the_last_digit_typed(text: str, kind: str, worth: float) -> None:
    assert last_place(text, kind) == pytest.approx(worth)


@given(st.floats(0.0, 0.05), st.floats(0.0, 20.0), st.floats(0.0, 20.0), st.sampled_from([1e-3, 1e-2, 0.1]))
def test_a_standard_deviation_is_never_beyond_the_limit(
    share: float, digits: float, reading: float, digit: float
) -> None:
    accuracy = Accuracy(share, digits)
    assert accuracy.sd(reading, digit) <= accuracy.limit(reading, digit) + 0.5 * digit + 1e-12
