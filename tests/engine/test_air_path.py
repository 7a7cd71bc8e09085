"""The relations: where they may be asked, that weights are their slopes, and what one good recording teaches."""

from __future__ import annotations

from dataclasses import replace

import ideal_engine as ideal
import numpy as np
import pytest

from airproof.engine.air_path import (
    AIR_AGAINST_PRESSURE,
    AIR_THROUGH_THROTTLE,
    CHARGE_AT_REST,
    FUEL_AGAINST_AIR,
    RELATIONS,
    TRIMS,
    OnePath,
    Relation,
    another_day,
    closed_stop_of,
    generic_belief,
    learn_engine,
)
from airproof.engine.profile import EngineProfile
from airproof.engine.shared import shared

TURBO = ideal.engine()
NATURAL = ideal.engine("naturally-aspirated", "speed-density")


def path(profile: EngineProfile = TURBO) -> OnePath:
    return ideal.path_of(ideal.show(ideal.healthy(profile)), profile)


ASKED = [*((TURBO, relation) for relation in RELATIONS), (NATURAL, AIR_THROUGH_THROTTLE), (NATURAL, TRIMS)]


@pytest.mark.parametrize(("profile", "relation"), ASKED, ids=lambda one: getattr(one, "id", ""))
def test_weights_are_the_slopes_of_the_residual(profile: EngineProfile, relation: Relation) -> None:
    """If an unknown of the engine were higher than believed, the residual as seen would be its weight higher."""
    whole = path(profile)
    part = whole.only(relation.usable(whole))
    assert len(part.points)
    weights = relation.weights(part)
    before = relation.residual(part, part.seen)
    step = 1e-6
    rng = np.random.default_rng(0)
    for knot in rng.choice(part.belief.mean.size, 40, replace=False):
        believed = part.belief.mean.copy()
        believed[knot] -= step  # the truth is then a step above the belief
        moved = part.believing(replace(part.belief, mean=believed))
        slope = (relation.residual(moved, moved.seen) - before) / step
        np.testing.assert_allclose(slope, weights[:, knot], atol=1e-6)


def test_scatter_is_positive_and_finite() -> None:
    for profile in (TURBO, NATURAL):
        whole = path(profile)
        for relation in RELATIONS:
            usable = relation.usable(whole)
            if usable.any():
                sd = relation.sd(whole.only(usable))
                assert np.isfinite(sd).all()
                assert (sd > 0.004).all()


def test_throttle_flow_is_less_certain_near_a_ratio_of_one_and_at_a_small_opening() -> None:
    part = path(NATURAL)
    n = len(part.points)
    ratio = np.linspace(0.4, 0.92, n)
    wide = replace(part.points, manifold=ratio * ideal.BAROMETER, throttle=np.full(n, 0.5))
    sd = AIR_THROUGH_THROTTLE.sd(replace(part, points=wide))
    assert (np.diff(sd) >= -1e-12).all()
    assert sd[-1] > 1.1 * sd[0]  # 1 % of pressure moves much flow there
    small = replace(wide, throttle=np.full(n, 0.03))  # one step of 1/255 is a tenth of that
    assert (AIR_THROUGH_THROTTLE.sd(replace(part, points=small)) > sd + 0.03).all()


class TestWhereARelationMayBeAsked:
    def test_air_flow_needs_a_flow(self) -> None:
        assert not AIR_AGAINST_PRESSURE.usable(path(NATURAL)).any()
        assert AIR_AGAINST_PRESSURE.usable(path(TURBO)).all()
        whole = path(TURBO)
        none = replace(whole, points=replace(whole.points, air_flow=np.zeros(len(whole.points))))
        assert not AIR_AGAINST_PRESSURE.usable(none).any()

    def test_throttle_flow_not_with_the_throttle_open(self) -> None:
        whole = path(NATURAL)
        usable = AIR_THROUGH_THROTTLE.usable(whole)
        np.testing.assert_array_equal(usable, whole.points.manifold < 0.93 * ideal.BAROMETER)

    def test_throttle_flow_of_a_boosted_engine_without_a_charge_sensor_only_at_low_pressure(self) -> None:
        whole = path(TURBO)
        blind = replace(whole, points=replace(whole.points, charge=np.full(len(whole.points), np.nan)))
        usable = AIR_THROUGH_THROTTLE.usable(blind)
        assert usable[0]
        assert not usable[whole.points.manifold > 0.6 * ideal.BAROMETER].any()

    def test_trims_only_in_closed_loop(self) -> None:
        whole = path(TURBO)
        closed = np.arange(len(whole.points)) % 2 == 0
        half = replace(whole, points=replace(whole.points, closed_loop=closed))
        np.testing.assert_array_equal(TRIMS.usable(half), closed)

    def test_fuel_not_on_the_overrun(self) -> None:
        whole = path(TURBO)
        overrun = replace(whole, points=replace(whole.points, regime=np.full(len(whole.points), "overrun")))
        assert FUEL_AGAINST_AIR.usable(whole).all()
        assert not FUEL_AGAINST_AIR.usable(overrun).any()

    def test_charge_at_rest_only_where_nothing_compresses(self) -> None:
        whole = path(TURBO)
        np.testing.assert_array_equal(CHARGE_AT_REST.usable(whole), whole.points.manifold < 0.45 * ideal.BAROMETER)
        assert not CHARGE_AT_REST.usable(path(NATURAL)).any()


@pytest.mark.parametrize(
    ("throttle", "stop"),
    # many cars show 10 to 18 % with the throttle shut (common practice, no source); idle air opens it some 2 %
    [([0.02, 0.05, 0.3], 0.0), ([0.13, 0.2, 0.6], 0.11), ([], 0.0), ([np.nan, np.nan], 0.0)],
)
def test_closed_stop(throttle: list[float], stop: float) -> None:
    points = ideal.show(ideal.healthy(TURBO)).where(np.zeros(8, dtype=bool))
    n = len(throttle)
    points = replace(points, throttle=np.array(throttle), start_s=np.arange(n, dtype=float))
    assert closed_stop_of(points) == pytest.approx(stop, abs=0.003)


class TestAStopReadOffAnIdleThatALeakFeeds:
    """Idle takes the same air whichever way it comes: beside a leak the throttle is shut further, and the stop read off
    that idle is too low.
    """

    STOP, LEAK_MM = 0.12, 3.0

    def leaking(self, profile: EngineProfile) -> tuple[OnePath, float]:
        """A path that knows its stop, and how far the throttle is open at idle beside the leak."""
        whole = path(profile)
        areas = np.exp(whole.belief.at("area", np.log(np.array([0.02]) + shared().opening_shift)))
        hole = 0.7 * np.pi / 4.0 * (self.LEAK_MM * 1e-3) ** 2  # the design's definition of a leak's size
        openings = np.linspace(0.0, 0.02, 20_001)
        open_at = np.exp(whole.belief.at("area", np.log(openings + shared().opening_shift)))
        opening = float(np.interp(float(areas[0]) - hole, open_at, openings))
        assert 0.003 < opening < 0.017
        metered = whole.flow_known.all()
        idle = float(areas[0]) - hole if metered else float(areas[0])  # a leak goes past an air flow sensor
        points = replace(whole.points, throttle=self.STOP + np.linspace(0.05, 0.4, len(whole.points)))
        plain = replace(whole, points=replace(points, area_over_idle=np.ones(len(points))))
        shown = np.array([plain.only(np.arange(len(points)) == i).idle_area for i in range(len(points))])
        return replace(whole, points=replace(points, area_over_idle=shown / idle), closed_stop=self.STOP), opening

    @pytest.mark.parametrize("profile", [TURBO, NATURAL], ids=["air-flow sensor", "speed-density"])
    def test_undoing_the_leak_gives_what_knowing_the_stop_would(self, profile: EngineProfile) -> None:
        knowing, opening = self.leaking(profile)
        reading = replace(knowing, closed_stop=self.STOP + opening - 0.02, stop_by_idle=True)
        sizes = np.array([self.LEAK_MM])
        truth = reading.without("vacuum-leak", sizes)
        np.testing.assert_allclose(truth.shut, 0.02 - opening, atol=1e-5)
        part = AIR_THROUGH_THROTTLE.usable(knowing)
        one, other = knowing.only(part), reading.only(part)
        expected = AIR_THROUGH_THROTTLE.residual(one, one.without("vacuum-leak", sizes)).ravel()
        undone = other.without("vacuum-leak", sizes)
        np.testing.assert_allclose(AIR_THROUGH_THROTTLE.residual(other, undone).ravel(), expected, atol=2e-4)
        as_read = AIR_THROUGH_THROTTLE.residual(other, replace(undone, shut=other.seen.shut)).ravel()
        assert np.abs(as_read - expected).max() > 0.05

    def test_a_stop_that_is_known_stays_and_so_it_does_for_other_causes(self) -> None:
        knowing, _ = self.leaking(NATURAL)
        assert not knowing.without("vacuum-leak", np.array([4.0])).shut.any()
        reading = replace(knowing, stop_by_idle=True)
        assert not reading.without("map-offset", np.array([4.0])).shut.any()
        both = reading.without_both(("map-offset", np.array([2.0, 2.0])), ("vacuum-leak", np.array([0.0, 3.0])))
        assert not both.shut[0].any()
        assert (both.shut[1] > 0.0).all()

    def test_the_larger_the_leak_the_further_it_is_shut_and_never_beyond_the_stop(self) -> None:
        reading = replace(self.leaking(NATURAL)[0], stop_by_idle=True)
        shut = reading.without("vacuum-leak", np.array([0.0, 1.0, 2.0, 4.0, 8.0, 20.0])).shut.ravel()
        assert shut[0] == 0.0
        assert (np.diff(shut) >= 0.0).all()
        assert shut[-1] == pytest.approx(0.02)

    def test_without_a_flow_to_go_by_nothing_is_moved(self) -> None:
        reading = replace(self.leaking(NATURAL)[0], stop_by_idle=True)
        blind = replace(reading, points=replace(reading.points, area_over_idle=np.full(len(reading.points), np.nan)))
        assert not blind.without("vacuum-leak", np.array([4.0])).shut.any()


class TestLearning:
    def odd_engine(self) -> OnePath:
        """Takes 8 % less air than engines of its kind at every point, its habitual trim is +4 %."""
        whole = path(TURBO)
        points = whole.points
        return replace(
            whole,
            points=replace(
                points,
                air_flow=points.air_flow * 0.92,
                fuel_rate=points.fuel_rate * 0.92 * 1.04,
                trim=points.trim * 1.04,
            ),
        )

    def repeated(self, whole: OnePath, times: int) -> OnePath:
        return whole.only(np.tile(np.arange(len(whole.points)), times))  # type: ignore[arg-type]

    def test_a_good_recording_teaches_this_engine(self) -> None:
        odd = self.repeated(self.odd_engine(), 60)
        learnt = learn_engine(generic_belief(TURBO), odd)
        after = odd.believing(learnt)
        for relation, was in ((AIR_AGAINST_PRESSURE, 0.08), (TRIMS, 0.04), (AIR_THROUGH_THROTTLE, 0.08)):
            usable = relation.usable(after)
            part = after.only(usable)
            left = np.abs(relation.residual(part, part.seen))
            assert left.max() < 0.25 * was, relation.id

    def test_it_narrows_and_never_widens(self) -> None:
        belief = generic_belief(TURBO)
        learnt = learn_engine(belief, self.repeated(self.odd_engine(), 20))
        assert (np.diag(learnt.covariance) <= np.diag(belief.covariance) + 1e-12).all()
        part = learnt.part("efficiency")
        assert np.diag(learnt.covariance)[part].min() < 0.2 * np.diag(belief.covariance)[part].min()
        assert np.linalg.eigvalsh(learnt.covariance).min() > 0

    def test_another_day_is_less_sure_but_surer_than_of_engines_at_large(self) -> None:
        belief = generic_belief(TURBO)
        learnt = learn_engine(belief, self.repeated(self.odd_engine(), 20))
        loose = another_day(learnt)
        np.testing.assert_array_equal(loose.mean, learnt.mean)
        assert (np.diag(loose.covariance) > np.diag(learnt.covariance)).all()
        weights = AIR_AGAINST_PRESSURE.weights(path(TURBO))

        def spread(of: np.ndarray) -> np.ndarray:
            return np.sqrt(np.einsum("nk,kl,nl->n", weights, of, weights))

        assert (spread(loose.covariance) < 0.5 * spread(belief.covariance)).all()

    def test_nothing_usable_teaches_nothing(self) -> None:
        belief = generic_belief(TURBO)
        empty = path(TURBO).only(np.zeros(8, dtype=bool))
        learnt = learn_engine(belief, empty)
        np.testing.assert_array_equal(learnt.mean, belief.mean)
        np.testing.assert_array_equal(learnt.covariance, belief.covariance)


def test_tables_of_a_generic_engine_scale_with_its_displacement() -> None:
    small, large = generic_belief(TURBO), generic_belief(replace_displacement(TURBO, 4.0))
    part = small.part("area")
    np.testing.assert_allclose(large.mean[part] - small.mean[part], np.log(2.0))
    np.testing.assert_allclose(large.mean[small.part("efficiency")], small.mean[small.part("efficiency")])
    share = shared()
    fully_open = np.exp(small.at("area", np.log(np.array(1.0 + share.opening_shift))))
    # CHECK_VALUES 7G: Aeff = 5.18849e-6 - 6.38593e-5 a + 1.23068e-3 a^2 of a 2.0 L turbo engine is 1.17e-3 m2 at a = 1
    assert float(fully_open) == pytest.approx(1.17e-3, rel=0.15)


def replace_displacement(profile: EngineProfile, litres: float) -> EngineProfile:
    return profile.model_copy(update={"displacement_l": litres})
