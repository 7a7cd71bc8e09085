"""The stepping against scipy's Radau method: the same equations under another hand, moment by moment."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from bench import INDUCTIONS, STEP_S, Floats, driven, reference, settled, two_litres
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import solve

from airproof.engine.rehearsal.air.air_path import BEFORE, CONTENT, CONTENT_BEFORE, OWN
from airproof.engine.rehearsal.air.integrate import solve_banded
from airproof.engine.rehearsal.air.machinery import M_BURNED, M_MANIFOLD, P_MANIFOLD, PRESSURES, STATES
from airproof.knowledge.model import Induction

WITHIN = 2e-3  # asked of the stepping: 0.2 % of every pressure, content and rotor speed, at every moment
RADAU = 1e-8

Course = Sequence[tuple[float, float]]
TIME = np.arange(121) * STEP_S
SNAP: Course = [(0.0, 2.0), (0.1, 2.0), (0.16, 70.0), (0.7, 70.0), (0.76, 2.0)]  # %, open in 60 ms and closed again
TREAD: Course = [(0.05, 12.0), (0.12, 100.0)]
CLOSE: Course = [(0.05, 100.0), (0.11, 1.0)]
FLUTTER: Course = [(0.3, 0.0), (0.45, 0.6), (0.7, 0.2), (0.9, 0.9), (1.2, 0.3)]
OPENS: Course = [(0.0, 0.4), (0.3, 1.0)]
SHUT: Course = [(0.0, 0.0)]

# What happens: kind of engine, 1/min, throttle %, wastegate, rotor (rad/s) at the beginning, and faults.
TRANSIENTS: dict[str, tuple[Induction, Course, Course, Course, float, dict[str, float]]] = {
    "turbocharged, snapped open and shut": ("turbocharged", [(0, 2000)], SNAP, SHUT, 3000.0, {}),
    "turbocharged, pull with a moving wastegate": ("turbocharged", [(0, 3000), (1.2, 3600)], TREAD, FLUTTER, 9e3, {}),
    "turbocharged, shut at full boost": ("turbocharged", [(0, 5000), (1.2, 3300)], CLOSE, OPENS, 9e3, {}),
    "turbocharged, leaking and recirculating": (
        "turbocharged", [(0, 2500)], TREAD, FLUTTER, 9e3,
        {"leak": 1e-5, "boost_leak": 5e-5, "recirculation": 3e-5, "purge": 2e-6},
    ),
    "naturally aspirated, snapped open and shut": ("naturally-aspirated", [(0, 2000)], SNAP, SHUT, 0.0, {}),
    "naturally aspirated, from idle, leaking": ("naturally-aspirated", [(0, 750)], SNAP, SHUT, 0.0, {"leak": 1e-5}),
    "naturally aspirated, shut at full power": (
        "naturally-aspirated", [(0, 6000), (1.2, 4000)], CLOSE, SHUT, 0.0, {"recirculation": 1e-5}
    ),
    "supercharged, snapped open and shut": ("supercharged", [(0, 2000)], SNAP, SHUT, 0.0, {"relief": 0.3}),
    "supercharged, pull": (
        "supercharged", [(0, 3000), (1.2, 3600)], TREAD, SHUT, 0.0, {"relief": 0.05, "boost_leak": 2e-5}
    ),
}  # fmt: skip


def along(course: Course) -> Floats:
    when, what = np.array(course, dtype=np.float64).T
    return np.interp(TIME, when, what)


def apart(states: Floats, exact: Floats) -> Floats:
    """Relative differences of what moves: pressures, contents and rotor, (n, STATES); 0 for what this engine lacks."""
    there = (np.ptp(exact, axis=0) > 0.0) & (np.arange(STATES) != M_BURNED)
    return np.where(there, np.abs(states - exact) / np.where(there, exact, 1.0), 0.0)


@pytest.mark.parametrize("name", TRANSIENTS)
def test_every_moment_of_a_transient_is_as_radau_finds_it(name: str) -> None:
    induction, rpm, throttle, gate, rotor, faults = TRANSIENTS[name]
    engine = two_litres(induction)
    speed, opening, wastegate = along(rpm) / 60.0, along(throttle), along(gate)
    y, _ = settled(engine, speed[0], opening[0], rotor=rotor, seconds=3.0, wastegate_0=wastegate[0], **faults)
    exact = reference(engine, y, speed, opening, wastegate, RADAU, **faults)
    error = apart(driven(engine, y, speed, opening, wastegate, **faults), exact)
    assert np.ptp(exact[:, P_MANIFOLD]) > 0.3 * exact[0, P_MANIFOLD]  # something does happen
    assert error.max() < WITHIN


def test_burned_gas_goes_where_radau_puts_it() -> None:
    engine = two_litres("naturally-aspirated")
    y, _ = settled(engine, 2000 / 60, 8.0, seconds=3.0)
    opening, still = np.linspace(8.0, 12.0, 61), np.zeros(61)
    speed = np.full(61, 2000 / 60)
    exact = reference(engine, y, speed, opening, still, RADAU, recirculation=3e-5)
    found = driven(engine, y, speed, opening, recirculation=3e-5)
    assert exact[-1, M_BURNED] > 0.05 * exact[-1, M_MANIFOLD]
    np.testing.assert_allclose(found[:, M_BURNED], exact[:, M_BURNED], rtol=WITHIN, atol=WITHIN * exact[-1, M_BURNED])


@pytest.mark.parametrize("induction", INDUCTIONS)
def test_half_the_step_leaves_a_quarter_of_the_error(induction: Induction) -> None:
    # second order [ROS2] though the slopes are not exact; no passage changes its law between these two openings
    engine = two_litres(induction)
    y, _ = settled(engine, 50.0, 8.0, rotor=9000.0, relief=0.5)
    level = np.zeros(2)
    exact = reference(engine, y, level + 50.0, level + 10.0, level, 1e-11, relief=0.5)
    worst = []
    for pieces in (10, 20, 40, 80):  # stretches so short that each is one step
        found = driven(engine, y, 50.0, np.full(pieces + 1, 10.0), dt=STEP_S / pieces, relief=0.5)
        worst.append(apart(found[[0, -1]], exact).max())
    assert np.divide(worst[:-1], worst[1:]) == pytest.approx(4.0, rel=0.02)


@settings(deadline=None, derandomize=True)
@given(st.integers(0, 2**32 - 1), st.floats(1e-6, 1e-2))
def test_the_banded_solution_is_that_of_the_whole_matrix(seed: int, weight: float) -> None:
    # rates of pressures and contents by pressures, as `changes` gives them; negative on the diagonal as flows are
    rng = np.random.default_rng(seed)
    slopes = rng.uniform(0.0, 1e3, (PRESSURES, 6))
    slopes[:, OWN] -= 2.5e3
    matrix = np.zeros((STATES, STATES))
    for k in range(PRESSURES):
        for side, j in ((0, k - 1), (1, k), (2, k + 1)):
            if 0 <= j < PRESSURES:
                matrix[k, j] = slopes[k, BEFORE + side]
                if k > 0:
                    matrix[CONTENT + k, j] = slopes[k, CONTENT_BEFORE + side]
    right = rng.uniform(-1.0, 1.0, STATES)
    expected = solve(np.eye(STATES) - weight * matrix, right)
    solve_banded(slopes, weight, right, np.zeros(STATES))
    assert right == pytest.approx(expected, rel=1e-9, abs=1e-12)
