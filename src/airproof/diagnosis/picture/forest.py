"""A boosted forest of small trees: for each cause, what every summary adds to its log likelihood.

A tree asks one summary at each node and goes left or right; a summary that is not known goes the way most helpful in
the rehearsals. On the way from root to leaf every step moves the tree's value, and that move is credited to the summary
asked. So the answer is a sum over summaries, exactly, and can be told by what was seen.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

FURTHER = 0.25  # of the range that the rehearsals showed, beyond which a feature is not heard; judged: Airproof authors
ROUNDING = 1e-5  # of the ranges as they are kept


@dataclass(frozen=True)
class Forest:
    """T trees as one table of N nodes. `roots` (T,) and the class each tree speaks for, `speaks` (T,); by node:
    the feature asked, -1 at a leaf, the threshold (at or below it: left), where unknown goes, the two ways on, the
    value so far. `taken` (C,): the prior it was grown with, ln, which the verdict replaces by its own. `least`, `most`
    (F,): what the rehearsals showed of each feature; much further out it is not heard.
    """

    causes: tuple[str, ...]
    features: tuple[str, ...]
    roots: Ints
    speaks: Ints
    asks: Ints
    threshold: Floats
    unknown_left: NDArray[np.bool_]
    left: Ints
    right: Ints
    value: Floats
    taken: Floats
    least: Floats
    most: Floats

    def heard(self, features: Floats) -> Floats:
        """The features (F,), those far outside what any rehearsal showed made unknown."""
        reach = FURTHER * (self.most - self.least)
        with np.errstate(invalid="ignore"):
            return np.where((features >= self.least - reach) & (features <= self.most + reach), features, np.nan)

    def strangeness(self, features: Floats) -> float:
        """The share of the known features (F,) that lie outside what the rehearsals showed, 0 to 1."""
        with np.errstate(invalid="ignore"):
            outside = (features < self.least - ROUNDING) | (features > self.most + ROUNDING)
        return float(outside.sum() / max(np.isfinite(features).sum(), 1))

    def contributions(self, features: Floats) -> tuple[Floats, Floats]:
        """What each feature adds for each cause, (F, C), and what stands before any is asked, (C,)."""
        given = self.heard(features)
        before = np.bincount(self.speaks, self.value[self.roots], len(self.causes)) - self.taken
        added = np.zeros((len(self.features), len(self.causes)))
        at, tree = self.roots, np.arange(self.roots.size)
        while True:
            going = self.asks[at] >= 0
            at, tree = at[going], tree[going]
            if not at.size:
                return added, before
            asked = self.asks[at]
            value = given[asked]
            with np.errstate(invalid="ignore"):
                goes_left = np.where(np.isnan(value), self.unknown_left[at], value <= self.threshold[at])
            on = np.where(goes_left, self.left[at], self.right[at])
            np.add.at(added, (asked, self.speaks[tree]), self.value[on] - self.value[at])
            at = on


def forest_from(held: Mapping[str, NDArray[np.generic]]) -> Forest:
    """The forest in a learned file. Raises KeyError or ValueError where it is not there."""

    def floats(name: str) -> Floats:
        return np.asarray(held[name], dtype=np.float64)

    def places(name: str) -> Ints:
        return np.asarray(held[name], dtype=np.int32)

    causes, features = (tuple(str(word) for word in held[name]) for name in ("causes", "features"))
    return Forest(
        causes, features, places("roots"), places("speaks"), places("asks"), floats("threshold"),
        np.asarray(held["unknown_left"], dtype=bool), places("left"), places("right"), floats("value"),
        floats("taken"), floats("least"), floats("most"),
    )  # fmt: skip
