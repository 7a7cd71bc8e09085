"""Bayes' rule over causes and sizes, and the weight of evidence, which adds up exactly.

The weight of one testimony for one cause is 10 log10 of how much more probable it is under that cause than under all
the others together, each as credible as the testimonies before left it. Summed with the prior odds these weights give
the posterior odds to the last digit.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from airproof.diagnosis.testimony import Testimony

Floats = NDArray[np.float64]

NEPERS_TO_DECIBANS = 10.0 / np.log(10.0)


@dataclass(frozen=True)
class Posterior:
    """`probability[c]`, and `sizes[c]` (S_c,): the probability of each size if c it is.

    `weights[t][c]`: decibans of testimony t for cause c; `before[c]`: decibans of the prior odds.
    """

    probability: Mapping[str, float]
    sizes: Mapping[str, Floats]
    before: Mapping[str, float]
    weights: tuple[Mapping[str, float], ...]


def weigh_testimonies(log_prior: Mapping[str, Floats], testimonies: Sequence[Testimony]) -> Posterior:
    """Posterior over causes and sizes. The order of the testimonies moves weight between them, never the result."""
    joint = {cause: prior.copy() for cause, prior in log_prior.items()}
    odds = _log_odds(joint)
    before = {cause: NEPERS_TO_DECIBANS * value for cause, value in odds.items()}
    weights = []
    for testimony in testimonies:
        for cause, rows in joint.items():
            rows += testimony.log_likelihood[cause]
        after = _log_odds(joint)
        weights.append({cause: NEPERS_TO_DECIBANS * (after[cause] - odds[cause]) for cause in joint})
        odds = after
    total = logsumexp([logsumexp(rows) for rows in joint.values()])
    return Posterior(
        probability={cause: float(np.exp(logsumexp(rows) - total)) for cause, rows in joint.items()},
        sizes={cause: np.exp(rows - logsumexp(rows)) for cause, rows in joint.items()},
        before=before,
        weights=tuple(weights),
    )


def _log_odds(joint: Mapping[str, Floats]) -> dict[str, float]:
    each = {cause: float(logsumexp(rows)) for cause, rows in joint.items()}
    names = list(each)
    values = np.array([each[name] for name in names])
    odds = {}
    for index, name in enumerate(names):
        rest = np.delete(values, index)
        odds[name] = float(values[index] - logsumexp(rest)) if rest.size else np.inf
    return odds


def interval(sizes: Floats, probability: Floats, share: float = 0.90) -> tuple[float, float, float]:
    """Median, low and high of a size from the probabilities on its grid (ascending), the mass spread between knots.

    Where the grid has both signs and the sign is open, the median is that of the likelier sign: between the two, at
    nothing wrong, there is no hypothesis.
    """
    edges = np.concatenate([[sizes[0]], (sizes[1:] + sizes[:-1]) / 2, [sizes[-1]]])
    cumulative = np.concatenate([[0.0], np.cumsum(probability)])
    below = float(probability[sizes < 0].sum())
    positive = below < 0.5
    middle = (below + (1.0 - below) / 2.0) if positive else below / 2.0
    low, value, high = np.interp([(1 - share) / 2, middle, (1 + share) / 2], cumulative, edges)
    return float(value), float(low), float(high)
