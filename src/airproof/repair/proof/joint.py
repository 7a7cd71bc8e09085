"""Findings of both sides as one Gaussian: how probable those after are, given those before, under any pair of causes.

A witness is asked for ln p(after | before, what was wrong before, what is wrong after) at places on the sizes' grids.
The side before, with what was wrong there undone, narrows what is expected after (docs/proof.md, section 2). In the
tails stands Student's t, as everywhere; and as with Student's t of many dimensions, findings before that lie far off
although the cause was undone foretell those after less sharply (`less_sure`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol, TypeAlias

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.testimony import TAIL, Blur, log_t
from airproof.knowledge.model import NONE

Floats = NDArray[np.float64]
Places = NDArray[np.intp]
Reshaped: TypeAlias = Callable[[str, str, int], Floats]
"""The covariance under a cause before, one after, and a class of the sizes after."""


@dataclass(frozen=True)
class Wrong:
    """What is wrong on one side, once for each of n pairs: a cause, and places on that side's grid of its sizes."""

    cause: str
    places: Places


class Witness(Protocol):
    """One thing that both sides show."""

    def says(self, before: Wrong, after: Wrong) -> Floats:
        """ln p(after | before) (n,) for n pairs."""
        ...


def less_sure(cause: str, off: Floats, findings: int) -> Floats:
    """By how much wider than the Gaussian's are the standard deviations of what is left after a cause was undone.

    For Student's t, (n + off) / (n + findings) in the square, `off` being the squared Mahalanobis distance of so many
    findings before. Never narrower: findings that happen to lie near the middle do not make models better. Where
    nothing was wrong before nothing was undone, and nothing can have been undone wrongly.
    """
    if cause == NONE:
        return np.ones_like(off)
    return np.asarray(np.sqrt(np.maximum((TAIL + off) / (TAIL + findings), 1.0)))


@dataclass
class JointGroup:
    """Findings of both sides that share unknowns: `off_before[c]` (S, k before) and `off_after[c]` (S', k after).

    `covariance` is that of all of them, those before first. `alike` pairs rows of the same finding on both sides: what
    blurs it under a cause that is still there blurs both alike. `reshaped` gives another covariance for the causes it
    concerns (`sharpened`), by classes of their sizes after (`classes[c]` (S',)).
    """

    off_before: Mapping[str, Floats]
    off_after: Mapping[str, Floats]
    covariance: Floats
    alike: Sequence[tuple[int, int]]
    blur: Mapping[str, Blur]
    reshaped: Reshaped | None = None
    concerns: frozenset[str] = frozenset()
    classes: Mapping[str, Places] = field(default_factory=dict)
    _made: dict[tuple[str, str, int], tuple[Floats, Floats, Floats, Floats]] = field(default_factory=dict)

    def says(self, before: Wrong, after: Wrong) -> Floats:
        """ln p(after | before) (n,), the findings after taken in turn."""
        return np.asarray(self.given(before, after).sum(axis=1))

    def given(
        self, before: Wrong, after: Wrong, off_before: Floats | None = None, off_after: Floats | None = None
    ) -> Floats:
        """The rows (n, k after) of it; other deviations than those kept may be given."""
        there = self.off_before[before.cause] if off_before is None else off_before
        here = self.off_after[after.cause] if off_after is None else off_after
        classes = self.classes.get(after.cause)
        if classes is None:
            return self._rows(before, after, there, here, 0)
        mine = classes[after.places]
        rows = np.empty((after.places.size, here.shape[1]))
        for kind in np.unique(mine):
            chosen = mine == kind
            one, other = Wrong(before.cause, before.places[chosen]), Wrong(after.cause, after.places[chosen])
            rows[chosen] = self._rows(one, other, there, here, int(kind))
        return rows

    def _rows(self, before: Wrong, after: Wrong, there: Floats, here: Floats, kind: int) -> Floats:
        gain, whiten, scale, first = self._conditional(before.cause, after.cause, kind)
        seen, left = there @ (whiten @ gain).T, here @ whiten.T
        off = np.sum(np.square(there @ first.T), axis=1)[before.places, None]
        wider = less_sure(before.cause, off, there.shape[1])
        return log_t((left[after.places] - seen[before.places]) / wider, scale * wider)

    def moved(self, before: str, there: Floats, here: Floats) -> tuple[Floats, Floats]:
        """Changes of the findings before (m, k before) and after (n, k after), as they move what is expected of a
        healthy engine after and what it shows, in standard deviations.
        """
        gain, whiten, _, _ = self._conditional(before, NONE, 0)
        return there @ (whiten @ gain).T, here @ whiten.T

    def _conditional(self, before: str, after: str, kind: int) -> tuple[Floats, Floats, Floats, Floats]:
        """Gain on the findings before, whitening of what is left after, its scales, and whitening of those before."""
        key = (self._class_of(before), self._class_of(after), 2 * kind + (before == after))
        if key not in self._made:
            k = self.off_before[before].shape[1]
            wider = self._blurred(before, after, kind, k)
            gain = np.linalg.solve(wider[:k, :k], wider[:k, k:]).T if k else np.zeros((wider.shape[0], 0))
            left = wider[k:, k:] - gain @ wider[:k, k:]
            lower = np.linalg.cholesky(left + 1e-12 * np.eye(left.shape[0]))
            first = np.linalg.inv(np.linalg.cholesky(wider[:k, :k] + 1e-12 * np.eye(k)))
            self._made[key] = (np.asarray(gain), np.linalg.inv(lower), np.diag(lower), first)
        return self._made[key]

    def _class_of(self, cause: str) -> str:
        """Causes with one covariance share what is made of it."""
        return cause if cause in self.blur or cause in self.concerns else NONE

    def _blurred(self, before: str, after: str, kind: int, k: int) -> Floats:
        concerned = self.reshaped is not None and {before, after} & self.concerns
        wider = self.reshaped(before, after, kind) if concerned and self.reshaped else self.covariance.copy()
        for part, cause in ((slice(0, k), before), (slice(k, None), after)):
            whole, own = self._blur(cause)
            wider[part, part] += whole**2 + own**2 * np.eye(wider[part, part].shape[0])
        if before == after:
            whole, own = self._blur(before)
            wider[:k, k:] += whole**2
            wider[k:, :k] += whole**2
            for i, j in self.alike:
                wider[i, k + j] += own**2
                wider[k + j, i] += own**2
        return wider

    def _blur(self, cause: str) -> tuple[float, float]:
        blur = self.blur.get(cause, 0.0)
        return blur if isinstance(blur, tuple) else (blur, blur)
