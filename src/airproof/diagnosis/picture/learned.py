"""What rehearsals teach: a forest for cars met for the first time, and one for cars with a known-good recording.

All of it is in `data/learned_*.npz`, made by `learning/` from rehearsals of bent engines by seed; `made` says how many.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.picture.forest import Forest, forest_from
from airproof.diagnosis.picture.words import PLACES
from airproof.errors import BrokenKnowledge

Floats = NDArray[np.float64]

REINSTALL = "Install Airproof again."
FAMILIAR_TO_STRANGE = (0.01, 0.03)
"""Strangeness (`Forest.strangeness`) up to which a recording is familiar, and from which on it is strange: 95 and 99 in
a hundred rehearsals lie below; judged: Airproof authors, so that a rehearsal is familiar unless much in it is odd."""

KINDS = ("first", "again")
"""A car met for the first time; one that a known-good recording is there of."""


@dataclass(frozen=True)
class Learned:
    """One forest; `usual[induction]` (3, F): of each feature the 5, 50 and 95 % points of healthy rehearsed cars;
    `loudness[source]` (2,): with which part of their weight the picture and the single checks are heard where the
    recording is familiar, and where it is strange. `said[place]` (C, J, C): for each cause, what that place said of
    every cause in J rehearsals of it, nepers. `made`: from what.
    """

    forest: Forest
    usual: Mapping[str, Floats]
    loudness: Mapping[str, Floats]
    said: Mapping[str, Floats]
    made: str

    def shares(self, strangeness: float) -> dict[str, float]:
        """The part of its weight with which each source is heard."""
        return {
            source: float(np.interp(strangeness, FAMILIAR_TO_STRANGE, ends)) for source, ends in self.loudness.items()
        }


@cache
def learned(kind: str) -> Learned:
    """What was learnt for that kind of car. Raises BrokenKnowledge where the data file does not hold it."""
    try:
        file = resources.files("airproof.diagnosis") / "data" / f"learned_{kind}.npz"
        with file.open("rb") as opened, np.load(opened) as held:
            return _from(held)
    except (OSError, KeyError, ValueError) as fault:
        raise BrokenKnowledge(str(fault), "what rehearsals taught", REINSTALL) from fault


def _from(held: Mapping[str, NDArray[np.generic]]) -> Learned:
    def floats(name: str) -> Floats:
        return np.asarray(held[name], dtype=np.float64)

    loudness = {str(name): ends for name, ends in zip(held["heard"], floats("shares"), strict=True)}
    usual = {str(name): value for name, value in zip(held["inductions"], floats("usual"), strict=True)}
    said = dict(zip(PLACES, floats("said"), strict=True))
    return Learned(forest_from(held), usual, loudness, said, str(held["made"]))
