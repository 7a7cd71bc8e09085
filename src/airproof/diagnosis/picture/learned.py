"""What rehearsals teach, for cars met for the first time, and for cars with a known-good recording.

Forest and net have learnt rehearsals as they are, and are heard where a recording is like them. Another forest has
learnt them shaken by how far makers, loggers and drivers may differ, and is heard where a recording is strange. All of
it is in `data/learned_*.npz` and `data/shaken_*.npz`, made by `learning/` from rehearsals of bent engines by seed.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from importlib import resources

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.picture.forest import Forest, forest_from
from airproof.diagnosis.picture.net import Net, net_from
from airproof.diagnosis.picture.words import PLACES
from airproof.errors import BrokenKnowledge

Floats = NDArray[np.float64]

REINSTALL = "Install Airproof again."
FAMILIAR_TO_STRANGE = (0.0, 0.01)
"""Strangeness (`Forest.strangeness`) up to which a recording is familiar, and from which on it is strange: 95 in a
hundred rehearsed drives show nothing outside; of a recording with every signal, one summary outside is half way and two
are strange; judged: Airproof authors, with a healthy road car in view (docs/whole_picture.md, section 4)."""

KIN_HEARD = ("picture", "checks")
PARTS = ("forest", "net", "shaken")  # of the picture

KINDS = ("first", "again")
"""A car met for the first time; one that a known-good recording is there of."""


@dataclass(frozen=True)
class Learned:
    """What was learnt for one kind of car. `usual[induction]` (3, F): of each feature the 5, 50 and 95 % points of
    healthy rehearsed cars; `loudness[source]` (2,): with which part of their weight forest, net, shaken forest and
    single checks are heard where the recording is familiar, and where it is strange. `kin[causes][source]` (2,): the
    same of picture and single checks between causes that are kin. `said[place]` (C, J, C): for each cause, what the
    picture said of every cause by that place in J rehearsals of it, nepers. `made`: from what.
    """

    kind: str
    forest: Forest
    net: Net
    usual: Mapping[str, Floats]
    loudness: Mapping[str, Floats]
    kin: Mapping[tuple[str, ...], Mapping[str, Floats]]
    said: Mapping[str, Floats]
    made: str

    def contributions(self, features: Floats, strangeness: float) -> tuple[Floats, Floats]:
        """What each feature (F,) adds for each cause, (F, C), and what stands before any is asked, (C,), nepers: the
        mean of the parts of the picture, each as loud as it is heard in so strange a recording.
        """
        heard = self._heard(strangeness)
        added, before = np.zeros((features.size, len(self.forest.causes))), np.zeros(len(self.forest.causes))
        for part in PARTS:
            if heard[part] > 0.0:
                by_part, constant = self._part(part, features)
                added, before = added + heard[part] * by_part, before + heard[part] * constant
        whole = sum(heard[part] for part in PARTS)
        return added / whole, before / whole

    def _part(self, part: str, features: Floats) -> tuple[Floats, Floats]:
        match part:
            case "net":
                return self.net.contributions(self.forest.heard(features))
            case "shaken":
                return shaken(self.kind).contributions(features)
            case _:
                return self.forest.contributions(features)

    def shares(self, strangeness: float) -> dict[str, float]:
        """The part of their weight with which picture and checks are heard."""
        heard = self._heard(strangeness)
        return {"picture": sum(heard[part] for part in PARTS), "checks": heard["checks"]}

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
    with _held(f"learned_{kind}.npz") as held:
        return _from(kind, held)


@cache
def shaken(kind: str) -> Forest:
    """The forest from shaken rehearsals, for strange recordings. Raises BrokenKnowledge as `learned`."""
    with _held(f"shaken_{kind}.npz") as held:
        return forest_from(held)


@contextmanager
def _held(name: str) -> Iterator[Mapping[str, NDArray[np.generic]]]:
    try:
        with (resources.files("airproof.diagnosis") / "data" / name).open("rb") as opened, np.load(opened) as held:
            yield held
    except (OSError, KeyError, ValueError) as fault:
        raise BrokenKnowledge(str(fault), "what rehearsals taught", REINSTALL) from fault


def _from(kind: str, held: Mapping[str, NDArray[np.generic]]) -> Learned:
    def floats(name: str) -> Floats:
        return np.asarray(held[name], dtype=np.float64)

    loudness = {str(name): ends for name, ends in zip(held["heard"], floats("shares"), strict=True)}
    kin = {
        tuple(str(causes).split()): dict(zip(KIN_HEARD, ends, strict=True))
        for causes, ends in zip(held["kin"], floats("kin_shares"), strict=True)
    }
    usual = {str(name): value for name, value in zip(held["inductions"], floats("usual"), strict=True)}
    said = dict(zip(PLACES, floats("said"), strict=True))
    return Learned(kind, forest_from(held), net_from(held), usual, loudness, kin, said, str(held["made"]))
