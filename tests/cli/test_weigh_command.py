"""`airproof weigh`, as a user runs it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from command_line import Airproof, Car

import airproof.cli.weighing_request as module
from airproof.quantities.units import parse_quantity

WEIGHED = ("--altitude", "350m", "--ambient", "18C")


def test_a_lying_sensor_in_words(airproof: Airproof, car: Car) -> None:
    ended = airproof("weigh", car.lying, "--engine", car.engine, *WEIGHED, "--code", "P0106")
    assert ended.status == 0, ended.err
    assert ended.err == ""
    first = ended.out.splitlines()[0]
    assert "manifold pressure sensor reads about" in first
    assert "high" in first
    for heading in ("Why", "Next step", "Take care", "What was read"):
        assert f"\n{heading}\n" in ended.out
    assert "\x1b" not in ended.out


def test_json_and_nothing_else(airproof: Airproof, car: Car) -> None:
    ended = airproof("weigh", car.lying, "--engine", car.engine, *WEIGHED, "--json")
    assert ended.status == 0, ended.err
    found = json.loads(ended.out)
    assert found["schema"] == "airproof.verdict/1"
    assert found["causes"][0]["id"] == "map-offset"
    assert found["causes"][0]["size"]["low"] < 9.0 < found["causes"][0]["size"]["high"]
    assert sum(c["probability"] for c in found["causes"]) == pytest.approx(1.0, abs=1e-6)
    assert found["inputs"]["recordings"] == ["lying.csv"]
    assert found["next_steps"]
    assert found["habit"]["replace_now_expected_money"] > 0.0


def test_a_healthy_car_with_its_baseline(airproof: Airproof, car: Car, tmp_path: Path) -> None:
    import invented_files

    good = invented_files.recording(tmp_path / "good.csv", phase=2.0)
    ended = airproof("weigh", car.healthy, "--engine", car.engine, "--baseline", good, *WEIGHED)
    assert ended.status == 0, ended.err
    assert ended.out.startswith("Nothing wrong that this recording can show.")


def test_several_recordings_are_named(airproof: Airproof, car: Car, tmp_path: Path) -> None:
    import invented_files

    other = invented_files.recording(tmp_path / "other.csv", offset_kpa=9.0, phase=0.4, seconds=60)
    ended = airproof("weigh", car.lying, other, "--engine", car.engine, "--json")
    assert json.loads(ended.out)["inputs"]["recordings"] == ["lying.csv", "other.csv"]


def test_exhibits_are_drawn_and_listed(airproof: Airproof, car: Car, tmp_path: Path) -> None:
    folder = tmp_path / "pictures"
    ended = airproof("weigh", car.lying, "--engine", car.engine, *WEIGHED, "--exhibits", folder)
    assert ended.status == 0, ended.err
    assert (folder / "exhibit-1-engine-off.svg").exists()
    assert (folder / "exhibits.html").exists()
    assert "Engine off, the manifold pressure sensor reads 9" in " ".join(ended.out.split())
    assert "5. Boost, target and actual: not drawn, because" in " ".join(ended.out.split())


def test_what_was_measured_and_priced_counts(airproof: Airproof, car: Car, tmp_path: Path) -> None:
    reading = tmp_path / "reading.toml"
    reading.write_text('[[reading]]\nstep = "look-hoses"\nfound = false\n', encoding="utf-8")
    prices = tmp_path / "prices.toml"
    prices.write_text("labour_per_hour = 40\n[parts]\nmap-sensor = 19.5\n", encoding="utf-8")
    ended = airproof(
        "weigh", car.lying, "--engine", car.engine, *WEIGHED, "--json", "--reading", reading, "--prices", prices
    )
    assert ended.status == 0, ended.err
    found = json.loads(ended.out)
    told = {e["finding"] for c in found["causes"] for e in c["evidence"]}
    assert "step look-hoses" in told
    assert "look-hoses" not in {s["id"] for s in found["next_steps"]}
    fit = next((s for s in found["next_steps"] if s["id"] == "replace-map-sensor"), None)
    assert fit is None or fit["money"] == 19.5


@pytest.mark.parametrize("word", ["rough-idle", "rough idle", "ROUGH_IDLE", "hunting"])
def test_a_symptom_by_any_of_its_names(airproof: Airproof, car: Car, word: str) -> None:
    ended = airproof("weigh", car.lying, "--engine", car.engine, "--json", "--symptom", word, "--code", " p0106")
    told = {e["finding"] for e in json.loads(ended.out)["causes"][0]["evidence"]}
    assert {"symptom rough-idle", "code P0106"} <= told


@pytest.mark.parametrize(
    ("words", "kpa"),
    [(("--barometer", "97,2kPa"), 97.2), (("--barometer", "28.7 inHg"), 97.19), (("--altitude", "1150ft"), 97.2)],
)
def test_values_take_their_unit_along(
    airproof: Airproof, car: Car, words: tuple[str, ...], kpa: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen = []
    true = module.weigh

    def watched(*arguments: object, **options: object) -> object:
        seen.append(options)
        return true(*arguments, **options)  # type: ignore[arg-type]

    monkeypatch.setattr(module, "weigh", watched)
    assert airproof("weigh", car.healthy, "--engine", car.engine, *words, "--ambient", "64,4F").status == 0
    assert seen[0]["barometer"].kpa == pytest.approx(kpa, abs=0.06)
    assert seen[0]["ambient_c"] == pytest.approx(parse_quantity("64.4F", "temperature") - 273.15)


def test_a_petrol_car_said_to_be_a_diesel_is_read_and_not_judged(airproof: Airproof, car: Car, tmp_path: Path) -> None:
    import invented_files

    text = invented_files.ENGINE + 'fuel = "diesel"\n'
    ended = airproof("weigh", car.healthy, "--engine", invented_files.engine(tmp_path / "d.toml", text))
    assert ended.status == 0
    assert ended.out.startswith("This is not judged.\n")
    assert "\nNext step\n" not in ended.out
    assert "\nWhat was read\n" in ended.out


@pytest.mark.realdata
def test_a_real_recording_in_json(airproof: Airproof, realdata: Path, tmp_path: Path) -> None:
    import invented_files

    text = invented_files.ENGINE.replace("2.0", "1.5").replace('"air-flow sensor"', '"speed-density"')
    profile = invented_files.engine(tmp_path / "engine.toml", text)
    file = sorted((realdata / "road_na_petrol").glob("drive1*"))[0]
    ended = airproof("weigh", file, "--engine", profile, "--json")
    assert ended.status == 0, ended.err
    found = json.loads(ended.out)
    assert found["inputs"]["regimes_s"]["idle"] > 0.0
    assert found["inputs"]["left_out"]


FACTS = """
[[code]]
id = "P0107"
status = "present"
[[look]]
id = "plug-loose"
[[reading]]
step = "measure-key-on-signal"
found = false
"""


def test_without_a_recording_what_was_told_is_weighed(airproof: Airproof, car: Car, tmp_path: Path) -> None:
    facts = tmp_path / "facts.toml"
    facts.write_text(FACTS, encoding="utf-8")
    ended = airproof("weigh", "--engine", car.engine, "--reading", facts)
    assert ended.status == 0, ended.err
    words = " ".join(ended.out.split())
    assert "circuit is open or shorted" in words or "contact of the manifold pressure sensor breaks" in words
    assert "Nothing was recorded" in words
    assert "record live data" in words
    assert "No recording: what was told, seen and read by hand is all there is." in words
    assert "one of the two is old or wrong" in words
    assert "0 signals" not in words


def test_without_a_recording_in_json(airproof: Airproof, car: Car, tmp_path: Path) -> None:
    facts = tmp_path / "facts.toml"
    facts.write_text(FACTS, encoding="utf-8")
    found = json.loads(
        airproof("weigh", "--engine", car.engine, "--reading", facts, "--symptom", "stalling", "--json").out
    )
    assert found["inputs"]["recordings"] == []
    assert found["refusal"] is None
    assert sum(c["probability"] for c in found["causes"]) == pytest.approx(1.0, abs=1e-9)
    told = {e["finding"] for e in found["causes"][0]["evidence"]}
    assert told == {"code P0107", "look plug-loose", "step measure-key-on-signal", "symptom stalling", "before"}
    (clash,) = found["clashes"]
    assert set(clash["facts"]) == {"code P0107", "step measure-key-on-signal"}
    # the look was taken: its step is done, and so is the measurement
    steps = {step["id"] for step in found["next_steps"]}
    assert not steps & {"look-plug-and-wiring", "measure-key-on-signal"}


def test_nothing_at_all_is_refused_in_a_line(airproof: Airproof, car: Car) -> None:
    ended = airproof("weigh", "--engine", car.engine)
    assert ended.status == 2
    assert ended.out == ""
    assert "neither a recording nor anything told" in ended.line


def test_a_symptom_that_is_not_so_beats_the_flag(airproof: Airproof, car: Car, tmp_path: Path) -> None:
    facts = tmp_path / "facts.toml"
    facts.write_text('[[symptom]]\nid = "stalling"\nwithdrawn = true\n[[code]]\nid = "P0171"\n', encoding="utf-8")
    one = airproof("weigh", "--engine", car.engine, "--reading", facts, "--symptom", "stalling", "--json")
    other = airproof("weigh", "--engine", car.engine, "--code", "P0171", "--json")
    assert one.out == other.out
