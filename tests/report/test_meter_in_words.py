"""Meter work in words: plain first, numbers beside them, and the wrong part named."""

from __future__ import annotations

from pathlib import Path

import pytest

from airproof.diagnosis.conditions import barometer_of
from airproof.diagnosis.meter.expected_here import Expected
from airproof.diagnosis.meter.judged import SessionJudged, judge
from airproof.diagnosis.meter.measured import Measurements
from airproof.diagnosis.meter.measured_file import load_measurements
from airproof.knowledge.load import knowledge
from airproof.report.meter_in_words import band, judged_in_words, ohms

KNOWN = knowledge()
EXAMPLES = Path(__file__).resolve().parents[2] / "examples" / "meter"
DAY = barometer_of(altitude_m=350.0)


def session(name: str) -> tuple[SessionJudged, Measurements]:
    measurements = load_measurements(EXAMPLES / name, KNOWN)
    return judge(measurements, DAY, KNOWN), measurements


def test_numbers_as_one_would_write_them() -> None:
    assert band(Expected(1.8123, 1.731, 1.894, "V", {})) == "1.81 V (1.73 to 1.89)"
    assert band(Expected(2502.0, 2310.0, 2570.0, "ohm", {})) == "2.5 kohm (2.31 kohm to 2.57 kohm)"
    assert band(Expected(98.2, 95.0, 101.4, "kPa", {})) == "98.2 kPa (95.0 to 101.4)"
    assert ohms(305.0) == "305 ohm"


def test_the_answer_comes_first_and_the_line_after() -> None:
    parts = judged_in_words(*session("readings.toml"), KNOWN)
    assert [part.id for part in parts] == ["answer", "items", "line", "which", "notes"]
    assert "span is +4." in " ".join(parts[0].lines)
    assert any("90 % intervals" in line for line in parts[2].lines)


def test_a_wrong_part_is_the_answer() -> None:
    parts = judged_in_words(*session("wrong_part.toml"), KNOWN)
    assert parts[0].lines[0].startswith("It fits the line of another sensor instead")
    assert "86 kPa" in parts[0].lines[1]


def test_nothing_amiss_is_said_plainly(tmp_path: Path) -> None:
    path = tmp_path / "good.toml"
    path.write_text('[[measured]]\nwhat = "supply"\nvalue = "5.01 V"\n', encoding="utf-8")
    measurements = load_measurements(path, KNOWN)
    parts = judged_in_words(judge(measurements, DAY, KNOWN), measurements, KNOWN)
    assert parts[0].lines == ("Nothing amiss: everything measured is right within what meter, sensor and day leave.",)
    assert any("accuracy is not stated" in line for line in parts[-1].lines)


@pytest.mark.parametrize("read", ["0.00 V", "5.01 V"])
def test_what_cannot_be_told_is_no_clean_bill(tmp_path: Path, read: str) -> None:
    path = tmp_path / "unknown.toml"
    path.write_text(f'[[measured]]\nwhat = "signal"\nvalue = "{read}"\n', encoding="utf-8")
    measurements = load_measurements(path, KNOWN)
    answer = " ".join(judged_in_words(judge(measurements, DAY, KNOWN), measurements, KNOWN)[0].lines)
    assert "no pressure reads so" in answer
    path.write_text('[[measured]]\nwhat = "signal"\nvalue = "1.80 V"\n', encoding="utf-8")
    measurements = load_measurements(path, KNOWN)
    answer = " ".join(judged_in_words(judge(measurements, DAY, KNOWN), measurements, KNOWN)[0].lines)
    assert "not everything can be told" in answer


def test_live_data_beside_the_plug_is_told_and_what_reads_low_is_not_called_high(tmp_path: Path) -> None:
    path = tmp_path / "low.toml"
    text = (EXAMPLES / "readings.toml").read_text(encoding="utf-8").replace("absolute-250-kpa", "absolute-115-kpa")
    path.write_text(text, encoding="utf-8")
    measurements = load_measurements(path, KNOWN)
    parts = {
        one.id: " ".join(one.lines) for one in judged_in_words(judge(measurements, DAY, KNOWN), measurements, KNOWN)
    }
    assert "Live data shows" in parts["items"]
    assert "too high by -" not in parts["line"]
    assert "plus is too high, minus too low" in parts["line"]


def told(folder: Path, text: str) -> dict[str, str]:
    path = folder / "told.toml"
    path.write_text(text, encoding="utf-8")
    measurements = load_measurements(path, KNOWN)
    said = judged_in_words(judge(measurements, DAY, KNOWN), measurements, KNOWN)
    return {one.id: " ".join(one.lines) for one in said}


SWEEP = """
[[measured]]
what = "sweep"
points = [["0 kPa vacuum", "{} {}"], ["20 kPa vacuum", "{} {}"], ["40 kPa vacuum", "{} {}"]]
"""


def test_a_table_typed_the_wrong_way_round_may_be_no_wrong_part(tmp_path: Path) -> None:
    points = 'points = [["20 kPa abs", "4.80 V"], ["250 kPa abs", "0.20 V"]]'
    parts = told(tmp_path, f"[sensor]\n{points}\n" + SWEEP.format(1.75, "V", 1.35, "V", 0.95, "V"))
    assert "Probably a wrong part, or the points that the file states are not this sensor's" in parts["answer"]


def test_a_frequency_does_not_ask_for_the_supply(tmp_path: Path) -> None:
    parts = told(tmp_path, '[sensor]\nkind = "frequency"\n' + SWEEP.format(158, "Hz", 138, "Hz", 118, "Hz"))
    assert "supply was not measured" not in parts["notes"]
