"""Whether a repair holds: days without return, kinds of work, a return that somebody feels."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from airproof.knowledge.load import knowledge
from airproof.repair.proof.holding import felt_again, holding_numbers, holding_of
from airproof.report.language.language import language

STEPS = knowledge().steps
CHANCE = st.floats(0.001, 0.999)


@given(CHANCE, st.floats(0.0, 400.0), st.floats(0.1, 400.0))
def test_days_without_return_raise_it(gone: float, days: float, more: float) -> None:
    first = holding_of(gone, "vacuum-leak", [STEPS["mend-vacuum-leak"]], days).probability
    later = holding_of(gone, "vacuum-leak", [STEPS["mend-vacuum-leak"]], days + more).probability
    assert 0.0 <= first <= later <= 1.0


@given(CHANCE, CHANCE)
def test_the_surer_it_is_gone_the_surer_it_holds(one: float, other: float) -> None:
    low, high = sorted((one, other))
    assert holding_of(low, None, [], 10.0).probability <= holding_of(high, None, [], 10.0).probability


def test_by_hand() -> None:
    """P(holds | quiet) = F (1 - r) / (F (1 - r) + F r exp(-d / later) + (1 - F) exp(-d / soon)), by its own numbers."""
    numbers, days, gone = holding_numbers(), 30.0, 0.9
    work, soon = numbers.comes_back["clean"], numbers.shows_after_days.usual
    still = (1 - gone) * math.exp(-days / soon) + gone * work.share * math.exp(-days / work.after_days)
    expected = gone * (1 - work.share) / (gone * (1 - work.share) + still)
    assert holding_of(gone, "map-offset", [STEPS["clean-map-sensor"]], days).probability == pytest.approx(expected)


@pytest.mark.parametrize(("days", "passed"), [(0.0, 0.5), (1.0, 1.0), (30.0, 30.0), (400.0, 400.0)])
def test_a_return_by_hand(days: float, passed: float) -> None:
    """What is felt on the day itself can hardly have come back yet; after a year what did not last surely has."""
    numbers, gone = holding_numbers(), 0.9
    work, soon, felt = numbers.comes_back["clean"], numbers.shows_after_days.usual, numbers.felt

    def back(mean: float) -> float:
        there = 1.0 - math.exp(-passed / mean)
        return felt.when_there * there + felt.when_gone * (1.0 - there)

    here = gone * (1.0 - work.share) * felt.when_gone
    gone_again = gone * work.share * back(work.after_days) + (1.0 - gone) * back(soon)
    held = holding_of(gone, "map-offset", [STEPS["clean-map-sensor"]], days, returned=True)
    assert held.probability == pytest.approx(here / (here + gone_again))


@given(CHANCE, st.floats(0.0, 400.0), st.floats(0.1, 400.0))
def test_the_later_a_return_is_felt_the_more_it_says(gone: float, days: float, more: float) -> None:
    first = holding_of(gone, None, [], days, returned=True).probability
    assert holding_of(gone, None, [], days + more, returned=True).probability <= first + 1e-12


def test_in_the_end_what_is_quiet_holds() -> None:
    assert holding_of(0.5, None, [], 5000.0).probability == pytest.approx(1.0, abs=1e-6)


@given(CHANCE)
def test_a_return_lowers_it(gone: float) -> None:
    assert holding_of(gone, None, [], 20.0, returned=True).probability < holding_of(gone, None, [], 20.0).probability
    assert felt_again(gone) < gone


def test_a_new_part_lasts_longer_than_cleaning() -> None:
    new = holding_of(0.95, "map-slow", [STEPS["replace-map-sensor"]], 0.0).probability
    cleaned = holding_of(0.95, "map-slow", [STEPS["clean-map-sensor"]], 0.0).probability
    assert new > cleaned


@pytest.mark.parametrize(
    ("days", "returned", "begins"),
    [
        (0.0, False, "that the repair holds is "),
        (0.4, False, "that the repair holds is "),  # hours later on the same day
        (0.5, True, "said to be back on the day of the repair: "),
        (1.2, False, "one day without its return: "),
        (1.0, True, "said to be back after one day: "),
        (3.0, False, "3 days without its return: "),
        (3.0, True, "said to be back after 3 days: "),
    ],
)
def test_no_days_are_counted_on_the_day_of_the_repair(days: float, returned: bool, begins: str) -> None:
    says = holding_of(0.95, "map-offset", [STEPS["replace-map-sensor"]], days, returned=returned).says
    assert says.startswith(begins)
    assert ("once it has stayed away for 30 days" in says) == (days < 0.5)
    for code in ("de", "fr", "es"):
        assert language(code).words(says).language == code, says
