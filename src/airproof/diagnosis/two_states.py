"""A chain of two states, there and not there, over windows of a recording: how probable each is, and which way it went.

The chain seldom switches, so that single bad windows do not flicker. Forward and backward sums and the likeliest path
are those of Rabiner 1989 (from memory); tests hold them against every path one by one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

COMES_EVERY_S, GOES_EVERY_S = 600.0, 5400.0  # how seldom a fault comes, and leaves again; judged: Airproof authors
MOST_SELDOM = 0.3  # of a window, however long
MOST_OFTEN = 0.5  # a window that is long beside what it should show switches as often as not
LOUDEST = 30.0  # nepers that one window may weigh; enough to settle it, and no number overflows


@dataclass(frozen=True)
class TwoStates:
    """`comes` and `goes` are the chances of a switch from one window to the next."""

    comes: float
    goes: float

    @classmethod
    def lasting(cls, there_s: float, away_s: float, window_s: float) -> TwoStates:
        """What is there for so long on average, then away for so long."""
        return cls(min(window_s / away_s, MOST_OFTEN), min(window_s / there_s, MOST_OFTEN))

    @classmethod
    def seldom(cls, window_s: float) -> TwoStates:
        """What comes once, and stays as a rule."""
        return cls(min(window_s / COMES_EVERY_S, MOST_SELDOM), min(window_s / GOES_EVERY_S, MOST_SELDOM))

    @property
    def _at_first(self) -> float:
        return self.comes / (self.comes + self.goes)

    def joined(self, support: Floats) -> tuple[Floats, Floats]:
        """ln evidence (C,) against "never there", every path added up, and the probability (C, T) of being there.

        `support` (C, T) is the log likelihood ratio of each window, there against not there.
        """
        # The chain is the same forwards and backwards, so that one walk does for both, on the windows and on the
        # windows turned round: what is expected of a window from those before it, and from those after it.
        likelihood = np.exp(np.clip(np.stack([support, support[:, ::-1]]), -LOUDEST, LOUDEST))
        likelihood = np.ascontiguousarray(np.moveaxis(likelihood, -1, 0))
        expected, summed = np.empty_like(likelihood), np.empty_like(likelihood)
        there = np.full(likelihood.shape[1:], self._at_first)
        stays = 1.0 - self.goes - self.comes
        for k in range(likelihood.shape[0]):
            expected[k] = there
            there = there * likelihood[k]
            summed[k] = there + (1.0 - expected[k])
            there = self.comes + stays * (there / summed[k])
        before, after, here = expected[:, 0], expected[::-1, 1], likelihood[:, 0]
        yes = before * after * here * (1.0 - self._at_first)
        no = (1.0 - before) * (1.0 - after) * self._at_first
        return np.log(summed[:, 0]).sum(axis=0), np.asarray((yes / (yes + no)).T)

    def likeliest(self, support: Floats) -> tuple[Bools, Floats]:
        """The likeliest path (C, T), and ln of how probable it is (C,) before anything is seen."""
        chains, windows = support.shape
        switch = np.log([[1.0 - self.comes, self.comes], [self.goes, 1.0 - self.goes]])
        start = np.log([1.0 - self._at_first, self._at_first])
        best = np.tile(start, (chains, 1))
        best[:, 1] += support[:, 0]
        came_from = np.zeros((windows, chains, 2), dtype=np.intp)
        for k in range(1, windows):
            ways = best[:, :, None] + switch
            came_from[k] = ways.argmax(axis=1)
            best = ways.max(axis=1)
            best[:, 1] += support[:, k]
        path = np.zeros((chains, windows), dtype=np.intp)
        path[:, -1] = best.argmax(axis=1)
        for k in range(windows - 1, 0, -1):
            path[:, k - 1] = came_from[k, np.arange(chains), path[:, k]]
        before = start[path[:, 0]] + switch[path[:, :-1], path[:, 1:]].sum(axis=1)
        return path.astype(bool), before
