"""The weighing in pieces for a page: every piece has its rule, sums hold, and the words are those of the report."""

from __future__ import annotations

import importlib
import pkgutil
import re
import tomllib
from importlib import resources
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented_weighings import OFFSET, cause, offset_verdict, verdict
from pydantic import ValidationError

from airproof.diagnosis import checks
from airproof.diagnosis.checks import engine_off, relations
from airproof.diagnosis.finding import Finding
from airproof.diagnosis.level import Level
from airproof.diagnosis.verdict import Evidence, Verdict
from airproof.knowledge.load import knowledge
from airproof.knowledge.model import NONE
from airproof.report.case_file import MOST_SHOWN, SHOWN_FROM, Rule, case_file, rule_of, rules, sources_in_words
from airproof.report.exhibits import SUBJECTS

DOCS = Path(__file__).parents[2] / "docs"
LEVELS = [
    one
    for module in pkgutil.iter_modules(checks.__path__)
    for one in vars(importlib.import_module(f"airproof.diagnosis.checks.{module.name}")).values()
    if isinstance(one, Level)
]
MEASURED = [
    *(one.id for one in LEVELS),
    *engine_off.FINDINGS.values(),
    *(f"{prefix}idle" for prefix in relations.PREFIXES),
    *("pressure-moves", "pressure-in-range", "dropouts", "joint-jumps", "course", "picture-idle", "meter signal"),
    *("meter sweep creeps", "meter thermistor", "freeze frame P0106"),
]
TOLD = ["code P0106", "symptom hesitation"]
PLAIN = ["no code map", "look plug-loose", "history new-map-sensor", "condition only-hot", "step look-hoses"]
"""What rests on nothing but how probable it is under each cause."""


class TestRules:
    def test_every_level_that_is_checked_was_found(self) -> None:
        assert {"idle-speed", "boost-reached", "full-load-charge", "response", "overrun-floor"} <= {
            one.id for one in LEVELS
        }

    @pytest.mark.parametrize("finding", [*MEASURED, *TOLD])
    def test_whatever_a_check_finds_has_a_rule_of_its_own(self, finding: str) -> None:
        assert rule_of(finding).finding != ""

    @pytest.mark.parametrize(
        ("finding", "rule"),
        [
            ("key-on-baro", "key-on"), ("barometer", "barometer"), ("air-flow-part-load", "air-flow"),
            ("air-temperature", "air-temperature"), ("trim-idle", "trim"), ("boost-error", "boost"),
            ("boost-reached", "boost-reached"), ("idle-speed", "idle-speed"), ("idle-pressure", "idle-pressure"),
            ("idle-pressure-noise", "idle-pressure-noise"), ("full-load-baro", "full-load-baro"),
            ("charge-at-rest-idle", "charge-at-rest"), ("picture-car", "picture"), ("code P0106", "code"),
            ("look plug-loose", ""), ("step smoke-test-intake", ""), ("something new", ""), ("", ""),
        ],
    )  # fmt: skip
    def test_the_longest_beginning_counts(self, finding: str, rule: str) -> None:
        assert rule_of(finding).finding == rule

    def test_each_rests_on_something_and_names_a_picture_that_there_is(self) -> None:
        assert len({rule.finding for rule in rules()}) == len(rules())
        for rule in rules():
            assert rule.rule.endswith(".")
            assert rule.source.endswith(".")
            assert rule.exhibit is None or rule.exhibit in SUBJECTS

    def test_the_documents_and_data_that_are_named_are_there(self) -> None:
        for rule in rules():
            for name in re.findall(r"docs/[a-z_]+\.md", rule.source):
                assert (DOCS.parent / name).is_file(), name
            for name in re.findall(r"\b(?:[a-z]+/)+data/[a-z_]+\.toml", rule.source):
                assert (resources.files("airproof") / name).is_file(), name

    def test_no_beginning_is_one_that_nothing_begins_with(self) -> None:
        every = [*MEASURED, *TOLD, *PLAIN]
        assert all(any(rule_of(finding) is rule for finding in every) for rule in rules())

    def test_one_without_a_source_is_refused(self) -> None:
        text = (resources.files("airproof.report") / "data" / "rules.toml").read_text(encoding="utf-8")
        row = tomllib.loads(text)["rule"][0]
        for key in ("rule", "formula", "source"):
            with pytest.raises(ValidationError):
                Rule.model_validate({**row, key: ""})
            with pytest.raises(ValidationError):
                Rule.model_validate({name: value for name, value in row.items() if name != key})

    def test_each_level_says_its_unit_as_its_rule_does(self) -> None:
        """A share has a quotient in its formula, a difference a minus."""
        for level in LEVELS:
            formula = rule_of(level.id).formula
            if level.expectation in ("full-load-natural", "boost-error", "boost-reached", "cold-agreement"):
                assert " - " in formula
            if level.expectation in ("idle-pressure", "overrun-floor", "full-load-boosted", "idle-unsteadiness"):
                assert " / " in formula


class TestTheCauses:
    def test_the_foremost_with_what_speaks_for_and_against(self) -> None:
        first, *rest = case_file(offset_verdict()).causes
        assert (first.id, first.probability, first.chance) == ("map-offset", 0.93, "93 in 100")
        assert "8.1" in first.says
        assert first.says.endswith(".")
        assert [one.decibans for one in first.speaks_for] == [21.2, 7.5, 3.1]
        assert [one.decibans for one in first.against] == [-4.0]
        assert first.silent == 1  # the response hardly speaks
        assert [one.id for one in rest] == ["map-gain", NONE, "vacuum-leak"]

    def test_all_of_the_odds_are_accounted_for(self) -> None:
        heard = sum(one.decibans for one in OFFSET.evidence)
        first = case_file(offset_verdict()).causes[0]
        shown = sum(one.counted for one in (*first.speaks_for, *first.against))
        assert first.before + shown + 0.4 == pytest.approx(heard)  # 0.4: what hardly speaks

    def test_words_for_the_weight(self) -> None:
        first = case_file(offset_verdict()).causes[0]
        assert [one.weight for one in first.speaks_for] == [
            "speaks very strongly for it", "speaks clearly for it", "speaks a little for it",
        ]  # fmt: skip
        assert first.against[0].weight == "speaks a little against it"

    def test_each_piece_says_what_a_healthy_engine_shows_and_where_it_was_seen(self) -> None:
        key_on, flow, trim = case_file(offset_verdict()).causes[0].speaks_for
        assert key_on.healthy == "A healthy engine shows -1.5 to 1.5 kPa (90 in 100 of them)."
        assert key_on.intervals == ((0.0, 12.0),)
        assert key_on.rule.exhibit == 1
        assert (flow.healthy, flow.intervals) == ("", ())  # no finding of that name was made
        assert trim.says == "The mixture correction is 0 % at idle."

    def test_nothing_wrong_is_a_sentence_too(self) -> None:
        shown = case_file(verdict(cause(NONE, 0.9), cause("map-offset", 0.1))).causes
        assert shown[0].says == "Nothing is wrong that this can see."

    def test_numbers_of_a_band_are_written_out(self) -> None:
        finding = Finding("idle-speed", 1200.0, 5.0, "1/min", (934.6, 1065.9), ((0.0, 1.0),), "idles at 1200 1/min")
        one = cause("vacuum-leak", 0.9, told=[("idle-speed", 12.0, "idles at 1200 1/min")])
        (piece,) = case_file(verdict(one, findings=(finding,))).causes[0].speaks_for
        assert piece.healthy == "A healthy engine shows 935 to 1066 1/min (90 in 100 of them)."

    def test_a_place_of_the_whole_picture_has_no_band_that_anybody_could_read(self) -> None:
        finding = Finding("picture-idle", 3.0, 0.0, "usual ranges", (0.0, 1.0), ((0.0, 9.0),), "at idle")
        one = cause("vacuum-leak", 0.9, told=[("picture-idle", 12.0, "at idle")])
        (piece,) = case_file(verdict(one, findings=(finding,))).causes[0].speaks_for
        assert (piece.healthy, piece.intervals) == ("", ((0.0, 9.0),))

    def test_what_a_reader_learns_nothing_from_is_left_out(self) -> None:
        finding = Finding("trim-idle", 2.0, 1.0, "%", (-90.0, 90.0), ((0.0, 1.0),), "vague")
        one = cause("vacuum-leak", 0.9, told=[("trim-idle", 12.0, "vague")])
        (shown,) = case_file(verdict(one, findings=(finding,))).causes
        assert (shown.speaks_for, shown.silent) == ((), 0)

    def test_alone_is_what_counts_for_a_reader(self) -> None:
        told = (Evidence("symptom a", 1.0, "hesitates", alone=9.0), Evidence("before", -3.0, "common"))
        one = cause("vacuum-leak", 0.9)
        (shown,) = case_file(verdict(type(one)(one.id, one.title, one.probability, None, told))).causes
        (piece,) = shown.speaks_for
        assert (piece.decibans, piece.counted, shown.before) == (9.0, 1.0, -3.0)


class TestTheOthers:
    def test_those_that_hardly_count_share_a_sentence(self) -> None:
        rest = [cause(f"cause-{n}", 0.004) for n in range(5)]
        shown = case_file(verdict(cause("map-offset", 0.98), *rest))
        assert [one.id for one in shown.causes] == ["map-offset"]
        assert shown.others == "All others together: 2 in 100."
        assert shown.which == tuple(f"title of cause-{n}" for n in range(5))

    def test_no_others_no_sentence(self) -> None:
        shown = case_file(verdict(cause("map-offset", 1.0 - 1e-9)))
        assert (shown.others, shown.which) == ("", ())

    def test_where_all_are_improbable_the_first_is_shown(self) -> None:
        shown = case_file(verdict(*(cause(f"cause-{n}", 0.001) for n in range(9))))
        assert [one.id for one in shown.causes] == ["cause-0"]

    @settings(deadline=None, derandomize=True, max_examples=60)
    @given(
        st.lists(st.floats(1e-6, 1.0), min_size=1, max_size=12),
        st.lists(
            st.tuples(st.sampled_from([*MEASURED, *TOLD]), st.floats(-40.0, 40.0)), max_size=8, unique_by=lambda x: x[0]
        ),
    )
    def test_whatever_was_weighed_all_of_it_is_somewhere(
        self, weights: list[float], told: list[tuple[str, float]]
    ) -> None:
        shares = sorted((weight / (sum(weights) + 1e-3) for weight in weights), reverse=True)
        said = [(finding, db, f"says {n}") for n, (finding, db) in enumerate(told)]
        whole: Verdict = verdict(*(cause(f"cause-{n}", share, None, said) for n, share in enumerate(shares)))
        shown = case_file(whole)
        assert 1 <= len(shown.causes) <= MOST_SHOWN
        assert [one.id for one in shown.causes] == [f"cause-{n}" for n in range(len(shown.causes))]
        assert all(one.probability >= SHOWN_FROM for one in shown.causes[1:])
        for one in whole.causes[len(shown.causes) :]:
            assert one.title[:1].lower() + one.title[1:] in shown.which
        for one in shown.causes:
            assert all(piece.decibans > 0.0 for piece in one.speaks_for)
            assert all(piece.decibans < 0.0 for piece in one.against)
            for side in (one.speaks_for, one.against):
                order = [(piece.rule.finding.startswith("picture"), -abs(piece.decibans)) for piece in side]
                assert order == sorted(order)
                assert all(piece.says.endswith(".") and piece.rule.source for piece in side)
            assert len(one.speaks_for) + len(one.against) + one.silent == len(said)


def test_a_source_is_told_by_its_title_and_standing() -> None:
    known = knowledge()
    key = next(iter(known.sources))
    found = sources_in_words([key, "judged: Airproof authors, because so"], known)
    assert found[0] == f"{known.sources[key].title} ({known.sources[key].standing})."
    assert found[1] == "Judged: Airproof authors, because so."
