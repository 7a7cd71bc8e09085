"""What rehearsals teach: forest and slopes for cars met for the first time, and for cars with a known-good recording.

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
from airproof.diagnosis.picture.slopes import Slopes, slopes_from
from airproof.diagnosis.picture.words import PLACES
from airproof.errors import BrokenKnowledge

Floats = NDArray[np.float64]

REINSTALL = "Install Airproof again."
FAMILIAR_TO_STRANGE = (0.0, 0.02)
"""Strangeness (`Forest.strangeness`) up to which a recording is familiar, and from which on it is strange: 95 in a
hundred rehearsed drives show nothing outside, 99 at most 2.4 %; judged: Airproof authors, so that a recording is
strange as soon as that is rare among rehearsals; with a healthy road car in view (docs/whole_picture.md, section 4)."""

KIN_HEARD = ("picture", "checks")

KINDS = ("first", "again")
"""A car met for the first time; one that a known-good recording is there of."""


@dataclass(frozen=True)
class Learned:
    """Forest and slopes; `usual[induction]` (3, F): of each feature the 5, 50 and 95 % points of healthy rehearsed
    cars; `loudness[source]` (2,): with which part of their weight forest, slopes and single checks are heard where the
    recording is familiar, and where it is strange. `kin[causes][source]` (2,): the same of picture and single checks
    between causes that are kin. `said[place]` (C, J, C): for each cause, what the forest said of every cause by that
    place in J rehearsals of it, nepers. `made`: from what.
    """

    forest: Forest
    slopes: Slopes
    usual: Mapping[str, Floats]
    loudness: Mapping[str, Floats]
    kin: Mapping[tuple[str, ...], Mapping[str, Floats]]
    said: Mapping[str, Floats]
    made: str

    def contributions(self, features: Floats) -> tuple[Floats, Floats]:
        """What each feature (F,) adds for each cause, (F, C), and what stands before any is asked, (C,), nepers: the
        forest, and the slopes as loud as they are heard beside it.
        """
        heard = self._heard(self.forest.strangeness(features))
        beside = heard["slopes"] / heard["forest"]
        by_trees, before = self.forest.contributions(features)
        by_slopes, constant = self.slopes.contributions(self.forest.heard(features))
        return by_trees + beside * by_slopes, before + beside * constant

    def shares(self, strangeness: float) -> dict[str, float]:
        """The part of their weight with which picture and checks are heard."""
        heard = self._heard(strangeness)
        return {"picture": heard["forest"], "checks": heard["checks"]}

    def kin_shares(self, strangeness: float) -> dict[tuple[str, ...], dict[str, float]]:
        """The part of their weight with which picture and checks are heard between causes that are kin."""
        return {causes: _between(ends, strangeness) for causes, ends in self.kin.items()}

    def _heard(self, strangeness: float) -> dict[str, float]:
        return _between(self.loudness, strangeness)


def _between(shares: Mapping[str, Floats], strangeness: float) -> dict[str, float]:
    """Shares (2,) of a familiar and of a strange recording, for one in between."""
    return {source: float(np.interp(strangeness, FAMILIAR_TO_STRANGE, ends)) for source, ends in shares.items()}


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
    kin = {
        tuple(str(causes).split()): dict(zip(KIN_HEARD, ends, strict=True))
        for causes, ends in zip(held["kin"], floats("kin_shares"), strict=True)
    }
    usual = {str(name): value for name, value in zip(held["inductions"], floats("usual"), strict=True)}
    said = dict(zip(PLACES, floats("said"), strict=True))
    return Learned(forest_from(held), slopes_from(held), usual, loudness, kin, said, str(held["made"]))
