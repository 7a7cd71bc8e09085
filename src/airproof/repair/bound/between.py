"""Functions of the weights of two faults, summed over pairs: what it costs to find out which of two it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from airproof.repair.choices import Floats


class Between(Protocol):
    """Such a sum."""

    def at(self, beliefs: Floats) -> Floats:
        """Its value (M,) at beliefs (M, n)."""
        ...


@dataclass(frozen=True)
class RootSum:
    """sum over pairs B sqrt(v w): `strengths` (n, n), half of B on either side."""

    strengths: Floats

    def at(self, beliefs: Floats) -> Floats:
        """Its value (M,) at beliefs (M, n)."""
        roots = np.sqrt(beliefs)
        return np.asarray(((roots @ self.strengths) * roots).sum(axis=1))


@dataclass(frozen=True)
class HingeSum:
    """sum over hinges C min(r v, w): `first`, `second` the faults, `ratios` and `strengths`, all (H,)."""

    first: NDArray[np.intp]
    second: NDArray[np.intp]
    ratios: Floats
    strengths: Floats

    def at(self, beliefs: Floats) -> Floats:
        """Its value (M,) at beliefs (M, n)."""
        least = np.minimum(beliefs[:, self.first] * self.ratios, beliefs[:, self.second])
        return np.asarray(least @ self.strengths)
