"""Delays between signals, found from slow and uneven logging."""

from __future__ import annotations

import numpy as np
import pytest

from airproof.diagnosis.picture.answers import STEP_S, _agreement

RNG = np.random.default_rng(4)
SECONDS = np.arange(0.0, 240.0, STEP_S)


def moves() -> np.ndarray:
    """A throttle that steps about every six seconds, as a driver moves it."""
    steps = np.cumsum(RNG.choice([0.0, 0.0, 0.0, 1.0, -1.0], size=40))
    return np.repeat(steps, SECONDS.size // 40 + 1)[: SECONDS.size]


def logged(values: np.ndarray, spacing: float, begins: float) -> np.ndarray:
    """What is left of a signal that is polled every `spacing` s, laid on the common grid again."""
    polled = np.arange(begins, SECONDS[-1], spacing)
    return np.interp(SECONDS, polled, np.interp(polled, SECONDS, values))


@pytest.mark.parametrize("spacing", [0.1, 0.33, 0.7])
@pytest.mark.parametrize("delay", [0.0, 0.3, 1.0])
def test_a_pure_delay_is_found_well_below_the_time_between_two_samples(spacing: float, delay: float) -> None:
    lead = moves()
    follow = np.interp(SECONDS - delay, SECONDS, lead)
    found = _agreement(logged(lead, spacing, 0.0), logged(follow, spacing, 0.5 * spacing))
    assert found is not None
    assert found[0] == pytest.approx(delay, abs=max(0.06, 0.2 * spacing))
    assert found[1] > 0.8


def test_a_sensor_that_trails_is_later_and_has_a_tail() -> None:
    lead = moves()
    slow = np.array(lead)
    for k in range(1, slow.size):
        slow[k] = slow[k - 1] + (lead[k] - slow[k - 1]) * STEP_S / 0.8
    prompt, late = _agreement(lead, lead), _agreement(lead, slow)
    assert prompt is not None
    assert late is not None
    assert late[0] > prompt[0] + 0.15
    assert late[2] > prompt[2] + 0.05


def test_signals_that_do_not_move_have_no_delay() -> None:
    assert _agreement(np.ones(SECONDS.size), moves()) is None
