"""`airproof prove`, and `airproof job prove`, `reopen` and `learn`: judged, kept, undone and learned from."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from command_line import Airproof, Car

from airproof.repair.learned import shop_held
from airproof.repair.learned.shop_held import held
from airproof.repair.proof.proof import OUTCOMES


@pytest.fixture
def data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("AIRPROOF_DATA", str(tmp_path / "jobs"))
    return tmp_path / "jobs"


def told(text: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(text)
    return found


def proved(airproof: Airproof, car: Car, *more: object) -> dict[str, Any]:
    words = ["prove", "--engine", car.engine, "--before", car.lying, "--after", car.healthy]
    return told(airproof(*words, "--step", "replace-map-sensor", *more, "--json").out)


def test_the_answer_and_its_parts(airproof: Airproof, car: Car) -> None:
    proof = proved(airproof, car, "--altitude", "350m")
    assert proof["schema"] == "airproof.proof/1"
    assert set(proof["probabilities"]) == set(OUTCOMES)
    assert sum(proof["probabilities"].values()) == pytest.approx(1.0)
    assert proof["judgement"] != "not fixed"
    words = airproof(
        "prove", "--engine", car.engine, "--before", car.lying, "--after", car.healthy, "--step", "replace-map-sensor"
    )  # fmt: skip
    assert words.status == 0
    assert "What was compared" in words.out


def test_a_verdict_beside_the_recording_is_believed(airproof: Airproof, car: Car, tmp_path: Path) -> None:
    verdict = tmp_path / "verdict.json"
    verdict.write_text(airproof("weigh", car.lying, "--engine", car.engine, "--json").out, encoding="utf-8")
    plain, believed = proved(airproof, car), proved(airproof, car, "--before", verdict)
    assert believed["probabilities"] == pytest.approx(plain["probabilities"], abs=1e-3)
    doubted = told(verdict.read_text(encoding="utf-8"))
    for cause in doubted["causes"]:
        cause["probability"] = 1.0 if cause["id"] == "none" else 0.0
    verdict.write_text(json.dumps(doubted), encoding="utf-8")
    assert proved(airproof, car, "--before", verdict)["judgement"] != "proved"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--step", "look-hoses"), "no step that mends"),
        (("--cause", "bad-luck"), "not a cause"),
        (("--code-after", "P0106=gone"), "after ="),
        (("--monitor", "horn=complete"), "monitor"),
        (("--monitor", "catalyst=perhaps"), "catalyst=complete"),
        (("--warm-ups", "some"), "whole number"),
        (("--warm-ups", "9" * 40), "whole number from 0 to 65535"),
        (("--days", "-3"), "number of days"),
        (("--days", "nan"), "number of days"),
        (("--distance", "35"), "unit"),
        (("--altitude-after", "9000m"), "altitude"),
    ],
)
def test_what_cannot_be_is_one_line(airproof: Airproof, car: Car, words: tuple[str, ...], says: str) -> None:
    ended = airproof("prove", "--engine", car.engine, "--before", car.lying, "--after", car.healthy, *words)
    assert ended.status == 2
    assert says in ended.err
    assert ended.err.count("\n") == 1


def test_files_that_are_none(airproof: Airproof, car: Car, tmp_path: Path) -> None:
    broken = tmp_path / "broken.json"
    for text in ("{", "[]", '{"schema": "airproof.verdict/1", "causes": []}', '{"schema": "airproof.plan/1"}'):
        broken.write_text(text, encoding="utf-8")
        words = ("--before", car.lying, "--before", broken, "--after", car.healthy)
        ended = airproof("prove", "--engine", car.engine, *words)
        assert ended.status == 2
        assert str(broken) in ended.err
    alone = airproof("prove", "--engine", car.engine, "--before", broken, "--after", car.healthy)
    assert alone.status == 2
    assert "recording from before" in alone.err
    same = airproof("prove", "--engine", car.engine, "--before", car.lying, "--after", car.lying)
    assert same.status == 2
    assert "same recording" in same.err


def test_units_and_languages_of_files_move_nothing(airproof: Airproof, tmp_path: Path) -> None:
    engine = tmp_path / "turbo.toml"
    engine.write_text(
        '[engine]\ndisplacement_l = 2.0\ncylinders = 4\ninduction = "turbocharged"\n'
        'air_metering = "air-flow sensor"\nrated_boost_kpa = 110\n',
        encoding="utf-8",
    )
    made = {}
    for name, more in (("before", ("--cause", "map-offset=9kPa")), ("after", ())):
        for written in ("plain", "inches-and-pounds", "decimal-commas"):
            made[name, written] = tmp_path / f"{name}-{written}.csv"
            words = ("--engine", engine, "--seed", "3", "--written", written, "--out", made[name, written])
            assert airproof("rehearse", *words, *more).status == 0
    proofs = [
        told(
            airproof(
                "prove", "--engine", engine, "--before", made["before", one], "--after", made["after", other],
                "--step", "replace-map-sensor", "--altitude", "100m", "--json",
            ).out
        )
        for one, other in (("plain", "plain"), ("inches-and-pounds", "decimal-commas"))
    ]  # fmt: skip
    assert [one["judgement"] for one in proofs] == ["proved", "proved"]
    sizes = [one["changes"][0] for one in proofs]
    for side in ("before", "after"):
        values = [one[side]["value"] for one in sizes]
        assert values[0] == pytest.approx(values[1], abs=0.3)


def test_a_job_is_proved_as_its_files_are(airproof: Airproof, car: Car, data: Path) -> None:
    airproof("job", "new", "--engine", car.engine, "--altitude", "350m", "--code", "P0106")
    airproof("job", "add", "1", "--recording", car.lying)
    kept = told(airproof("job", "prove", "1", car.healthy, "--step", "replace-map-sensor", "--json").out)
    files = proved(airproof, car, "--altitude", "350m", "--code", "P0106")
    assert kept["probabilities"] == pytest.approx(files["probabilities"])
    assert kept["judgement"] == files["judgement"]
    shown = airproof("job", "show", "1").out
    assert "after the repair" in shown
    assert "Replace the manifold pressure sensor" in shown
    assert data.exists()


def test_what_is_said_after_does_not_move_the_verdict(airproof: Airproof, car: Car, data: Path) -> None:
    airproof("job", "new", "--engine", car.engine, "--altitude", "350m", "--code", "P0106")
    airproof("job", "add", "1", "--recording", car.lying)
    before = told(airproof("job", "weigh", "1", "--json").out)["causes"]
    airproof("job", "prove", "1", car.healthy, "--step", "replace-map-sensor", "--cleared", "--code", "P0171=pending")
    assert told(airproof("job", "weigh", "1", "--json").out)["causes"] == before
    assert data.exists()


def test_more_days_and_a_return(airproof: Airproof, car: Car, data: Path) -> None:
    airproof("job", "new", "--engine", car.engine, "--altitude", "350m")
    airproof("job", "add", "1", "--recording", car.lying)
    first = told(airproof("job", "prove", "1", car.healthy, "--step", "replace-map-sensor", "--json").out)
    later = told(airproof("job", "prove", "1", "--days", "60", "--json").out)
    back = told(airproof("job", "prove", "1", "--returned", "--json").out)
    chances = [one["holding"]["probability"] for one in (back, first, later)]
    assert chances == sorted(chances)
    assert later["holding"]["held_days"] >= 60.0
    assert data.exists()


def test_a_code_that_came_back_keeps_it_unproved(airproof: Airproof, car: Car) -> None:
    words = ("--altitude", "350m", "--code", "P0106", "--cleared", "--codes-read", "--code-after", "P0106=pending")
    proof = proved(airproof, car, *words)
    assert proof["judgement"] != "proved"
    assert any(one["what"] == "codes" and one["needed"] for one in proof["missing"])


def test_a_closed_job_is_learned_from_and_opened_again(
    airproof: Airproof, car: Car, data: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shop = tmp_path / "shop.json"
    airproof("job", "new", "--engine", car.engine, "--code", "P0106", "--symptom", "hesitation")
    airproof("job", "add", "1", "--recording", car.lying)
    airproof("job", "add", "1", "--step", "look-hoses=no", "--minutes", "5")
    airproof("job", "prove", "1", car.healthy, "--step", "replace-map-sensor", "--minutes", "20", "--money", "60")
    open_ = airproof("job", "learn", "1", "--shop", shop)
    assert open_.status == 2
    assert "is open" in open_.err
    airproof("job", "add", "1", "--closed", "map-offset", "--proved")
    with held(shop), monkeypatch.context() as patch:
        patch.setattr(shop_held, "LONGEST_WAIT_S", 0.0)
        assert "another program" in airproof("job", "learn", "1", "--shop", shop).line
    counted = airproof("job", "learn", "1", "--shop", shop)
    assert counted.status == 0
    assert "is counted" in counted.out
    kept = shop.read_bytes()
    assert "before" in airproof("job", "learn", "1", "--shop", shop).out
    assert shop.read_bytes() == kept
    jobs = list(told(kept.decode())["jobs"].values())
    assert len(jobs) == 1
    assert "replace-map-sensor" in kept.decode()
    again = airproof("job", "reopen", "1", "--why", "the lamp is on again")
    assert again.status == 0
    assert airproof("job", "list", "--open").out.startswith("1 job")
    assert "the lamp is on again" in airproof("job", "show", "1").out
    assert airproof("job", "reopen", "1").status == 2
    airproof("job", "add", "1", "--closed", "map-offset", "--proved")
    assert airproof("job", "list", "--closed").out.startswith("1 job")
    assert data.exists()


def test_a_job_without_one_side_says_which(airproof: Airproof, car: Car, data: Path) -> None:
    airproof("job", "new", "--engine", car.engine)
    assert "before the repair" in airproof("job", "prove", "1", car.healthy, "--step", "replace-map-sensor").err
    airproof("job", "new", "--engine", car.engine)
    airproof("job", "add", "2", "--recording", car.lying)
    ended = airproof("job", "prove", "2")
    assert ended.status == 2
    assert "after the repair" in ended.err
    assert data.exists()


def test_a_measurement_is_taken_back_by_its_id(airproof: Airproof, car: Car, data: Path, tmp_path: Path) -> None:
    airproof("job", "new", "--engine", car.engine)
    file = tmp_path / "readings.toml"
    supply = '[[measured]]\nid = "Monday"\nwhat = "supply"\nvalue = "{} V"\n'
    file.write_text(supply.format("4.2") + '[[measured]]\nwhat = "ground"\nvalue = "0.02 V"\n', encoding="utf-8")
    assert airproof("job", "add", "1", "--reading", file).status == 0
    assert "2 measurements with a meter" in airproof("job", "show", "1").out
    file.write_text(supply.format("5.01"), encoding="utf-8")
    assert airproof("job", "add", "1", "--reading", file).status == 0
    assert "2 measurements with a meter" in airproof("job", "show", "1").out
    assert airproof("job", "weigh", "1", "--json").status == 0  # one session: they do not stand in two
    file.write_text('[[measured]]\nid = "Monday"\nwithdrawn = true\n', encoding="utf-8")
    assert airproof("job", "add", "1", "--reading", file).status == 0
    assert "1 measurement with a meter" in airproof("job", "show", "1").out
    assert data.exists()
