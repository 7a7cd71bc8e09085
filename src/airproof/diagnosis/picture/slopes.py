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
class Slopes:
    """Of F features, the last of which tell the car: `middle`, `width` (S,) of the S summaries in healthy cars;
    `usual`, `spread` (8,) of the amounts known of a car; `foretold` (K, S): what these make of a summary, widths.
    Voices, nepers: `along[induction]` (S, C) for a summary's direction, `away` (S, C) for its distance, `unknown`
    (S, C) where it is not there; `mean` (S, C): of a summary's voice in all rehearsals, which it is credited beyond;
    `before` (C,).
    """

    middle: Floats
    width: Floats
    usual: Floats
    spread: Floats
    foretold: Floats
    along: Floats
    away: Floats
    unknown: Floats
    mean: Floats
    before: Floats

    def contributions(self, features: Floats) -> tuple[Floats, Floats]:
        """What each of the features (F,) adds for each cause, (F, C), and what stands before any is asked, (C,)."""
        off = off_by(features[None, :], self.middle, self.width, self.usual, self.spread, self.foretold)[0]
        direction, distance = voices(off)
        induction = int(features[len(off) + OF_CAR.index("induction")])
        added = np.zeros((len(features), self.before.size))
        added[: len(off)] = (
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


def off_by(rows: Floats, middle: Floats, width: Floats, usual: Floats, spread: Floats, foretold: Floats) -> Floats:
    """(n, S): by how many widths the summaries of rows (n, F) lie off what is foretold of such a car; NaN: unknown."""
    count = middle.size
    known = what_is_known(np.asarray(rows[:, count:], dtype=np.float64), usual, spread)
    return np.asarray(np.clip((rows[:, :count] - middle) / width, -FURTHEST, FURTHEST) - known @ foretold)


def voices(off: Floats) -> tuple[Floats, Floats]:
    """Direction and distance of what is off by so many widths, both levelling off; 0 where it is unknown."""
    bent = np.nan_to_num(np.tanh(off / LEVELS_OFF))
    return LEVELS_OFF * bent, LEVELS_OFF * bent**2


def slopes_from(held: Mapping[str, NDArray[np.generic]]) -> Slopes:
    """The slopes in a learned file. Raises KeyError or ValueError where they are not there."""
    return Slopes(
        **{name: np.asarray(held[f"slopes_{name}"], dtype=np.float64) for name in (f.name for f in fields(Slopes))}
    )
