"""The discrete layer: observations that are there or not, and how they hang on the causes.

A cause that makes an observation commoner brings it by itself with its own probability, and chance brings it too: a
noisy-OR with a leak. A cause that makes it rarer keeps it away with its own probability, whatever would bring it. With
one cause at work the probabilities are those of the knowledge exactly; with two they follow.

Observations of one family share a hidden parent: with the probability `alike` one common number between 0 and 1
decides which of them are there (those whose probability lies above it), else each is by itself. Either way every one of
them by itself keeps its probability.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.finding import Finding
from airproof.diagnosis.testimony import Testimony

Floats = NDArray[np.float64]
Places = NDArray[np.intp] | slice

EVERYWHERE = slice(None)


@dataclass(frozen=True)
class Layout:
    """All hypotheses, cause at size, in one row of H: which stretch of it is whose."""

    causes: tuple[str, ...]
    edges: tuple[int, ...]

    @classmethod
    def of(cls, sizes: Mapping[str, Floats]) -> Layout:
        """The causes in their order, each with its sizes."""
        edges = np.cumsum([0, *(grid.size for grid in sizes.values())])
        return cls(tuple(sizes), tuple(int(edge) for edge in edges))

    @property
    def size(self) -> int:
        """Number of hypotheses."""
        return self.edges[-1]

    def row(self, rows: Mapping[str, Floats]) -> Floats:
        """One row (H,) of what each cause has at its sizes."""
        return np.concatenate([rows[cause] for cause in self.causes])

    def parted(self, row: Floats) -> dict[str, Floats]:
        """The row by cause."""
        return {cause: row[a:b] for cause, a, b in zip(self.causes, self.edges[:-1], self.edges[1:], strict=True)}


@dataclass(frozen=True)
class Link:
    """How probable one observation is, whichever hypotheses hold.

    `leak`: without any; `fails` (H,): that the hypothesis, holding, does not bring it; `lets` (H,): that it does not
    keep it away. With the probability `settled` something known decides instead, and it is there with `level`.
    """

    leak: float
    fails: Floats
    lets: Floats
    settled: float = 0.0
    level: float = 0.0

    def chance(self, *holding: Places) -> Floats:
        """P(there) where the hypotheses at these places hold together; several places are spread over one another."""
        fails, lets = np.full(1, 1.0 - self.leak), np.ones(1)
        for places in holding:
            fails, lets = fails * self.fails[places], lets * self.lets[places]
        return np.asarray(self.settled * self.level + (1.0 - self.settled) * (1.0 - fails) * lets)

    def commoner_by_chance(self, odds: float) -> Link:
        """With the odds of the leak multiplied."""
        return replace(self, leak=self.leak * odds / (1.0 - self.leak + self.leak * odds))

    def beside(self, probability: float) -> Link:
        """With one more thing that is known to be there and brings the observation with that probability."""
        return replace(self, leak=1.0 - (1.0 - self.leak) * (1.0 - probability))

    def weakened(self, strength: Floats) -> Link:
        """With every hypothesis (H,) bringing it with so much of its probability."""
        return replace(self, fails=1.0 - strength * (1.0 - self.fails))

    def known_else(self, probability: float, level: float) -> Link:
        """With something known that decides with that probability, the causes only in the rest."""
        return replace(self, settled=probability, level=level)


def link(leak: float, given: Callable[[str], float], noticed: Mapping[str, Floats]) -> Link:
    """A link that keeps P(there | one cause) = leak + (given - leak) x noticed, `noticed[c]` (S_c,) from 0 to 1."""
    chance = np.concatenate([leak + (given(cause) - leak) * share for cause, share in noticed.items()])
    return Link(
        leak,
        fails=np.where(chance > leak, (1.0 - chance) / (1.0 - leak), 1.0),
        lets=np.where(chance < leak, chance / leak, 1.0),
    )


def log_joint(chances: Sequence[Floats], there: Sequence[bool], alike: float) -> Floats:
    """ln P(all of these as observed), from the probability of each, (H,), and the share in which one chance decides."""
    if not chances:
        return np.zeros(1)
    independent = np.sum([np.log(p if yes else 1.0 - p) for p, yes in zip(chances, there, strict=True)], axis=0)
    if alike == 0.0 or len(chances) == 1:
        return np.asarray(independent)
    seen = np.minimum.reduce([p for p, yes in zip(chances, there, strict=True) if yes] or [np.ones(1)])
    missing = np.maximum.reduce([p for p, yes in zip(chances, there, strict=True) if not yes] or [np.zeros(1)])
    together = alike * np.maximum(seen - missing, 0.0)
    return np.asarray(np.log(together + (1.0 - alike) * np.exp(independent)))


@dataclass(frozen=True)
class Told:
    """One thing told: an observation, or several that are told in one breath (no code of a family is stored).

    `there` says of each link whether it was observed; `family` and `alike` say with what it shares a hidden parent.
    `looked` is the probability that somebody looked at all: in the rest it says nothing.
    """

    id: str
    says: str
    links: tuple[Link, ...]
    there: tuple[bool, ...]
    family: str
    alike: float = 0.0
    looked: float = 1.0

    def finding(self) -> Finding:
        """The finding that stands for it; it has no unit, since nobody measured it."""
        return Finding(self.id, float(any(self.there)), 0.0, "", (0.0, 0.0), (), self.says)


def families(told: Iterable[Told]) -> list[list[Told]]:
    """What shares a hidden parent, each in the order of the ids: in which order it was told moves nothing."""
    found: dict[str, list[Told]] = {}
    for one in told:
        found.setdefault(one.family, []).append(one)
    return [sorted(group, key=lambda one: one.id) for group in found.values()]


def log_told(group: Sequence[Told], *holding: Places) -> Floats:
    """ln P(all that is told of one family) where the hypotheses at these places hold together."""
    chances = [[each.chance(*holding) for each in one.links] for one in group]
    return _log_of(group, chances)


def _log_of(group: Sequence[Told], chances: Sequence[Sequence[Floats]]) -> Floats:
    def joint(chosen: Sequence[int]) -> Floats:
        p = [chance for k in chosen for chance in chances[k]]
        return log_joint(p, [yes for k in chosen for yes in group[k].there], group[0].alike)

    everything = list(range(len(group)))
    doubtful = [k for k in everything if group[k].looked < 1.0]
    if not doubtful:
        return joint(everything)
    # Where nobody looked the doubtful ones say nothing; those of one family are doubted together.
    looked = min(group[k].looked for k in doubtful)
    certain = joint([k for k in everything if k not in doubtful])
    return np.asarray(np.logaddexp(np.log(looked) + joint(everything), np.log1p(-looked) + certain))


def as_testimonies(told: Sequence[Told], layout: Layout) -> list[Testimony]:
    """One testimony for each thing told; those of a family add up to their joint probability.

    Each has its mean part over orders in which every one stands at every place equally often; heard alone it has its
    own probability.
    """
    testimonies: dict[str, Testimony] = {}
    for group in families(told):
        chances = [[each.chance(EVERYWHERE) for each in one.links] for one in group]
        parts = _parts(group, chances)
        for k, one in enumerate(group):
            whole = None if len(group) == 1 else layout.parted(_log_of([one], [chances[k]]))
            testimonies[one.id] = Testimony(one.finding(), layout.parted(parts[k]), whole)
    return [testimonies[one.id] for one in told]


def _parts(group: Sequence[Told], chances: Sequence[Sequence[Floats]]) -> list[Floats]:
    count = len(group)
    parts = [np.zeros(chances[0][0].shape) for _ in group]
    turned = [[*range(k, count), *range(k)] for k in range(count)]
    orders = [turned[0]] if count == 1 else [way for order in turned for way in (order, order[::-1])]
    for order in orders:
        before = np.zeros(1)
        for n, k in enumerate(order):
            heard = sorted(order[: n + 1])
            after = _log_of([group[i] for i in heard], [chances[i] for i in heard])
            parts[k] = parts[k] + (after - before) / len(orders)
            before = after
    return parts
