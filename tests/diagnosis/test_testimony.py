"""Groups of findings that share unknowns: a chain of conditionals, each judged given those before it."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from airproof.diagnosis.finding import Finding
from airproof.diagnosis.testimony import TAIL, group, log_t, single

SIZES = 4


def findings(count: int) -> list[Finding]:
    return [Finding(f"f{k}", float(k), 1.0, "%", (-1.0, 1.0), (), "so.") for k in range(count)]


def covariance(count: int, seed: int = 0) -> np.ndarray:
    root = np.random.default_rng(seed).normal(size=(count, count))
    return root @ root.T + 0.5 * np.eye(count)


def deviations(count: int, seed: int = 1) -> dict[str, np.ndarray]:
    rng = np.random.default_rng(seed)
    return {"none": rng.normal(size=(1, count)), "map-gain": rng.normal(size=(SIZES, count))}


def test_log_t_is_students_t_up_to_a_constant() -> None:
    z = np.linspace(-30.0, 30.0, 61)
    for scale in (0.3, 1.0, 5.0):
        ours = log_t(z, scale)
        scipys = stats.t.logpdf(z * scale, TAIL, scale=scale)
        np.testing.assert_allclose(ours - ours[30], scipys - scipys[30], atol=1e-12)
    # the constant is the same whatever the scale, so that hypotheses of different certainty can be compared
    apart = log_t(np.zeros(1), 2.0) - log_t(np.zeros(1), 1.0)
    assert apart[0] == pytest.approx(stats.t.logpdf(0, TAIL, scale=2.0) - stats.t.logpdf(0, TAIL), abs=1e-12)


def test_a_finding_misled_by_far_does_not_outweigh_everything() -> None:
    # ten standard deviations: a Gaussian would weigh 217 decibans
    weight = 10.0 / np.log(10.0) * float(log_t(np.zeros(1))[0] - log_t(np.full(1, 10.0))[0])
    assert 30 < weight < 45


@pytest.mark.parametrize("count", [1, 2, 5])
def test_each_is_judged_given_those_before_it(count: int) -> None:
    """Conditional mean and variance by the textbook formula, then Student's t with that scale."""
    total, off = covariance(count), deviations(count)
    told = group(findings(count), off, total)
    for cause, rows in off.items():
        for k in range(count):
            before = slice(0, k)
            gain = total[k, before] @ np.linalg.inv(total[before, before]) if k else np.zeros(0)
            mean = rows[:, before] @ gain
            sd = float(np.sqrt(total[k, k] - gain @ total[before, k]))
            wanted = stats.t.logpdf(rows[:, k], TAIL, loc=mean, scale=sd) - stats.t.logpdf(0.0, TAIL)
            np.testing.assert_allclose(told[k].log_likelihood[cause], wanted, atol=1e-9)


def test_with_a_gaussian_in_place_of_t_the_chain_is_the_joint_density(monkeypatch: pytest.MonkeyPatch) -> None:
    def log_normal(z: np.ndarray, scale: np.ndarray | float = 1.0) -> np.ndarray:
        return np.asarray(-0.5 * np.square(z) - 0.5 * np.log(2 * np.pi) - np.log(scale))

    monkeypatch.setattr("airproof.diagnosis.testimony.log_t", log_normal)
    total, off = covariance(4), deviations(4)
    told = group(findings(4), off, total)
    for cause, rows in off.items():
        joint = sum(one.log_likelihood[cause] for one in told)
        np.testing.assert_allclose(joint, stats.multivariate_normal(cov=total).logpdf(rows), atol=1e-9)


def test_without_shared_unknowns_each_stands_alone() -> None:
    sds = np.array([0.5, 2.0, 1.0])
    off = deviations(3)
    told = group(findings(3), off, np.diag(sds**2))
    for k, finding in enumerate(findings(3)):
        alone = single(finding, {cause: rows[:, k] for cause, rows in off.items()}, float(sds[k]))
        assert told[k].finding == finding
        for cause in off:
            np.testing.assert_allclose(told[k].log_likelihood[cause], alone.log_likelihood[cause], atol=1e-12)


def test_the_same_thing_said_twice_counts_once() -> None:
    # two findings that hang on one unknown almost wholly
    total = np.full((2, 2), 4.0) + 1e-4 * np.eye(2)
    off = {"none": np.array([[6.0, 6.0]]), "map-gain": np.array([[0.0, 0.0]])}
    told = group(findings(2), off, total)
    gain = [one.log_likelihood["map-gain"][0] - one.log_likelihood["none"][0] for one in told]
    assert gain[0] > 2.0
    assert abs(gain[1]) < 0.01


def test_blur_makes_a_cause_less_certain_of_every_finding_and_of_all_at_once() -> None:
    total, off = covariance(3), deviations(3)
    blurred = group(findings(3), off, total, {"map-gain": 1.5})
    by_hand = group(findings(3), off, total + 1.5**2 * (np.eye(3) + np.ones((3, 3))))
    plain = group(findings(3), off, total)
    for k in range(3):
        np.testing.assert_allclose(blurred[k].log_likelihood["map-gain"], by_hand[k].log_likelihood["map-gain"])
        np.testing.assert_allclose(blurred[k].log_likelihood["none"], plain[k].log_likelihood["none"])


def test_otherwise_is_a_mixture_of_the_whole_group() -> None:
    share, total, off = 0.15, covariance(3), deviations(3)
    instead = {"map-gain": np.broadcast_to(off["none"], (SIZES, 3))}
    mixed = group(findings(3), off, total, otherwise={"map-gain": (np.full(SIZES, share), instead["map-gain"])})
    as_computed = group(findings(3), off, total)
    unanswered = group(findings(3), {"map-gain": instead["map-gain"]}, total)
    joint = sum(one.log_likelihood["map-gain"] for one in mixed)
    first = sum(one.log_likelihood["map-gain"] for one in as_computed)
    second = sum(one.log_likelihood["map-gain"] for one in unanswered)
    # either all of the group comes about as computed, or none of it does
    np.testing.assert_allclose(np.exp(joint), (1 - share) * np.exp(first) + share * np.exp(second), rtol=1e-9)
    for k in range(3):
        np.testing.assert_allclose(mixed[k].log_likelihood["none"], as_computed[k].log_likelihood["none"])


def test_otherwise_leaves_the_first_finding_a_plain_mixture() -> None:
    off = {"none": np.zeros((1, 2)), "a": np.array([[3.0, 3.0]])}
    mixed = group(findings(2), off, np.eye(2), otherwise={"a": (np.array([0.4]), np.zeros((1, 2)))})
    wanted = np.logaddexp(np.log(0.6) + log_t(np.full(1, 3.0)), np.log(0.4) + log_t(np.zeros(1)))
    np.testing.assert_allclose(mixed[0].log_likelihood["a"], wanted)


def test_units_do_not_matter() -> None:
    """The same findings in other units: every cause moves by the same constant."""
    total, off = covariance(3), deviations(3)
    plain = group(findings(3), off, total)
    scaled = group(findings(3), {cause: 7.0 * rows for cause, rows in off.items()}, 49.0 * total)
    for one, other in zip(plain, scaled, strict=True):
        moved = other.log_likelihood["map-gain"] - one.log_likelihood["map-gain"]
        np.testing.assert_allclose(moved, -np.log(7.0), atol=1e-9)
        np.testing.assert_allclose(other.log_likelihood["none"] - one.log_likelihood["none"], -np.log(7.0), atol=1e-9)
