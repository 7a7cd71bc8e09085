"""Bayes' rule over causes and sizes, and the weight of evidence, which adds up exactly.

The weight of one testimony for one cause is 10 log10 of how much more probable it is under that cause than under all
the others together, each as credible as the testimonies before left it. Summed with the prior odds these weights give
the posterior odds to the last digit. In what order the testimonies are heard does not change the result, but it moves
weight between them: the second of two witnesses to the same thing finds the rivals already beaten. So each weight is
its mean over many orders, which is its fair share.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.testimony import Testimony

Floats = NDArray[np.float64]

NEPERS_TO_DECIBANS = 10.0 / np.log(10.0)
UNEXPLAINED_DECIBANS, UNEXPLAINED_WHEN_TOLD = 14.0, 8.0
"""A testimony that some hypothesis would make 25 times (what was told: 6 times) more probable is not explained; judged:
Airproof authors."""

ORDERS = 24
"""So many orders, each with its reverse, are averaged; drawn from a fixed seed, so that the same case gives the same
weights."""


NO_SHARE = -700.0
"""Nepers below the greatest at which a share changes no sum any more; still smaller numbers slow a processor down."""


EVEN = 1e-9  # of probability: nearer to one half neither sign is the likelier, whatever the last digit says


@dataclass(frozen=True)
class Posterior:
    """`probability[c]`, and `sizes[c]` (S_c,): the probability of each size if c it is.

    `prior[c]`: its probability before; `before[c]`: decibans of the prior odds; `weights[t][c]`: decibans of
    testimony t for cause c.
    """

    probability: Mapping[str, float]
    prior: Mapping[str, float]
    sizes: Mapping[str, Floats]
    before: Mapping[str, float]
    weights: tuple[Mapping[str, float], ...]


def weigh_testimonies(log_prior: Mapping[str, Floats], testimonies: Sequence[Testimony]) -> Posterior:
    """Posterior over causes and sizes, with the weight of each testimony for each cause."""
    return _weigh(log_prior, testimonies, shared_out=True)


def posterior_of(log_prior: Mapping[str, Floats], testimonies: Sequence[Testimony]) -> Posterior:
    """The same posterior without the weights, which cost more than all the rest."""
    return _weigh(log_prior, testimonies, shared_out=False)


def _weigh(log_prior: Mapping[str, Floats], testimonies: Sequence[Testimony], *, shared_out: bool) -> Posterior:
    causes = list(log_prior)
    starts = np.cumsum([0, *(log_prior[c].size for c in causes[:-1])])
    prior = np.concatenate([log_prior[c] for c in causes])
    rows = np.array([np.concatenate([t.log_likelihood[c] for c in causes]) for t in testimonies])
    rows = rows.reshape(len(testimonies), prior.size)
    final = prior + rows.sum(axis=0)
    each = log_sums(final, starts)
    total = np.logaddexp.reduce(each)
    shares = np.zeros((len(testimonies), len(causes)))
    if shared_out:
        # By name, so that the order in which evidence was given moves nothing.
        by_name = sorted(range(len(testimonies)), key=lambda k: testimonies[k].finding.id)
        shares[by_name] = _fair_shares(prior, rows[by_name], starts)
    edges = [*starts.tolist(), prior.size]
    return Posterior(
        probability={c: float(np.exp(each[k] - total)) for k, c in enumerate(causes)},
        prior={c: float(np.exp(np.logaddexp.reduce(log_prior[c]))) for c in causes},
        sizes={c: np.exp(final[edges[k] : edges[k + 1]] - each[k]) for k, c in enumerate(causes)},
        before=dict(zip(causes, (NEPERS_TO_DECIBANS * _log_odds(log_sums(prior, starts))).tolist(), strict=True)),
        weights=tuple(dict(zip(causes, share.tolist(), strict=True)) for share in shares) if shared_out else (),
    )


def log_sums(log_joint: Floats, starts: NDArray[np.intp]) -> Floats:
    """ln of the summed exponentials of each stretch of the last axis, such as the joint of each cause's sizes.

    Exponentials over each cause's greatest: several times faster than adding logarithms pair by pair.
    """
    greatest = np.maximum.reduceat(log_joint, starts, axis=-1)
    own = np.repeat(greatest, np.diff(starts, append=log_joint.shape[-1]), axis=-1)
    shares = np.exp(np.maximum(log_joint - own, NO_SHARE))
    return np.asarray(greatest + np.log(np.add.reduceat(shares, starts, axis=-1)))


def _log_odds(each: Floats) -> Floats:
    """ln odds of each cause against all others together, from ln of their joints along the last axis."""
    nothing = np.full((*each.shape[:-1], 1), -np.inf)
    before = np.logaddexp.accumulate(np.concatenate([nothing, each[..., :-1]], axis=-1), axis=-1)
    after = np.logaddexp.accumulate(np.concatenate([nothing, each[..., :0:-1]], axis=-1), axis=-1)[..., ::-1]
    return np.asarray(each - np.logaddexp(before, after))


def _fair_shares(prior: Floats, rows: Floats, starts: NDArray[np.intp]) -> Floats:
    """Decibans (testimonies, causes), the mean over orders of how each testimony moves the odds of each cause."""
    shares = np.zeros((rows.shape[0], starts.size))
    if starts.size == 1:
        return shares
    draw = np.random.default_rng(0)
    orders = [draw.permutation(rows.shape[0]) for _ in range(ORDERS)]
    for order in (way for drawn in orders for way in (drawn, drawn[::-1])):
        heard = np.array(list(accumulate(rows[order], initial=prior)))
        odds = _log_odds(log_sums(heard, starts))
        shares[order] += np.diff(odds, axis=0)
    return np.asarray(shares * NEPERS_TO_DECIBANS / (2 * ORDERS))


INTERVAL_SHARE = 0.90
"""Of a size's interval: as much lies below it as above."""


def interval(sizes: Floats, probability: Floats, share: float = INTERVAL_SHARE) -> tuple[float, float, float]:
    """Median, low and high of a size from the probabilities on its grid (ascending), the mass spread between knots.

    Where the grid has both signs and the sign is open, the median is that of the likelier sign (of two alike, above
    zero): between the two, at nothing wrong, there is no hypothesis.
    """
    edges = np.concatenate([[sizes[0]], (sizes[1:] + sizes[:-1]) / 2, [sizes[-1]]])
    cumulative = np.concatenate([[0.0], np.cumsum(probability)])
    below = float(probability[sizes < 0].sum())
    positive = below < 0.5 + EVEN
    middle = (below + (1.0 - below) / 2.0) if positive else below / 2.0
    low, value, high = np.interp([(1 - share) / 2, middle, (1 + share) / 2], cumulative, edges)
    return float(value), float(low), float(high)


def unexplained(testimonies: Sequence[Testimony], cause: str, sizes: Floats) -> list[Testimony]:
    """Testimonies that some other hypothesis would make far more probable than this cause, at the sizes found, does."""
    with np.errstate(divide="ignore"):
        size_weight = np.log(sizes)
    left = []
    for testimony in testimonies:
        given = float(np.logaddexp.reduce(testimony.by_itself[cause] + size_weight))
        best = max(float(rows.max()) for rows in testimony.by_itself.values())
        told = not testimony.finding.unit  # seen or done by somebody, not taken from the recording
        if NEPERS_TO_DECIBANS * (best - given) > (UNEXPLAINED_WHEN_TOLD if told else UNEXPLAINED_DECIBANS):
            left.append(testimony)
    return left


def narrowed(log_prior: Floats, found: Floats) -> float:
    """Information about a size that the evidence brought, nepers: 0 where the grid is as probable as before."""
    before = log_prior - np.logaddexp.reduce(log_prior)
    known = found > 0.0
    return float(np.sum(found[known] * (np.log(found[known]) - before[known])))
