"""The arithmetic of learning against scipy.stats, pyAgrum, a textbook's table and brute-force integrals."""

from __future__ import annotations

import math
import warnings

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, optimize, special, stats

from airproof.repair.learned.conjugate import (
    Beta,
    LogMean,
    Moments,
    log_mean,
    moments_of,
    share_of,
    shares,
    unnamed,
    within,
)

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # its bindings warn when they are loaded; as an error that would end the process
    gum = pytest.importorskip(
        "pyagrum",
        reason="pyagrum cannot be loaded; on Debian and Ubuntu it needs: apt install libgomp1",
        exc_type=ImportError,
    )

quiet = settings(derandomize=True, max_examples=60, deadline=None)
counts = st.floats(0.0, 500.0)
chances = st.floats(0.001, 0.999)


@quiet
@given(chances, st.floats(1.1, 5.0), counts, counts)
def test_a_chance_is_learned_as_scipy_has_the_beta(p: float, factor: float, yes: float, no: float) -> None:
    prior = within(p, factor)
    after = prior.and_then(yes, no)
    reference = stats.beta(prior.yes + yes, prior.no + no)
    assert after.mean == pytest.approx(reference.mean(), rel=1e-12)
    assert after.interval() == pytest.approx(reference.ppf([0.05, 0.95]), rel=1e-6, abs=1e-12)


@pytest.mark.parametrize(
    ("weight", "median", "low", "high"),
    [(2, 0.446, 0.415, 0.477), (20, 0.447, 0.416, 0.478), (100, 0.450, 0.420, 0.479), (200, 0.453, 0.424, 0.481)],
)
def test_a_textbook_s_table(weight: float, median: float, low: float, high: float) -> None:
    # Gelman et al., Bayesian Data Analysis, section 2.4: 437 girls of 980 births, prior mean .485 (first row .5) worth
    # so many births; median and 95 % interval. From memory, printed to three digits.
    mean = 0.5 if weight == 2 else 0.485
    after = Beta(mean * weight, (1.0 - mean) * weight).and_then(437, 980 - 437)
    assert after.interval(1e-9)[0] == pytest.approx(median, abs=6e-4)
    assert after.interval(0.95) == pytest.approx((low, high), abs=6e-4)


@pytest.mark.parametrize(("p", "factor"), [(0.5, 2.0), (0.9, 1.8), (0.002, 2.5), (0.05, 1.6), (0.95, 2.0)])
def test_the_odds_of_a_judged_chance_spread_by_its_factor(p: float, factor: float) -> None:
    prior = within(p, factor)
    assert prior.mean == pytest.approx(p, rel=1e-12)

    def moment(power: int) -> float:
        def density(t: float) -> float:
            log_p, log_q = -np.logaddexp(0.0, -t), -np.logaddexp(0.0, t)
            return float(t**power * np.exp(prior.yes * log_p + prior.no * log_q - special.betaln(prior.yes, prior.no)))

        return float(integrate.quad(density, -60.0, 60.0, points=[math.log(p / (1.0 - p))], limit=400)[0])

    variance = moment(2) - moment(1) ** 2
    assert math.sqrt(variance) == pytest.approx(math.log(factor), rel=1e-6)


@quiet
@given(st.lists(st.tuples(st.floats(0.05, 30.0), st.floats(0.0, 200.0)), min_size=2, max_size=12))
def test_shares_are_the_dirichlet_s_where_every_engine_can_have_every_cause(pairs: list[tuple[float, float]]) -> None:
    prior, seen = (np.array(column) for column in zip(*pairs, strict=True))
    half = seen / 2.0
    weight, exposure = shares(prior, [(half, np.ones_like(prior)), (half, np.ones_like(prior))])
    reference = stats.dirichlet(prior + seen)
    assert weight / weight.sum() == pytest.approx(reference.mean(), rel=1e-9)
    for i in range(prior.size):
        margin = share_of(i, prior + seen, exposure)
        rest = float((prior + seen).sum() - (prior + seen)[i])
        assert (margin.yes, margin.no) == pytest.approx((float((prior + seen)[i]), rest), rel=1e-9)


def test_shares_where_some_engines_cannot_have_some_causes() -> None:
    # The choice rule's own optimum, found by a general optimiser: the gamma prior's log density in log weights plus the
    # log likelihood of every job among what its engine can have.
    prior = np.array([4.0, 2.0, 1.0, 3.0])
    kinds = [
        (np.array([30.0, 5.0, 0.0, 2.0]), np.array([1.0, 1.0, 0.0, 1.0])),
        (np.array([3.0, 4.0, 12.0, 0.5]), np.ones(4)),
        (np.array([1.0, 0.0, 2.0, 0.0]), np.array([1.0, 0.5, 0.5, 0.0])),
    ]

    def surprise(logs: np.ndarray) -> float:
        weight = np.exp(logs)
        total = float(prior @ logs - weight.sum())
        for count, exposed in kinds:
            able = exposed > 0.0
            total += float(count[able] @ (logs + np.log(np.where(able, exposed, 1.0)))[able])
            total -= float(count.sum() * np.log(exposed @ weight))
        return -total

    best = optimize.minimize(surprise, np.log(prior), method="BFGS", options={"gtol": 1e-9})
    weight, _ = shares(prior, kinds)
    assert weight / weight.sum() == pytest.approx(np.exp(best.x) / np.exp(best.x).sum(), rel=1e-5)


def test_shares_agree_with_a_bayesian_network_library() -> None:
    seen = {"a": 7, "b": 2, "c": 1}
    table = pd.DataFrame({"cause": [c for c, n in seen.items() for _ in range(n)]})
    template = gum.BayesNet()
    template.add(gum.LabelizedVariable("cause", "cause", list(seen)))
    learner = gum.BNLearner(table, template)
    learner.useSmoothingPrior(2.5)  # as many pseudo-counts in every cell
    learned = learner.learnParameters(gum.DAG(template.dag()))
    weight, _ = shares(np.full(3, 2.5), [(np.array([7.0, 2.0, 1.0]), np.ones(3))])
    assert weight / weight.sum() == pytest.approx(learned.cpt("cause").toarray(), rel=1e-12)


def _brute_force(prior: Beta, alike: float, yes: np.ndarray, count: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Log odds of m and the posterior weight of each, on a grid far finer than needed."""
    t = np.linspace(-25.0, 15.0, 40_001)
    m = special.expit(t)
    density = prior.yes * np.log(m) + prior.no * np.log1p(-m)
    for y, n in zip(yes, count, strict=True):
        density = density + stats.betabinom(round(n), alike * m, alike * (1.0 - m)).logpmf(round(y))
    weight = np.exp(density - density.max())
    return t, weight / weight.sum()


@pytest.mark.parametrize(
    ("p", "yes", "count"),
    [(0.05, [0, 1, 0], [3, 4, 1]), (0.002, [0, 0, 9], [900, 2000, 50]), (0.75, [40, 3], [50, 30]), (0.04, [60], [70])],
)
def test_pooling_among_unnamed_causes_is_the_integral_it_stands_for(p: float, yes: list[int], count: list[int]) -> None:
    prior, alike = within(p, 2.0), 20.0
    y, n = np.array(yes, dtype=float), np.array(count, dtype=float)
    found = unnamed(prior, alike, y, n)
    t, weight = _brute_force(prior, alike, y, n)
    m = special.expit(t)
    assert found.mean == pytest.approx(float(weight @ m), rel=1e-5)
    ends = special.expit(np.interp([0.05, 0.95], np.cumsum(weight), t))
    assert found.interval() == pytest.approx(tuple(ends), rel=0.01)
    for one, of in zip(yes, count, strict=True):
        own = found.own(one, of)
        assert own.mean == pytest.approx(float(weight @ ((alike * m + one) / (alike + of))), rel=1e-5)
        low, high = own.interval()
        below = [float(weight @ stats.beta(alike * m + one, alike * (1.0 - m) + of - one).cdf(x)) for x in (low, high)]
        assert below == pytest.approx([0.05, 0.95], abs=1e-4)


def test_an_unnamed_cause_lies_between_its_own_jobs_and_the_others() -> None:
    found = unnamed(within(0.05, 2.0), 20.0, np.array([9.0, 1.0]), np.array([10.0, 40.0]))
    assert 1.0 / 40.0 < found.own(1.0, 40.0).mean < found.mean < found.own(9.0, 10.0).mean < 9.0 / 10.0


def test_minutes_are_learned_as_the_closed_form_has_it() -> None:
    # Normal-inverse-gamma, Bayesian Data Analysis section 3.3 (from memory): mu0, kappa0, a0, b0 and five amounts.
    prior = LogMean(mu=3.0, count=2.0, a=4.0, b=0.5)
    amounts = [22.0, 31.0, 18.0, 25.0, 40.0]
    x = np.log(amounts)
    after = prior.and_then(moments_of(amounts))
    assert after.count == 7.0
    assert after.mu == pytest.approx((2.0 * 3.0 + x.sum()) / 7.0)
    assert after.a == 6.5
    assert after.b == pytest.approx(0.5 + 0.5 * np.var(x) * 5 + 2.0 * 5.0 * (x.mean() - 3.0) ** 2 / (2.0 * 7.0))
    one_by_one = prior
    for amount in amounts:
        one_by_one = one_by_one.and_then(moments_of([amount]))
    assert one_by_one.b == pytest.approx(after.b, rel=1e-9)


def test_the_next_amount_is_student_t_and_the_mean_s_interval_holds_nine_of_ten() -> None:
    after = log_mean(25.0, 1.5, 1.4, 10.0).and_then(moments_of([22.0, 31.0, 18.0]))
    scale = math.sqrt(after.b / after.a * (1.0 + 1.0 / after.count))
    reference = stats.t(2.0 * after.a, loc=after.mu, scale=scale)
    assert after.next_one() == pytest.approx(np.exp(reference.ppf([0.05, 0.95])), rel=1e-9)
    rng = np.random.default_rng(5)
    variance = stats.invgamma(after.a, scale=after.b).rvs(400_000, random_state=rng)
    mean = np.exp(rng.normal(after.mu, np.sqrt(variance / after.count)) + variance / 2.0)
    low, high = after.interval()
    assert np.mean(mean < low) == pytest.approx(0.05, abs=0.002)
    assert np.mean(mean > high) == pytest.approx(0.05, abs=0.002)


@quiet
@given(st.floats(1.0, 5000.0), st.floats(1.05, 3.0), st.floats(1.05, 3.0), st.floats(1.0, 100.0))
def test_without_amounts_the_mean_is_the_judged_one(judged: float, factor: float, spread: float, jobs: float) -> None:
    prior = log_mean(judged, factor, spread, jobs)
    assert prior.and_then(Moments(0.0, 0.0, 0.0)) is prior
    assert prior.mean == pytest.approx(judged, rel=1e-12)
    low, high = prior.interval()
    assert low < judged < high


def test_more_jobs_narrow_every_interval() -> None:
    def width(belief: Beta | LogMean) -> float:
        low, high = belief.interval()
        return math.log(high / low)

    prior = log_mean(25.0, 1.5, 1.4, 10.0)
    widths = [width(prior.and_then(moments_of([20.0, 30.0] * n))) for n in (0, 1, 10, 100)]
    assert widths == sorted(widths, reverse=True)
    chance = [width(within(0.6, 2.0).and_then(6.0 * n, 4.0 * n)) for n in (0, 1, 10, 100)]
    assert chance == sorted(chance, reverse=True)
