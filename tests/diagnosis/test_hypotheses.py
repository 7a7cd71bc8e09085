"""Hypotheses: every cause the engine can have, sizes and priors that sum to one."""

from __future__ import annotations

import numpy as np
import pytest
from small_cases import DIESEL, NATURAL, NATURAL_BY_FLOW, TURBO

from airproof.diagnosis.hypotheses import OWN_GRIDS, Hypotheses, applies, hypotheses_for
from airproof.engine.profile import EngineProfile
from airproof.knowledge.load import knowledge

KNOWN = knowledge()
EVERY_SIGNAL = frozenset({"manifold_pressure", "charge_pressure", "barometric_pressure", "air_flow", "egr"})
PROFILES = [TURBO, NATURAL, NATURAL_BY_FLOW, DIESEL]


def made(profile: EngineProfile, signals: frozenset[str] = EVERY_SIGNAL, healthy: float = 0.25) -> Hypotheses:
    return hypotheses_for(KNOWN, profile, signals, healthy_share=healthy)


def prior(hypotheses: Hypotheses, cause: str) -> float:
    return float(np.exp(hypotheses.log_prior[cause]).sum())


@pytest.mark.parametrize("profile", PROFILES)
@pytest.mark.parametrize("signals", [frozenset(), EVERY_SIGNAL])
@pytest.mark.parametrize("healthy", [0.1, 0.8])
def test_priors_sum_to_one_and_none_has_its_share(
    profile: EngineProfile, signals: frozenset[str], healthy: float
) -> None:
    one = made(profile, signals, healthy)
    assert sum(prior(one, cause) for cause in one.causes) == pytest.approx(1.0, abs=1e-12)
    assert prior(one, "none") == pytest.approx(healthy)
    assert set(one.causes) == set(one.sizes) == set(one.log_prior)
    for cause, sizes in one.sizes.items():
        assert one.log_prior[cause].shape == sizes.shape
        assert np.isfinite(one.log_prior[cause]).all()
        assert (np.diff(sizes) > 0).all()  # intervals of sizes need them in order


def test_the_design_s_causes_are_all_there() -> None:
    # DESIGN section 4: more may be added, none may vanish
    wanted = """none map-offset map-gain map-slow map-stuck map-intermittent map-circuit supply-reference
        boost-sensor-scale baro-sensor iat-offset maf-scale vacuum-leak boost-leak wastegate-stuck-open
        wastegate-stuck-closed intake-restriction exhaust-restriction egr-stuck-open throttle-deposits valve-timing
        fuel-delivery ignition control-unit"""
    assert set(wanted.split()) <= set(made(TURBO).causes)


def test_what_the_engine_cannot_have_is_left_out() -> None:
    natural, by_flow, diesel = made(NATURAL), made(NATURAL_BY_FLOW), made(DIESEL)
    for cause in ("boost-leak", "wastegate-stuck-open", "wastegate-stuck-closed", "boost-sensor-scale"):
        assert cause not in natural.causes
        assert cause in made(TURBO).causes
    assert "maf-scale" not in natural.causes
    assert "maf-scale" in by_flow.causes
    for cause in ("ignition", "vacuum-leak", "throttle-deposits"):
        assert cause not in diesel.causes
        assert cause in made(TURBO).causes
    share = {cause: float(np.exp(diesel.log_prior[cause]).sum()) for cause in ("egr-stuck-open", "map-offset")}
    weight = {cause: KNOWN.causes[cause].weight for cause in share}
    assert KNOWN.causes["egr-stuck-open"].by_fuel == {"diesel": 5.0}
    assert share["egr-stuck-open"] / share["map-offset"] == pytest.approx(
        5.0 * weight["egr-stuck-open"] / weight["map-offset"]
    )
    assert "none" in diesel.causes
    assert applies(KNOWN.causes["ignition"], TURBO)
    supercharged = TURBO.model_copy(update={"induction": "supercharged"})
    assert not applies(KNOWN.causes["wastegate-stuck-open"], supercharged)


def test_equipment_that_nothing_shows_halves_a_prior() -> None:
    shown, unseen = made(TURBO), made(TURBO, EVERY_SIGNAL - {"egr"})
    ratio = prior(unseen, "egr-stuck-open") / prior(unseen, "map-offset")
    assert ratio == pytest.approx(0.5 * prior(shown, "egr-stuck-open") / prior(shown, "map-offset"))


def test_priors_follow_the_weights() -> None:
    one = made(TURBO)
    for a, b in (("map-offset", "map-gain"), ("vacuum-leak", "maf-scale")):
        wanted = KNOWN.causes[a].weight / KNOWN.causes[b].weight
        assert prior(one, a) / prior(one, b) == pytest.approx(wanted)


def test_sizes_span_what_the_knowledge_says_and_gather_round_the_typical() -> None:
    one = made(TURBO)
    for cause, known in one.causes.items():
        sizes, mass = one.sizes[cause], np.exp(one.log_prior[cause])
        if known.size is None:
            assert one.reported(cause) is False
            assert sizes.size == (OWN_GRIDS[cause].size if cause in OWN_GRIDS else 1)
            continue
        if cause in OWN_GRIDS:
            continue
        assert np.abs(sizes).min() == pytest.approx(known.size.low)
        assert np.abs(sizes).max() == pytest.approx(known.size.high)
        assert (sizes.min() < 0) == known.size.signed
        if known.size.signed:
            np.testing.assert_allclose(mass, mass[::-1])
        best = np.abs(sizes[int(np.argmax(mass))])
        assert best == pytest.approx(known.size.typical, rel=0.1)
    assert one.reported("map-offset")
