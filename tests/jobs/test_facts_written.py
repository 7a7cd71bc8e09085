"""A job as reading files: TOML that says the same, whatever the job holds."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented_jobs import ENGINE, draft
from test_state import events_of

from airproof.errors import UnusableRequest
from airproof.jobs.facts_written import engine_toml, toml, written
from airproof.jobs.state import state_of
from airproof.knowledge.load import knowledge

texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
plain = st.booleans() | st.integers(-(2**62), 2**62) | st.floats(allow_nan=False) | texts
values = st.recursive(
    plain, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(texts, inner, max_size=3), max_leaves=6
)
tables = st.dictionaries(texts, values, max_size=4)


@settings(deadline=None, derandomize=True, max_examples=200)
@given(st.dictionaries(texts, tables | st.lists(tables, min_size=1, max_size=3), max_size=4))
def test_any_tables_come_back(said: dict[str, Any]) -> None:
    assert tomllib.loads(toml(said)) == said


def test_what_was_never_said_is_left_out() -> None:
    said = {"a": {"x": None, "y": [1, None, {"z": None, "w": 2}]}, "b": [{"x": None}]}
    assert tomllib.loads(toml(said)) == {"a": {"y": [1, {"w": 2}]}, "b": [{}]}


def test_an_engine_from_elsewhere_that_leaves_fields_empty_is_written() -> None:
    engine = {**ENGINE, "idle_rpm": None}
    text = engine_toml(state_of(events_of(draft("engine", engine=engine, rehearsal={"egr": None, "boost": [None]}))))
    assert text is not None
    assert tomllib.loads(text) == {"engine": ENGINE, "rehearsal": {"boost": []}}


@pytest.mark.parametrize(
    ("held", "says"),
    [
        ({"measured": 5}, "measured is no list of tables"),
        ({"measured": {"what": "signal"}}, "measured is no list of tables"),
        ({"measured": [5]}, "measured is no list of tables"),
        ({"measured": [{"value": "1 V"}]}, "does not say what was measured"),
        ({"meter": []}, "meter is no table"),
        ({"day": None}, "day is no table"),
        ({"other": {}}, "other"),
    ],
)
def test_measurements_that_are_no_tables_are_no_fact(held: dict[str, Any], says: str) -> None:
    with pytest.raises(UnusableRequest, match=says):
        draft("measured", tables=held)


def test_measurements_are_written_each_set_in_a_file_of_its_own() -> None:
    held = {"meter": {"accuracy": None}, "measured": [{"what": "signal", "value": "1.9 V"}]}
    state = state_of(events_of(draft("measured", tables=held), draft("measured", tables={"measured": []})))
    says = written(state, knowledge())
    assert [tomllib.loads(text) for text in says.measured] == [{"meter": {}, "measured": held["measured"]}, {}]
