"""`airproof learn`, as a user runs it, and what `plan` and `weigh` do with it."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from command_line import Airproof, Car

from airproof.knowledge.load import knowledge
from airproof.repair.learned import shop_held
from airproof.repair.learned.sharpen import sharpened
from airproof.repair.learned.shop_file import read_shop
from airproof.report.learned_in_words import in_words

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "closed-job" / "job.toml"


@pytest.fixture
def shop(airproof: Airproof, tmp_path: Path) -> Path:
    """A shop that has learned from the example."""
    file = tmp_path / "shop.json"
    ended = airproof("learn", EXAMPLE, "--shop", file)
    assert ended.status == 0, ended.err
    return file


def another(folder: Path, number: str, **changed: str) -> Path:
    text = EXAMPLE.read_text(encoding="utf-8").replace('"2026-017"', f'"{number}"')
    for old, new in changed.items():
        text = re.sub(rf"^{old} = .*$", f"{old} = {new}", text, flags=re.MULTILINE)
    file = folder / f"job{number}.toml"
    file.write_text(text, encoding="utf-8")
    return file


def test_a_job_is_counted_once_and_shown(airproof: Airproof, shop: Path) -> None:
    again = airproof("learn", EXAMPLE, "--shop", shop)
    assert "was counted before" in again.out
    shown = airproof("learn", "--shop", shop, "--show").out
    assert "Learned from 1 closed job:" in shown
    for heading in ("How common", "What cures", "What steps find", "Minutes", "Prices", "How far to rely on it"):
        assert f"\n{heading}\n" in shown
    assert re.search(r"Sensor cleaner, residue-free: 5\.\d+ USD \([\d.]+ to [\d.]+\), before 5; 1\s+job\.", shown)


def test_one_number_is_said_as_one(shop: Path) -> None:
    learned = sharpened(knowledge(), read_shop(shop))
    common = [one for one in learned.numbers if one.about == "how common"]
    moved, still = replace(common[0], before=0.9), replace(common[-1], before=common[-1].after)
    said = " ".join(
        line for part in in_words(replace(learned, numbers=(moved, still)), knowledge()) for line in part.lines
    )
    assert "1 number moved by a tenth or more." in said
    assert "Moved by less than a tenth: 1 other." in said


def test_undo_leaves_what_was_there_before(airproof: Airproof, shop: Path, tmp_path: Path) -> None:
    before = shop.read_bytes()
    airproof("learn", another(tmp_path, "18"), another(tmp_path, "19"), "--shop", shop)
    assert shop.read_bytes() != before
    ended = airproof("learn", "--shop", shop, "--undo", "18", "--undo", "19")
    assert ended.status == 0
    assert shop.read_bytes() == before


def test_passing_on_and_merging(airproof: Airproof, shop: Path, tmp_path: Path) -> None:
    other, out = tmp_path / "other.json", tmp_path / "out.json"
    airproof("learn", another(tmp_path, "2026-017", minutes="15"), "--shop", other, "--export", out)
    assert "secret" not in json.loads(out.read_text(encoding="utf-8"))
    merged = airproof("learn", "--shop", shop, "--merge", out, "--json")
    assert json.loads(merged.out)["jobs"] == 2
    assert json.loads(airproof("learn", "--shop", shop, "--merge", out, "--json").out)["jobs"] == 2
    refused = airproof("learn", "--shop", shop, "--export", other)
    assert "own file" in refused.line
    assert airproof("learn", "--shop", shop, "--export", out).status == 0


def test_json_holds_every_number_and_nothing_else_is_printed(airproof: Airproof, shop: Path) -> None:
    found = json.loads(airproof("learn", "--shop", shop, "--json").out)
    assert found["schema"] == "airproof.learned-report/1"
    for number in found["numbers"]:
        assert number["low"] <= number["high"]
        assert number["jobs"] == 1
    cure = next(n for n in found["numbers"] if n["about"] == "cures")
    assert (cure["of"], cure["given"], cure["before"]) == ("clean-map-sensor", "map-slow", 0.6)
    assert cure["low"] < cure["before"] < cure["after"] < cure["high"]


def test_the_half_life_stays_in_the_file(airproof: Airproof, shop: Path) -> None:
    airproof("learn", "--shop", shop, "--half-life", "24")
    assert json.loads(shop.read_text(encoding="utf-8"))["half_life_months"] == 24.0
    airproof("learn", "--shop", shop, "--half-life", "0")
    assert "half_life_months" not in json.loads(shop.read_text(encoding="utf-8"))


def test_a_plan_and_a_verdict_say_that_they_reckon_with_it(
    airproof: Airproof, car: Car, shop: Path, tmp_path: Path
) -> None:
    jobs = [another(tmp_path, str(n), minutes="90", money="30.0") for n in range(20)]
    airproof("learn", *jobs, "--shop", shop)
    words = ("weigh", car.lying, "--engine", car.engine, "--altitude", "350m", "--code", "P0106")
    usual = json.loads(airproof(*words, "--json").out)
    weighed = airproof(*words, "--shop", shop, "--json")
    found = json.loads(weighed.out)
    assert usual["learned"] is None
    assert found["learned"]["jobs"] == 21

    def slow(verdict: dict[str, list[dict[str, float]]]) -> float:
        return next(c["probability"] for c in verdict["causes"] if c["id"] == "map-slow")

    assert slow(found) > slow(usual)
    assert "21 closed jobs" in airproof(*words, "--shop", shop).out
    verdict = tmp_path / "verdict.json"
    verdict.write_text(weighed.out, encoding="utf-8")
    plain = airproof("plan", verdict)
    assert "Learned in your shop" not in plain.out
    planned = airproof("plan", verdict, "--shop", shop)
    assert "Learned in your shop" in planned.out
    plans = [json.loads(airproof("plan", verdict, *more, "--json").out) for more in ((), ("--shop", shop))]
    assert (plans[0]["learned"], plans[1]["learned"]["jobs"]) == (None, 21)
    assert plans[0]["next_steps"] != plans[1]["next_steps"]


def test_a_shop_without_jobs_changes_no_verdict(airproof: Airproof, car: Car, shop: Path) -> None:
    airproof("learn", "--shop", shop, "--undo", "2026-017")
    words = ("weigh", car.lying, "--engine", car.engine, "--code", "P0106", "--json")
    usual, with_it = (json.loads(airproof(*words, *more).out) for more in ((), ("--shop", shop)))
    assert with_it.pop("learned") == {"jobs": 0, "numbers": 0}
    usual.pop("learned")
    assert with_it == usual


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("learn",), "--shop"),
        (("learn", "--shop", "{new}"), "is not there"),
        (("learn", "--shop", "{new}", "--show"), "is not there"),
        (("learn", "missing.toml", "--shop", "{new}"), "cannot be read"),
        (("learn", "--shop", "{shop}", "--undo", "5"), "no job '5'"),
        (("learn", "--shop", "{shop}", "--half-life", "soon"), "months"),
        (("learn", "--shop", "{shop}", "--merge", "missing.json"), "cannot be read"),
        (("learn", "{example}", "--shop", "{broken}"), "is not JSON"),
        (("learn", "{example}", "--shop", "{newer}"), "newer Airproof"),
        (("learn", "--shop", "{shop}", "--export", "{broken}"), "is not JSON"),
        (("learn", "{example}", "--shop", "{folder}/no/shop.json"), "cannot be written"),
        (("plan", "{verdict}", "--shop", "{newer}"), "newer Airproof"),
    ],
)
def test_what_cannot_be_is_refused_in_one_line_and_nothing_is_written(
    airproof: Airproof, shop: Path, tmp_path: Path, words: tuple[str, ...], says: str
) -> None:
    broken, newer = tmp_path / "broken.json", tmp_path / "newer.json"
    broken.write_text('{"schema": "airproof.learned/1", "jobs"', encoding="utf-8")
    newer.write_text('{"schema": "airproof.learned/2"}', encoding="utf-8")
    before = {file: file.read_bytes() for file in tmp_path.iterdir()}
    places = {
        "new": tmp_path / "new.json", "shop": shop, "broken": broken, "newer": newer, "example": EXAMPLE,
        "folder": tmp_path, "verdict": tmp_path / "verdict.json",
    }  # fmt: skip
    ended = airproof(*(word.format(**places) for word in words))
    assert (ended.status, ended.out) == (2, "")
    assert says in ended.line
    assert {file: file.read_bytes() for file in tmp_path.iterdir()} == before


def test_where_one_job_is_wrong_none_is_counted(airproof: Airproof, shop: Path, tmp_path: Path) -> None:
    before = shop.read_bytes()
    wrong = another(tmp_path, "20", causes='["boost-lek"]')
    ended = airproof("learn", another(tmp_path, "19"), wrong, "--shop", shop)
    assert ended.status == 2
    assert "Near: boost-leak" in ended.line
    assert shop.read_bytes() == before


def test_another_story_under_a_number_is_refused(airproof: Airproof, shop: Path, tmp_path: Path) -> None:
    told = another(tmp_path, "2026-017", minutes="99")
    assert "--undo 2026-017" in airproof("learn", told, "--shop", shop).line
    corrected = airproof("learn", told, "--shop", shop, "--undo", "2026-017")
    assert corrected.status == 0


def test_the_help_shows_a_job_that_is_taken(airproof: Airproof, tmp_path: Path) -> None:
    text = airproof("learn", "--help").out
    block = text[text.index('  schema = "airproof.closed-job/1"') : text.index("Steps stand in the order")]
    file = tmp_path / "job.toml"
    file.write_text(block, encoding="utf-8")
    ended = airproof("learn", file, "--shop", tmp_path / "shop.json")
    assert ended.status == 0, ended.err


def test_what_is_counted_at_once_is_all_kept(tmp_path: Path) -> None:
    shop, jobs = tmp_path / "shop.json", [another(tmp_path, f"c-{number}") for number in range(4)]
    begin = [sys.executable, "-m", "airproof", "learn", "--shop", str(shop)]
    learning = [subprocess.Popen([*begin, str(job)], stdout=subprocess.DEVNULL) for job in jobs]
    assert [one.wait(timeout=300) for one in learning] == [0] * 4
    assert len(json.loads(shop.read_text(encoding="utf-8"))["jobs"]) == 4


def test_who_only_looks_waits_for_nobody(
    airproof: Airproof, shop: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(shop_held, "LONGEST_WAIT_S", 0.0)
    with shop_held.held(shop):
        assert airproof("learn", "--shop", shop, "--show").status == 0
        refused = airproof("learn", another(tmp_path, "18"), "--shop", shop)
    assert "another program" in refused.line
