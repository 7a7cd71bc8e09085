"""A recording beside a known-good one: what is of the drive falls away, what is of the car stays."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_cases import TURBO, case_of, changed, without, workshop_round

from airproof.diagnosis.picture import beside
from airproof.diagnosis.picture.features import AGAIN, again
from airproof.diagnosis.picture.words import BESIDE, PLACES, named, place_of

GOOD = workshop_round(TURBO)
LOADS = ("idle", "light", "middle", "high")


def found(now, good=GOOD) -> dict[str, float]:
    known_good = case_of(good, TURBO)
    values = beside.beside(case_of(now, TURBO), [known_good])
    found_there = dict(zip(beside.NAMES, values, strict=True))
    # In this round a pull holds its speed: what it gains is its noise.
    return {name: value for name, value in found_there.items() if "gain" not in name}


class TestOfTheCar:
    def test_beside_itself_a_recording_shows_nothing(self) -> None:
        values = np.array(list(found(GOOD).values()))
        assert np.isfinite(values).sum() > 60
        assert np.nanmax(np.abs(values)) < 0.02

    @pytest.mark.parametrize("factor", [0.9, 1.1])
    def test_metered_air_shows_in_all_that_is_metered_and_nowhere_else(self, factor: float) -> None:
        before, after = found(GOOD), found(changed(GOOD, "air_flow", lambda v: factor * v))
        moved = {name for name, value in after.items() if abs(value - before[name]) > 1e-6}
        for load in LOADS:
            for what in ("ve", "open_flow"):
                assert after[f"{load}_{what}"] - before[f"{load}_{what}"] == pytest.approx(np.log(factor), abs=1e-6)
        assert after["full_ve"] - before["full_ve"] == pytest.approx(np.log(factor), abs=1e-6)
        assert {name for name in moved if "_ve" not in f"_{name}" and "flow" not in name} == set()

    def test_without_anything_alike_nothing_is_said(self) -> None:
        elsewhere = changed(GOOD, "engine_speed", lambda v: 2.5 * v)
        values = beside.beside(case_of(elsewhere, TURBO), [case_of(GOOD, TURBO)])
        assert np.isnan(values[beside.NAMES.index("middle_ve")])
        assert np.isnan(beside.beside(case_of(GOOD, TURBO), [])).all()

    @pytest.mark.parametrize("seed", range(12))
    def test_signals_and_stretches_may_be_missing_on_either_side(self, seed: int) -> None:
        rng = np.random.default_rng(seed)

        def some():
            start = float(rng.uniform(0.0, GOOD.end_s - 5.0))
            part = GOOD.between(start, float(rng.uniform(start + 1.0, GOOD.end_s))) if seed % 2 else GOOD
            kept = {n: s for n, s in part.signals.items() if len(s) and rng.random() < 0.6}
            return case_of(replace(part, signals=kept), TURBO)

        values = beside.beside(some(), [some()])
        assert not np.isinf(values).any()
        no_pressure = case_of(without(GOOD, "manifold_pressure"), TURBO)
        assert not np.isinf(beside.beside(no_pressure, [some()])).any()

    def test_two_known_good_recordings_are_one(self) -> None:
        good = case_of(GOOD, TURBO)
        once, twice = (beside.beside(case_of(GOOD, TURBO), [good] * count) for count in (1, 2))
        assert (np.isfinite(once) <= np.isfinite(twice)).all()
        assert np.nanmax(np.abs(once - twice)[["gain" not in name for name in beside.NAMES]]) < 0.02


class TestStraightLines:
    @given(
        level=st.floats(-2.0, 2.0), tilt=st.floats(-0.5, 0.5), lean=st.floats(-0.5, 0.5), moved=st.floats(-0.6, 0.6),
        count=st.integers(3, 40), seed=st.integers(0, 2**16),
    )  # fmt: skip
    @settings(max_examples=60)
    def test_of_a_car_whose_values_lie_on_a_plane_a_change_is_found_wherever_the_driver_was(
        self, level: float, tilt: float, lean: float, moved: float, count: int, seed: int
    ) -> None:
        rng = np.random.default_rng(seed)
        then, now = 10.0 * rng.standard_normal((400, 2)) / 8.0, rng.standard_normal((count, 2))

        def plane(at):
            return level + tilt * at[:, 0] / 10.0 + lean * at[:, 1] / 10.0

        (left,) = beside.less_expected(now, then, {"x": plane(now) + moved}, {"x": plane(then)}, ["x"])
        assert np.median(left[np.isfinite(left)]) == pytest.approx(moved, abs=0.05)

    def test_a_line_is_the_one_of_least_squares(self) -> None:
        """numpy.linalg.lstsq on rows by the root of their weight, and rows that hold the slopes back."""
        rng = np.random.default_rng(3)
        then, values, at = rng.standard_normal((30, 2)), rng.standard_normal(30), rng.standard_normal((5, 2))
        (left,) = beside.less_expected(at, then, {"x": np.zeros(5)}, {"x": values}, ["x"])
        for place, found_there in zip(at, left, strict=True):
            step = then - place
            weight = np.exp(-0.5 * np.square(step).sum(axis=1))
            rows = np.sqrt(weight)[:, None] * np.column_stack([np.ones(30), step])
            held = np.sqrt(beside.STIFFNESS) * np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
            # Slopes are held back about the mean of what is near, so that they turn about it.
            mean = weight @ step / weight.sum()
            rows[:, 1:] -= np.sqrt(weight)[:, None] * mean
            level, *slope = np.linalg.lstsq(
                np.vstack([rows, held]), np.concatenate([np.sqrt(weight) * values, [0.0, 0.0]])
            )[0]
            assert found_there == pytest.approx(-(level - mean @ slope), abs=1e-9)

    def test_the_order_of_what_was_recorded_does_not_matter(self) -> None:
        rng = np.random.default_rng(4)
        then, values, now = rng.standard_normal((50, 2)), rng.standard_normal(50), rng.standard_normal((9, 2))
        order = rng.permutation(50)
        one = beside.less_expected(now, then, {"x": np.ones(9)}, {"x": values}, ["x"])
        other = beside.less_expected(now, then[order], {"x": np.ones(9)}, {"x": values[order]}, ["x"])
        assert one == pytest.approx(other, nan_ok=True)

    def test_what_is_missing_at_some_points_is_asked_of_the_others(self) -> None:
        rng = np.random.default_rng(5)
        then, now = rng.standard_normal((60, 2)), 0.3 * rng.standard_normal((4, 2))
        some = np.where(np.arange(60) % 2 == 0, 1.0, np.nan)
        left = beside.less_expected(
            now, then, {"all": np.ones(4), "some": np.ones(4), "none": np.ones(4)},
            {"all": np.ones(60), "some": some, "none": np.full(60, np.nan)}, ["all", "some", "none"],
        )  # fmt: skip
        assert left[:2] == pytest.approx(np.zeros((2, 4)), abs=1e-9)
        assert np.isnan(left[2]).all()


def test_every_one_has_a_title_a_place_and_stands_before_what_is_known_of_the_car() -> None:
    assert list(BESIDE) == list(beside.NAMES)
    for name, called in BESIDE.items():
        assert called.alike.startswith("at like speed")
        assert place_of(f"beside {name}") == called.place in PLACES
    assert named("beside nothing of that name") is None
    assert AGAIN[169 : 169 + len(beside.NAMES)] == tuple(f"beside {name}" for name in beside.NAMES)
    case = case_of(GOOD, TURBO, baselines=[GOOD])
    assert again(case).shape == (len(AGAIN),)


def test_a_long_recording_is_thinned_and_says_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    now = changed(GOOD, "air_flow", lambda v: 1.05 * v)
    whole = found(now)
    monkeypatch.setattr(beside, "MOST", 120)
    thinned = found(now)
    assert len(case_of(GOOD, TURBO).points) > 200
    for load in LOADS:
        assert thinned[f"{load}_ve"] == pytest.approx(whole[f"{load}_ve"], abs=0.003)
