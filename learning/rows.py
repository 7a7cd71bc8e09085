"""Gathered rows as they are learnt from, and how much each weighs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from twins import told_to_others

from airproof.knowledge.load import knowledge

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

ALL = tuple(knowledge().causes)
PRIOR_POWER = 0.5  # rare causes are learnt with more weight than they have, common ones with less
NEVER = 1e-12  # in place of a prior of nothing


@dataclass(frozen=True)
class Rows:
    """Features (n, F), evidence of checks and codes (n, C), cause by place in ALL, car, its day and the day of its
    known-good recording (0 without); `reduced` rows are not of a whole drive with every signal.
    """

    features: Floats
    checks: Floats
    codes: Floats
    cause: Ints
    car: Ints
    day: Ints
    good: Ints
    reduced: NDArray[np.bool_]

    def where(self, chosen: NDArray[np.bool_]) -> Rows:
        """Only the chosen rows."""
        return Rows(*(getattr(self, name)[chosen] for name in Rows.__annotations__))

    @staticmethod
    def together(parts: Sequence[Rows]) -> Rows:
        """All rows of the parts."""
        return Rows(*(np.concatenate([getattr(part, name) for part in parts]) for name in Rows.__annotations__))


def load(folder: Path, kind: str) -> Rows:
    """All gathered rows of that kind."""
    parts = []
    for path in sorted(folder.glob("rows_*.npz")):
        with np.load(path) as held:
            part = {name: held[name] for name in held.files}
        mine = part["with_good"] == (kind == "again")
        cause = np.array([ALL.index(str(name)) for name in part["cause"][mine]])
        place, day = part["car"][mine], part["day"][mine]
        features = part[kind][mine].astype(np.float32)
        checks, codes, good, reduced = (part[name][mine] for name in ("checks", "codes", "good", "reduced"))
        parts.append(Rows(features, checks, codes, cause, place, day, good, reduced))
    return Rows.together(parts)


def with_others(rows: Rows, times: int, rng: np.random.Generator) -> tuple[Floats, Ints]:
    """Features and causes of the rows, and of every fault told to so many other cars."""
    told = told_to_others(rows.features, rows.cause, rows.car, rows.good, ~rows.reduced & (rows.day == 0), times, rng)
    return np.concatenate([rows.features, told[0]]), np.concatenate([rows.cause, told[1]])


def prior() -> Floats:
    weight = np.array([knowledge().causes[cause].weight for cause in ALL])
    return np.asarray(weight / weight.sum())


def class_weights(cause: Ints) -> Floats:
    """The weight (C,) of one row of each cause, where so many rows are learnt from."""
    frequency = np.bincount(cause, minlength=len(ALL)) / cause.size
    return np.where(frequency > 0, prior() ** PRIOR_POWER / np.maximum(frequency, 1e-9), 0.0)


def taken_as_prior(cause: Ints) -> Floats:
    """ln of the prior (C,) that whoever learns from these rows by their weights takes in with them."""
    taken = class_weights(cause) * np.bincount(cause, minlength=len(ALL))
    return np.asarray(np.log(taken / taken.sum() + NEVER))


def row_weights(rows: Rows) -> Floats:
    """(n,): by which the causes of the rows count as often as they are met."""
    frequency = np.bincount(rows.cause, minlength=len(ALL)) / rows.cause.size
    return np.asarray(prior()[rows.cause] / frequency[rows.cause])
