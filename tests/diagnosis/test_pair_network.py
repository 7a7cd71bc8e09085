"""Single causes and pairs by what was told."""

from __future__ import annotations

import numpy as np
import pytest
from small_cases import TURBO

from airproof.diagnosis.bayes import posterior_of
from airproof.diagnosis.facts import Facts, Noted, StoredCode
from airproof.diagnosis.hypotheses import hypotheses_for
from airproof.diagnosis.network import Layout, as_testimonies
from airproof.diagnosis.pair_network import plausible_pairs, posterior_with_pairs
from airproof.diagnosis.told import told_of
from airproof.diagnosis.weigh import weigh
from airproof.knowledge.load import knowledge

KNOWN = knowledge()
OWN = hypotheses_for(KNOWN, TURBO, frozenset({"charge_pressure"}), healthy_share=0.2)

TWO = Facts(
    (StoredCode("P0107"), StoredCode("P0171")),
    (Noted("look", "wire-chafed"), Noted("look", "hose-split"), Noted("symptom", "rough-idle")),
)
ONE = Facts((StoredCode("P0107"),), (Noted("look", "wire-chafed"),))


def test_two_causes_that_are_both_seen_are_told_as_two() -> None:
    found = posterior_with_pairs(OWN.log_prior, told_of(TWO, KNOWN, OWN.sizes))
    assert sum(found.values()) == pytest.approx(1.0)
    assert next(iter(found)) == ("map-circuit", "vacuum-leak")
    assert found[("map-circuit", "vacuum-leak")] > 0.4


def test_one_cause_that_is_seen_is_told_as_one() -> None:
    found = posterior_with_pairs(OWN.log_prior, told_of(ONE, KNOWN, OWN.sizes))
    assert len(next(iter(found))) == 1
    assert max(p for key, p in found.items() if len(key) == 2) < 0.05


def test_singles_among_themselves_stand_as_without_pairs() -> None:
    told = told_of(TWO, KNOWN, OWN.sizes)
    found = posterior_with_pairs(OWN.log_prior, told)
    alone = posterior_of(OWN.log_prior, as_testimonies(told, Layout.of(OWN.sizes))).probability
    single = sum(p for key, p in found.items() if len(key) == 1)
    for cause, p in alone.items():
        assert found[(cause,)] / single == pytest.approx(p, rel=1e-9)


def test_without_any_fact_pairs_have_their_prior() -> None:
    found = posterior_with_pairs(OWN.log_prior, [])
    p = {cause: float(np.exp(np.logaddexp.reduce(rows))) for cause, rows in OWN.log_prior.items()}
    one, other = found[("map-slow", "boost-leak")] / found[("map-slow",)], 2.0 * 0.08 * p["boost-leak"]
    assert one == pytest.approx(other, rel=1e-9)


def test_what_bends_the_same_thing_makes_no_pair() -> None:
    pairs = plausible_pairs(list(OWN.sizes))
    assert ("map-offset", "map-gain") not in pairs
    assert not any("none" in pair for pair in pairs)


def test_what_was_measured_is_heard_for_the_one_that_it_moves() -> None:
    """A reading that fits the day speaks against every pair in which the circuit is open for good."""
    from airproof.diagnosis.conditions import barometer_of
    from airproof.diagnosis.readings import EngineOffReading

    day = barometer_of(barometer_kpa=98.0)
    without = weigh([], TURBO, facts=TWO, barometer=day).verdict
    beside = weigh([], TURBO, facts=TWO, readings=[EngineOffReading("manifold_pressure", 98.0)], barometer=day).verdict
    assert without.pairs[0].causes == ("map-circuit", "vacuum-leak")
    assert beside.pairs[0].causes == ("map-intermittent", "vacuum-leak")  # which breaks now and then, and not just now


def test_the_verdict_without_a_recording_names_the_pair() -> None:
    found = weigh([], TURBO, facts=TWO).verdict
    assert found.pairs[0].causes == ("map-circuit", "vacuum-leak")
    assert any("two at once" in line for line in found.cannot_tell)
    assert weigh([], TURBO, facts=ONE).verdict.pairs == ()
