"""What cars show when healthy: foretold from what is known of a car, and how far a recording lies off that."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.picture.features import INDUCTIONS, METERINGS, OF_CAR

Floats = NDArray[np.float64]

FURTHEST = 8.0  # widths beyond which a summary is not further off; judged: Airproof authors
LEVELS_OFF = 4.0  # widths at which a voice levels off; judged: Airproof authors
AMOUNTS = OF_CAR[:8]  # of what is known of car and day, the numbers; the others are kinds


@dataclass(frozen=True)
class Healthy:
    """What cars show of S summaries when healthy: `middle`, `width` (S,); `usual`, `spread` (8,) of the amounts known
    of a car; `foretold` (K, S): what these make of a summary, widths.
    """

    middle: Floats
    width: Floats
    usual: Floats
    spread: Floats
    foretold: Floats

    def off_by(self, rows: Floats) -> Floats:
        """(n, S): by how many widths the summaries of rows (n, F), whose last features tell the car, lie off what is
        foretold of such a car; NaN where they are unknown.
        """
        count = self.middle.size
        widths = np.clip((rows[:, :count] - self.middle) / self.width, -FURTHEST, FURTHEST)
        return np.asarray(widths - self.known_of(rows) @ self.foretold)

    def known_of(self, rows: Floats) -> Floats:
        """(n, K): what is known of the cars of rows (n, F), as it foretells."""
        return what_is_known(rows[:, self.middle.size :], self.usual, self.spread)


def what_is_known(of_car: Floats, usual: Floats, spread: Floats) -> Floats:
    """(n, K): what foretells a healthy car's summaries, from what is known of cars (n, len(OF_CAR)); an unknown amount
    is taken as usual.
    """
    count, kinds = len(of_car), len(INDUCTIONS) * len(METERINGS)
    amounts = np.nan_to_num((of_car[:, : len(AMOUNTS)] - usual) / spread)
    kind = of_car[:, OF_CAR.index("induction")] * len(METERINGS) + of_car[:, OF_CAR.index("metering")]
    one_of = np.zeros((count, kinds))
    one_of[np.arange(count), kind.astype(int)] = 1.0
    return np.column_stack([one_of, amounts, amounts**2, of_car[:, OF_CAR.index("fuel")]])


def voices(off: Floats) -> Floats:
    """What is off by so many widths, levelling off, as one reading must not decide alone; 0 where it is unknown."""
    return np.nan_to_num(LEVELS_OFF * np.tanh(off / LEVELS_OFF))
