"""What is told: codes, symptoms and outcomes of steps, weighed by what the knowledge says of them."""

from __future__ import annotations

import numpy as np
import pytest

from airproof.diagnosis.readings import Outcome
from airproof.diagnosis.told import from_codes, from_outcomes, from_symptoms
from airproof.knowledge.load import knowledge

KNOWN = knowledge()
SIZES = {name: np.full(3, one.size.typical if one.size else 0.0) for name, one in KNOWN.causes.items()}


def family_of(code: str) -> list[str]:
    return [name for name, one in KNOWN.codes.items() if one.family == KNOWN.codes[code].family]


def test_a_code_weighs_what_the_knowledge_says() -> None:
    (told,) = from_codes(["P0106"], KNOWN, SIZES)
    assert told.finding.id == "code P0106"
    for cause, rows in told.log_likelihood.items():
        np.testing.assert_allclose(rows, np.log(KNOWN.codes["P0106"].given(cause)))
        assert rows.shape == (3,)


def test_a_cause_too_small_to_notice_brings_fewer_codes() -> None:
    size, code = KNOWN.causes["map-slow"].size, KNOWN.codes["P0106"]
    assert size is not None
    grid = np.array([size.low, size.typical, size.high])
    (told,) = from_codes(["P0106"], KNOWN, {"map-slow": grid, "none": np.zeros(1)})
    chance = np.exp(told.log_likelihood["map-slow"])
    assert chance[1] == chance[2] == pytest.approx(code.given("map-slow"))
    assert code.by_chance < chance[0] < 0.5 * chance[1]


@pytest.mark.parametrize("codes", [[], ["P9999"], ["U0100", "nonsense"]])
def test_an_unknown_code_has_no_weight(codes: list[str]) -> None:
    unknown = [code for code in codes if code not in KNOWN.codes]
    assert from_codes(unknown, KNOWN, SIZES) == []


def test_codes_of_one_family_are_hardly_more_than_one_witness() -> None:
    """One common chance decides in a share: three codes say more than the rarest of them, and far less than three."""
    family = family_of("P0106")[:3]
    told = from_codes(family, KNOWN, SIZES)
    alone = [from_codes([code], KNOWN, SIZES)[0] for code in family]
    alike = KNOWN.families[KNOWN.codes["P0106"].family].alike
    for cause in SIZES:
        together = np.exp(sum(one.log_likelihood[cause] for one in told))
        each = np.exp([one.log_likelihood[cause] for one in alone])
        np.testing.assert_allclose(together, alike * each.min(axis=0) + (1.0 - alike) * each.prod(axis=0))
        for one, by_itself in zip(told, alone, strict=True):
            np.testing.assert_allclose(one.by_itself[cause], by_itself.log_likelihood[cause])


def test_the_same_code_twice_counts_once_and_families_are_separate_witnesses() -> None:
    assert len(from_codes(["P0106", "P0106"], KNOWN, SIZES)) == 1
    other = next(name for name, one in KNOWN.codes.items() if one.family != KNOWN.codes["P0106"].family)
    both = from_codes(["P0106", other], KNOWN, SIZES)
    for one in both:
        (alone,) = from_codes([one.finding.id.removeprefix("code ")], KNOWN, SIZES)
        for cause in SIZES:
            np.testing.assert_array_equal(one.log_likelihood[cause], alone.log_likelihood[cause])


def test_order_of_codes_does_not_matter() -> None:
    codes = list(KNOWN.codes)[:6]
    there = {one.finding.id: one for one in from_codes(codes, KNOWN, SIZES)}
    back = {one.finding.id: one for one in from_codes(codes[::-1], KNOWN, SIZES)}
    assert set(there) == set(back)
    for name, one in there.items():
        for cause in SIZES:
            np.testing.assert_array_equal(one.log_likelihood[cause], back[name].log_likelihood[cause])


def test_symptoms() -> None:
    told = from_symptoms(["rough-idle", "rough-idle", "high-idle"], KNOWN, SIZES)
    assert [one.finding.id for one in told] == ["symptom rough-idle", "symptom high-idle"]
    rows = told[1].log_likelihood
    np.testing.assert_allclose(rows["vacuum-leak"], np.log(KNOWN.symptoms["high-idle"].given("vacuum-leak")))
    assert rows["vacuum-leak"][0] > rows["none"][0]


@pytest.mark.parametrize("found", [True, False])
def test_an_outcome_and_its_opposite_share_all_there_is(found: bool) -> None:
    step = next(name for name, one in KNOWN.steps.items() if one.tells)
    (told,) = from_outcomes([Outcome(step, found)], KNOWN, SIZES)
    (other,) = from_outcomes([Outcome(step, not found)], KNOWN, SIZES)
    for cause in SIZES:
        assert np.exp(told.log_likelihood[cause][0]) + np.exp(other.log_likelihood[cause][0]) == pytest.approx(1.0)
    one = KNOWN.steps[step]
    assert (one.if_so if found else one.if_not) in told.finding.says
