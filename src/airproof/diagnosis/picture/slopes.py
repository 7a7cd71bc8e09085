"""Slopes: what each summary says for each cause, the more the further it lies from what such a car shows when healthy.

A tree asks one summary at a time and hardly sees what many say together in small voices; a sum does. What a healthy car
shows is foretold from what is known of it; what lies off that, in widths of its healthy spread, speaks with one weight
for its direction and one for its distance, both levelling off, as one reading must not decide alone. The answer is
a sum over summaries, exactly, as the forest's is.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields

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
        return np.asarray(widths - what_is_known(rows[:, count:], self.usual, self.spread) @ self.foretold)


@dataclass(frozen=True)
class Slopes:
    """Voices, nepers: `along[induction]` (S, C) for a summary's direction off what is healthy, `away` (S, C) for its
    distance, `unknown` (S, C) where it is not there; `mean` (S, C): of a summary's voice in all rehearsals, beyond
    which it is credited; `before` (C,).
    """

    healthy: Healthy
    along: Floats
    away: Floats
    unknown: Floats
    mean: Floats
    before: Floats

    def contributions(self, features: Floats) -> tuple[Floats, Floats]:
        """What each of the features (F,) adds for each cause, (F, C), and what stands before any is asked, (C,)."""
        (off,) = self.healthy.off_by(features[None, :])
        direction, distance = voices(off)
        induction = int(features[off.size + OF_CAR.index("induction")])
        added = np.zeros((features.size, self.before.size))
        added[: off.size] = (
            direction[:, None] * self.along[induction]
            + distance[:, None] * self.away
            + np.isnan(off)[:, None] * self.unknown
            - self.mean
        )
        return added, self.before


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


def voices(off: Floats) -> tuple[Floats, Floats]:
    """Direction and distance of what is off by so many widths, both levelling off; 0 where it is unknown."""
    bent = np.nan_to_num(np.tanh(off / LEVELS_OFF))
    return LEVELS_OFF * bent, LEVELS_OFF * bent**2


def slopes_from(held: Mapping[str, NDArray[np.generic]]) -> Slopes:
    """The slopes in a learned file. Raises KeyError or ValueError where they are not there."""

    def floats(kind: type[Healthy] | type[Slopes]) -> dict[str, Floats]:
        names = [field.name for field in fields(kind) if field.name != "healthy"]
        return {name: np.asarray(held[f"slopes_{name}"], dtype=np.float64) for name in names}

    return Slopes(Healthy(**floats(Healthy)), **floats(Slopes))
