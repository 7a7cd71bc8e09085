"""The extremes of sliding windows against every window looked at by itself."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.lib.stride_tricks import sliding_window_view

from airproof.recording.moments import sliding

repeatable = settings(derandomize=True, deadline=None, max_examples=80)


@repeatable
@given(st.integers(1, 70), st.integers(0, 60), st.integers(0, 5), st.integers(0, 2**31))
def test_as_if_every_window_were_looked_at(width: int, more: int, unknown: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    values = rng.normal(size=width + more)
    values[rng.integers(0, values.size, unknown)] = np.nan
    windows = sliding_window_view(values, width)
    np.testing.assert_array_equal(sliding(np.maximum, values, width), windows.max(axis=1))
    np.testing.assert_array_equal(sliding(np.minimum, values, width), windows.min(axis=1))


@pytest.mark.parametrize(("width", "size"), [(3, 2), (9, 4)])
def test_a_window_wider_than_all_there_is_gives_none(width: int, size: int) -> None:
    assert sliding(np.maximum, np.zeros(size), width).size == 0
