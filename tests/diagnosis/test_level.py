"""Level checks: one number against what a healthy engine shows, narrowed by good recordings of the same car."""

from __future__ import annotations

import numpy as np
import pytest
from small_cases import NATURAL, case_of, workshop_round

from airproof.diagnosis.case import Case
from airproof.diagnosis.expectations import Expectation
from airproof.diagnosis.level import UNMOVED_SHARE, Level, Measured
from airproof.diagnosis.testimony import log_t

HEALTHY = Expectation(
    unit="kPa",
    mean=10.0,
    sd=3.0,
    day_sd=1.0,
    source="judged: these tests",
    made_up_for=("vacuum-leak",),
    moves={"map-offset": 1.0, "vacuum-leak": 2.0},
    jumps={"ignition": 5.0},
    blur={"ignition": 4.0},
)


@pytest.fixture(autouse=True)
def one_expectation(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("airproof.diagnosis.level.expected", lambda name: HEALTHY)


def level(value: float, sd: float = 0.0, **rest: object) -> Level:
    return Level(
        id="made-up",
        expectation="made-up",
        measure=lambda case: Measured(value, sd, ((1.0, 2.0),)),
        words=lambda v, band: f"{v:.0f} ({band[0]:.1f} to {band[1]:.1f})",
        **rest,  # type: ignore[arg-type]
    )


@pytest.fixture(scope="module")
def case() -> Case:
    return case_of(workshop_round(NATURAL), NATURAL)


@pytest.fixture(scope="module")
def with_good(case: Case) -> Case:
    return case_of(workshop_round(NATURAL), NATURAL, baselines=[workshop_round(NATURAL, seed=1)])


def at(case: Case, cause: str, size: float) -> int:
    return int(np.argmin(np.abs(case.sizes[cause] - size)))


def test_the_finding(case: Case) -> None:
    (told,) = level(18.0, 4.0).testify(case)
    finding = told.finding
    assert (finding.id, finding.value, finding.sd, finding.unit) == ("made-up", 18.0, 4.0, "kPa")
    # 90 % of a normal distribution lies within 1.645 standard deviations: those of cars and of measuring together
    assert finding.expected == pytest.approx((10.0 - 1.645 * 5.0, 10.0 + 1.645 * 5.0))
    assert not finding.unexpected
    assert finding.says == "18 (1.8 to 18.2)"
    assert finding.intervals == ((1.0, 2.0),)


def test_nothing_to_measure_says_nothing(case: Case) -> None:
    nothing = Level("x", "x", measure=lambda case: None, words=lambda v, band: "")
    assert nothing.testify(case) == []


def test_likelihoods(case: Case) -> None:
    (told,) = level(18.0).testify(case)
    rows = told.log_likelihood
    assert set(rows) == set(case.sizes)
    np.testing.assert_allclose(rows["none"], log_t(np.array([8.0 / 3.0]), 3.0))
    np.testing.assert_allclose(rows["map-offset"], log_t((8.0 - case.sizes["map-offset"]) / 3.0, 3.0))
    # a cause that is said to jump and to blur: mean moved by 5, spread 3 and 4 twice (on the whole and on each)
    wide = np.sqrt(9.0 + 2 * 16.0)
    np.testing.assert_allclose(rows["ignition"], log_t(np.array([3.0 / wide]), wide))
    # one that the control unit mostly makes up for is a mixture with not moving at all
    alone = log_t((8.0 - 2.0 * case.sizes["vacuum-leak"]) / 3.0, 3.0)
    mixed = np.logaddexp(np.log(1 - UNMOVED_SHARE) + alone, np.log(UNMOVED_SHARE) + rows["none"][0])
    np.testing.assert_allclose(rows["vacuum-leak"], mixed)
    # of all others nothing is known: they are as likely as none
    np.testing.assert_allclose(rows["map-slow"], rows["none"][0])
    assert case.sizes["map-offset"][int(np.argmax(rows["map-offset"]))] == pytest.approx(8.0, rel=0.06)


def test_a_formula_comes_before_the_data(case: Case) -> None:
    def undone(case: Case, cause: str, sizes: np.ndarray) -> np.ndarray | None:
        return 18.0 / (1.0 + sizes / 100.0) if cause == "map-gain" else None

    (told,) = level(18.0, undone=undone).testify(case)
    sizes = case.sizes["map-gain"]
    np.testing.assert_allclose(told.log_likelihood["map-gain"], log_t((18.0 / (1 + sizes / 100) - 10.0) / 3.0, 3.0))


def test_a_good_recording_says_what_to_expect(with_good: Case) -> None:
    """Prior 10 +- 3 over cars; this car showed 14 +- 2 on a day that strays by 1; then one more day's straying."""
    value = {"now": 14.0}
    one = Level("x", "x", measure=lambda case: Measured(value["now"], 2.0, ()), words=lambda v, band: "")
    (told,) = one.testify(with_good)
    gain = 9.0 / (9.0 + 4.0 + 1.0)
    mean, sd = 10.0 + gain * 4.0, np.sqrt(9.0 * (1 - gain) + 1.0 + 4.0)
    assert told.finding.expected == pytest.approx((mean - 1.645 * sd, mean + 1.645 * sd))


def test_what_does_not_repeat_learns_nothing(with_good: Case) -> None:
    (told,) = level(14.0, repeats=False).testify(with_good)
    assert told.finding.expected == pytest.approx((10.0 - 1.645 * 3.0, 10.0 + 1.645 * 3.0))


def test_what_the_profile_states_comes_before_what_cars_share(case: Case) -> None:
    (told,) = level(14.0, known_mean=lambda case: (15.0, 0.5)).testify(case)
    assert told.finding.expected == pytest.approx((15.0 - 1.645 * 0.5, 15.0 + 1.645 * 0.5))
