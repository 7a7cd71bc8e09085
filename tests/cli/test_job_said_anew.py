"""`airproof job`: what is said twice, put right, or not said at all, and what is left to do after a repair."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from command_line import Airproof, Car
from jsonschema import Draft202012Validator

from airproof.jobs.learning import closed_job_of
from airproof.jobs.opening import open_store
from airproof.knowledge.load import knowledge

SCHEMAS = Path(__file__).resolve().parents[2] / "docs" / "schemas"
SENSOR = "replace-map-sensor"


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("AIRPROOF_DATA", str(tmp_path / "jobs"))
    monkeypatch.delenv("AIRPROOF_STORE", raising=False)
    monkeypatch.setenv("COLUMNS", "300")


@pytest.fixture
def job(airproof: Airproof, car: Car) -> Car:
    airproof("job", "new", "--engine", car.engine, "--altitude", "350m", "--code", "P0106")
    assert airproof("job", "add", 1, "--recording", car.lying).status == 0
    return car


def flat(text: str) -> str:
    return " ".join(text.split())


def test_the_later_outcome_of_a_step_stands_and_it_is_said(airproof: Airproof, job: Car) -> None:
    airproof("job", "add", 1, "--step", "look-hoses=no")
    again = flat(airproof("job", "add", 1, "--step", "look-hoses=yes").out)
    assert "it was said before (5): Look and listen along hoses and pipes [look-hoses]: not found" in again
    shown = airproof("job", "show", 1).out
    assert "[look-hoses]: found" in shown
    assert "[look-hoses]: not found" not in shown
    assert "[look-hoses]: not found" in airproof("job", "show", 1, "--history").out
    assert job.engine.exists()


def test_the_place_stands_once(airproof: Airproof, job: Car) -> None:
    airproof("job", "add", 1, "--altitude", "900m")
    shown = airproof("job", "show", 1).out
    assert "altitude 900m" in shown
    assert "350m" not in shown
    assert job.engine.exists()


def test_a_recording_given_twice_is_there_already(airproof: Airproof, job: Car) -> None:
    again = airproof("job", "add", 1, "--recording", job.lying)
    assert again.status == 0
    assert "Nothing was added to job 1." in again.out
    assert "is in the job already" in flat(again.out)
    assert airproof("job", "weigh", 1).status == 0


def test_a_repair_that_is_done_did_not_fail(airproof: Airproof, job: Car) -> None:
    verdict = json.loads(airproof("job", "weigh", 1, "--json").out)
    said = flat(airproof("job", "add", 1, "--step", f"{SENSOR}=done", "--minutes", 25).out)
    assert "it is not said whether replace-map-sensor helped" in said
    assert json.loads(airproof("job", "weigh", 1, "--json").out) == verdict
    assert "done, and the trouble is gone (minutes 25)" in flat(
        airproof("job", "add", 1, "--step", f"{SENSOR}=helped").out
    )
    in_vain = flat(airproof("job", "add", 1, "--step", f"{SENSOR}=did-not-help").out)
    assert "done, and the trouble is still there (minutes 25)" in in_vain
    assert json.loads(airproof("job", "weigh", 1, "--json").out)["causes"] != verdict["causes"]
    assert job.engine.exists()


def test_what_is_left_to_do_follows_the_repair(airproof: Airproof, job: Car) -> None:
    assert "left" not in json.loads(airproof("job", "plan", 1, "--json").out)
    airproof("job", "add", 1, "--step", f"{SENSOR}=helped")
    for command in ("plan", "weigh"):
        said = flat(airproof("job", command, 1).out)
        assert "Record again as before, in the same regimes, and prove the repair" in said
        assert "airproof job prove 1 AGAIN.csv" in said
        assert f"[{SENSOR}]" not in said
    told = json.loads(airproof("job", "plan", 1, "--json").out)
    assert told["left"]["to_do"] == "prove"
    schema = json.loads((SCHEMAS / "plan-1.json").read_text(encoding="utf-8"))
    Draft202012Validator({**schema["properties"]["left"], "additionalProperties": False}).validate(told["left"])
    airproof("job", "add", 1, "--closed", "map-offset")
    assert "The job is closed: nothing is left to do." in airproof("job", "plan", 1).out
    assert job.engine.exists()


def test_a_repair_told_again_with_its_proof_is_one_and_helped(airproof: Airproof, job: Car, tmp_path: Path) -> None:
    airproof("job", "add", 1, "--step", f"{SENSOR}=done", "--minutes", 25)
    airproof("job", "prove", 1, job.healthy, "--step", SENSOR)
    airproof("job", "prove", 1, "--step", SENSOR, "--days", 3)
    assert airproof("job", "show", 1).out.count(f"[{SENSOR}]") == 1
    airproof("job", "add", 1, "--closed", "map-offset", "--proved")
    with open_store(tmp_path / "jobs") as store:
        learned = closed_job_of(store.state(1), 1, "any", knowledge())
    assert [(step.id, step.outcome, step.minutes) for step in learned.step] == [(SENSOR, "helped", 25.0)]


def test_words_that_are_no_cause_are_kept_and_it_is_said_what_becomes_of_them(
    airproof: Airproof, job: Car, tmp_path: Path
) -> None:
    said = flat(airproof("job", "add", 1, "--closed", "map ofset, I think").out)
    assert "is none of the causes known here: a shop counts the job as handed over" in said
    assert "neither cause nor cure" in said
    assert "handed over" in airproof("job", "learn", 1, "--shop", tmp_path / "shop.json").out
    assert airproof("job", "add", 1, "--closed", "MAP offset").out.rstrip().endswith("map-offset, believed")
    assert job.engine.exists()


def test_codes_of_which_nobody_knows_whether_they_were_cleared(airproof: Airproof, job: Car) -> None:
    """As `airproof prove` says it of the same facts: the car has not had its look as long as nobody knows."""
    first = flat(airproof("job", "prove", 1, job.healthy, "--step", SENSOR, "--codes-read").out)
    assert "the car has not yet looked" in first
    files = (
        "--engine",
        job.engine,
        "--before",
        job.lying,
        "--after",
        job.healthy,
        "--step",
        SENSOR,
        "--altitude",
        "350m",
    )
    alone = flat(airproof("prove", *files, "--code", "P0106", "--codes-read").out)
    assert "the car has not yet looked" in alone
    assert "and the car has had its look" in flat(airproof("job", "prove", 1, "--not-cleared").out)
    assert "the car has not yet looked" in flat(airproof("job", "prove", 1, "--cleared").out)
    assert "and the car has had its look" in flat(airproof("job", "prove", 1, "--not-cleared").out)
    assert "codes not cleared" in airproof("job", "show", 1).out


def test_a_code_after_is_called_alike_in_both(airproof: Airproof, job: Car) -> None:
    for option in ("--code-after", "--code"):
        assert "P0171" in airproof("job", "prove", 1, job.healthy, "--step", SENSOR, option, "P0171=pending").out


def test_all_codes_read_anew_take_the_place_of_those_of_before(airproof: Airproof, job: Car) -> None:
    airproof("job", "prove", 1, job.healthy, "--step", SENSOR, "--code-after", "P0106=stored", "--not-cleared")
    told = json.loads(airproof("job", "prove", 1, "--days", 2, "--json").out)
    assert [code["after"] for code in told["codes"]["codes"]] == ["stored"]  # nobody read them anew
    told = json.loads(airproof("job", "prove", 1, "--cleared", "--codes-read", "--json").out)
    assert [code["after"] for code in told["codes"]["codes"]] == [None]


def test_done_said_anew_takes_back_that_it_helped(airproof: Airproof, job: Car) -> None:
    airproof("job", "add", 1, "--step", f"{SENSOR}=helped", "--minutes", 25)
    assert "the trouble is gone" in flat(airproof("job", "add", 1, "--step", SENSOR, "--minutes", 30).out)
    said = flat(airproof("job", "add", 1, "--step", f"{SENSOR}=done").out)
    assert "the trouble is gone" not in said.partition("it was said before")[0]
    shown = flat(airproof("job", "show", 1).out)
    assert "the trouble is gone" not in shown
    assert "minutes 30" in shown
    assert job.engine.exists()


def test_a_cause_in_own_words_teaches_minutes_and_prices_alone(airproof: Airproof, job: Car, tmp_path: Path) -> None:
    airproof("job", "weigh", 1)
    airproof("job", "add", 1, "--step", f"{SENSOR}=done", "--minutes", 25, "--money", 99)
    airproof("job", "add", 1, "--closed", "der Schlauch war lose", "--proved")
    learned = json.loads(airproof("job", "learn", 1, "--shop", tmp_path / "shop.json", "--json").out)
    assert {one["about"] for one in learned["numbers"]} == {"minutes", "price"}
    assert job.engine.exists()


def test_what_was_learned_from_a_job_can_be_taken_back_as_it_says(airproof: Airproof, job: Car, tmp_path: Path) -> None:
    shop = tmp_path / "shop.json"
    airproof("job", "add", 1, "--closed", "map-offset", "--proved")
    for _ in range(2):  # also where it was counted before
        said = flat(airproof("job", "learn", 1, "--shop", shop).out)
        told = re.search(rf"airproof (learn --shop {re.escape(str(shop))} --undo ([0-9a-f]+)) takes it back", said)
        assert told is not None
    refused = airproof("learn", "--shop", shop, "--undo", 1)
    (mark,) = re.findall(r"as well: ([0-9a-f]{12}) \(\d{4}-\d\d\)\.", flat(refused.err))
    assert "airproof job learn" in flat(refused.err)
    before = shop.read_bytes()
    for word in (told[2], mark):
        assert airproof("learn", "--shop", shop, "--undo", word).status == 0
        assert json.loads(shop.read_text(encoding="utf-8"))["jobs"] == {}
        shop.write_bytes(before)
    assert airproof("learn", "--shop", shop, "--undo", mark[:4]).status == 2
    assert job.engine.exists()


def test_a_repair_of_which_nobody_knows_whether_it_helped_is_no_failure(
    airproof: Airproof, job: Car, tmp_path: Path
) -> None:
    airproof("job", "weigh", 1)
    airproof("job", "add", 1, "--step", f"{SENSOR}=done", "--minutes", 25)
    airproof("job", "add", 1, "--closed", "throttle-deposits")
    learned = json.loads(airproof("job", "learn", 1, "--shop", tmp_path / "shop.json", "--json").out)
    assert "cures" not in {one["about"] for one in learned["numbers"]}
    assert "minutes" in {one["about"] for one in learned["numbers"]}
    assert job.engine.exists()


def test_a_probability_is_never_a_hundred(airproof: Airproof, job: Car) -> None:
    airproof("job", "weigh", 1)
    assert ", 100 in 100" not in airproof("job", "show", 1).out
    assert job.engine.exists()


def test_without_recordings_what_came_of_a_repair_is_said_of_it(airproof: Airproof, car: Car) -> None:
    airproof("job", "new", "--engine", car.engine, "--code", "P0106")
    ended = airproof("job", "prove", 1, "--step", SENSOR, "--returned")
    assert ended.status == 2
    assert "say of the repair that it helped or did not help" in flat(ended.err)


def test_a_job_closed_as_proved_against_its_proof_is_told_so(airproof: Airproof, job: Car) -> None:
    proved = airproof("job", "prove", 1, car_again(job), "--step", SENSOR, "--json")
    assert json.loads(proved.out)["judgement"] != "proved"
    said = flat(airproof("job", "add", 1, "--closed", "map-offset", "--proved").out)
    assert "it is closed as proved, and the proof that it holds says 'not fixed'" in said


def car_again(job: Car) -> Path:
    """The same fault recorded once more, as another file."""
    again = job.lying.with_name("again.csv")
    text = job.lying.read_text(encoding="utf-8").splitlines()
    again.write_text("\n".join([*text[:-1], ""]), encoding="utf-8")
    return again
