"""The chain of two states against every path through it, one by one."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from numpy.typing import NDArray

from airproof.diagnosis.two_states import LOUDEST, MOST_OFTEN, TwoStates

Floats = NDArray[np.float64]

CHAIN = TwoStates(comes=0.12, goes=0.2)
LENGTH = 9


def every_path(chain: TwoStates, support: Floats) -> dict[tuple[int, ...], tuple[float, float]]:
    """ln of how probable each path is beforehand, and with what the windows say."""
    first = chain.comes / (chain.comes + chain.goes)
    start = {0: 1.0 - first, 1: first}
    step = {(0, 0): 1 - chain.comes, (0, 1): chain.comes, (1, 0): chain.goes, (1, 1): 1 - chain.goes}
    paths = {}
    for states in itertools.product((0, 1), repeat=support.size):
        before = np.log(start[states[0]]) + sum(np.log(step[pair]) for pair in itertools.pairwise(states))
        paths[states] = (before, before + float(np.dot(states, support)))
    return paths


def some_support(seed: int) -> Floats:
    return np.random.default_rng(seed).normal(0.0, 3.0, (5, LENGTH))


@pytest.mark.parametrize("seed", range(4))
def test_evidence_and_presence_equal_the_sum_over_all_paths(seed: int) -> None:
    support = some_support(seed)
    evidence, present = CHAIN.joined(support)
    for row, its_evidence, its_presence in zip(support, evidence, present, strict=True):
        paths = every_path(CHAIN, row)
        weight = np.exp([after for _, after in paths.values()])
        assert its_evidence == pytest.approx(np.log(weight.sum()), abs=1e-9)
        np.testing.assert_allclose(its_presence, weight @ np.array(list(paths)) / weight.sum(), atol=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_the_likeliest_path_is_the_best_of_all(seed: int) -> None:
    support = some_support(seed)
    path, before = CHAIN.likeliest(support)
    for row, its_path, its_before in zip(support, path, before, strict=True):
        paths = every_path(CHAIN, row)
        best = max(paths, key=lambda states: paths[states][1])
        assert tuple(its_path.astype(int)) == best
        assert its_before == pytest.approx(paths[best][0], abs=1e-12)


def test_nothing_seen_is_no_evidence_and_leaves_what_was_believed() -> None:
    evidence, present = CHAIN.joined(np.zeros((2, 40)))
    np.testing.assert_allclose(evidence, 0.0, atol=1e-12)
    np.testing.assert_allclose(present, 0.12 / 0.32)


def test_one_odd_window_does_not_flicker() -> None:
    seldom = TwoStates(1.0 / 60.0, 1.0 / 540.0)
    support = np.full((2, 20), -2.0)
    support[1] = 2.0
    support[:, 10] *= -1.0
    present = seldom.joined(support)[1]
    assert present[0].max() < 0.3
    assert present[1, 10] > 0.9


def test_overwhelming_evidence_stays_a_number() -> None:
    support = np.concatenate([np.full(300, -500.0), np.full(300, 500.0)])[None, :]
    evidence, present = CHAIN.joined(support)
    assert np.isfinite(evidence).all()
    assert np.isfinite(present).all()
    assert present[0, 100] < 1e-6
    assert present[0, 500] > 1 - 1e-6
    assert evidence[0] < 300 * LOUDEST


def test_a_window_longer_than_a_spell_switches_as_often_as_not() -> None:
    assert TwoStates.lasting(12.0, 16.0, 2.0) == TwoStates(comes=0.125, goes=2.0 / 12.0)
    assert TwoStates.lasting(12.0, 16.0, 60.0) == TwoStates(MOST_OFTEN, MOST_OFTEN)
