"""The JSON object against a literal copy of its agreed shape."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented_weighings import cause, offset_verdict, verdict, weighing

from airproof.diagnosis.finding import Finding
from airproof.diagnosis.verdict import Size
from airproof.knowledge.load import knowledge
from airproof.repair.plan import make_plan
from airproof.report.as_json import as_json, verdict_object

# The agreed shape, key by key; a list holds one example of its elements.
SHAPE: dict[str, Any] = {
    "schema": "airproof.verdict/1",
    "inputs": {"recordings": [...], "signals": [...], "left_out": [...], "regimes_s": {"key-on": 9.1, "idle": 61.0}},
    "causes": [
        {
            "id": "map-offset",
            "probability": 0.93,
            "size": {"value": 8.1, "low": 7.2, "high": 9.0, "unit": "kPa"},
            "evidence": [
                {
                    "finding": "key-on-baro",
                    "decibans": 11.2,
                    "says": "reads 8 kPa above the barometer with the engine off",
                }
            ],
        }
    ],
    "findings": [
        {"id": "...", "value": 0.0, "unit": "...", "expected": [0, 0], "intervals_s": [[0, 9.1]], "says": "..."}
    ],
    "timeline": [{"from_s": 0, "to_s": 10, "p_wrong": 0.02, "causes": {"map-offset": 0.01}}],
    "next_steps": [
        {
            "id": "measure-key-on-signal",
            "money": 0,
            "minutes": 10,
            "expected_total_money": 61.0,
            "expected_total_minutes": 40,
        }
    ],
    "habit": {"replace_now_expected_money": 118.0, "worth_it_below_part_price": 12.0},
    "cannot_tell": ["no full-load interval: record one pull in third gear, passenger reading"],
    "cautions": ["..."],
}


def conforms(shape: Any, found: Any, where: str = "") -> None:
    """Every key of the shape is there, and of the same kind."""
    if shape is ...:
        return
    if isinstance(shape, dict):
        assert isinstance(found, dict), where
        for key, value in shape.items():
            assert key in found, f"{where}.{key}"
            conforms(value, found[key], f"{where}.{key}")
    elif isinstance(shape, list):
        assert isinstance(found, list), where
        assert found, f"{where} is empty, so it proves nothing"
        for one in found:
            conforms(shape[0], one, f"{where}[]")
    elif isinstance(shape, str):
        assert isinstance(found, str), where
    else:
        assert isinstance(found, (int, float)), f"{where}: {found!r}"


def planned() -> dict[str, Any]:
    said = offset_verdict()
    plan = make_plan({c.id: c.probability for c in said.causes}, knowledge(), knowledge().prices)
    return verdict_object(weighing(said=said), plan)


def test_it_has_the_agreed_shape() -> None:
    found = planned()
    found["causes"] = [c for c in found["causes"] if c["size"] is not None]  # those without one have null there
    shape = SHAPE
    conforms(shape, found)
    assert found["schema"] == "airproof.verdict/1"


def test_it_is_json_and_comes_back_the_same() -> None:
    said = offset_verdict()
    plan = make_plan({c.id: c.probability for c in said.causes}, knowledge(), knowledge().prices)
    assert json.loads(as_json(weighing(said=said), plan)) == planned()


def test_evidence_adds_up_to_the_odds() -> None:
    for one in planned()["causes"]:
        p = one["probability"]
        total = sum(e["decibans"] for e in one["evidence"])
        assert total == pytest.approx(10.0 * math.log10(p / (1.0 - p)), abs=1e-2)


@given(st.lists(st.floats(1e-9, 1.0), min_size=2, max_size=24))
@settings(max_examples=60, deadline=None)
def test_probabilities_sum_to_one_after_rounding(parts: list[float]) -> None:
    total = sum(parts)
    causes = [cause("none", p / total) for p in parts]
    found = verdict_object(weighing(said=verdict(*causes)))
    assert sum(c["probability"] for c in found["causes"]) == pytest.approx(1.0, abs=1e-6)


def test_never_nan_or_infinity() -> None:
    odd = Finding("odd", math.nan, math.inf, "kPa", (-math.inf, math.inf), ((0.0, math.inf),), "cannot be told")
    said = verdict(cause("map-offset", 0.9, Size(1.0, -math.inf, math.nan, "kPa")), cause("none", 0.1), findings=(odd,))
    text = as_json(weighing(said=said))
    found = json.loads(text, parse_constant=lambda word: pytest.fail(f"{word} is not JSON"))
    assert found["findings"][0]["expected"] == [None, None]
    assert found["causes"][0]["size"]["low"] is None


def test_numpy_numbers_become_plain_ones() -> None:
    said = verdict(cause("map-offset", float(np.float64(0.9))), cause("none", 0.1))
    said = replace(said, regimes_s={"idle": np.float64(3.25)})  # type: ignore[dict-item]
    assert json.loads(as_json(weighing(said=said)))["inputs"]["regimes_s"] == {"idle": 3.25}


def test_a_refusal_has_no_plan_and_says_why() -> None:
    said = verdict(cause("none", 0.5), cause("map-offset", 0.5), refusal="this is a diesel")
    found = verdict_object(weighing(said=said))
    assert found["refusal"] == "this is a diesel"
    assert found["next_steps"] == []
    assert set(SHAPE["habit"]) <= set(found["habit"])
    assert set(found["habit"].values()) == {None}


def test_a_refusal_lists_causes_with_no_size_that_could_be_read_as_a_verdict() -> None:
    said = verdict(
        cause("none", 0.4), cause("map-offset", 0.6, Size(7.0, 2.0, 20.0, "kPa")), refusal="this is a diesel"
    )
    found = verdict_object(weighing(said=said))
    assert {c["id"] for c in found["causes"]} == {"none", "map-offset"}
    assert all(c["size"] is None for c in found["causes"])
    assert "hot parts injure" not in found["cautions"]
    assert not any("robabilit" in caution for caution in found["cautions"])


def test_what_was_read_is_told() -> None:
    inputs = planned()["inputs"]
    assert inputs["recordings"] == ["invented.csv"]
    assert "manifold_pressure" in inputs["signals"]
    assert inputs["left_out"] == ["Odometer: no signal of this name is known"]
    assert [c["how"] for c in inputs["understood"]] == ["stated", "guessed"]
    assert inputs["rows_set_aside"] == 2


def test_the_habit_that_never_pays_has_price_zero() -> None:
    said = verdict(cause("vacuum-leak", 0.97), cause("none", 0.03))
    plan = make_plan({c.id: c.probability for c in said.causes}, knowledge(), knowledge().prices)
    assert plan.habit is not None
    never = replace(plan, habit=replace(plan.habit, worth_it_below_part_price=None))
    assert verdict_object(weighing(said=said), never)["habit"]["worth_it_below_part_price"] == 0.0
