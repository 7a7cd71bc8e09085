"""Two causes at once: does a pair explain the recording better than either alone?

A pair is weighed against its two causes by the checks alone, which undo both by physics. The relations are asked with
both causes undone, at sizes of both; any other check, which mostly concerns one of the two, is heard for the cause that
moves it more. Two faults at once are rare, so that the pair begins with a small share of the odds.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.bayes import Posterior, unexplained
from airproof.diagnosis.case import Case
from airproof.diagnosis.checks import relations
from airproof.diagnosis.lying_sensors import lies
from airproof.diagnosis.testimony import Testimony
from airproof.diagnosis.verdict import Pair
from airproof.knowledge.model import NONE

Floats = NDArray[np.float64]

TWO_SHARE = 0.08  # of the cars with one fault that have a second; judged: Airproof authors
FOREMOST, SIZES_A_SIDE = 4, 7  # causes whose pairs are looked at, sizes of each; judged: Airproof authors, for time
WORTH_LOOKING, WORTH_SAYING = 0.02, 0.2  # probabilities; judged: Airproof authors

ALONE = frozenset({"map-stuck", "map-circuit", "map-intermittent", "control-unit"})
"""Where the signal is lost, nothing is left by which to find a second cause."""
SECOND = frozenset(
    {
        "map-offset", "map-gain", "supply-reference", "boost-sensor-scale", "baro-sensor", "iat-offset", "maf-scale",
        "vacuum-leak", "boost-leak", "egr-stuck-open", "throttle-deposits", "valve-timing", "fuel-delivery",
    }
)  # fmt: skip
"""Causes that can be undone beside another, and so be found as a second."""
ALIKE = (
    frozenset({"map-offset", "map-gain", "supply-reference"}),
    frozenset({"exhaust-restriction", "valve-timing"}),
)
"""Causes that bend the same thing: one of them or the other, hardly both."""


def pairs_of(
    case: Case, posterior: Posterior, testimonies: Sequence[Testimony], log_prior: Mapping[str, Floats]
) -> tuple[Pair, ...]:
    """Pairs that are worth saying, most probable first; `testimonies` as the checks gave them.

    Pairs of the foremost causes are looked at; where the foremost leaves something unexplained, it with any other.
    """
    ranked = sorted((c for c in posterior.probability if c != NONE), key=lambda c: -posterior.probability[c])
    likely = [c for c in ranked if posterior.probability[c] > WORTH_LOOKING][:FOREMOST]
    looked_at = list(combinations(likely, 2))
    if likely and unexplained(testimonies, likely[0], posterior.sizes[likely[0]]):
        looked_at += [(likely[0], other) for other in ranked if other in SECOND and other not in likely]
    alone = {one: _alone(one, testimonies, log_prior) for pair in looked_at for one in pair}
    joint = {pair: _together(case, pair, testimonies, log_prior) for pair in looked_at if not _either(*pair)}
    total = np.logaddexp.reduce([*alone.values(), *joint.values(), -np.inf])
    found = [Pair(pair, float(np.exp(value - total))) for pair, value in joint.items()]
    return tuple(sorted((p for p in found if p.probability > WORTH_SAYING), key=lambda pair: -pair.probability))


def _either(one: str, other: str) -> bool:
    """Whether they are rather one or the other than both."""
    return bool({one, other} & ALONE) or any({one, other} <= like for like in ALIKE)


def _alone(cause: str, testimonies: Sequence[Testimony], log_prior: Mapping[str, Floats]) -> float:
    """ln joint of the testimonies and that cause by itself, its sizes as coarse as in a pair."""
    places = _some(log_prior[cause])
    likelihood = sum((t.log_likelihood[cause][places] for t in testimonies), np.zeros(places.size))
    return float(np.logaddexp.reduce(log_prior[cause])) + _evidence(log_prior[cause][places], likelihood)


def _together(
    case: Case, pair: tuple[str, str], testimonies: Sequence[Testimony], log_prior: Mapping[str, Floats]
) -> float:
    """ln joint of the testimonies and both causes."""
    first, second = pair if lies(pair[0], "manifold_pressure") else pair[::-1]
    places = np.array([(i, j) for i in _some(log_prior[first]) for j in _some(log_prior[second])])
    a, b = places.T
    likelihood = relations.both(case, (first, case.sizes[first][a]), (second, case.sizes[second][b]))
    for testimony in testimonies:
        if not testimony.finding.id.startswith(relations.PREFIXES):
            rows = testimony.log_likelihood
            here, there, none = rows[first][a], rows[second][b], rows[NONE][0]
            likelihood = likelihood + np.where(np.abs(here - none) >= np.abs(there - none), here, there)
    prior = sum(float(np.logaddexp.reduce(log_prior[cause])) for cause in pair)
    return float(np.log(2.0 * TWO_SHARE)) + prior + _evidence(log_prior[first][a] + log_prior[second][b], likelihood)


def _some(grid: Floats) -> NDArray[np.intp]:
    """Places of a few sizes, evenly along each half of the grid: a signed cause has one sign on either."""
    halves = np.array_split(np.arange(grid.size), 2) if grid.size > SIZES_A_SIDE else [np.arange(grid.size)]
    return np.concatenate(
        [half[np.unique(np.linspace(0, half.size - 1, SIZES_A_SIDE).round().astype(int))] for half in halves]
    )


def _evidence(log_prior: Floats, log_likelihood: Floats) -> float:
    """ln of the mean likelihood under the prior over these sizes."""
    return float(np.logaddexp.reduce(log_prior + log_likelihood) - np.logaddexp.reduce(log_prior))
