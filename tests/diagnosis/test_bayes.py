"""Bayes' rule against brute-force enumeration, and weights of evidence that add up to the last digit."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from airproof.diagnosis.bayes import interval, posterior_of, weigh_testimonies
from airproof.diagnosis.finding import Finding
from airproof.diagnosis.testimony import Testimony as Told  # under its own name it would be collected as a test

CAUSES = {"none": 1, "map-offset": 5, "vacuum-leak": 3}


def said(rows: dict[str, np.ndarray], name: str = "f") -> Told:
    return Told(Finding(name, 0.0, 1.0, "kPa", (-1.0, 1.0), (), "so."), rows)


def random_case(seed: int, count: int) -> tuple[dict[str, np.ndarray], list[Told]]:
    rng = np.random.default_rng(seed)
    prior = {cause: rng.uniform(0.1, 1.0, size) for cause, size in CAUSES.items()}
    total = sum(rows.sum() for rows in prior.values())
    log_prior = {cause: np.log(rows / total) for cause, rows in prior.items()}
    told = [said({cause: rng.normal(0.0, 3.0, size) for cause, size in CAUSES.items()}, f"f{k}") for k in range(count)]
    return log_prior, told


def enumerated(log_prior: dict[str, np.ndarray], told: list[Told]) -> dict[tuple[str, int], float]:
    """Every hypothesis one by one, in plain arithmetic."""
    joint = {}
    for cause, rows in log_prior.items():
        for k in range(rows.size):
            product = float(np.exp(rows[k]))
            for one in told:
                product *= float(np.exp(one.log_likelihood[cause][k]))
            joint[cause, k] = product
    total = sum(joint.values())
    return {key: value / total for key, value in joint.items()}


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("count", [0, 1, 4])
def test_equals_enumeration(seed: int, count: int) -> None:
    log_prior, told = random_case(seed, count)
    posterior = weigh_testimonies(log_prior, told)
    by_hand = enumerated(log_prior, told)
    for cause, size in CAUSES.items():
        of_cause = sum(by_hand[cause, k] for k in range(size))
        assert posterior.probability[cause] == pytest.approx(of_cause, rel=1e-10)
        np.testing.assert_allclose(posterior.sizes[cause], [by_hand[cause, k] / of_cause for k in range(size)])
    assert sum(posterior.probability.values()) == pytest.approx(1.0, abs=1e-12)


def test_without_testimony_the_prior_stands() -> None:
    log_prior, _ = random_case(1, 0)
    before = {cause: rows.copy() for cause, rows in log_prior.items()}
    posterior = weigh_testimonies(log_prior, [])
    for cause, rows in before.items():
        assert posterior.probability[cause] == pytest.approx(np.exp(rows).sum())
    assert posterior.weights == ()


def test_the_prior_is_left_as_it_was() -> None:
    log_prior, told = random_case(2, 3)
    before = {cause: rows.copy() for cause, rows in log_prior.items()}
    weigh_testimonies(log_prior, told)
    for cause, rows in before.items():
        np.testing.assert_array_equal(log_prior[cause], rows)


def test_order_never_moves_the_result() -> None:
    log_prior, told = random_case(3, 4)
    first = weigh_testimonies(log_prior, told)
    for order in itertools.permutations(told):
        other = weigh_testimonies(log_prior, list(order))
        for cause in CAUSES:
            assert other.probability[cause] == pytest.approx(first.probability[cause], rel=1e-12)
            np.testing.assert_allclose(other.sizes[cause], first.sizes[cause], rtol=1e-10)


@settings(derandomize=True, deadline=None, max_examples=40)
@given(st.integers(0, 1000), st.floats(-200.0, 200.0))
def test_scaling_a_likelihood_changes_nothing(seed: int, shift: float) -> None:
    log_prior, told = random_case(seed, 2)
    plain = weigh_testimonies(log_prior, told)
    scaled = said({cause: rows + shift for cause, rows in told[0].log_likelihood.items()})
    other = weigh_testimonies(log_prior, [scaled, told[1]])
    for cause in CAUSES:
        assert other.probability[cause] == pytest.approx(plain.probability[cause], rel=1e-9)
        assert other.weights[0][cause] == pytest.approx(plain.weights[0][cause], abs=1e-8)


@settings(derandomize=True, deadline=None, max_examples=40)
@given(st.integers(0, 1000), st.integers(0, 6))
def test_decibans_and_those_before_add_up_to_the_posterior_odds(seed: int, count: int) -> None:
    log_prior, told = random_case(seed, count)
    posterior = weigh_testimonies(log_prior, told)
    by_hand = enumerated(log_prior, told)
    for cause, size in CAUSES.items():
        p = sum(by_hand[cause, k] for k in range(size))
        rest = sum(value for (other, _), value in by_hand.items() if other != cause)
        total = posterior.before[cause] + sum(weights[cause] for weights in posterior.weights)
        assert total == pytest.approx(10.0 * np.log10(p / rest), abs=1e-9)


def two_way(ratio: float, times: int = 1, prior: float = 0.5) -> tuple[float, float, float]:
    """Decibans of the testimonies, of the prior odds, and the posterior odds, of one cause against one other."""
    log_prior = {"a": np.log([prior]), "b": np.log([1.0 - prior])}
    told = [said({"a": np.log([ratio]), "b": np.zeros(1)}) for _ in range(times)]
    posterior = weigh_testimonies(log_prior, told)
    odds = posterior.probability["a"] / posterior.probability["b"]
    return sum(w["a"] for w in posterior.weights), posterior.before["a"], odds


@pytest.mark.parametrize(
    ("ratio", "decibans"),
    # CHECK_VALUES section 8, weight of evidence: 10 log10 of the likelihood ratio
    [(2.0, 3.0103), (3.0, 4.7712), (5.0, 6.9897), (10.0, 10.0), (20.0, 13.0103), (100.0, 20.0)],
)
def test_weights_of_evidence(ratio: float, decibans: float) -> None:
    assert two_way(ratio)[0] == pytest.approx(decibans, abs=5e-5)
    assert two_way(1.0 / ratio)[0] == pytest.approx(-decibans, abs=5e-5)


def test_one_deciban_is_1_2589_to_one() -> None:
    assert two_way(1.2589)[0] == pytest.approx(1.0, abs=2e-4)


def test_the_double_headed_penny_of_the_general_report_on_tunny() -> None:
    # p. 39 (ellsbury.com/tunny/tunny-039.htm, read): twenty heads running, one penny in 10,000 double-headed, about
    # 3 db each: 60 - 40 = 20 db, 100 to 1 on. Exactly 20.206 db, 104.86 : 1 with prior odds of 1e-4.
    odds = 1e-4
    weight, before, posterior = two_way(2.0, 20, odds / (1.0 + odds))
    assert before == pytest.approx(-40.0, abs=1e-9)
    assert weight == pytest.approx(60.206, abs=5e-4)
    assert weight + before == pytest.approx(20.206, abs=5e-4)
    assert posterior == pytest.approx(104.86, abs=5e-3)


def test_a_single_hypothesis_is_certain() -> None:
    posterior = weigh_testimonies({"none": np.zeros(1)}, [])
    assert posterior.probability == {"none": 1.0}


def test_what_is_hardly_possible_stays_a_number() -> None:
    log_prior = {"a": np.log([0.5]), "b": np.log([0.5])}
    posterior = weigh_testimonies(log_prior, [said({"a": np.array([-5000.0]), "b": np.array([-9000.0])})])
    assert posterior.probability["a"] == pytest.approx(1.0)
    assert np.isfinite(posterior.weights[0]["a"])


class TestInterval:
    def test_even_mass_is_a_straight_line(self) -> None:
        sizes = np.linspace(0.0, 10.0, 1001)
        middle, low, high = interval(sizes, np.full(1001, 1 / 1001))
        assert (middle, low, high) == pytest.approx((5.0, 0.5, 9.5), abs=0.02)

    def test_a_gaussian(self) -> None:
        sizes = np.linspace(-30.0, 30.0, 2001)
        mass = np.exp(-0.5 * np.square((sizes - 8.0) / 2.0))
        middle, low, high = interval(sizes, mass / mass.sum())
        # the normal distribution's 5 % and 95 % points lie 1.6449 standard deviations out
        assert (middle, low, high) == pytest.approx((8.0, 8.0 - 3.2897, 8.0 + 3.2897), abs=0.02)

    def test_all_mass_at_one_size(self) -> None:
        middle, low, high = interval(np.array([1.0, 2.0, 4.0]), np.array([0.0, 1.0, 0.0]))
        assert low < middle < high
        assert low >= 1.5
        assert high <= 3.0

    def test_a_cause_without_a_size(self) -> None:
        assert interval(np.zeros(1), np.ones(1)) == (0.0, 0.0, 0.0)


class TestFairShares:
    """Who is heard first takes more of what two witnesses say alike; the mean over orders is each one's fair share."""

    def exact(self, log_prior: dict[str, np.ndarray], told: list[Told]) -> np.ndarray:
        """The mean over all orders, (testimonies, causes), each order in plain arithmetic."""

        def decibans(heard: list[Told]) -> np.ndarray:
            joint = enumerated(log_prior, heard)
            of = [sum(v for (c, _), v in joint.items() if c == cause) for cause in CAUSES]
            return np.array([10 * np.log10(p / (1.0 - p)) for p in of])

        shares = np.zeros((len(told), len(CAUSES)))
        orders = list(itertools.permutations(range(len(told))))
        for order in orders:
            for k, which in enumerate(order):
                before = [told[i] for i in order[:k]]
                shares[which] += decibans([*before, told[which]]) - decibans(before)
        return shares / len(orders)

    def test_of_two_it_is_the_mean_of_both_orders(self) -> None:
        log_prior, told = random_case(11, 2)
        found = weigh_testimonies(log_prior, told).weights
        wanted = self.exact(log_prior, told)
        for k, weights in enumerate(found):
            np.testing.assert_allclose([weights[c] for c in CAUSES], wanted[k], atol=1e-9)

    def test_of_more_it_is_near_the_mean_of_all_orders(self) -> None:
        log_prior, told = random_case(12, 4)
        found = weigh_testimonies(log_prior, told).weights
        wanted = self.exact(log_prior, told)
        spread = np.ptp(wanted)
        for k, weights in enumerate(found):
            np.testing.assert_allclose([weights[c] for c in CAUSES], wanted[k], atol=0.1 * spread)

    def test_two_witnesses_who_say_the_same_share_alike(self) -> None:
        log_prior, told = random_case(13, 1)
        twice = weigh_testimonies(log_prior, [told[0], told[0]]).weights
        for cause in CAUSES:
            assert twice[0][cause] == pytest.approx(twice[1][cause], abs=1e-9)

    def test_the_same_case_gives_the_same_shares(self) -> None:
        log_prior, told = random_case(14, 5)
        assert weigh_testimonies(log_prior, told).weights == weigh_testimonies(log_prior, told).weights

    def test_the_posterior_alone_is_the_same(self) -> None:
        log_prior, told = random_case(15, 4)
        whole, bare = weigh_testimonies(log_prior, told), posterior_of(log_prior, told)
        assert bare.probability == whole.probability
        assert bare.weights == ()
        for cause in CAUSES:
            np.testing.assert_array_equal(bare.sizes[cause], whole.sizes[cause])


def test_an_open_sign_gives_the_size_of_the_likelier_one() -> None:
    sizes = np.concatenate([-np.linspace(10.0, 2.0, 50), np.linspace(2.0, 10.0, 50)])
    mass = np.concatenate([np.full(50, 0.4 / 50), np.full(50, 0.6 / 50)])
    value, low, high = interval(sizes, mass)
    assert value == pytest.approx(6.0, abs=0.3)
    assert low < -8.0
    assert high > 8.0
    assert interval(sizes, mass[::-1])[0] == pytest.approx(-6.0, abs=0.3)


@pytest.mark.parametrize("least", [-1e-15, 0.0, 1e-15])
def test_a_sign_open_by_even_chances_is_positive_whatever_the_last_digit_says(least: float) -> None:
    value, _, _ = interval(np.array([-4.0, -2.0, 2.0, 4.0]), np.array([0.25, 0.25 - least, 0.25 + least, 0.25]))
    assert value == pytest.approx(interval(np.array([-4.0, -2.0, 2.0, 4.0]), np.full(4, 0.25))[0], abs=1e-9)
    assert value > 0.0
