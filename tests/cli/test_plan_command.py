"""`airproof plan`, as a user runs it."""

from __future__ import annotations

import io
import json
import math
import sys
from pathlib import Path

import pytest
from command_line import Airproof, Car

from airproof.knowledge.load import knowledge


@pytest.fixture(scope="module")
def verdict(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A verdict that leaves things open, as the JSON of a weighing has it."""
    weights = {"vacuum-leak": 0.5, "map-offset": 0.2, "none": 0.1, "fuel-delivery": 0.1, "maf-scale": 0.1}
    found = {
        "schema": "airproof.verdict/1",
        "inputs": {"regimes_s": {"key-on": 12.0, "idle": 40.0, "cruise": 30.0}, "steps_done": {"look-hoses": False}},
        "causes": [{"id": cause, "probability": p} for cause, p in weights.items()],
        "pairs": [{"ids": ["vacuum-leak", "map-offset"], "probability": 0.2, "weight": 0.1}],
        "refusal": None,
    }
    file = tmp_path_factory.mktemp("verdict") / "verdict.json"
    file.write_text(json.dumps(found), encoding="utf-8")
    return file


def test_from_recording_to_plan(airproof: Airproof, car: Car, tmp_path: Path) -> None:
    weighed = airproof("weigh", car.lying, "--engine", car.engine, "--altitude", "350m", "--code", "P0106", "--json")
    file = tmp_path / "verdict.json"
    file.write_text(weighed.out, encoding="utf-8")
    ended = airproof("plan", file)
    assert ended.status == 0, ended.err
    first = json.loads(weighed.out)["next_steps"][0]["id"]
    assert f"[{first}]" in ended.out.split("\n\n")[0]
    for heading in ("How", "Where it leads", "Other ways to begin", "What would change this", "How far to rely on it"):
        assert f"\n{heading}\n" in ended.out


def test_json_and_nothing_else(airproof: Airproof, verdict: Path) -> None:
    ended = airproof("plan", verdict, "--json")
    found = json.loads(ended.out)
    assert found["schema"] == "airproof.plan/1"
    assert found["next_steps"][0]["id"] == found["tree"]["id"]
    assert 0.0 <= found["gap"] < 1.0
    cost = found["next_steps"][0]["expected_total_cost"]
    assert found["not_below"] <= cost
    assert set(found["done"]) >= {"look-hoses", "record-key-on", "record-idle"}
    leaves = [outcome["probability"] for outcome in found["tree"]["outcomes"]]
    assert sum(leaves) == pytest.approx(1.0, abs=1e-3)


def test_it_says_how_much_another_plan_could_save(airproof: Airproof, verdict: Path) -> None:
    given = json.loads(verdict.read_text(encoding="utf-8"))
    anything = {cause.id: cause.weight for cause in knowledge().causes.values()}
    for name, belief, wide in (("anything", anything, True), ("sure", {"map-offset": 0.97, "none": 0.03}, False)):
        file = verdict.with_name(f"{name}.json")
        causes = [{"id": cause, "probability": p / sum(belief.values())} for cause, p in belief.items()]
        file.write_text(json.dumps({**given, "causes": causes, "pairs": []}), encoding="utf-8")
        gap = json.loads(airproof("plan", file, "--json").out)["gap"]
        assert (gap > 0.05) == wide
        said = " ".join(airproof("plan", file).out.split())
        assert f"another could save at most {max(1, math.ceil(100.0 * gap))} in 100." in said
        assert ("How much of that there is to save is not known" in said) == wide


def test_each_new_fact_moves_the_plan(airproof: Airproof, verdict: Path) -> None:
    found = json.loads(airproof("plan", verdict, "--done", "smoke-test-intake=yes", "--json").out)
    assert found["next_steps"][0]["id"] == "mend-vacuum-leak"
    assert found["causes"][0]["id"] == "vacuum-leak"
    not_found = json.loads(airproof("plan", verdict, "--done", "smoke-test-intake=no", "--json").out)
    assert not_found["causes"][0]["id"] == "map-offset"
    failed = json.loads(
        airproof("plan", verdict, "--done", "smoke-test-intake=yes", "--done", "mend-vacuum-leak", "--json").out
    )
    assert "mend-vacuum-leak" in failed["done"]
    doubt = "this plan is for the case that it did not"
    for word, doubted in (("=did-not-help", False), ("=done", True), ("", True)):
        again = airproof(
            "plan", verdict, "--done", "smoke-test-intake=yes", "--done", f"mend-vacuum-leak{word}", "--json"
        )
        assert json.loads(again.out) == failed
        assert (doubt in again.err) == doubted
    before = {c["id"]: c["probability"] for c in found["causes"]}
    after = {c["id"]: c["probability"] for c in failed["causes"]}
    assert after["vacuum-leak"] < 0.3 * before["vacuum-leak"]
    assert not failed["pairs"] or failed["pairs"][0]["weight"] < 0.05


def test_tools_that_are_missing_are_done_without(airproof: Airproof, verdict: Path, tmp_path: Path) -> None:
    shop = tmp_path / "shop.toml"
    shop.write_text('own_time_free = true\ntools_missing = ["smoke machine"]\n', encoding="utf-8")
    found = json.loads(airproof("plan", verdict, "--prices", shop, "--json").out)
    offered = json.dumps(found["next_steps"]) + json.dumps(found["tree"])
    assert "smoke-test-intake" not in offered
    assert "Planned without: smoke machine" in airproof("plan", verdict, "--prices", shop).out


def test_what_cannot_be_done_takes_along_what_needs_it(airproof: Airproof, verdict: Path) -> None:
    found = airproof("plan", verdict, "--done", "smoke-test-intake=cannot", "--json").out
    offered = json.dumps([json.loads(found)[key] for key in ("next_steps", "tree")])
    assert "smoke-test-intake" not in offered
    assert "mend-vacuum-leak" not in offered


def test_a_verdict_from_standard_input(airproof: Airproof, verdict: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO(verdict.read_text(encoding="utf-8")))
    assert airproof("plan", "-").status == 0


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("missing.json",), "cannot be read"),
        (("{verdict}", "--done", "smoke-test"), "Near: smoke-test-intake"),
        (("{verdict}", "--done", "smoke-test-intake"), "does not say what came of it"),
        (("{verdict}", "--done", "smoke-test-intake=perhaps"), "does not say what came of it"),
        (("{verdict}", "--done", "look-hoses=helped"), "or look-hoses=could-not"),
        (("{verdict}", "--done", "mend-vacuum-leak=yes"), "the job is over"),
        (("{verdict}", "--done", "mend-vacuum-leak=perhaps"), "does not say what came of it"),
        (("{verdict}", "--done", "mend-vacuum-leak=helped"), "the job is over"),
        (("{verdict}", "--done", "send-to-specialist"), "the job is over"),
        (("{verdict}", "--done", "look-hoses=yes"), "is done already"),
        (("{verdict}", "--prices", "{shop}"), "unknown tool smoke machin"),
    ],
)
def test_what_cannot_be_planned_is_refused_in_one_line(
    airproof: Airproof, verdict: Path, tmp_path: Path, words: tuple[str, ...], says: str
) -> None:
    shop = tmp_path / "shop.toml"
    shop.write_text('tools_missing = ["smoke machin"]\n', encoding="utf-8")
    ended = airproof("plan", *(word.format(verdict=verdict, shop=shop) for word in words))
    assert (ended.status, ended.out) == (2, "")
    assert says in ended.err
    assert ended.err.count("\n") == 1


@pytest.mark.parametrize(
    "text",
    ["", "[]", "{}", '{"schema": "other/1"}', '{"schema": "airproof.verdict/1", "inputs": {}, "causes": []}', "\x00"],
)
def test_what_is_no_verdict_is_refused(airproof: Airproof, tmp_path: Path, text: str) -> None:
    file = tmp_path / "verdict.json"
    file.write_text(text, encoding="utf-8")
    ended = airproof("plan", file)
    assert ended.status == 2
    assert "weigh" in ended.err


def test_a_verdict_that_judges_nothing_is_no_ground_for_a_plan(airproof: Airproof, tmp_path: Path) -> None:
    file = tmp_path / "verdict.json"
    refused = {"schema": "airproof.verdict/1", "inputs": {}, "causes": [{"id": "none", "probability": 1.0}]}
    file.write_text(json.dumps({**refused, "refusal": "this is a diesel"}), encoding="utf-8")
    ended = airproof("plan", file)
    assert ended.status == 2
    assert "this is a diesel" in ended.err
