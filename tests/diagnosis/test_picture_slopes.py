"""The slopes: a sum that adds up, voices that level off, and how they are found, against a closed form."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from airproof.diagnosis.picture.features import FIRST, OF_CAR
from airproof.diagnosis.picture.learned import learned
from airproof.diagnosis.picture.slopes import LEVELS_OFF, Slopes, voices

sys.path.append(str(Path(__file__).resolve().parents[2] / "learning"))
from lean import find_slopes  # type: ignore[import-not-found]
from twins import told_to_others  # type: ignore[import-not-found]

Floats = NDArray[np.float64]
SUMMARIES = len(FIRST) - len(OF_CAR)
A_CAR = np.array([0.7, -0.7, 9.6, 750.0, 110.0, 100.0, 20.0, -1.0, 0.0, 1.0, 0.0])
"""In the order of OF_CAR: a turbocharged petrol engine of two litres with an air flow sensor."""


def row(seed: int, unknown: float = 0.3) -> Floats:
    """Features of a car of our own invention, near what is usual, some not known."""
    rng = np.random.default_rng(seed)
    slopes = learned("first").slopes
    values = slopes.healthy.middle + 2.0 * slopes.healthy.width * rng.normal(size=SUMMARIES)
    return np.concatenate([np.where(rng.random(SUMMARIES) < unknown, np.nan, values), A_CAR])


def added_one_by_one(slopes: Slopes, features: Floats) -> Floats:
    """What the equations of docs/whole_picture.md say, summary by summary."""
    healthy = slopes.healthy
    amounts = (features[SUMMARIES : SUMMARIES + 8] - healthy.usual) / healthy.spread
    kinds = np.zeros(9)
    kinds[3 * int(features[SUMMARIES + 9]) + int(features[SUMMARIES + 10])] = 1.0
    known = np.concatenate([kinds, amounts, amounts**2, features[SUMMARIES + 8 : SUMMARIES + 9]])
    total = slopes.before - slopes.mean.sum(axis=0)
    for k in range(SUMMARIES):
        if np.isnan(features[k]):
            total += slopes.unknown[k]
            continue
        off = min(max((features[k] - healthy.middle[k]) / healthy.width[k], -8.0), 8.0) - known @ healthy.foretold[:, k]
        total += 4.0 * np.tanh(off / 4.0) * slopes.along[1, k] + 4.0 * np.tanh(off / 4.0) ** 2 * slopes.away[k]
    return np.asarray(total)


@given(st.integers(0, 60))
def test_what_is_credited_to_the_summaries_adds_up_to_the_equations(seed: int) -> None:
    slopes, features = learned("first").slopes, row(seed)
    added, before = slopes.contributions(features)
    assert added.sum(axis=0) + before == pytest.approx(added_one_by_one(slopes, features), abs=1e-9)
    assert not added[SUMMARIES:].any()  # what is known of the car only foretells


@given(st.integers(0, 60), st.integers(0, SUMMARIES - 1), st.floats(-1e6, 1e6))
def test_one_summary_however_far_out_cannot_say_more_than_its_voices(seed: int, place: int, value: float) -> None:
    slopes, features = learned("first").slopes, row(seed)
    features[place] = value
    added, _ = slopes.contributions(features)
    most = LEVELS_OFF * (np.abs(slopes.along[1, place]) + np.abs(slopes.away[place]))
    assert (np.abs(added[place] + slopes.mean[place]) <= most + 1e-12).all()


@given(st.floats(-8, 8))
def test_near_the_middle_a_voice_is_as_loud_as_the_summary_is_off(off: float) -> None:
    direction, distance = (float(v[0]) for v in voices(np.array([off])))
    assert direction == pytest.approx(off, abs=abs(off) ** 3 / (3.0 * LEVELS_OFF**2) + 1e-12)
    assert distance == pytest.approx(off**2 / LEVELS_OFF, abs=off**4 / LEVELS_OFF**3 + 1e-12)


TOGETHER = np.array([[1.0, 0.9], [0.9, 1.0]])
SHIFT = np.array([0.5, -0.5])


def cars(seed: int, count: int = 4000) -> tuple[Floats, NDArray[np.int64]]:
    """Healthy and faulty cars by turns: two summaries that go together, which the fault moves a little apart."""
    rng = np.random.default_rng(seed)
    cause = np.tile([0, 1], count // 2)
    values = rng.multivariate_normal(np.zeros(2), TOGETHER, size=count) + cause[:, None] * SHIFT
    return np.column_stack([values, np.tile(A_CAR, (count, 1))]), cause


def test_small_voices_together_tell_what_no_single_one_could() -> None:
    # Two Gaussians with one covariance: the best there is weighs with its inverse (linear discriminant, closed form).
    found = find_slopes(*cars(1), np.ones(2))
    rows, cause = cars(2)
    said = np.array([np.diff(found.contributions(row)[0].sum(axis=0) + found.before)[0] for row in rows])
    best = rows[:, :2] @ np.linalg.solve(TOGETHER, SHIFT) - SHIFT @ np.linalg.solve(TOGETHER, SHIFT) / 2.0
    right, at_best = np.mean((said > 0.0) == (cause == 1)), np.mean((best > 0.0) == (cause == 1))
    alone = np.mean((rows[:, 0] > SHIFT[0] / 2.0) == (cause == 1))
    assert at_best > alone + 0.2
    assert right == pytest.approx(at_best, abs=0.01)
    assert np.corrcoef(said, best)[0, 1] > 0.98


def test_a_fault_told_to_another_car_changes_it_as_it_changed_its_own() -> None:
    rows = np.zeros((4, 3 + len(OF_CAR)))
    rows[:, 3:] = A_CAR
    rows[:, :3] = [[1.0, 2.0, 3.0], [1.5, np.nan, 2.0], [10.0, 20.0, np.nan], [7.0, 7.0, 7.0]]
    rows[3, -1] = 1.0  # meters in another way
    cause, car, whole = np.array([0, 5, 0, 0]), np.array([1, 1, 2, 3]), np.array([True, True, False, True])
    further, causes = told_to_others(rows, cause, car, whole, 8, np.random.default_rng(0))
    assert causes.tolist() == [5]
    assert further[0, :3] == pytest.approx([10.5, np.nan, np.nan], nan_ok=True)
    assert further[0, 3:] == pytest.approx(A_CAR)


def test_a_fault_without_a_healthy_twin_is_told_to_nobody() -> None:
    rows = np.column_stack([np.zeros((2, 3)), np.tile(A_CAR, (2, 1))])
    further, _ = told_to_others(
        rows, np.array([0, 5]), np.array([1, 1]), np.array([False, True]), 8, np.random.default_rng(0)
    )
    assert not further.size
