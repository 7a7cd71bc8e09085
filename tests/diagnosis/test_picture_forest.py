"""The forest: a walk through hand-made trees, credited step by step, against the plain walk."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from airproof.diagnosis.picture.forest import FURTHER, Forest

Floats = NDArray[np.float64]
FEATURES = 4
CAUSES = ("none", "map-offset", "vacuum-leak")


def grown(seed: int, trees: int = 9, depth: int = 4) -> Forest:
    """A forest of random trees."""
    rng = np.random.default_rng(seed)
    nodes: list[tuple[int, float, bool, int, int, float]] = []

    def add(left: int) -> int:
        place = len(nodes)
        nodes.append((-1, 0.0, False, -1, -1, float(rng.normal())))
        if left and rng.random() < 0.85:
            ways = add(left - 1), add(left - 1)
            unknown = bool(rng.random() < 0.5)
            nodes[place] = (int(rng.integers(FEATURES)), float(rng.normal()), unknown, *ways, float(rng.normal()))
        return place

    roots = [add(depth) for _ in range(trees)]
    asks, threshold, unknown, left, right, value = zip(*nodes, strict=True)
    return Forest(
        CAUSES, tuple("abcd"), np.array(roots, np.int32), np.arange(trees, dtype=np.int32) % len(CAUSES),
        np.array(asks, np.int32), np.array(threshold), np.array(unknown), np.array(left, np.int32),
        np.array(right, np.int32), np.array(value), np.array([-1.0, -2.0, -3.0]), np.full(FEATURES, -3.0),
        np.full(FEATURES, 3.0),
    )  # fmt: skip


def walked(forest: Forest, given_: Floats) -> Floats:
    """The sum of the leaves reached, cause by cause, one node at a time."""
    total = -forest.taken
    for root, cause in zip(forest.roots, forest.speaks, strict=True):
        at = int(root)
        while forest.asks[at] >= 0:
            value = given_[forest.asks[at]]
            reach = FURTHER * (forest.most - forest.least)[forest.asks[at]]
            if not forest.least[forest.asks[at]] - reach <= value <= forest.most[forest.asks[at]] + reach:
                left = bool(forest.unknown_left[at])
            else:
                left = bool(value <= forest.threshold[at])
            at = int(forest.left[at] if left else forest.right[at])
        total[cause] += forest.value[at]
    return np.asarray(total)


values = st.lists(st.one_of(st.floats(-6, 6), st.just(float("nan"))), min_size=FEATURES, max_size=FEATURES)


@given(st.integers(0, 200), values)
def test_what_is_credited_to_the_features_adds_up_to_the_leaves(seed: int, found: list[float]) -> None:
    forest = grown(seed)
    added, before = forest.contributions(np.array(found))
    assert added.sum(axis=0) + before == pytest.approx(walked(forest, np.array(found)), abs=1e-12)


@given(st.integers(0, 50), values)
def test_a_feature_that_no_tree_asks_for_adds_nothing(seed: int, found: list[float]) -> None:
    forest = grown(seed)
    added, _ = forest.contributions(np.array(found))
    unasked = [k for k in range(FEATURES) if k not in forest.asks]
    assert not added[unasked].any()


def test_what_no_rehearsal_showed_is_as_if_it_were_not_known() -> None:
    forest = grown(3)
    far, unknown = (forest.contributions(np.array([0.0, value, 0.0, 0.0])) for value in (99.0, np.nan))
    assert np.array_equal(far[0], unknown[0])


def test_what_lies_outside_what_rehearsals_showed_is_strange_and_what_is_unknown_is_not() -> None:
    forest = grown(2)
    assert forest.strangeness(np.array([0.0, 3.0, np.nan, -3.0])) == 0.0
    assert forest.strangeness(np.array([0.0, 3.1, np.nan, np.nan])) == 0.5
    assert forest.strangeness(np.full(FEATURES, np.nan)) == 0.0
