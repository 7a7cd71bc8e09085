"""Fewer points, same picture."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from airproof.report.pictures.thinning import busiest_window, envelope, medians, thin


@given(st.integers(1, 5000), st.integers(2, 900))
def test_thin_keeps_first_and_last(count: int, most: int) -> None:
    kept = thin(count, most)
    assert kept.size <= max(most, 1)
    assert kept[0] == 0
    assert kept[-1] == count - 1
    assert np.all(np.diff(kept) > 0)


def test_an_envelope_loses_no_peak() -> None:
    rng = np.random.default_rng(1)
    time = np.sort(rng.uniform(0.0, 1000.0, 50_000))
    values = rng.normal(50.0, 5.0, time.size)
    values[31_234], values[777] = 180.0, -20.0
    t, v = envelope(time, values, 300)
    assert t.size <= 600
    assert v.max() == 180.0
    assert v.min() == -20.0
    assert np.all(np.diff(t) >= 0.0)


def test_a_short_curve_stays_as_it_is() -> None:
    time, values = np.arange(10.0), np.arange(10.0) ** 2
    t, v = envelope(time, values, 300)
    assert np.array_equal(t, time)
    assert np.array_equal(v, values)


def test_stamps_that_all_agree_leave_one_point() -> None:
    t, _ = envelope(np.full(5000, 3.0), np.arange(5000.0), 10)
    assert t.size == 1


def test_medians_leave_out_thin_stretches() -> None:
    x = np.concatenate([np.linspace(0.0, 1.0, 50), [9.9, 10.0]])
    mx, my = medians(x, 2.0 * x, bins=10)
    assert mx.size == 1
    assert my[0] == 2.0 * mx[0]
    assert medians(np.empty(0), np.empty(0))[0].size == 0
    assert medians(np.full(8, 3.0), np.arange(8.0))[1][0] == 3.5


def test_the_busiest_window_is_found() -> None:
    time = np.arange(0.0, 100.0)
    weight = np.where((time >= 60.0) & (time < 70.0), 1.0, 0.0)
    start, end = busiest_window(time, weight, 10.0)
    assert start <= 60.0
    assert end >= 69.0
