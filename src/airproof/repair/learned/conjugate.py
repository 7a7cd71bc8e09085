"""The arithmetic of learning: what is believed of a number before, and after so many counts.

Everything here is pure: floats in, floats out. Probabilities are beta distributed, shares Dirichlet, the means of
minutes and prices log-normal with a normal-inverse-gamma prior (Gelman et al., Bayesian Data Analysis, 3rd edition,
sections 2.4, 3.3 and 3.4; from memory, and checked in the tests against scipy.stats and brute-force integrals).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

Floats = NDArray[np.float64]

LEVEL = 0.90
"""Of every interval here: as much lies below it as above."""

HARDLY_EVER, NEARLY_ALWAYS = 1e-6, 1.0 - 1e-3
"""A judged probability beyond these is taken as these: a prior that excludes nothing can learn. judged: Airproof
authors, some causes are one in a million, but no step of a workshop succeeds more surely than 999 times in 1000."""

STEADY = 1e-12
NEWTON, BISECTIONS = 12, 64
MOST_ROUNDS = 10_000


@dataclass(frozen=True)
class Beta:
    """A probability, as so many that were and so many that were not."""

    yes: float
    no: float

    @property
    def mean(self) -> float:
        """Probability of the next one."""
        return self.yes / (self.yes + self.no)

    def and_then(self, yes: float, no: float) -> Beta:
        """After more counts."""
        return Beta(self.yes + yes, self.no + no)

    def interval(self, level: float = LEVEL) -> tuple[float, float]:
        """Lower and upper end, equal tails."""
        tail = (1.0 - level) / 2.0
        return (
            float(special.betaincinv(self.yes, self.no, tail)),
            float(special.betainccinv(self.yes, self.no, tail)),
        )


@lru_cache(maxsize=4096)
def within(probability: float, factor: float) -> Beta:
    """A judged probability whose odds are right within a factor, one standard deviation of their logarithm.

    The logarithm of the odds of a beta has the variance psi'(yes) + psi'(no), psi' the trigamma function; the weight
    yes + no is where that is (ln factor)^2 at the mean asked for.
    """
    p = min(max(probability, HARDLY_EVER), NEARLY_ALWAYS)
    wanted = math.log(factor) ** 2

    weight = 1.0 / (wanted * p * (1.0 - p))
    for _ in range(NEWTON):
        variance = special.polygamma(1, p * weight) + special.polygamma(1, (1.0 - p) * weight)
        slope = p * special.polygamma(2, p * weight) + (1.0 - p) * special.polygamma(2, (1.0 - p) * weight)
        # Newton's step on logarithms, in which the variance falls almost straight with the weight.
        weight *= math.exp(float(np.log(wanted / variance) * variance / (weight * slope)))
    return Beta(p * weight, (1.0 - p) * weight)


def _quantile(below: Callable[[float], float], share: float, low: float, high: float) -> float:
    """Where a distribution function reaches a share."""
    for _ in range(BISECTIONS):
        middle = (low + high) / 2.0
        low, high = (middle, high) if below(middle) < share else (low, middle)
    return (low + high) / 2.0


def shares(prior: Floats, kinds: Sequence[tuple[Floats, Floats]]) -> tuple[Floats, Floats]:
    """Weights (n,) of n causes and the exposure (n,) each was counted at, from jobs on several kinds of engine.

    `prior` (n,): pseudo-counts. Each kind is its counts (n,) and its exposures (n,): 1 where such an engine can have
    the cause, 0 where it cannot, between where nobody knows. A job on a kind finds cause c with probability
    proportional to exposure times weight (Luce's choice rule), and the weights are gamma distributed. Where all
    exposures are 1 the weights, scaled to sum to 1, are the mean of the Dirichlet distribution (prior + counts);
    elsewhere they are the fixed point of the same step, exposure of each kind given weights and weights given exposure
    (Caron & Doucet 2012, from memory). Weights are scaled so that the prior counts once at exposure 1.
    """
    counts = np.sum([count for count, _ in kinds], axis=0) if kinds else np.zeros_like(prior)
    weight: Floats = prior.astype(np.float64)
    exposure = np.ones_like(weight)
    for _ in range(MOST_ROUNDS):
        exposure = np.ones_like(weight)
        for count, exposed in kinds:
            met = float(exposed @ weight)
            if met > 0.0:
                exposure = exposure + exposed * (float(count.sum()) / met)
        new = (prior + counts) / exposure
        moved = float(np.max(np.abs(new - weight) / weight))
        weight = new
        if moved < STEADY:
            break
    return weight, exposure


def share_of(number: int, counted: Floats, exposure: Floats) -> Beta:
    """The share of one cause among all: the Dirichlet's margin where all were counted at one exposure, and near it
    elsewhere. `counted` (n,) are prior and counts together.
    """
    weight = counted / exposure
    rest = float(weight.sum() - weight[number])
    return Beta(float(counted[number]), float(exposure[number]) * rest)


@dataclass(frozen=True)
class Unnamed:
    """One probability for all causes that are not named, and each cause's own near it.

    Cause c has p_c ~ Beta(alike m, alike (1 - m)), and m is beta distributed itself: given m everything is conjugate,
    and m is integrated on a grid (G,) of its log odds. `weight` (G,) of each m after the counts.
    """

    m: Floats
    weight: Floats
    alike: float

    @property
    def mean(self) -> float:
        """Of m: the probability for a cause that was never met."""
        return float(self.weight @ self.m)

    def interval(self, level: float = LEVEL) -> tuple[float, float]:
        """Of m, equal tails."""
        tail = (1.0 - level) / 2.0
        odds = np.log(self.m) - np.log1p(-self.m)
        between = np.linspace(odds[0], odds[-1], INTERPOLATED)
        density = np.exp(np.interp(between, odds, np.log(np.maximum(self.weight, 1e-300))))
        below = np.cumsum(density) - density / 2.0
        ends = special.expit(np.interp([tail, 1.0 - tail], below / density.sum(), between))
        return float(ends[0]), float(ends[1])

    def own(self, yes: float, count: float) -> Own:
        """The p of a cause with so many counts of its own."""
        return Own(self, yes, count)


@dataclass(frozen=True)
class Own:
    """The probability of one cause among the unnamed, after its own counts: a mixture of betas, one for each m."""

    near: Unnamed
    yes: float
    count: float

    @property
    def mean(self) -> float:
        """Probability of the next one."""
        near = self.near
        return float(near.weight @ (near.alike * near.m + self.yes)) / (near.alike + self.count)

    def below(self, p: float) -> float:
        """Probability that it lies below a value."""
        near = self.near
        a, b = near.alike * near.m + self.yes, near.alike * (1.0 - near.m) + self.count - self.yes
        return float(near.weight @ special.betainc(a, b, p))

    def interval(self, level: float = LEVEL) -> tuple[float, float]:
        """Lower and upper end, equal tails."""
        tail = (1.0 - level) / 2.0

        def below(odds: float) -> float:
            return self.below(float(special.expit(odds)))

        ends = [special.expit(_quantile(below, share, *ALL_ODDS)) for share in (tail, 1.0 - tail)]
        return float(ends[0]), float(ends[1])


WIDEST_ODDS = (-34.0, 20.0)
ALL_ODDS = (-700.0, 40.0)  # what floats can hold
COARSE, FINE, INTERPOLATED = 109, 81, 2001
UNLIKELY = 25.0  # nepers below the peak: nothing is left there


def unnamed(prior: Beta, alike: float, yes: Floats, count: Floats) -> Unnamed:
    """After counts of each unnamed cause: `yes` (k,) of `count` (k,)."""

    def log_density(odds: Floats) -> Floats:
        m, rest = special.expit(odds), special.expit(-odds)
        density = prior.yes * np.log(m) + prior.no * np.log(rest)  # per unit of log odds
        a, b = alike * m[:, None], alike * rest[:, None]
        counts = special.betaln(a + yes, b + count - yes) - special.betaln(a, b)
        return np.asarray(density + counts.sum(axis=1))

    coarse = np.linspace(*WIDEST_ODDS, COARSE)
    height = log_density(coarse)
    near = np.flatnonzero(height > height.max() - UNLIKELY)
    cell = coarse[1] - coarse[0]
    odds = np.linspace(coarse[near[0]] - cell, coarse[near[-1]] + cell, FINE)
    height = log_density(odds)
    weight = np.exp(height - height.max())
    return Unnamed(special.expit(odds), weight / weight.sum(), alike)


@dataclass(frozen=True)
class Moments:
    """Sums over logarithms x of amounts: how many, sum of x, sum of x^2; weights may be parts of one."""

    count: float
    total: float
    squares: float


@dataclass(frozen=True)
class LogMean:
    """The mean of a log-normal amount: x ~ N(mu, s2), mu ~ N(`mu`, s2 / `count`), s2 ~ inverse gamma(`a`, `b`)."""

    mu: float
    count: float
    a: float
    b: float

    @property
    def spread2(self) -> float:
        """Variance of x, where its precision has its mean."""
        return self.b / self.a

    @property
    def mean(self) -> float:
        """Of the amount, with mu and s2 at their middles; the mean over all s2 does not exist."""
        return math.exp(self.mu + self.spread2 / 2.0)

    def and_then(self, seen: Moments) -> LogMean:
        """After more amounts."""
        if seen.count <= 0.0:
            return self
        count = self.count + seen.count
        average = seen.total / seen.count
        within_them = max(seen.squares - seen.count * average**2, 0.0)
        apart = self.count * seen.count / count * (average - self.mu) ** 2
        return LogMean(
            (self.count * self.mu + seen.total) / count,
            count,
            self.a + seen.count / 2.0,
            self.b + (within_them + apart) / 2.0,
        )

    def interval(self, level: float = LEVEL) -> tuple[float, float]:
        """Of the mean amount exp(mu + s2 / 2), equal tails."""
        tail = (1.0 - level) / 2.0
        # Middles of equal slices of the distribution of s2, over each of which mu is normal.
        spread2 = self.b / special.gammainccinv(self.a, (np.arange(SLICES) + 0.5) / SLICES)
        scale = np.sqrt(spread2 / self.count)

        def below(x: float) -> float:
            return float(np.mean(special.ndtr((x - self.mu - spread2 / 2.0) / scale)))

        widest = 12.0 * float(scale.max()) + float(spread2.max())
        ends = [_quantile(below, share, self.mu - widest, self.mu + widest) for share in (tail, 1.0 - tail)]
        return math.exp(ends[0]), math.exp(ends[1])

    def next_one(self, level: float = LEVEL) -> tuple[float, float]:
        """Between what the next single amount will lie: Student's t of the logarithm."""
        scale = math.sqrt(self.b / self.a * (1.0 + 1.0 / self.count))
        reach = float(special.stdtrit(2.0 * self.a, (1.0 + level) / 2.0)) * scale
        return math.exp(self.mu - reach), math.exp(self.mu + reach)


SLICES = 400


def log_mean(judged: float, factor: float, spread: float, spread_jobs: float) -> LogMean:
    """A judged mean amount, right within a factor; single amounts spread by another factor (one standard deviation of
    the logarithm each), known as well as `spread_jobs` amounts tell it.
    """
    variance = math.log(spread) ** 2
    count = variance / math.log(factor) ** 2
    return LogMean(math.log(judged) - variance / 2.0, count, spread_jobs / 2.0, spread_jobs / 2.0 * variance)


def moments_of(amounts: Sequence[float]) -> Moments:
    """Sums over amounts above zero."""
    logs = [math.log(amount) for amount in amounts]
    return Moments(float(len(logs)), math.fsum(logs), math.fsum(x * x for x in logs))
