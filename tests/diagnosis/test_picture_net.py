"""The net: what it says by its equations, credits that add up, voices that level off; what it is taught with."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.integrate import quad_vec

from airproof.diagnosis.picture.features import AGAIN, FIRST, OF_CAR
from airproof.diagnosis.picture.healthy import LEVELS_OFF, Healthy, voices, what_is_known
from airproof.diagnosis.picture.learned import learned
from airproof.diagnosis.picture.net import Net, rise, switched

sys.path.append(str(Path(__file__).resolve().parents[2] / "learning"))
from foretell import healthy_cars  # type: ignore[import-not-found]
from twins import told_to_others  # type: ignore[import-not-found]

Floats = NDArray[np.float64]
A_CAR = np.array([0.7, -0.7, 9.6, 750.0, 110.0, 100.0, 20.0, -1.0, 0.0, 1.0, 0.0])
"""In the order of OF_CAR: a turbocharged petrol engine of two litres with an air flow sensor."""
KINDS = st.sampled_from(["first", "again"])


def row(kind: str, seed: int, unknown: float = 0.3) -> Floats:
    """Features of a car of our own invention, near what is usual, some not known."""
    rng = np.random.default_rng(seed)
    healthy = learned(kind).net.healthy
    values = healthy.middle + 2.0 * healthy.width * rng.normal(size=healthy.middle.size)
    return np.concatenate([np.where(rng.random(values.size) < unknown, np.nan, values), A_CAR])


def said_one_by_one(net: Net, features: Floats) -> Floats:
    """What the equations of docs/whole_picture.md say, switch by switch."""
    healthy, count = net.healthy, net.healthy.middle.size
    amounts = (features[count : count + 8] - healthy.usual) / healthy.spread
    kinds = np.zeros(9)
    kinds[3 * int(features[count + 9]) + int(features[count + 10])] = 1.0
    known = np.concatenate([kinds, amounts, amounts**2, features[count + 8 : count + 9]])
    heard, unknown = np.zeros(count), np.zeros(count)
    for k in range(count):
        unknown[k] = np.isnan(features[k])
        if not unknown[k]:
            width = min(max((features[k] - healthy.middle[k]) / healthy.width[k], -8.0), 8.0)
            heard[k] = 4.0 * np.tanh((width - known @ healthy.foretold[:, k]) / 4.0)
    inputs = np.concatenate([heard, unknown, known])

    def on(x: float) -> float:
        return x / (1.0 + np.exp(-x))

    one = [on(inputs @ net.first[:, h] + net.first_at[h]) for h in range(net.first_at.size)]
    two = [on(np.dot(one, net.second[:, k]) + net.second_at[k]) for k in range(net.second_at.size)]
    return (
        np.array([np.dot(two, net.last[:, c]) + inputs @ net.past[:, c] for c in range(net.last_at.size)]) + net.last_at
    )


@given(KINDS, st.integers(0, 60))
def test_what_is_credited_to_the_summaries_adds_up_to_the_equations(kind: str, seed: int) -> None:
    net, features = learned(kind).net, row(kind, seed)
    added, before = net.contributions(features)
    assert added.sum(axis=0) + before == pytest.approx(said_one_by_one(net, features), abs=1e-9)
    assert not added[net.healthy.middle.size :].any()  # what is known of the car is credited to no summary


@given(KINDS, st.integers(0, 60))
def test_credits_are_all_of_what_changed_on_the_walk(kind: str, seed: int) -> None:
    net = learned(kind).net
    (inputs,) = net.inputs(row(kind, seed)[None, :])
    begin = np.concatenate([net.begin, inputs[net.begin.size :]])
    changed = np.subtract(*net.says(np.array([inputs, begin])))
    assert net.credits(inputs).sum(axis=0) == pytest.approx(changed, abs=1e-3)


def small_net(seed: int, past_only: bool = False) -> Net:
    """Two summaries, three and two switches, two causes, by chance."""
    rng = np.random.default_rng(seed)
    known = what_is_known(A_CAR[None, :], np.zeros(8), np.ones(8)).size
    healthy = Healthy(np.zeros(2), np.ones(2), A_CAR[:8], np.ones(8), np.zeros((known, 2)))
    shapes = {"first": (4 + known, 3), "first_at": (3,), "second": (3, 2), "second_at": (2,), "last": (2, 2),
              "last_at": (2,), "past": (4 + known, 2), "begin": (4,), "mean": (2, 2)}  # fmt: skip
    parts = {name: 0.5 * rng.normal(size=shape) for name, shape in shapes.items()}
    return Net(healthy, **{**parts, **({"last": np.zeros((2, 2))} if past_only else {})})


@given(st.integers(0, 60), st.floats(-3, 3), st.floats(-3, 3))
def test_credits_are_the_integral_of_each_summarys_own_changes(seed: int, one: float, other: float) -> None:
    """Against adaptive quadrature (SciPy) of derivatives by a complex step, which are exact to rounding."""
    net = small_net(seed)
    (inputs,) = net.inputs(np.array([[one, other, *A_CAR]]))
    begin = np.concatenate([net.begin, inputs[4:]])
    tiny = 1e-20

    def rises(at: float) -> Floats:
        steps = (begin + at * (inputs - begin))[None, :] + 1j * tiny * np.eye(inputs.size)
        return np.asarray((inputs - begin)[:, None] * np.imag(net.says(steps)) / tiny)

    by_input = quad_vec(rises, 0.0, 1.0, epsabs=1e-8)[0]
    assert net.credits(inputs) == pytest.approx(by_input[:2] + by_input[2:4], abs=2e-3)


@given(st.integers(0, 60), st.floats(-3, 3))
def test_what_goes_past_the_switches_is_credited_as_it_is(seed: int, one: float) -> None:
    net = small_net(seed, past_only=True)
    (inputs,) = net.inputs(np.array([[one, np.nan, *A_CAR]]))
    by_input = (inputs[:4] - net.begin)[:, None] * net.past[:4]
    assert net.credits(inputs) == pytest.approx(by_input[:2] + by_input[2:4], abs=1e-12)


@given(KINDS, st.integers(0, 30), st.integers(0, len(FIRST) - len(OF_CAR) - 1), st.floats(8.0, 1e6))
def test_a_summary_however_far_out_says_no_more_than_at_eight_widths(
    kind: str, seed: int, place: int, widths: float
) -> None:  # fmt: skip
    net, features = learned(kind).net, row(kind, seed)
    features[place] = net.healthy.middle[place] + 8.0 * net.healthy.width[place]
    before = net.says(net.inputs(features[None, :]))
    features[place] = net.healthy.middle[place] + widths * net.healthy.width[place]
    assert net.says(net.inputs(features[None, :])) == pytest.approx(before, abs=1e-6)


@given(KINDS, st.integers(0, 30), st.booleans())
def test_what_is_lost_in_keeping_rows_in_single_precision_says_nothing(kind: str, seed: int, usual: bool) -> None:
    """No summary may be so narrow that its last digits speak, also where all are as in the middle of healthy cars."""
    net, features = learned(kind).net, row(kind, seed)
    if usual:
        features[: net.healthy.middle.size] = net.healthy.middle
    for rounding in (-6e-8, 6e-8):
        kept = np.concatenate([features[: -len(OF_CAR)] * (1.0 + rounding), A_CAR])
        said = net.says(net.inputs(np.array([features, kept])))
        assert said[1] == pytest.approx(said[0], abs=0.02)


@given(st.floats(-8, 8))
def test_near_the_middle_a_voice_is_as_loud_as_the_summary_is_off(off: float) -> None:
    assert voices(np.array([off]))[0] == pytest.approx(off, abs=abs(off) ** 3 / (3.0 * LEVELS_OFF**2) + 1e-12)
    assert voices(np.array([np.nan]))[0] == 0.0


@given(st.floats(-30, 30))
def test_the_rise_of_a_switch_is_its_slope(x: float) -> None:
    step = 1e-5
    slope = np.diff(switched(np.array([x - step, x + step])))[0] / (2.0 * step)
    assert rise(np.array([x]))[0] == pytest.approx(slope, abs=1e-8)


def test_the_nets_are_asked_with_all_summaries() -> None:
    for kind, features in (("first", FIRST), ("again", AGAIN)):
        net = learned(kind).net
        assert net.healthy.middle.size == len(features) - len(OF_CAR)
        assert net.last_at.size == len(learned(kind).forest.causes)


def test_what_is_foretold_of_healthy_cars_takes_out_what_is_known_of_them() -> None:
    """Cars whose summary goes with their displacement: what is left is the noise, as least squares leaves it."""
    rng = np.random.default_rng(4)
    cars = np.tile(A_CAR, (3000, 1))
    cars[:, 0] = rng.normal(0.7, 0.3, size=3000)
    noise = rng.normal(0.0, 0.1, size=3000)
    rows = np.column_stack([2.0 * cars[:, 0] + noise, cars])
    healthy = healthy_cars(rows)
    off = healthy.off_by(rows)[:, 0] * healthy.width[0]
    assert off - off.mean() == pytest.approx(noise - noise.mean(), abs=0.05)
    assert np.std(off) == pytest.approx(np.std(noise), rel=0.02)


def test_a_fault_told_to_another_car_changes_it_as_it_changed_its_own() -> None:
    rows = np.zeros((4, 3 + len(OF_CAR)))
    rows[:, 3:] = A_CAR
    rows[:, :3] = [[1.0, 2.0, 3.0], [1.5, np.nan, 2.0], [10.0, 20.0, np.nan], [7.0, 7.0, 7.0]]
    rows[3, -1] = 1.0  # meters in another way
    cause, car, whole = np.array([0, 5, 0, 0]), np.array([1, 1, 2, 3]), np.array([True, True, False, True])
    good = np.ones(4)
    further, causes = told_to_others(rows, cause, car, good, whole, 8, np.random.default_rng(0))
    assert causes.tolist() == [5]
    assert further[0, :3] == pytest.approx([10.5, np.nan, np.nan], nan_ok=True)
    assert further[0, 3:] == pytest.approx(A_CAR)


def test_a_fault_without_a_healthy_twin_is_told_to_nobody() -> None:
    rows = np.column_stack([np.zeros((2, 3)), np.tile(A_CAR, (2, 1))])
    cause, car, rng = np.array([0, 5]), np.array([1, 1]), np.random.default_rng(0)
    for good, whole in (([1, 1], [False, True]), ([1, 2], [True, True])):  # or set beside another day than the fault
        further, _ = told_to_others(rows, cause, car, np.array(good), np.array(whole), 8, rng)
        assert not further.size
