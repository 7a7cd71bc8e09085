"""`airproof meter`: worksheets, verdicts on readings, lists, learning, asking, and bad input in one line."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest
from command_line import Airproof, Car, Ended

from airproof.cli import meter_request
from airproof.cli.meter_asked import QUESTIONS, ask_for_readings
from airproof.diagnosis.meter.measured_file import load_measurements
from airproof.errors import UnusableFile
from airproof.knowledge.load import knowledge

PROJECT = Path(__file__).resolve().parents[2]
EXAMPLES = PROJECT / "examples" / "meter"
KNOWN = knowledge()


def refused(ended: Ended) -> str:
    assert ended.status == 2, ended
    assert ended.out == ""
    assert ended.line.startswith("airproof: ")
    assert "; wanted: " in ended.line
    return ended.line


@pytest.mark.parametrize("sensor", [*KNOWN.sensor_kinds, *KNOWN.sensors])
def test_a_worksheet_for_every_sensor(airproof: Airproof, sensor: str) -> None:
    ended = airproof("meter", "worksheet", "--sensor", sensor, "--altitude", "350m")
    assert ended.status == 0, ended
    assert ended.out.startswith("Worksheet: ")
    assert "Take care" in ended.out
    asked = json.loads(airproof("meter", "worksheet", "--sensor", sensor, "--barometer", "98.2kPa", "--json").out)
    assert asked["schema"] == "airproof.meter/1"
    assert asked["day"]["kpa"] == pytest.approx(98.2)
    assert all(task["probes"] and task["outcomes"]["right"] for task in asked["tasks"])


def test_the_worksheets_numbers(airproof: Airproof) -> None:
    words = (
        "--sensor",
        "absolute-250-kpa",
        "--barometer",
        "98.2kPa",
        "--supply",
        "5.02V",
        "--accuracy",
        "0.5 % + 2 digits",
    )
    asked = json.loads(airproof("meter", "worksheet", *words, "--json").out)
    signal = next(task for task in asked["tasks"] if task["id"] == "signal")["expect"][0]
    # V = Vs (0.004 P - 0.04), by hand
    assert signal["value"] == pytest.approx(5.02 * (0.004 * 98.2 - 0.04), abs=1e-5)
    said = airproof("meter", "worksheet", *words).out
    assert "1.77 V" in " ".join(said.split())


def test_the_examples(airproof: Airproof) -> None:
    gain = json.loads(airproof("meter", EXAMPLES / "readings.toml", "--json").out)
    found = gain["at_plug"]["gain"]
    assert found["low"] <= 5.0 <= found["high"]
    assert {item["outcome"] for item in gain["items"]} == {"right", "high", "gain"}
    wrong = json.loads(airproof("meter", EXAMPLES / "wrong_part.toml", "--altitude", "350m", "--json").out)
    assert wrong["recognised"]["wrong_part"]["id"] == "absolute-300-kpa"
    said = airproof("meter", EXAMPLES / "wrong_part.toml", "--altitude", "350m").out
    assert said.startswith("It fits the line of another sensor instead")
    for name in ("readings.toml", "wrong_part.toml"):
        assert "nvented" in (EXAMPLES / name).read_text(encoding="utf-8").splitlines()[0]


def test_the_lines_are_listed_with_their_standing(airproof: Airproof) -> None:
    said = airproof("meter", "lines").out
    for name in (*KNOWN.sensors, *KNOWN.thermistors, *KNOWN.sensor_kinds):
        assert f"{name}:" in said
    assert "from memory" in said
    listed = json.loads(airproof("meter", "lines", "--json").out)
    assert {one["id"] for one in listed["sensors"]} == set(KNOWN.sensors)
    assert all(one["source"] for one in listed["sensors"])


def test_learning_from_a_recording(airproof: Airproof, car: Car, tmp_path: Path) -> None:
    ended = airproof("meter", "learn", car.healthy, "--altitude", "100m")
    assert ended.status == 0, ended
    rows = ["Time (s),Engine speed (1/min),Manifold pressure (kPa),MAP signal"]
    levels = [(0, 98), (800, 34), (2000, 52), (2300, 71), (2600, 120), (2800, 160), (0, 98)]
    at = 0.0
    for speed, kpa in levels:
        for _ in range(60):
            at += 0.1
            rows.append(f"{at:.1f},{speed},{kpa},{5.0 * (0.004 * kpa - 0.04):.3f}")
    path = tmp_path / "volts.csv"
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    learned = json.loads(airproof("meter", "learn", path, "--volts", "MAP signal", "--json").out)
    assert learned["fitted"]["line"]["slope_per_kpa"] == pytest.approx(0.004, rel=5e-3)
    assert learned["fitted"]["line"]["offset"] == pytest.approx(-0.04, abs=2e-3)
    assert "To keep it: [sensor] points" in " ".join(
        airproof("meter", "learn", path, "--volts", "MAP signal").out.split()
    )
    assert "MAP signal" in refused(airproof("meter", "learn", path, "--volts", "MAP signals"))


BAD = {
    "nothing": ((), "nothing was asked"),
    "no sensor": (("worksheet",), "--sensor"),
    "no such sensor": (("worksheet", "--sensor", "absolute-251-kpa"), "absolute-250-kpa"),
    "a place that is none": (("worksheet", "--sensor", "sent", "--altitude", "350 furlongs"), "furlongs"),
    "a supply that is none": (("worksheet", "--sensor", "sent", "--supply", "12V"), "12 V"),
    "an accuracy that is none": (("worksheet", "--sensor", "sent", "--accuracy", "good"), "good"),
    "a pump that is none": (("worksheet", "--sensor", "sent", "--pump", "bicycle"), "bicycle"),
    "a gauge that is none": (("worksheet", "--sensor", "sent", "--gauge", "quite good"), "quite good"),
    "no such thermistor": (("worksheet", "--sensor", "sent", "--thermistor", "ntc-1"), "ntc-1"),
    "an option of another task": (("lines", "--altitude", "350m"), "--altitude"),
    "volts for a file": (("readings.toml", "--volts", "MAP"), "--volts"),
    "two words": (("worksheet", "twice", "--sensor", "sent"), "twice"),
    "no recording": (("learn",), "no recording"),
    "two recordings": (("learn", "a.csv", "b.csv"), "2 recordings"),
    "a file that is none": (("absent.toml",), "absent.toml"),
    "an address": (("https://a.b/c.toml",), "https://a.b"),
    "twice another": (("lines", "--sensor", "sent", "--sensor", "four-wire"), "--sensor"),
    "no such option": (("lines", "--colour"), "--colour"),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_input_is_one_line(airproof: Airproof, name: str) -> None:
    words, says = BAD[name]
    assert says in refused(airproof("meter", *words))


def test_a_file_without_measurements(airproof: Airproof, tmp_path: Path) -> None:
    path = tmp_path / "readings.toml"
    path.write_text('[[reading]]\nstep = "look-hoses"\nfound = false\n', encoding="utf-8")
    assert "measured" in refused(airproof("meter", path))


def test_two_days_contradict_each_other(airproof: Airproof) -> None:
    assert "one day" in refused(airproof("meter", EXAMPLES / "readings.toml", "--barometer", "90kPa"))


def test_the_verdict_takes_the_readings(airproof: Airproof, car: Car, tmp_path: Path) -> None:
    asked = ("--engine", car.engine, "--altitude", "100m", "--json")
    plain = json.loads(airproof("weigh", car.lying, *asked).out)
    path = tmp_path / "sound.toml"
    path.write_text(
        '[sensor]\nline = "absolute-250-kpa"\n[[measured]]\nwhat = "supply"\nvalue = "5.01 V"\n'
        '[[measured]]\nwhat = "wiggle"\nfound = true\n',
        encoding="utf-8",
    )
    told = json.loads(airproof("weigh", car.lying, *asked, "--reading", path).out)

    def probability(verdict: dict[str, list[dict[str, object]]], cause: str) -> float:
        return next(float(str(c["probability"])) for c in verdict["causes"] if c["id"] == cause)

    assert probability(told, "map-intermittent") > probability(plain, "map-intermittent")
    done = {step["id"] for step in told["next_steps"]}
    assert not done & {"wiggle-and-watch", "measure-supply-5v"}
    assert told["inputs"]["steps_done"] == {"measure-supply-5v": False, "wiggle-and-watch": True}
    findings = {e["finding"] for c in told["causes"] for e in c["evidence"]}
    assert {"meter wiggle", "meter supply"} <= findings


# Asking


def asked(path: Path, *answers: str) -> list[str]:
    """What was said while these answers were typed; the end of the list is the end of the input."""
    said: list[str] = []
    typed: Iterator[str] = iter(answers)

    def read(question: str) -> str:
        said.append(question)
        try:
            return next(typed)
        except StopIteration:
            raise EOFError from None

    ask_for_readings(path, KNOWN, read, said.append)
    return said


ANSWERS = (
    "0.5 % + 2 digits", "?", "absolute-251-kpa", "absolute-250-kpa", "98.2 kPa", "5.02", "5.02 V", "0.02 V", "1.95 V",
    "107 kPa", "vac", "good", "2 % of 30 inHg", "0 inHg, 1.95 V", "5 inHg; 1,60 V", "nonsense", "10 inHg, 1.25 V", "",
    "n", "perhaps", "n", "y",
)  # fmt: skip


def test_asking_writes_what_was_answered(tmp_path: Path) -> None:
    path = tmp_path / "readings.toml"
    said = " ".join(asked(path, *ANSWERS))
    assert "absolute-115-kpa" in said  # the list
    assert "Near: absolute-250-kpa" in said  # the misspelt one
    read = load_measurements(path, KNOWN)
    assert [item.what for item in read.items] == ["supply", "ground", "signal", "sweep", "wiggle"]
    sweep = read.first("sweep")
    assert sweep is not None
    assert len(sweep.points) == 3
    assert (sweep.creeps, sweep.jumps) == (False, False)
    assert not path.with_name("readings.toml.part").exists()


@pytest.mark.parametrize("after", range(1, len(ANSWERS)))
def test_one_can_stop_anywhere_and_go_on(tmp_path: Path, after: int) -> None:
    path = tmp_path / "readings.toml"
    asked(path, *ANSWERS[:after])
    begun = path.read_text(encoding="utf-8")
    load_measurements(path, KNOWN)
    again = asked(path)
    assert path.read_text(encoding="utf-8") == begun
    assert any("Going on" in line for line in again)
    # What was answered is not asked again.
    assert 'Accuracy of the meter on direct voltage, as "0.5 % + 2 digits": ' not in again


def test_stopping_before_anything_leaves_no_file(tmp_path: Path) -> None:
    path = tmp_path / "readings.toml"
    with pytest.raises(UnusableFile, match="nothing was answered"):
        asked(path, "stop")
    assert not path.exists()


def test_a_file_of_something_else_is_not_written_over(tmp_path: Path) -> None:
    path = tmp_path / "readings.toml"
    path.write_text("colour = 1\n", encoding="utf-8")
    with pytest.raises(UnusableFile):
        asked(path, *ANSWERS)
    assert path.read_text(encoding="utf-8") == "colour = 1\n"


def test_at_a_terminal_it_asks_and_judges(airproof: Airproof, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    typed = iter(ANSWERS)
    monkeypatch.setattr(meter_request.sys.stdin, "isatty", lambda: True, raising=False)
    monkeypatch.setattr("builtins.input", lambda _text: next(typed))
    ended = airproof("meter", "--out", tmp_path / "mine.toml")
    assert ended.status == 0, ended
    assert "The line through the readings at the plug" in ended.out


def test_other_facts_in_the_file_are_kept(tmp_path: Path) -> None:
    path = tmp_path / "readings.toml"
    path.write_text(
        '[[code]]\nid = "P0106"\nstatus = "stored"\n[[look]]\nid = "plug-loose"\nfound = false\n'
        '[[reading]]\nstep = "look-hoses"\nfound = false\n[[measured]]\nwhat = "ground"\nvalue = "5 mV"\n'
        "note = 'a \"new\" wire'\n",
        encoding="utf-8",
    )
    before = tomllib.loads(path.read_text(encoding="utf-8"))
    asked(path, "", "", "98 kPa", "5.02 V")
    after = tomllib.loads(path.read_text(encoding="utf-8"))
    for table in ("code", "look", "reading"):
        assert after[table] == before[table]
    assert [one["what"] for one in after["measured"]] == ["ground", "supply"]
    assert after["measured"][0] == before["measured"][0]
    assert {q.what for q in QUESTIONS if q.what} == {"supply", "ground", "signal", "sweep", "wiggle"}
