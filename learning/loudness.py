"""How loudly each source of evidence is to be heard: what makes what really was wrong most probable."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from rows import ALL, Rows, prior, row_weights
from scipy.optimize import minimize

from airproof.knowledge.model import NONE

Floats = NDArray[np.float64]

STIFFNESS = 0.01  # surprise for each squared neper taken off, so that no rare cause is led by a few rows
KIN = (
    # what is read or delivered is wrong by an amount or a factor
    ("map-offset", "map-gain", "supply-reference", "baro-sensor", "boost-sensor-scale", "iat-offset", "maf-scale",
     "fuel-delivery"),
    # less air comes
    ("boost-leak", "wastegate-stuck-open", "intake-restriction", "exhaust-restriction"),
)  # fmt: skip
"""Causes that do the same thing in other shapes: what tells them from each other is heard with shares of its own;
judged: Airproof authors. Of half a dozen groupings tried, these made cars not grown from the least surprising.
"""
HUGE = 1e30
MOST_CLIPPED = 40.0  # nepers, of the checks
LEAST_SURE = -20.0  # ln of a probability below which one row surprises no more


@dataclass(frozen=True)
class Hearing:
    """How loudly each part of the picture is heard, (S,), and the checks; how much too kind the first part, a forest,
    is to each cause, (C,), nepers; how loudly picture and checks are heard between causes that are kin, (K, 2).
    """

    picture: Floats
    checks: float
    too_kind: Floats
    kin: Floats


def posterior(rows: Rows, parts: Sequence[Floats], hearing: Hearing) -> Floats:
    """ln posterior (n, C) from what the parts of the picture say (n, C) each, the checks and the codes, as
    `diagnosis/picture/hearing.py` has it.
    """
    possible = np.isfinite(rows.checks)
    picture = sum((share * part for share, part in zip(hearing.picture, parts, strict=True)), np.zeros(len(ALL)))
    picture = picture - hearing.picture[0] * hearing.too_kind
    checks = hearing.checks * np.clip(np.nan_to_num(rows.checks), -MOST_CLIPPED, MOST_CLIPPED)
    total = np.log(prior()) + np.nan_to_num(rows.codes)
    for said, outside, within in (
        (picture, hearing.picture.sum(), hearing.kin[:, 0]),
        (checks, hearing.checks, hearing.kin[:, 1]),
    ):
        total = total + said
        for causes, share in zip(KIN, within, strict=True):
            these = [ALL.index(cause) for cause in causes]
            common = _of_kin(said[:, these] / outside, these, possible)
            total[:, these] += (share - outside) * (said[:, these] / outside - common)
    total = np.where(possible, total, -np.inf)
    return np.asarray(total - np.logaddexp.reduce(total, axis=1, keepdims=True))


def _of_kin(said: Floats, these: Sequence[int], possible: NDArray[np.bool_]) -> Floats:
    """What is said (n, K) for any one of these causes, (n, 1), each by its weight where the car can have it."""
    before = np.where(possible[:, these], np.log(prior()[list(these)]), -HUGE)
    return np.asarray(
        np.logaddexp.reduce(before + said, axis=1, keepdims=True) - np.logaddexp.reduce(before, axis=1, keepdims=True)
    )


def best_hearing(rows: Rows, parts: Sequence[Floats]) -> Hearing:
    """What makes what really was wrong in rows not learnt from most probable.

    A forest fits each faulty car it has grown from a little too well, and takes what it has not seen for one of the
    many healthy ones: that shows on cars it has not seen, and is taken off.
    """
    weight, at = row_weights(rows), (np.arange(rows.cause.size), rows.cause)
    count = len(parts)
    shares = count + 1 + 2 * len(KIN)

    def of(numbers: Floats) -> Hearing:
        kin = numbers[count + 1 : shares].reshape(len(KIN), 2)
        return Hearing(numbers[:count], float(numbers[count]), numbers[shares:], kin)

    def surprise(numbers: Floats) -> float:
        found = posterior(rows, parts, of(numbers))[at]
        stiff = STIFFNESS * np.square(numbers[shares:]).sum()
        return float(-np.average(np.maximum(found, LEAST_SURE), weights=weight) + stiff)

    begin = np.concatenate([np.full(count, 1.0 / count), [0.2], np.tile([0.6, 0.4], len(KIN)), np.zeros(len(ALL))])
    bounds = [(0.05, 1.0)] * shares + [(-4.0, 4.0)] * len(ALL)
    return of(minimize(surprise, begin, bounds=bounds, method="L-BFGS-B", options={"maxfun": 20000}).x)


def tell(name: str, rows: Rows, parts: Sequence[Floats], hearing: Hearing) -> None:
    """Print how rows not learnt from fare."""
    chance = np.exp(posterior(rows, parts, hearing))
    weight, none = row_weights(rows), ALL.index(NONE)
    order = np.argsort(-chance, axis=1)
    right, three = order[:, 0] == rows.cause, (order[:, :3] == rows.cause[:, None]).any(axis=1)
    faulty = rows.cause != none
    sure = chance.max(axis=1)
    bins = np.minimum((10 * sure).astype(int), 9)
    error = sum(abs(np.sum((weight * (right - sure))[bins == k])) for k in range(10)) / weight.sum()
    on_truth = chance[np.arange(rows.cause.size), rows.cause]
    wrong = faulty & ~right & (order[:, 0] != none) & (sure > 0.5)

    def mean(values: NDArray[np.generic], where: NDArray[np.bool_]) -> float:
        return float(np.average(values[where].astype(float), weights=weight[where]))

    surprise = -float(np.average(np.maximum(np.log(on_truth + 1e-300), LEAST_SURE), weights=weight))
    print(
        f"{name:28} n {rows.cause.size:6}  first {mean(right, faulty):.3f}  three {mean(three, faulty):.3f}  "
        f"p {mean(on_truth, faulty):.3f}  error {error:.3f}  another > 0.5 {mean(wrong, faulty):.3f}  "
        f"healthy accused {1.0 - mean(right, ~faulty):.3f}  surprise {surprise:.4f}",
        flush=True,
    )
