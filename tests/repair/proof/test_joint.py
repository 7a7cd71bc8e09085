"""The findings of both sides as one Gaussian, against conditioning by brute force."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import multivariate_t

from airproof.diagnosis.testimony import TAIL, log_t
from airproof.repair.proof.joint import JointGroup, Wrong, less_sure


def made(seed: int, before: int, after: int) -> tuple[JointGroup, np.ndarray]:
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(before + after, before + after))
    covariance = root @ root.T + 0.1 * np.eye(before + after)
    off_before = {"none": rng.normal(size=(1, before)), "map-gain": rng.normal(size=(3, before))}
    off_after = {"none": rng.normal(size=(1, after)), "map-gain": rng.normal(size=(4, after))}
    return JointGroup(off_before, off_after, covariance, (), {}), covariance


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 1000), st.integers(0, 4), st.integers(1, 4))
def test_given_is_the_conditional(seed: int, before: int, after: int) -> None:
    group, covariance = made(seed, before, after)
    places, there = np.array([0, 2, 1]), np.array([3, 0, 1])
    said = group.says(Wrong("map-gain", places), Wrong("map-gain", there))
    a, b, c = covariance[:before, :before], covariance[:before, before:], covariance[before:, before:]
    gain = np.linalg.solve(a, b).T if before else np.zeros((after, 0))
    left = c - gain @ b
    lower = np.linalg.cholesky(left)
    for k, (i, j) in enumerate(zip(places, there, strict=True)):
        off = group.off_after["map-gain"][j] - gain @ group.off_before["map-gain"][i]
        first = group.off_before["map-gain"][i]
        distance = float(first @ np.linalg.solve(a, first)) if before else 0.0
        wider = np.sqrt(max(1.0, (TAIL + distance) / (TAIL + before)))
        z = np.linalg.solve(lower, off) / wider
        # Whitened, the Gaussian is the product of standard ones; here Student's t takes the place of each.
        expected = sum(float(log_t(np.array(one), wider * s)) for one, s in zip(z, np.diag(lower), strict=True))
        assert np.isclose(said[k], expected, rtol=1e-6, atol=1e-6)


def test_findings_far_off_before_foretell_less_sharply_as_with_students_t_of_two_dimensions() -> None:
    """Against scipy: a t of two dimensions over its margin is a t of one, so much wider and of one more degree."""
    given = np.array([0.0, 2.0, 6.0])
    both = multivariate_t(shape=[[1.0, 0.6], [0.6, 1.0]], df=int(TAIL))
    for one, wider in zip(given, less_sure("map-gain", np.square(given), 1), strict=True):
        after = np.linspace(-400.0, 400.0, 40001) + 0.6 * one
        density = both.pdf(np.column_stack([np.full(after.size, one), after]))
        density /= density.sum()
        spread = np.sqrt(np.sum(density * np.square(after - 0.6 * one)))
        narrow = 0.8 * np.sqrt((TAIL + one**2) / (TAIL + 1.0)) * np.sqrt((TAIL + 1.0) / (TAIL - 1.0))
        assert np.isclose(spread, narrow, rtol=0.02)
        assert np.isclose(wider, max(1.0, np.sqrt((TAIL + one**2) / (TAIL + 1.0))))


def test_near_the_middle_it_is_the_gaussian() -> None:
    """ln t of n degrees of freedom and the Gaussian part by z^4 / (4 (n + 1)) and less near zero, up to a constant."""
    z = np.linspace(-0.3, 0.3, 7)
    gaussian = -0.5 * (TAIL + 1.0) / TAIL * np.square(z)
    assert np.allclose(log_t(z) - log_t(np.array(0.0)), gaussian, atol=2e-3)


def test_what_is_not_before_narrows_nothing() -> None:
    group, covariance = made(1, 0, 2)
    said = group.says(Wrong("none", np.array([0])), Wrong("none", np.array([0])))
    lower = np.linalg.cholesky(covariance)
    z = np.linalg.solve(lower, group.off_after["none"][0])
    assert np.isclose(said[0], float(np.sum(log_t(z, np.diag(lower)))))


def test_classes_have_their_own_covariance() -> None:
    group, covariance = made(2, 2, 2)
    group.reshaped = lambda _before, _after, kind: covariance * (1.0 + kind)
    group.concerns = frozenset({"map-gain"})
    group.classes = {"map-gain": np.array([0, 0, 1, 1])}
    every = group.says(Wrong("none", np.zeros(4, dtype=int)), Wrong("map-gain", np.arange(4)))
    plain, _ = made(2, 2, 2)
    same = plain.says(Wrong("none", np.zeros(2, dtype=int)), Wrong("map-gain", np.arange(2)))
    assert np.allclose(every[:2], same)
    assert not np.allclose(
        every[2:], plain.says(Wrong("none", np.zeros(2, dtype=int)), Wrong("map-gain", np.array([2, 3])))
    )
