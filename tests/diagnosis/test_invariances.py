"""What must not move a verdict: the order of evidence, the scale of a likelihood, nothing said, the same rows twice."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_cases import NATURAL, TURBO

from airproof.diagnosis.bayes import posterior_of, weigh_testimonies
from airproof.diagnosis.conditions import barometer_of
from airproof.diagnosis.hypotheses import hypotheses_for
from airproof.diagnosis.testimony import Testimony as Told  # under its own name it would be collected as a test
from airproof.diagnosis.told import from_codes, from_symptoms
from airproof.diagnosis.verdict import Verdict
from airproof.diagnosis.weigh import weigh
from airproof.engine.profile import EngineProfile
from airproof.engine.rehearsal.compare import as_recording
from airproof.engine.rehearsal.faults import Fault
from airproof.engine.rehearsal.many import logged
from airproof.engine.rehearsal.rehearse import Request, Scene, rehearse
from airproof.engine.rehearsal.written.logger import Log
from airproof.engine.rehearsal.written.recording_file import dialect_named, write_recording
from airproof.knowledge.load import knowledge
from airproof.recording.readers import read_recording
from airproof.recording.recording import Recording

KNOWN = knowledge()
HYPOTHESES = hypotheses_for(KNOWN, TURBO, frozenset({"manifold_pressure", "charge_pressure"}), healthy_share=0.2)
few = settings(max_examples=20, deadline=None)
some_codes = st.lists(st.sampled_from(sorted(KNOWN.codes)), min_size=1, max_size=6, unique=True)
some_symptoms = st.lists(st.sampled_from(sorted(KNOWN.symptoms)), min_size=1, max_size=4, unique=True)


def told_of(codes: Sequence[str], symptoms: Sequence[str]) -> list[Told]:
    return [*from_codes(codes, KNOWN, HYPOTHESES.sizes), *from_symptoms(symptoms, KNOWN, HYPOTHESES.sizes)]


class TestOrder:
    @given(st.data(), some_codes, some_symptoms)
    def test_of_testimonies(self, data: st.DataObject, codes: list[str], symptoms: list[str]) -> None:
        told = told_of(codes, symptoms)
        first = posterior_of(HYPOTHESES.log_prior, told)
        other = posterior_of(HYPOTHESES.log_prior, data.draw(st.permutations(told)))
        for cause in HYPOTHESES.sizes:
            assert other.probability[cause] == pytest.approx(first.probability[cause], rel=1e-11)
            np.testing.assert_allclose(other.sizes[cause], first.sizes[cause], rtol=1e-10)

    @few
    @given(st.data(), some_codes, some_symptoms)
    def test_through_the_front_door(self, data: st.DataObject, codes: list[str], symptoms: list[str]) -> None:
        """Probabilities, and the decibans of every witness, whatever was typed first."""
        first = weigh([Recording({})], TURBO, codes=codes, symptoms=symptoms).verdict
        turned = data.draw(st.permutations(codes)), data.draw(st.permutations(symptoms))
        other = weigh([Recording({})], TURBO, codes=turned[0], symptoms=turned[1]).verdict
        for one in first.causes:
            assert other.probability(one.id) == pytest.approx(one.probability, rel=1e-11)
        for cause in ("map-offset", "vacuum-leak"):
            (mine,), (yours,) = ([c for c in v.causes if c.id == cause] for v in (first, other))
            weights = {e.finding: e.decibans for e in mine.evidence}
            assert {e.finding: pytest.approx(e.decibans, abs=1e-9) for e in yours.evidence} == weights


class TestScale:
    @given(st.data(), some_codes, some_symptoms)
    def test_a_likelihood_times_a_constant(self, data: st.DataObject, codes: list[str], symptoms: list[str]) -> None:
        told = told_of(codes, symptoms)
        size = len(told)
        factors = data.draw(st.lists(st.floats(-300.0, 300.0), min_size=size, max_size=size))
        scaled = [
            replace(one, log_likelihood={c: rows + k for c, rows in one.log_likelihood.items()})
            for one, k in zip(told, factors, strict=True)
        ]
        plain, other = (weigh_testimonies(HYPOTHESES.log_prior, each) for each in (told, scaled))
        for cause in HYPOTHESES.sizes:
            assert other.probability[cause] == pytest.approx(plain.probability[cause], rel=1e-9)
            np.testing.assert_allclose(other.sizes[cause], plain.sizes[cause], rtol=1e-9)
            for mine, yours in zip(plain.weights, other.weights, strict=True):
                assert yours[cause] == pytest.approx(mine[cause], abs=1e-7)

    @given(some_codes)
    def test_said_in_two_halves_it_says_the_same(self, codes: list[str]) -> None:
        told = told_of(codes, [])
        halves = [
            replace(one, log_likelihood={c: 0.5 * rows for c, rows in one.log_likelihood.items()})
            for one in told
            for _ in range(2)
        ]
        whole, other = posterior_of(HYPOTHESES.log_prior, told), posterior_of(HYPOTHESES.log_prior, halves)
        for cause in HYPOTHESES.sizes:
            assert other.probability[cause] == pytest.approx(whole.probability[cause], rel=1e-10)


class TestNothingSaid:
    @few
    @given(st.sampled_from([TURBO, NATURAL]), st.floats(0.01, 0.99), st.floats(-50.0, 50.0))
    def test_the_prior_stands(self, profile: EngineProfile, healthy: float, constant: float) -> None:
        """Without testimony, and with one that is as probable under every hypothesis."""
        own = hypotheses_for(KNOWN, profile, frozenset(), healthy_share=healthy)
        empty = {cause: np.full(sizes.size, constant) for cause, sizes in own.sizes.items()}
        nothing = replace(told_of(["P0106"], [])[0], log_likelihood=empty)
        for told in ([], [nothing]):
            found = weigh_testimonies(own.log_prior, told)
            assert found.probability["none"] == pytest.approx(healthy, rel=1e-9)
            for cause, rows in own.log_prior.items():
                assert found.probability[cause] == pytest.approx(np.exp(rows).sum(), rel=1e-9)
                np.testing.assert_allclose(found.sizes[cause], np.exp(rows) / np.exp(rows).sum(), rtol=1e-9)
            for weights in found.weights:
                assert max(map(abs, weights.values())) < 1e-9

    def test_an_unknown_code_leaves_the_prior(self) -> None:
        """docs/weighing.md, section 5: it carries no weight. So the causes stand to each other as their weights do."""
        verdict = weigh([Recording({})], NATURAL, codes=["P9999"]).verdict
        for a, b in (("map-offset", "map-gain"), ("vacuum-leak", "ignition"), ("iat-offset", "fuel-delivery")):
            wanted = KNOWN.causes[a].weight / KNOWN.causes[b].weight
            assert verdict.probability(a) / verdict.probability(b) == pytest.approx(wanted, rel=1e-9)


HERE = barometer_of(altitude_m=350.0)
REHEARSED = {
    "healthy": (TURBO, ()),
    "offset": (TURBO, (Fault("map-offset", -8.0),)),  # upwards, offset and span are nearly level
    "leak": (TURBO, (Fault("vacuum-leak", 2.0),)),
    "speed-density": (NATURAL, (Fault("map-offset", -6.0),)),
}
# Rows that hold values of their own; a table of held values is below.
LOGGERS = ("two-first", "simple", "grouped", "fast")


@cache
def stored(which: str, logger: str) -> Log:
    profile, faults = REHEARSED[which]
    request = Request(profile, faults=faults, scene=Scene(altitude_m=350.0), seed=1, day=2)
    return logged(rehearse(request), logger)


def same_stamp(rows: list[str]) -> list[str]:
    return [each for row in rows for each in (row, row)]


def half_way(rows: list[str]) -> list[str]:
    """The second of each pair stamped half way to the next row."""
    stamps = [float(row.split(",", 1)[0]) for row in rows]
    following = [*stamps[1:], 2 * stamps[-1] - stamps[-2]]
    return [
        each
        for row, now, then in zip(rows, stamps, following, strict=True)
        for each in (row, f"{(now + then) / 2:.4f},{row.split(',', 1)[1]}")
    ]


def read_with(log: Log, folder: Path, change: Callable[[list[str]], list[str]]) -> Recording:
    """What the reader makes of the file after its rows were changed."""
    path = folder / "drive.csv"
    write_recording(log, path, dialect_named("plain"))
    heading, *rows = path.read_text(encoding="utf-8").splitlines()
    path.write_text("\n".join([heading, *change(rows)]) + "\n", encoding="utf-8")
    return read_recording(path)


def moved(one: Verdict, other: Verdict) -> float:
    """The most that the odds of any cause with at least 1 % moved, decibans."""
    likely = [cause for cause in one.causes if cause.probability >= 0.01]
    odds = [[p / (1.0 - p) for p in (cause.probability, other.probability(cause.id))] for cause in likely]
    return max(abs(10.0 * np.log10(after / before)) for before, after in odds)


@pytest.mark.parametrize("change", [same_stamp, half_way])
class TestEveryRowTwice:
    """A row written twice is no second look at the car."""

    @pytest.mark.parametrize(
        ("which", "logger"),
        [(which, "two-first") for which in REHEARSED] + [("leak", logger) for logger in LOGGERS[1:]],
    )
    def test_the_verdict_stays(
        self, tmp_path: Path, which: str, logger: str, change: Callable[[list[str]], list[str]]
    ) -> None:
        """Measured: to the last digit, since the reader finds out which rows bring nothing new."""
        profile, log = REHEARSED[which][0], stored(which, logger)
        once = read_with(log, tmp_path, lambda rows: rows)
        twice = read_with(log, tmp_path, change)
        assert len(twice["manifold_pressure"]) == len(once["manifold_pressure"])
        one, other = (weigh([each], profile, barometer=HERE).verdict for each in (once, twice))
        assert moved(one, other) < 0.05

    def test_a_table_of_held_values(self, tmp_path: Path, change: Callable[[list[str]], list[str]]) -> None:
        """Measured: to the last digit too. Were columns that take turns taken for updated together, 559 readings of the
        manifold pressure would become 2631, and the odds of the leak move by 11 db."""
        log = stored("leak", "even-rows")
        once = read_with(log, tmp_path, lambda rows: rows)
        twice = read_with(log, tmp_path, change)
        assert len(twice["manifold_pressure"]) == len(once["manifold_pressure"])
        one, other = (weigh([each], TURBO, barometer=HERE).verdict for each in (once, twice))
        assert moved(one, other) < 0.05


@pytest.mark.parametrize(("which", "most"), [("healthy", 3.0), ("offset", 3.0), ("leak", 8.0)])
def test_the_same_recording_given_twice_does_not_double_the_evidence(which: str, most: float) -> None:
    """It counts as a second drive, so points scatter less in the mean; what the engine keeps to itself does not shrink.

    Measured: 0.6, 0.7 and 2.7 db. A regression guard: the limits are ours. Counted as independent the evidence would
    double, and for the leak that is 20 db more.
    """
    drive = as_recording(stored(which, "two-first"), "drive")
    once, twice = (weigh([drive] * n, TURBO, barometer=HERE).verdict for n in (1, 2))
    assert twice.first.id == once.first.id
    assert moved(once, twice) < most
    gained = sum(e.decibans for e in twice.first.evidence) - sum(e.decibans for e in once.first.evidence)
    said = sum(e.decibans for e in once.first.evidence if e.finding != "before")
    assert gained < 0.25 * said
