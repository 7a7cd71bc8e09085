"""Single causes and pairs of causes, by what was told: the discrete layer with two causes at work.

Two at once have the prior that `pairs.py` gives them. The observations follow from the noisy-OR of both. What else was
found is heard for the one of the two that moves it more, as for the pairs of a verdict.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.bayes import log_sums
from airproof.diagnosis.network import Layout, Told, families, log_told
from airproof.diagnosis.pairs import ALIKE, SIZES_A_SIDE, TWO_SHARE, WORTH_LOOKING, WORTH_SAYING
from airproof.diagnosis.testimony import Testimony
from airproof.diagnosis.verdict import Pair
from airproof.knowledge.model import NONE

Floats = NDArray[np.float64]
Places = NDArray[np.intp]


def plausible_pairs(causes: Sequence[str]) -> list[tuple[str, str]]:
    """Every two causes that can be there at once; those that bend the same thing are one or the other."""
    faults = [cause for cause in causes if cause != NONE]
    return [pair for pair in combinations(faults, 2) if not any(set(pair) <= like for like in ALIKE)]


def posterior_with_pairs(
    log_prior: Mapping[str, Floats], told: Sequence[Told], others: Sequence[Testimony] = ()
) -> dict[tuple[str, ...], float]:
    """Posterior of every single cause and every plausible pair, summing to 1, most probable first.

    `log_prior[c]` (S_c,) over causes and sizes; `told` what was told, linked to the same hypotheses; `others` what else
    was found. Keys are (cause,) and (cause, cause) in the order of the causes.
    """
    layout = Layout.of(log_prior)
    heard = families(told)
    rows = [layout.row(one.log_likelihood) for one in others]
    prior = layout.row(log_prior)
    single = prior + sum((log_told(group, slice(None)) for group in heard), np.zeros(layout.size)) + sum(rows)
    joint: dict[tuple[str, ...], float] = {
        (cause,): float(np.logaddexp.reduce(own)) for cause, own in layout.parted(single).items()
    }
    pairs = plausible_pairs(layout.causes)
    if pairs:
        standing = {cause: _standing(told, prior, layout, cause, fine=not rows) for cause in layout.causes}
        a, b, total, starts = _laid_out(pairs, standing)
        total = total + np.log(2.0 * TWO_SHARE) + sum((log_told(group, a, b) for group in heard), np.zeros(a.size))
        for row in rows:
            healthy = row[layout.edges[layout.causes.index(NONE)]] if NONE in layout.causes else 0.0
            total = total + np.where(np.abs(row[a] - healthy) >= np.abs(row[b] - healthy), row[a], row[b])
        joint |= dict(zip(pairs, log_sums(total, starts).tolist(), strict=True))
    whole = np.logaddexp.reduce(list(joint.values()))
    ranked = sorted(joint, key=lambda key: -joint[key])
    return {key: float(np.exp(joint[key] - whole)) for key in ranked}


def pairs_told(
    log_prior: Mapping[str, Floats], told: Sequence[Told], others: Sequence[Testimony] = ()
) -> tuple[Pair, ...]:
    """Pairs worth saying where nothing was recorded, most probable first: each against its two causes alone."""
    found = posterior_with_pairs(log_prior, told, others)
    pairs = [
        Pair((key[0], key[1]), p / (p + found[(key[0],)] + found[(key[1],)]))
        for key, p in found.items()
        if len(key) == 2 and p > WORTH_LOOKING
    ]
    return tuple(sorted((one for one in pairs if one.probability > WORTH_SAYING), key=lambda one: -one.probability))


def _laid_out(
    pairs: Sequence[tuple[str, str]], standing: Mapping[str, tuple[Places, Floats]]
) -> tuple[Places, Places, Floats, Places]:
    """Every pair at every two of its sizes in one row: the places of both, their ln priors, and where each begins."""
    first, second, weights, counts = [], [], [], []
    for one, other in pairs:
        (a, weight_a), (b, weight_b) = standing[one], standing[other]
        first.append(np.repeat(a, b.size))
        second.append(np.tile(b, a.size))
        weights.append((weight_a[:, None] + weight_b[None, :]).ravel())
        counts.append(a.size * b.size)
    starts = np.cumsum([0, *counts[:-1]])
    return np.concatenate(first), np.concatenate(second), np.concatenate(weights), starts


def _standing(told: Sequence[Told], prior: Floats, layout: Layout, cause: str, *, fine: bool) -> tuple[Places, Floats]:
    """Places that stand for a cause's sizes, and the ln prior of each.

    Sizes under which everything told is equally probable are one; where sizes matter otherwise a few of them, evenly
    along each half of the grid, stand for all.
    """
    k = layout.causes.index(cause)
    places = np.arange(layout.edges[k], layout.edges[k + 1])
    own = prior[places]
    if not fine and places.size > 2 * SIZES_A_SIDE:
        chosen = np.concatenate([_evenly(half) for half in np.array_split(places, 2)])
        few = prior[chosen]
        return chosen, few - np.logaddexp.reduce(few) + np.logaddexp.reduce(own)
    told_alike = np.array([part[places] for one in told for each in one.links for part in (each.fails, each.lets)])
    if not told_alike.size:
        return places[:1], np.atleast_1d(np.logaddexp.reduce(own))
    _, first, whose = np.unique(told_alike, axis=1, return_index=True, return_inverse=True)
    weight = np.full(first.size, -np.inf)
    np.logaddexp.at(weight, whose.ravel(), own)
    return places[first], weight


def _evenly(places: Places) -> Places:
    return np.asarray(places[np.linspace(0, places.size - 1, SIZES_A_SIDE).round().astype(int)])
