"""What the recording after can tell: the smallest size of a cause that would show in it.

A healthy engine lies near zero in every check; with the cause at a size undone it would lie off by what that size
explains. How far that is, in standard deviations of what is expected after, all witnesses together and less what the
unknown size before could make up for, says whether the size could hide (docs/proof.md, section 4). Nothing here depends
on what was found after, only on what was visited.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from airproof.knowledge.model import NONE, Cause
from airproof.repair.proof.by_engine_off import EngineOffWitness
from airproof.repair.proof.by_level import LevelWitness
from airproof.repair.proof.by_relation import RelationWitness
from airproof.repair.proof.courses import Asked, neutral
from airproof.repair.proof.joint import JointGroup, Witness

Floats = NDArray[np.float64]

SHOWS = 1.645
"""Standard deviations from which a size shows: on one side of a Gaussian, 19 times in 20; judged: Airproof authors, the
usual level, beside the probabilities that have to be as sure."""


def strength(asked: Asked, cause: str) -> tuple[Floats, Floats]:
    """Sizes of a cause after (m,), on its own grid, and by how many standard deviations each would show (m,)."""
    places = asked.after[cause].alone
    parts = [_moved(one, asked, cause) for one in asked.witnesses]
    expected = np.concatenate([there for there, _ in parts])
    shown = np.concatenate([here for _, here in parts], axis=1)
    # The size before is known to one standard deviation: along what that moves, nothing can be told apart.
    along = shown @ expected
    squared = np.sum(np.square(shown), axis=1) - np.square(along) / (1.0 + float(expected @ expected))
    return asked.after[cause].sizes[places], np.sqrt(np.maximum(squared, 0.0))


def _moved(one: Witness, asked: Asked, cause: str) -> tuple[Floats, Floats]:
    """How one standard deviation of the size before moves what is expected (k,), and each size after what is shown
    (m, k), in standard deviations.
    """
    places = asked.after[cause].alone
    match one:
        case RelationWitness():
            return _of_group(one.group, asked, cause)
        case EngineOffWitness():
            return _of_group(one.copied if one.copied is not None else one.own, asked, cause)
        case LevelWitness() if cause not in one.made_up_for:
            here = (one.undone_after[cause][places] - one.after.value)[:, None]
            there = 0.0 if one.before is None else _by_one_sd(one.undone_before[cause], asked, cause)
            return one.moved(cause, np.array([there]), here)
        case _:
            return np.zeros(0), np.zeros((places.size, 0))


def _of_group(group: JointGroup, asked: Asked, cause: str) -> tuple[Floats, Floats]:
    here = group.off_after[cause][asked.after[cause].alone] - group.off_after[NONE]
    there = np.array([_by_one_sd(column, asked, cause) for column in group.off_before[cause].T])
    expected, shown = group.moved(cause, there.reshape(1, -1), here)
    return expected[0], shown


def _by_one_sd(values: Floats, asked: Asked, cause: str) -> float:
    """How much values (S,) over the sizes before move with them, one standard deviation."""
    weights = asked.before[cause].weights
    return float(np.sqrt(np.sum(weights * np.square(values - np.sum(weights * values)))) * _sign(values, asked, cause))


def _sign(values: Floats, asked: Asked, cause: str) -> float:
    one = asked.before[cause]
    middle = np.sum(one.weights * one.sizes)
    return 1.0 if np.sum(one.weights * (one.sizes - middle) * values) >= 0.0 else -1.0


def resolves(asked: Asked, cause: Cause) -> float | None:
    """The least size after, counted from nothing wrong, from which on every size would show; None where none would."""
    sizes, shows = strength(asked, cause.id)
    apart = np.abs(sizes - neutral(cause))
    hidden, seen = apart[shows < SHOWS], apart[shows >= SHOWS]
    limit = float(hidden.max()) if hidden.size else 0.0
    beyond = seen[seen > limit]
    return float(beyond.min()) if beyond.size else None
