"""`airproof job`, as a user runs it."""

from __future__ import annotations

import io
import json
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from command_line import Airproof, Car

from airproof.cli import job_proving, job_weighing
from airproof.cli.job import app
from airproof.errors import UnusableFile

ENGINE = Path(__file__).resolve().parents[2] / "examples" / "demo-job" / "engine.toml"
COMMANDS = [str(command.name) for command in app.registered_commands]
FACTS = """
[[code]]
id = "P0106"
status = "pending"
order = 1
[[freeze_frame]]
code = "P0106"
engine_speed = "780 1/min"
manifold_pressure = "42 kPa"
[readiness]
codes_read = true
misfire = "complete"
[[look]]
id = "plug-loose"
found = false
[[condition]]
id = "only-when-hot"
[[reading]]
id = "on Monday"
step = "smoke-test-intake"
found = false
[[reading]]
signal = "barometric_pressure"
value = "97.3 kPa"
"""
MEASURED = """
[meter]
accuracy = "0.5 % + 2 digits"
[sensor]
line = "absolute-250-kpa"
[day]
altitude = "350m"
[[measured]]
what = "signal"
value = "2.15 V"
"""


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("AIRPROOF_DATA", str(tmp_path / "jobs"))
    monkeypatch.setenv("AIRPROOF_AUTHOR", "me")
    monkeypatch.delenv("AIRPROOF_STORE", raising=False)


@pytest.fixture
def facts(tmp_path: Path) -> Path:
    (tmp_path / "facts.toml").write_text(FACTS, encoding="utf-8")
    return tmp_path / "facts.toml"


@pytest.fixture
def measured(tmp_path: Path) -> Path:
    (tmp_path / "measured.toml").write_text(MEASURED, encoding="utf-8")
    return tmp_path / "measured.toml"


def shown(airproof: Airproof, job: int = 1) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(airproof("job", "show", job, "--json").out)
    assert found["schema"] == "airproof.job/1"
    return found


def kinds(found: dict[str, Any]) -> list[str]:
    return [fact["kind"] for fact in found["facts"]]


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_with_an_example(airproof: Airproof, name: str) -> None:
    ended = airproof("job", name, "--help")
    assert ended.status == 0
    assert f"airproof job {name} " in ended.out
    assert name == "delete" or "--json" in ended.out


def test_alone_it_shows_what_it_can(airproof: Airproof) -> None:
    ended = airproof("job")
    assert ended.status == 0
    for name in COMMANDS:
        assert f"\n  {name} " in ended.out


def test_other_commands_do_not_load_the_database(car: Car) -> None:
    code = (
        "import sys\nfrom airproof.cli.main import run\n"
        f"try:\n run(['weigh', {str(car.lying)!r}, '--engine', {str(car.engine)!r}, '--json'])\n"
        "except SystemExit: pass\n"
        "heavy = {'sqlalchemy', 'alembic', 'sqlite3'} & set(sys.modules)\nassert not heavy, heavy"
    )
    ended = subprocess.run([sys.executable, "-c", code], capture_output=True, check=False)
    assert ended.returncode == 0, ended.stderr


def test_a_store_of_today_is_opened_without_the_machinery_that_changes_it(airproof: Airproof) -> None:
    airproof("job", "list")
    code = (
        "import sys\nfrom airproof.cli.main import run\ntry:\n run(['job', 'list'])\nexcept SystemExit: pass\n"
        "assert 'alembic' not in sys.modules"
    )
    ended = subprocess.run([sys.executable, "-c", code], capture_output=True, check=False)
    assert ended.returncode == 0, ended.stderr


def test_from_intake_to_the_closed_job(airproof: Airproof, car: Car) -> None:
    opened = airproof(
        "job", "new", "--plate", "AB C 123", "--vin", "1M8GDM9A1KP042788", "--owner", "Meier", "--complaint",
        "lamp on", "--engine", car.engine, "--altitude", "350m", "--code", "P0106",
    )  # fmt: skip
    assert opened.out.startswith("Job 1 is open.\n")
    assert "many other markets have no check" in " ".join(opened.out.split())
    added = airproof("job", "add", 1, "--recording", car.lying, "--symptom", "rough idle", "--code", "P1234")
    assert added.status == 0, added.err
    assert "lying.csv" in added.out
    assert "P1234, stored: kept; it is not weighed here" in added.out
    weighed = airproof("job", "weigh", 1)
    assert "The manifold pressure sensor reads about" in " ".join(weighed.out.split())
    assert "code P1234 is kept" in " ".join(weighed.out.split())
    planned = json.loads(airproof("job", "plan", 1, "--json").out)
    assert planned["schema"] == "airproof.plan/1"
    assert kinds(shown(airproof)).count("verdict") == 1  # today's: it was not weighed again
    airproof("job", "add", 1, "--step", "replace-map-sensor=did-not-help", "--minutes", "20", "--money", "45,5")
    after = json.loads(airproof("job", "plan", 1, "--json").out)
    assert "replace-map-sensor" in after["done"]
    assert kinds(shown(airproof)).count("verdict") == 2  # that it did not help is evidence of what it was not
    airproof("job", "add", 1, "--step", "smoke-test-intake=could-not")
    assert "smoke-test-intake" not in json.dumps(json.loads(airproof("job", "plan", 1, "--json").out)["tree"])
    assert kinds(shown(airproof)).count("verdict") == 3  # its plan goes round what could not be done
    airproof("job", "add", 1, "--step", "look-hoses=yes")
    airproof("job", "plan", 1)
    assert kinds(shown(airproof)).count("verdict") == 4
    closed = airproof("job", "add", 1, "--closed", "vacuum-leak", "--proved", "--note", "the small hose")
    assert "vacuum-leak, proved" in closed.out
    listed = json.loads(
        airproof("job", "list", "meier", "--plate", "c123", "--closed", "--cause", "leak", "--json").out
    )
    assert listed["schema"] == "airproof.jobs/1"
    assert [line["number"] for line in listed["jobs"]] == [1]
    assert "closed: vacuum-leak (proved)" in " ".join(airproof("job", "list").out.split())
    assert airproof("job", "list", "--open").out == "No job.\n"


def test_a_job_is_weighed_as_its_files_are(airproof: Airproof, car: Car, facts: Path, measured: Path) -> None:
    """The verdict of a job and of `airproof weigh` on the same files are the same, to the last digit."""
    files = ("--engine", car.engine, "--altitude", "350m", "--ambient", "18C", "--code", "P0171")
    one_shot = airproof(
        "weigh", car.lying, "--baseline", car.healthy, *files, "--reading", facts, "--reading", measured, "--json"
    )
    airproof("job", "new", *files)
    added = airproof(
        "job", "add", 1, "--recording", car.lying, "--baseline", car.healthy, "--reading", facts, "--reading", measured
    )
    assert added.status == 0, added.err
    of_the_job = airproof("job", "weigh", 1, "--json")
    assert json.loads(of_the_job.out) == json.loads(one_shot.out)
    kept = next(fact for fact in shown(airproof)["facts"] if fact["kind"] == "verdict")
    assert kept["payload"]["verdict"] == json.loads(one_shot.out)
    plan = airproof("job", "plan", 1, "--json")
    file = car.engine.with_name("verdict.json")
    file.write_text(one_shot.out, encoding="utf-8")
    assert json.loads(plan.out) == json.loads(airproof("plan", file, "--json").out)


def test_a_verdict_that_cannot_be_kept_is_told_all_the_same(
    airproof: Airproof, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object, **__: object) -> None:
        raise UnusableFile("there is no room left on the disk", "a store", "Make room.", where="jobs.sqlite")

    airproof("job", "new", "--engine", ENGINE, "--code", "P0106")
    said = [airproof("job", name, 1).out for name in ("weigh", "plan")]
    monkeypatch.setattr(job_weighing, "keep_verdict", full)
    airproof("job", "new", "--engine", ENGINE, "--code", "P0106")
    for name, words in zip(("weigh", "plan"), said, strict=True):
        ended = airproof("job", name, 2)
        assert (ended.status, ended.out) == (0, words)
        assert "the verdict was not kept in job 2: jobs.sqlite: there is no room left on the disk" in ended.line
    assert "verdict" not in kinds(shown(airproof, 2))


def test_a_proof_that_cannot_be_kept_is_told_all_the_same(
    airproof: Airproof, car: Car, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object, **__: object) -> None:
        raise UnusableFile("there is no room left on the disk", "a store", "Make room.", where="jobs.sqlite")

    airproof("job", "new", "--engine", car.engine)
    airproof("job", "add", 1, "--recording", car.lying)
    said = airproof("job", "prove", 1, car.healthy, "--step", "replace-map-sensor")
    assert said.status == 0, said.err
    monkeypatch.setattr(job_proving, "keep_proof", full)
    ended = airproof("job", "prove", 1)
    assert (ended.status, ended.out) == (0, said.out)
    assert "the proof was not kept in job 1: jobs.sqlite: there is no room left on the disk" in ended.line
    assert kinds(shown(airproof)).count("proof") == 1


def test_there_is_no_plan_where_nothing_was_judged(airproof: Airproof, tmp_path: Path) -> None:
    path = tmp_path / "speed.csv"
    path.write_text("\n".join(["Time (s),RPM (1/min)", *(f"{n / 4},{800 + n % 9}" for n in range(400))]))
    airproof("job", "new", "--engine", ENGINE)
    airproof("job", "add", 1, "--recording", path)
    for _ in range(2):  # weighed first, then from the verdict that was kept
        ended = airproof("job", "plan", 1)
        assert (ended.status, ended.out) == (2, "")
        assert "nothing was judged" in ended.line


def test_what_the_shop_has_learned_is_reckoned_with(airproof: Airproof, tmp_path: Path) -> None:
    closed = Path(__file__).resolve().parents[2] / "examples" / "closed-job" / "job.toml"
    shop = tmp_path / "shop.json"
    assert airproof("learn", closed, "--shop", shop).status == 0
    airproof("job", "new", "--engine", closed.parents[1] / "demo-job" / "engine.toml", "--code", "P0171")
    plain = json.loads(airproof("job", "weigh", 1, "--json").out)
    ended = airproof("job", "weigh", 1, "--shop", shop, "--json")
    assert ended.status == 0, ended.err
    own = json.loads(ended.out)
    assert plain["learned"] is None
    assert own["learned"]["jobs"] == 1
    assert own["causes"] != plain["causes"]
    planned = json.loads(airproof("job", "plan", 1, "--json").out)  # the last verdict is not of these numbers
    assert planned["causes"][0]["probability"] == pytest.approx(
        json.loads(airproof("job", "plan", 1, "--json").out)["causes"][0]["probability"]
    )
    assert kinds(shown(airproof)).count("verdict") == 3


def test_a_reading_file_is_parted_into_facts_and_takes_back_by_name(
    airproof: Airproof, facts: Path, measured: Path, tmp_path: Path
) -> None:
    airproof("job", "new", "--code", "P0106")
    ended = airproof("job", "add", 1, "--reading", facts, "--reading", measured)
    assert ended.status == 0, ended.err
    found = shown(airproof)
    assert sorted(kinds(found)) == sorted(
        ["code", "freeze_frame", "readiness", "look", "condition", "step", "reading", "measured"]
    )
    code = next(fact for fact in found["facts"] if fact["kind"] == "code")
    assert (code["number"], code["payload"]["status"]) == (1, "pending")  # the file corrected what was said before
    (tmp_path / "later.toml").write_text(
        '[[code]]\nid = "P0106"\nwithdrawn = true\n[[reading]]\nid = "on Monday"\nwithdrawn = true\n'
        '[[look]]\nid = "plug-loose"\n',
        encoding="utf-8",
    )
    ended = airproof("job", "add", 1, "--reading", tmp_path / "later.toml")
    assert ended.status == 0, ended.err
    found = shown(airproof)
    assert sorted(kinds(found)) == sorted(["freeze_frame", "readiness", "look", "condition", "reading", "measured"])
    look = next(fact for fact in found["facts"] if fact["kind"] == "look")
    assert look["payload"].get("found", True) is True


def test_correcting_and_taking_back(airproof: Airproof) -> None:
    airproof("job", "new", "--code", "P0106", "--code", "P0107", "--plate", "X 1")
    airproof("job", "add", 1, "--correct", 2, "--code", "P0299")
    airproof("job", "add", 1, "--withdraw", 3)
    found = shown(airproof)
    assert [fact["payload"]["id"] for fact in found["facts"] if fact["kind"] == "code"] == ["P0299"]
    assert [event["kind"] for event in found["events"]] == ["car", "code", "code", "code", "withdrawal"]
    history = " ".join(airproof("job", "show", 1, "--history").out.split())
    assert "P0299, stored: " in history
    assert "(corrects 2)" in history
    assert "3 is taken back" in history
    assert airproof("job", "add", 1, "--code", "P0106", "--seen", 4).status == 2
    assert airproof("job", "add", 1, "--code", "P0106", "--seen", 5).status == 0


def test_export_import_delete(airproof: Airproof, car: Car, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    airproof("job", "new", "--plate", "AB C 123", "--engine", car.engine)
    airproof("job", "add", 1, "--recording", car.lying)
    out = tmp_path / "job.zip"
    assert json.loads(airproof("job", "export", 1, "--out", out, "--json").out)["last_event"] == 3
    assert airproof("job", "export", 1, "--out", tmp_path / "open.zip", "--without-private").status == 0
    assert "holds all of it already" in " ".join(airproof("job", "import", out).out.split())
    for answers in ("", "1\n", "2\n1\n", "1\nno\n"):
        monkeypatch.setattr(sys, "stdin", io.StringIO(answers))
        ended = airproof("job", "delete", 1, "--export", tmp_path / f"{len(answers)}.zip")
        assert ended.status == 2
        assert "Nothing was deleted" in ended.err
    monkeypatch.setattr(sys, "stdin", io.StringIO("1\n1\n"))
    assert "Job 1 is deleted." in airproof("job", "delete", 1, "--export", tmp_path / "last.zip").out
    assert airproof("job", "show", 1).status == 2
    assert "It is job 2 here." in airproof("job", "import", tmp_path / "last.zip").out
    assert json.loads(airproof("job", "import", tmp_path / "open.zip", "--json").out)["job"] == 3
    one, other = (json.loads(airproof("job", "weigh", n, "--json").out)["causes"] for n in (2, 3))
    assert one == other  # from the signals alone as from the original


def test_a_damaged_job_is_shown_exported_and_deleted_in_words(
    airproof: Airproof, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    airproof("job", "new", "--plate", "AB C 123", "--code", "P0106", "--note", "worth keeping")
    with closing(sqlite3.connect(tmp_path / "jobs" / "jobs.sqlite")) as connection, connection:
        connection.execute("update events set payload='{' where number=2")
    shown = airproof("job", "show", 1, "--history")
    assert "[2] cannot be read: code: it holds '{'" in shown.out
    assert "worth keeping" in shown.out
    assert airproof("job", "add", 1, "--note", "more").status == 0
    exported = " ".join(airproof("job", "export", 1, "--out", tmp_path / "one.zip").out.split())
    assert "Cannot be read, its row goes along as it stands: event 2: code: it holds '{'." in exported
    monkeypatch.setattr(sys, "stdin", io.StringIO("1\n1\n"))
    deleted = " ".join(airproof("job", "delete", 1, "--export", tmp_path / "two.zip").out.split())
    assert "Cannot be read" in deleted
    assert "Job 1 is deleted." in deleted


def test_nothing_typed_steers_the_console(airproof: Airproof) -> None:
    airproof("job", "new", "--note", "a\x1b[31mred\nline", "--owner", "\x1b]0;x\x07", "--by", "\x1b[2J")
    out = airproof("job", "show", 1, "--history").out + airproof("job", "list").out
    assert "\x1b" not in out
    assert "\x07" not in out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("show", "x"), "a whole number"),
        (("show", "7"), "there is no job 7"),
        (("add", "1"), "nothing was said"),
        (("add", "1", "--code", "X1"), "is not a code"),
        (("add", "1", "--code", "P0106=perhaps"), "pending"),
        (("add", "1", "--symptom", "grumpy"), "is not a symptom"),
        (("add", "1", "--look", "plug-loose=perhaps"), "=yes or =no"),
        (("add", "1", "--step", "look-hoses"), "does not say what came of it"),
        (("add", "1", "--step", "replace-map-sensor=yes"), "does not say what came of it"),
        (("add", "1", "--step", "dance=yes"), "is not a step"),
        (("add", "1", "--closed", "map-ofset"), "Near: map-offset"),
        (("prove", "1", "--cleared", "--not-cleared"), "one of them"),
        (("prove", "1", "--code-after", "P171"), "Near: P0171"),
        (("add", "1", "--minutes", "5"), "the step that took them"),
        (("add", "1", "--proved"), "the cause that was found"),
        (("add", "1", "--step", "look-hoses=no", "--minutes", "many"), "a plain number"),
        (("add", "1", "--step", "look-hoses=no", "--minutes", "nan"), "minutes"),
        (("add", "1", "--altitude", "12000m"), "an altitude"),
        (("add", "1", "--altitude", "350m", "--barometer", "80kPa"), "350 m"),
        (("add", "1", "--ambient", "200C"), "-60 to 60"),
        (("add", "1", "--year", "12"), "year"),
        (("add", "1", "--engine", "missing.toml"), "cannot be read"),
        (("add", "1", "--reading", "missing.toml"), "cannot be read"),
        (("add", "1", "--recording", "missing.csv"), "no such file"),
        (("add", "1", "--withdraw", "9"), "there is no event 9"),
        (("add", "1", "--correct", "1", "--code", "P0107", "--code", "P0108"), "one after the other"),
        (("add", "1", "--correct", "1", "--code", "P0107"), "the same kind"),
        (("weigh", "1"), "what engine it is"),
        (("export", "1"), "--out is missing"),
        (("delete", "1"), "--export is missing"),
        (("list", "--open", "--closed"), "one of them"),
        (("import", "missing.zip"), "cannot be read"),
        (("paint", "1"), "there is no command"),
    ],
)
def test_what_cannot_be_done_is_refused_in_one_line(
    airproof: Airproof, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], says: str
) -> None:
    monkeypatch.chdir(tmp_path)
    airproof("job", "new", "--note", "x")
    ended = airproof("job", *words)
    assert (ended.status, ended.out) == (2, "")
    assert says in ended.line
    assert len(shown(airproof)["events"]) == 1
