"""VINs: 49 CFR 565.15, and the examples of reference/CHECK_VALUES.md section 9."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from airproof.knowledge.vin import VALUES, check_digit, doubts_of, tidy_vin

# Regulation table V; the outline for new manufacturers of the US agency; two public pages; all ones by arithmetic.
VALID = [
    ("1M8GDM9AXKP042788", "X"),
    ("11111111111111111", "1"),
    ("1G4AH59H45G118341", "4"),
    ("1J9RP1A36A1644345", "6"),
    ("JH2RC3605MM101581", "5"),
    ("5GZCZ43D13S812715", "1"),
]


@pytest.mark.parametrize(("vin", "digit"), VALID)
def test_published_numbers(vin: str, digit: str) -> None:
    assert check_digit(vin) == digit == vin[8]
    assert doubts_of(vin) == ()


@pytest.mark.parametrize(("vin", "digit"), [("1M8GDM9A1KP042788", "X"), ("SGZCZ43D13S812715", "X")])
def test_a_wrong_digit_is_a_doubt_with_its_caution(vin: str, digit: str) -> None:
    (doubt,) = doubts_of(vin)
    assert f"would be {digit}" in doubt
    assert "many other markets have no check digit" in doubt


def test_other_doubts_and_none_where_nothing_was_said() -> None:
    assert doubts_of("") == ()
    assert "16 signs" in doubts_of("1M8GDM9AXKP04278")[0]
    assert "holds I and O" in doubts_of("1M8GDM9AXKPO4278I")[0]
    assert tidy_vin(" 1m8gdm9a-xkp 042788 ") == "1M8GDM9AXKP042788"


@settings(deadline=None, derandomize=True)
@given(st.text(alphabet="".join(VALUES), min_size=17, max_size=17))
def test_the_digit_put_in_place_is_the_digit_asked_for(vin: str) -> None:
    digit = check_digit(vin)
    assert digit is not None
    assert check_digit(vin[:8] + digit + vin[9:]) == digit  # its own weight is nought


@settings(deadline=None, derandomize=True)
@given(st.text(max_size=30))
def test_anything_typed_gets_words_and_never_an_error(text: str) -> None:
    assert isinstance(doubts_of(text), tuple)
