"""A type learnt from several of its engines: each is a sample of the type, not the engine itself."""

from __future__ import annotations

from dataclasses import replace

import ideal_engine as ideal
import numpy as np
import pytest
from numpy.typing import NDArray

from airproof.engine.air_path import OnePath, another_day, generic_belief, learn_engine, learn_type
from airproof.engine.shared import shared
from airproof.engine.smooth_table import EngineBelief

TURBO = ideal.engine()
Floats = NDArray[np.float64]


def path(flow_factor: float = 1.0) -> OnePath:
    points = ideal.show(ideal.healthy(TURBO))
    return ideal.path_of(replace(points, air_flow=flow_factor * points.air_flow), TURBO)


def efficiency_sd(belief: EngineBelief) -> Floats:
    return np.sqrt(np.diag(belief.covariance)[belief.part("efficiency")])


def test_sisters_narrow_less_than_the_car_itself_and_more_of_them_narrow_more() -> None:
    nothing = generic_belief(TURBO)
    one, five = (efficiency_sd(learn_type(nothing, [path()] * count)) for count in (1, 5))
    itself = efficiency_sd(another_day(learn_engine(nothing, path())))
    seen = one < 0.9 * efficiency_sd(nothing)
    assert seen.any()
    assert np.all(five[seen] < one[seen])
    assert np.all(itself[seen] < one[seen])
    floor = shared().another_car["efficiency"].level_sd
    assert np.all(five >= floor)  # however many sisters: this car is one of its own


def test_no_sisters_no_change() -> None:
    nothing = generic_belief(TURBO)
    assert learn_type(nothing, []) is nothing


def test_in_which_order_the_sisters_come_moves_little() -> None:
    nothing = generic_belief(TURBO)
    there = learn_type(nothing, [path(0.98), path(1.0), path(1.02)])
    back = learn_type(nothing, [path(1.02), path(1.0), path(0.98)])
    np.testing.assert_allclose(there.mean, back.mean, atol=3e-3)


def test_handed_up_as_by_the_joint_gaussian_of_type_and_engine() -> None:
    """Against brute-force conditioning of type and engine together on one observation of the engine."""
    rng = np.random.default_rng(2)
    count = generic_belief(TURBO).mean.size
    factor = rng.normal(size=(count, count)) / np.sqrt(count)
    kind = replace(generic_belief(TURBO), covariance=factor @ factor.T + 0.1 * np.eye(count))
    one = kind.loosened(shared().another_car)
    weights, residual, sd = rng.normal(size=(1, count)), np.array([0.05]), np.array([0.2])
    handed = kind.through(one, one.learn(weights, residual, sd))
    joint = np.block([[kind.covariance, kind.covariance], [kind.covariance, one.covariance]])
    seen = np.concatenate([np.zeros((1, count)), weights], axis=1)
    gain = joint @ seen.T / (seen @ joint @ seen.T + sd**2)
    np.testing.assert_allclose(handed.mean, kind.mean + (gain @ residual)[:count], atol=1e-9)
    expected = (joint - gain @ seen @ joint)[:count, :count]
    assert handed.covariance == pytest.approx(expected, abs=1e-9)
