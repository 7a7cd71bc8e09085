"""The discrete layer by itself: noisy-OR, inhibitors, hidden parents; published values and properties."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airproof.diagnosis.network import Layout, Link, Told, as_testimonies, families, link, log_joint, log_told

probabilities = st.floats(0.001, 0.999)


def of_three(leak: float, *given: float) -> Link:
    """Causes "0", "1", ... of one size each, and the probability of the observation under each alone."""
    whole = {str(k): np.ones(1) for k in range(len(given))}
    return link(leak, lambda cause: given[int(cause)], whole)


def at(k: int) -> np.ndarray:
    return np.array([k])


# Fever of a cold, the flu and malaria, which fail to bring it with 0.6, 0.2 and 0.1: a textbook's table of noisy-OR,
# read at sambuz.com 763250 and worked out again, as printed.
FEVER = {(): 0.0, (2,): 0.9, (1,): 0.8, (1, 2): 0.98, (0,): 0.4, (0, 2): 0.94, (0, 1): 0.88, (0, 1, 2): 0.988}


@pytest.mark.parametrize("causes", FEVER)
def test_the_fever_table(causes: tuple[int, ...]) -> None:
    fever = Link(0.0, fails=np.array([0.6, 0.2, 0.1]), lets=np.ones(3))
    assert fever.chance(*(at(k) for k in causes)) == pytest.approx([FEVER[causes]], abs=1e-12)


def test_the_fever_table_with_a_leak() -> None:
    """Leak 0.05, cold and flu: 0.886 (worked out from the same table)."""
    fever = Link(0.05, fails=np.array([0.6, 0.2, 0.1]), lets=np.ones(3))
    assert fever.chance(at(0), at(1)) == pytest.approx([0.886], abs=1e-12)
    assert fever.chance() == pytest.approx([0.05])


@given(probabilities, st.lists(probabilities, min_size=1, max_size=4), st.floats(0.0, 1.0))
def test_with_one_cause_the_link_gives_back_what_it_was_made_of(leak: float, given: list[float], share: float) -> None:
    noticed = {str(k): np.array([share, 1.0]) for k in range(len(given))}
    made = link(leak, lambda cause: given[int(cause)], noticed).chance(slice(None))
    for k, chance in enumerate(given):
        np.testing.assert_allclose(made[2 * k : 2 * k + 2], [leak + (chance - leak) * share, chance], rtol=1e-9)


@given(probabilities, probabilities, probabilities)
def test_two_causes_together(leak: float, one: float, other: float) -> None:
    both = float(of_three(leak, one, other).chance(at(0), at(1))[0])
    bring, keep = [p for p in (one, other) if p > leak], [p for p in (one, other) if p <= leak]
    assert 0.0 < both < 1.0
    if not keep:  # neither makes it less probable
        assert both >= max(one, other) - 1e-12
    if not bring:  # each keeps it away with what gets past the other
        assert both == pytest.approx(one * other / leak)
    if bring and keep:
        assert keep[0] - 1e-12 <= both <= bring[0] + 1e-12


@given(probabilities, probabilities, st.floats(0.1, 10.0), probabilities, probabilities, probabilities)
def test_what_is_known_beside_the_causes(
    leak: float, chance: float, odds: float, wake: float, settled: float, level: float
) -> None:
    plain = of_three(leak, chance)
    commoner = plain.commoner_by_chance(odds).leak
    assert commoner / (1.0 - commoner) == pytest.approx(odds * leak / (1.0 - leak))
    # one more thing that brings it: its own noisy-OR
    beside = plain.beside(wake)
    assert 1.0 - beside.chance()[0] == pytest.approx((1.0 - leak) * (1.0 - wake))
    assert plain.weakened(np.zeros(1)).chance(at(0))[0] <= max(leak, chance) + 1e-12
    mixed = plain.known_else(settled, level).chance(at(0))[0]
    assert mixed == pytest.approx(settled * level + (1.0 - settled) * chance)


@given(st.lists(probabilities, min_size=1, max_size=4), st.floats(0.0, 0.99))
def test_a_hidden_parent_keeps_every_marginal_and_sums_to_one(chances: list[float], alike: float) -> None:
    p = [np.array([one]) for one in chances]
    total, marginal = 0.0, np.zeros(len(p))
    for there in product((True, False), repeat=len(p)):
        joint = float(np.exp(log_joint(p, there, alike)[0]))
        total += joint
        marginal += joint * np.array(there)
    assert total == pytest.approx(1.0, abs=1e-9)
    np.testing.assert_allclose(marginal, chances, atol=1e-9)


@given(probabilities, probabilities, st.floats(0.0, 0.99))
def test_alike_observations_come_together_more_often_than_by_chance(one: float, other: float, alike: float) -> None:
    both = float(np.exp(log_joint([np.array([one]), np.array([other])], (True, True), alike)[0]))
    assert one * other - 1e-12 <= both <= min(one, other) + 1e-12


def told(name: str, hangs: Link, there: bool, family: str = "f", alike: float = 0.6, looked: float = 1.0) -> Told:
    return Told(name, name, (hangs,), (there,), family, alike, looked)


@st.composite
def groups(draw: st.DrawFn) -> list[Told]:
    count = draw(st.integers(1, 5))
    alike = draw(st.floats(0.0, 0.95))
    made = []
    for k in range(count):
        hangs = of_three(draw(probabilities), draw(probabilities), draw(probabilities), draw(probabilities))
        there = draw(st.booleans())
        looked = draw(st.sampled_from([1.0, 0.7])) if not there else 1.0
        made.append(told(f"w{k}", hangs, there, alike=alike, looked=looked))
    return made


LAYOUT = Layout(("0", "1", "2"), (0, 1, 2, 3))


@given(groups())
def test_testimonies_of_a_family_add_up_to_its_joint(group: list[Told]) -> None:
    made = as_testimonies(group, LAYOUT)
    assert [one.finding.id for one in made] == [one.id for one in group]
    total = sum(LAYOUT.row(one.log_likelihood) for one in made)
    np.testing.assert_allclose(total, log_told(families(group)[0], slice(None)), atol=1e-9)


@given(groups(), st.randoms())
def test_the_order_in_which_things_are_told_moves_nothing(group: list[Told], rng: object) -> None:
    mixed = list(group)
    rng.shuffle(mixed)  # type: ignore[attr-defined]
    there = {one.finding.id: LAYOUT.row(one.log_likelihood) for one in as_testimonies(group, LAYOUT)}
    for one in as_testimonies(mixed, LAYOUT):
        np.testing.assert_array_equal(LAYOUT.row(one.log_likelihood), there[one.finding.id])


@given(groups())
def test_heard_alone_each_has_its_own_probability(group: list[Told]) -> None:
    for one, testimony in zip(group, as_testimonies(group, LAYOUT), strict=True):
        p = one.links[0].chance(slice(None))
        p = p if one.there[0] else one.looked * (1.0 - p) + 1.0 - one.looked
        np.testing.assert_allclose(LAYOUT.row(testimony.by_itself), np.log(p), atol=1e-9)


def test_where_nobody_looked_an_absence_says_nothing() -> None:
    hangs = of_three(0.01, 0.4, 0.3, 0.01)
    there, missing = told("a", hangs, True), told("b", hangs, False, looked=1e-9)
    alone, both = log_told([there], slice(None)), log_told([there, missing], slice(None))
    np.testing.assert_allclose(both, alone, atol=1e-6)


def test_an_absence_speaks_against_what_would_have_brought_it() -> None:
    row = log_told([told("a", of_three(0.01, 0.6, 0.01, 0.01), False)], slice(None))
    assert row[0] < row[1] == row[2]
