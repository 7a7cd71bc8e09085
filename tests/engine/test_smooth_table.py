"""Smooth tables: interpolation against scipy, learning against brute-force conditioning of a Gaussian."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import RegularGridInterpolator

from airproof.engine.smooth_table import EngineBelief, Grid, Smoothness

PRESSURES = np.array([1.0, 2.0, 4.0, 4.5, 7.0])
SPEEDS = np.array([-1.0, 0.0, 0.3, 2.0])
TWO_AXES = Grid((PRESSURES, SPEEDS))
ONE_AXIS = Grid((PRESSURES,))

repeatable = settings(derandomize=True, deadline=None, max_examples=60)
place = st.floats(-20.0, 20.0)


def random_values(seed: int, size: int) -> np.ndarray:
    return np.random.default_rng(seed).normal(size=size)


class TestGrid:
    def test_interpolates_like_scipy(self) -> None:
        rng = np.random.default_rng(1)
        values = random_values(2, TWO_AXES.size)
        x, y = rng.uniform(1.0, 7.0, 300), rng.uniform(-1.0, 2.0, 300)
        scipys = RegularGridInterpolator((PRESSURES, SPEEDS), values.reshape(5, 4))
        np.testing.assert_allclose(TWO_AXES.at(values, x, y), scipys(np.column_stack([x, y])), atol=1e-12)
        np.testing.assert_allclose(TWO_AXES.weights(x, y) @ values, TWO_AXES.at(values, x, y), atol=1e-12)

    def test_one_axis_is_numpys_interp_constant_beyond_the_ends(self) -> None:
        values = random_values(3, ONE_AXIS.size)
        x = np.linspace(-5.0, 12.0, 200)
        np.testing.assert_allclose(ONE_AXIS.at(values, x), np.interp(x, PRESSURES, values), atol=1e-12)

    def test_a_knot_has_its_own_value(self) -> None:
        values = random_values(4, TWO_AXES.size)
        x, y = np.meshgrid(PRESSURES, SPEEDS, indexing="ij")
        np.testing.assert_allclose(TWO_AXES.at(values, x, y).ravel(), values, atol=1e-12)
        np.testing.assert_allclose(TWO_AXES.weights(x.ravel(), y.ravel()), np.eye(TWO_AXES.size), atol=1e-12)

    @repeatable
    @given(place, place)
    def test_weights_are_shares(self, x: float, y: float) -> None:
        weights = TWO_AXES.weights(np.array([x]), np.array([y]))
        assert weights.min() >= 0.0
        assert weights.sum() == pytest.approx(1.0, abs=1e-12)

    @repeatable
    @given(place, place)
    def test_constant_beyond_the_outermost_knots(self, x: float, y: float) -> None:
        values = random_values(5, TWO_AXES.size)
        inside = TWO_AXES.at(values, np.clip(x, 1.0, 7.0), np.clip(y, -1.0, 2.0))
        assert TWO_AXES.at(values, np.array(x), np.array(y)) == pytest.approx(float(inside), abs=1e-12)

    def test_places_broadcast(self) -> None:
        values = random_values(6, TWO_AXES.size)
        x, y = np.array([[1.5], [3.0], [6.0]]), np.array([0.1, 1.0])
        wide = TWO_AXES.at(values, x, y)
        assert wide.shape == (3, 2)
        assert wide[2, 1] == pytest.approx(float(TWO_AXES.at(values, np.array(6.0), np.array(1.0))))

    def test_an_unknown_place_spoils_nothing(self) -> None:
        values = random_values(7, ONE_AXIS.size)
        assert np.isfinite(ONE_AXIS.at(values, np.array([np.nan, 2.0]))).all()
        assert np.isfinite(ONE_AXIS.weights(np.array([np.nan]))).all()


class TestCovariance:
    def test_one_axis_by_hand(self) -> None:
        found = ONE_AXIS.covariance(Smoothness(0.3, 0.2, (2.0,)))
        for i, a in enumerate(PRESSURES):
            for j, b in enumerate(PRESSURES):
                wanted = 0.3**2 + 0.2**2 * np.exp(-0.5 * ((a - b) / 2.0) ** 2)
                assert found[i, j] == pytest.approx(wanted, abs=2e-9)

    def test_two_axes_and_a_bend_for_each_knot_of_the_first(self) -> None:
        bend = np.array([0.5, 0.4, 0.3, 0.2, 0.1])
        found = TWO_AXES.covariance(Smoothness(0.0, bend, (2.0, 0.7)))
        # knot (i, k) stands at i * 4 + k
        near = np.exp(-0.5 * (((1.0 - 4.0) / 2.0) ** 2 + ((0.0 - 2.0) / 0.7) ** 2))
        assert found[0 * 4 + 1, 2 * 4 + 3] == pytest.approx(0.5 * 0.3 * near, abs=1e-12)
        np.testing.assert_allclose(np.diag(found), np.repeat(bend**2, 4), atol=2e-9)
        assert np.linalg.eigvalsh(found).min() > 0


def belief() -> EngineBelief:
    return EngineBelief.of(
        {
            "first": (ONE_AXIS, random_values(8, ONE_AXIS.size), Smoothness(0.3, 0.2, (2.0,))),
            "second": (TWO_AXES, np.zeros(TWO_AXES.size), Smoothness(0.1, 0.4, (2.0, 1.0))),
        }
    )


def conditioned(
    mean: np.ndarray, covariance: np.ndarray, weights: np.ndarray, seen: np.ndarray, sd: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Textbook conditioning of a Gaussian on seen = weights @ (x - mean) + noise, on the side of the points."""
    total = weights @ covariance @ weights.T + np.diag(sd**2)
    gain = covariance @ weights.T @ np.linalg.inv(total)
    return mean + gain @ seen, covariance - gain @ weights @ covariance


class TestBelief:
    def test_the_tables_stand_one_behind_the_other_and_know_nothing_of_each_other(self) -> None:
        one = belief()
        assert (one.part("first"), one.part("second")) == (slice(0, 5), slice(5, 25))
        assert not one.covariance[:5, 5:].any()
        np.testing.assert_array_equal(one.weights("second", np.array([2.0]), np.array([0.0]))[:, :5], 0.0)
        with pytest.raises(KeyError, match="third"):
            one.part("third")

    @pytest.mark.parametrize("n", [1, 3, 60])
    def test_learning_is_conditioning(self, n: int) -> None:
        one = belief()
        rng = np.random.default_rng(n)
        x, y = rng.uniform(0.0, 8.0, n), rng.uniform(-1.5, 2.5, n)
        # a relation may use two tables at once and see only their difference
        weights = one.weights("first", x) - one.weights("second", x, y)
        sd = rng.uniform(0.3, 0.5, n)
        seen = rng.normal(0.0, 0.1, n)  # near enough that nothing counts as far off
        learnt = one.learn(weights, seen, sd)
        mean, covariance = conditioned(one.mean, one.covariance, weights, seen, sd)
        np.testing.assert_allclose(learnt.mean, mean, atol=1e-9)
        np.testing.assert_allclose(learnt.covariance, covariance, atol=1e-9)
        assert (np.diag(learnt.covariance) <= np.diag(one.covariance) + 1e-12).all()
        assert np.linalg.eigvalsh(learnt.covariance).min() > 0

    def test_the_variance_of_what_takes_the_unknowns_with_some_weights(self) -> None:
        one = belief()
        rng = np.random.default_rng(7)
        weights = one.weights("first", rng.uniform(0.0, 8.0, 9)) - one.weights("second", np.full(9, 3.0), np.zeros(9))
        whole = np.diag(weights @ one.covariance @ weights.T)
        np.testing.assert_allclose(one.variance(weights), whole, rtol=1e-12)
        assert not one.variance(np.zeros((2, one.mean.size))).any()

    def test_what_only_shows_as_a_difference_ties_two_tables_together(self) -> None:
        one = belief()
        x, y = np.array([2.0]), np.array([0.0])
        learnt = one.learn(one.weights("first", x) - one.weights("second", x, y), np.zeros(1), np.array([0.01]))
        tie = learnt.covariance[:5, 5:]
        assert tie[1, 5] > 0  # if the one is higher, so is the other
        together = learnt.weights("first", x) - learnt.weights("second", x, y)
        alone = learnt.weights("first", x)
        assert float((together @ learnt.covariance @ together.T).item()) == pytest.approx(0.01**2, rel=0.01)
        assert float((alone @ learnt.covariance @ alone.T).item()) > 0.1**2

    def test_learning_in_two_parts_is_learning_at_once(self) -> None:
        one = belief()
        x = np.array([1.0, 2.5, 4.2, 6.0])
        weights, seen, sd = one.weights("first", x), np.array([0.05, 0.1, -0.02, 0.07]), np.full(4, 0.2)
        at_once = one.learn(weights, seen, sd)
        first = one.learn(weights[:2], seen[:2], sd[:2])
        moved = seen[2:] - weights[2:] @ (first.mean - one.mean)  # residuals are against the present mean
        parts = first.learn(weights[2:], moved, sd[2:])
        np.testing.assert_allclose(parts.mean, at_once.mean, atol=1e-9)
        np.testing.assert_allclose(parts.covariance, at_once.covariance, atol=1e-9)

    def test_an_outlier_pulls_no_harder_than_two_standard_deviations(self) -> None:
        one = belief()
        x = np.full(9, 2.0)
        weights, sd = one.weights("first", x), np.full(9, 0.05)
        clean = np.full(9, 0.1)
        pulls = []
        for outlier in (0.2, 1.0, 5.0, 50.0):
            seen = np.append(clean[:8], outlier)
            pulls.append(float(one.learn(weights, seen, sd).mean[1] - one.learn(weights, clean, sd).mean[1]))
        assert 0 < pulls[0] < 0.05
        # Huber: two standard deviations of one point among nine are 0.1 / 8, and a little more since the others then
        # lie off too; without it the pulls would be 0.1, 0.5 and 5.5
        for pull in pulls[1:]:
            assert pull == pytest.approx(0.1 / 8, rel=0.2)

    def test_nothing_seen_changes_nothing(self) -> None:
        one = belief()
        assert one.learn(np.empty((0, 25)), np.empty(0), np.empty(0)) is one

    def test_loosened_adds_to_the_tables_named_and_to_no_other(self) -> None:
        one = belief()
        by = Smoothness(0.05, 0.02, (2.0,))
        loose = one.loosened({"first": by})
        np.testing.assert_allclose(loose.covariance[:5, :5], one.covariance[:5, :5] + ONE_AXIS.covariance(by))
        np.testing.assert_array_equal(loose.covariance[5:, 5:], one.covariance[5:, 5:])
        np.testing.assert_array_equal(loose.mean, one.mean)

    def test_the_mean_at_a_place(self) -> None:
        one = belief()
        x = np.array([0.0, 3.0, 9.0])
        np.testing.assert_allclose(one.at("first", x), np.interp(x, PRESSURES, one.mean[:5]))
        np.testing.assert_allclose(one.weights("first", x) @ one.mean, one.at("first", x))
