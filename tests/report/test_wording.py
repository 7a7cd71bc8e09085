"""Numbers as words."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from airproof.report.wording import (
    apart,
    clock,
    duration,
    for_a_page,
    in_hundred,
    number,
    sentence,
    span,
    with_interval,
    wrap,
)


@pytest.mark.parametrize(
    ("value", "text"),
    [(8.13, "8.1"), (0.352, "0.35"), (12.4, "12"), (1240.0, "1240"), (0.0, "0"), (-3.0, "-3"), (math.nan, "unknown")],
)
def test_number(value: float, text: str) -> None:
    assert number(value) == text


@given(st.floats(1e-6, 1e6), st.floats(0.0, 2.0), st.floats(0.0, 2.0))
def test_an_interval_stays_in_order_and_near(value: float, below: float, above: float) -> None:
    low, high = value - below, value + above
    a, b, c = with_interval(value, low, high)
    if min(value - low, high - value) > 0.0:
        assert float(b) <= float(a) <= float(c)
        assert abs(float(a) - value) <= 0.51 * 10 ** math.floor(math.log10(min(value - low, high - value)))


def test_words() -> None:
    assert apart(13.2, "speed-density") == "13 % above speed-density"
    assert apart(-13.2, "it") == "13 % below it"
    assert apart(0.2, "it") == "level with it"
    assert span(-26.0, -13.0, "%") == "13 to 26 %"
    assert span(13.1, 13.3, "%") == "13 %"
    assert [duration(s) for s in (45.0, 1690.0, 7500.0)] == ["45 s", "28 min", "2 h 05 min"]
    assert clock(425.0) == "7:05"
    assert [in_hundred(p) for p in (0.93, 0.9999, 0.0001)] == ["93 in 100", "more than 99 in 100", "less than 1 in 100"]
    assert [sentence(t) for t in ("a b", "A.", "why?", " ")] == ["A b.", "A.", "Why?", ""]


def test_a_number_is_never_parted_from_its_unit() -> None:
    for width in range(12, 60):
        for line in wrap("it reads about 8.3 kPa high, 12 % more. Chance: 94 in 100.", width):
            assert not line.endswith(("8.3", "12", "94", "in"))
            assert len(line) <= width


@pytest.mark.parametrize(
    ("said", "on_a_page"),
    [
        ("The lamp is on.", "The lamp is on."),
        ("No heading is known. Name it in a MAP.toml and give it with --signals.", "No heading is known."),
        ("Give another folder (--data). It is full.", "It is full."),
        ('Look at it ("airproof job show 7"), then say it again; nothing was written.', "nothing was written."),
        ("Add one: airproof job add 7 --code P0106.", ""),
        ("Record a pull; give it with --baseline.", "Record a pull"),
        ("a loose plug [plug-loose] was seen", "a loose plug was seen"),
        ("manifold pressure [kPa] and x [a]", "manifold pressure [kPa] and x [a]"),
        ("from 1 -- 2, or -3; well--known", "from 1 -- 2, or -3; well--known"),
        ("", ""),
    ],
)
def test_nothing_of_the_command_line_stands_on_a_page(said: str, on_a_page: str) -> None:
    assert for_a_page(said) == on_a_page


@given(st.text(st.characters(codec="ascii"), max_size=200))
def test_no_option_is_left_on_a_page(said: str) -> None:
    left = for_a_page(said)
    assert not any(word.startswith("--") and word[2:3].isalpha() and word[2:3].islower() for word in left.split())
    assert len(left) <= len(said)
