"""Files of measurements: good ones, and every way to get one wrong in a line."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from airproof.diagnosis.meter.measured_file import load_measurements, measurements_of
from airproof.diagnosis.readings import load_readings
from airproof.errors import AirproofError, UnusableFile
from airproof.knowledge.load import knowledge
from airproof.quantities.meter_accuracy import Accuracy

KNOWN = knowledge()

WHOLE = """
[meter]
accuracy = "0.5 % + 2 digits"
ohms = "1 % + 3 digits"
resolution = "0.01 V"
input = "10 Mohm"

[sensor]
line = "absolute-250-kpa"
thermistor = "ntc-2470-ohm-divider"
kind = "four-wire"
temperature = "18 C"

[day]
barometer = "98,2 kPa"
altitude = "250 m"

[[measured]]
what = "supply"
value = "5.02 V"

[[measured]]
what = "ground"
value = "20 mV"

[[measured]]
what = "signal"
value = "1,95 V"
shown = "107 kPa"

[[measured]]
what = "sweep"
counted = "vacuum"
gauge = "2 % of 30 inHg"
points = [["0 inHg", "1.95 V"], ["10 inHg", "1.25 V"], ["500 mmHg vacuum", "0.54 V"], ["60 kPa abs", "1.17 V"]]
creeps = false

[[measured]]
what = "thermistor"
value = "2.61 kohm"
temperature = "18 C"

[[measured]]
what = "wiggle"
found = false

[[measured]]
what = "wire"
wire = "signal"
to = "ground"
value = "endless"

[[measured]]
what = "wire"
wire = "ground"
value = "0.4 ohm"

[[reading]]
step = "look-hoses"
found = false
"""


def written(folder: Path, text: str) -> Path:
    path = folder / "readings.toml"
    path.write_text(text, "utf-8")
    return path


def test_a_whole_file(tmp_path: Path) -> None:
    path = written(tmp_path, WHOLE)
    read = load_measurements(path, KNOWN)
    assert [item.what for item in read.items] == [
        "supply", "ground", "signal", "sweep", "thermistor", "wiggle", "wire", "wire",
    ]  # fmt: skip
    assert read.meter.volts == Accuracy(0.005, 2.0)
    assert read.meter.resolution_v == pytest.approx(0.01)
    assert read.sensor.line is not None
    assert (read.sensor.line.slope, read.sensor.line.offset) == (0.004, -0.04)
    assert read.day is not None
    assert read.day.kpa == pytest.approx(98.2)
    ground, signal, sweep = (read.first(what) for what in ("ground", "signal", "sweep"))
    assert ground is not None
    assert ground.value is not None
    assert (ground.value.value, ground.value.digit) == (pytest.approx(0.02), pytest.approx(0.001))
    assert signal is not None
    assert signal.value is not None
    assert signal.shown is not None
    assert (signal.value.value, signal.shown.value) == (pytest.approx(1.95), pytest.approx(107.0))
    assert sweep is not None
    # 1 inHg = 3.386389 kPa, 1 mmHg = 0.133322387 kPa (definitions)
    assert [(p.kpa, p.from_air) for p in sweep.points] == [
        (0.0, True), (pytest.approx(-33.86389), True), (pytest.approx(-66.66119), True), (pytest.approx(60.0), False),
    ]  # fmt: skip
    assert sweep.gauge_kpa == pytest.approx(0.02 * 30 * 3.386389)
    assert [one.step for one in load_readings(path, KNOWN) if hasattr(one, "step")] == ["look-hoses"]


def test_a_file_of_other_readings_holds_no_measurements(tmp_path: Path) -> None:
    path = written(tmp_path, '[[reading]]\nstep = "look-hoses"\nfound = false\n')
    assert load_measurements(path, KNOWN).items == ()
    assert measurements_of([path], KNOWN) == []


def test_measurements_stand_in_one_file(tmp_path: Path) -> None:
    one = written(tmp_path, WHOLE)
    other = tmp_path / "other.toml"
    other.write_text(WHOLE, "utf-8")
    with pytest.raises(UnusableFile, match="one file"):
        measurements_of([one, other], KNOWN)


def test_own_points_make_a_line(tmp_path: Path) -> None:
    text = (
        '[sensor]\npoints = [["20 kPa abs", "0.40 V"], ["250 kPa abs", "4.65 V"]]\nsupply = "5 V"\nerror = "3 kPa"\n'
        '[[measured]]\nwhat = "signal"\nvalue = "1.84 V"\n'
    )
    line = load_measurements(written(tmp_path, text), KNOWN).sensor.line
    assert line is not None
    assert 5.0 * line.slope == pytest.approx(4.25 / 230.0)
    assert float(line.kpa(1.84 / 5.0)) == pytest.approx(97.9, abs=0.05)  # 20 + (1.84 - 0.40) / 4.25 x 230, by hand
    assert line.error_kpa == pytest.approx(3.0)


def signal(rest: str) -> str:
    return f'[[measured]]\nwhat = "signal"\n{rest}\n'


SWEEP = '[[measured]]\nwhat = "sweep"\n'
BAD = {
    "not TOML": ("[[measured]\n", "TOML"),
    "unknown table": ("[metre]\n", "metre"),
    "unknown key": (signal('value = "1.9 V"\ncolour = "red"'), "colour"),
    "unknown what": ('[[measured]]\nwhat = "smell"\nvalue = "1 V"\n', "smell"),
    "no what": ('[[measured]]\nvalue = "1 V"\n', "what"),
    "no unit": (signal('value = "1.95"'), "1.95"),
    "a bare number": (signal("value = 1.95"), "value"),
    "another unit": (signal('value = "1.95 kohm"'), "1.95 kohm"),
    "nothing read": (signal('note = "rain"'), "neither"),
    "far too much": (signal('value = "60 V"'), "60 V"),
    "twice": (signal('value = "1.9 V"') + signal('value = "1.8 V"'), "2 times"),
    "a key of another": (signal('value = "1.9 V"\ncreeps = true'), "creeps"),
    "a point without reference": (f'{SWEEP}points = [["0 inHg", "1.9 V"], ["5 inHg", "1.5 V"]]\n', "0 inHg"),
    "a vacuum below zero": (
        f'{SWEEP}counted = "vacuum"\npoints = [["0 inHg", "1.9 V"], ["-5 inHg", "1.5 V"]]\n', "below zero",
    ),
    "one point": (f'{SWEEP}counted = "vacuum"\npoints = [["0 inHg", "1.9 V"]]\n', "1 points"),
    "nothing in a sweep": (SWEEP, "no points"),
    "points in two units": (
        f'{SWEEP}counted = "vacuum"\npoints = [["0 inHg", "1.9 V"], ["5 inHg", "80 kPa"]]\n', "V and kPa",
    ),
    "a gauge that knows nothing": (f'{SWEEP}gauge = "90 kPa"\ncreeps = true\n', "90 kPa"),
    "a thermistor without temperature": ('[[measured]]\nwhat = "thermistor"\nvalue = "2 kohm"\n', "temperature"),
    "no such line": ('[sensor]\nline = "absolute-251-kpa"\n' + signal('value = "1.9 V"'), "absolute-250-kpa"),
    "only its range": ('[sensor]\nline = "absolute-130-kpa"\n' + signal('value = "1.9 V"'), "range"),
    "line and points": (
        '[sensor]\nline = "absolute-250-kpa"\npoints = [["20 kPa abs", "0.4 V"], ["90 kPa abs", "2 V"]]\n', "both",
    ),
    "points of a line counted from the air": (
        '[sensor]\npoints = [["0 kPa gauge", "0.4 V"], ["9 kPa abs", "2 V"]]\n', "air",
    ),
    "no such accuracy": ('[meter]\naccuracy = "good"\n' + signal('value = "1.9 V"'), "good"),
    "day against day": ('[day]\nbarometer = "88 kPa"\naltitude = "2000 m"\n' + signal('value = "1.9 V"'), "2000 m"),
    "a wire against itself": (
        '[[measured]]\nwhat = "wire"\nwire = "supply"\nto = "supply"\nvalue = "0.3 ohm"\n', "itself",
    ),
    "a word for yes": ('[[measured]]\nwhat = "wiggle"\nfound = "perhaps"\n', "found"),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_a_bad_file_is_one_line(tmp_path: Path, name: str) -> None:
    text, named = BAD[name]
    path = written(tmp_path, text)
    with pytest.raises(UnusableFile) as caught:
        load_measurements(path, KNOWN)
    message = str(caught.value)
    assert message.startswith(str(path))
    assert named in message
    assert "\n" not in message
    assert caught.value.way_out


def test_neither_readings_nor_measurements(tmp_path: Path) -> None:
    with pytest.raises(UnusableFile, match=r"\[\[measured\]\]"):
        load_readings(written(tmp_path, '[meter]\naccuracy = "1 %"\n'), KNOWN)


LINES = [line for line in WHOLE.splitlines() if line]


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.one_of(st.sampled_from(LINES), st.text(alphabet='[]"= .,%+-VkPa0159\n', max_size=12)), max_size=14))
def test_whatever_stands_in_a_file_is_read_or_refused_in_words(tmp_path: Path, lines: list[str]) -> None:
    path = written(tmp_path, "\n".join(lines))
    fault: AirproofError | None = None
    try:
        load_measurements(path, KNOWN)
    except AirproofError as refused:
        fault = refused
    assert fault is None or (fault.exit_status == 2 and "\n" not in str(fault))


def test_the_example_of_the_docstring_is_one() -> None:
    from airproof.diagnosis.meter import measured_file

    assert measured_file.__doc__ is not None
    example = measured_file.__doc__.split("\n\n", 1)[1]
    assert tomllib.loads(example)["measured"][0]["what"] == "signal"


def test_every_table_of_facts_may_stand_beside() -> None:
    from airproof.diagnosis import facts_file
    from airproof.diagnosis.meter import measured_file

    assert set(facts_file._File.model_fields) == set(measured_file._File.model_fields)


NAMED = '[[measured]]\nid = "Monday"\nwhat = "supply"\nvalue = "{volts} V"\n'
BACK = '[[measured]]\nid = "Monday"\nwithdrawn = true\n'
GROUND = '[[measured]]\nwhat = "ground"\nvalue = "0.02 V"\n'


def test_what_is_taken_back_was_never_measured(tmp_path: Path) -> None:
    plain = load_measurements(written(tmp_path, GROUND), KNOWN)
    same = load_measurements(written(tmp_path, NAMED.format(volts="4.2") + GROUND + BACK), KNOWN)
    assert [item.what for item in same.items] == [item.what for item in plain.items] == ["ground"]


def test_a_later_one_of_that_id_takes_its_place(tmp_path: Path) -> None:
    found = load_measurements(written(tmp_path, NAMED.format(volts="4.2") + NAMED.format(volts="5.01")), KNOWN)
    assert len(found.items) == 1
    assert found.items[0].value is not None
    assert found.items[0].value.value == pytest.approx(5.01)


def test_a_later_file_takes_back(tmp_path: Path) -> None:
    first, second = tmp_path / "first.toml", tmp_path / "second.toml"
    first.write_text(NAMED.format(volts="4.2") + GROUND, encoding="utf-8")
    second.write_text(BACK, encoding="utf-8")
    found = measurements_of([first, second], KNOWN)
    assert [item.what for one in found for item in one.items] == ["ground"]
    first.write_text(NAMED.format(volts="4.2"), encoding="utf-8")
    assert measurements_of([first, second], KNOWN) == []


@pytest.mark.parametrize("text", ["[[measured]]\nwithdrawn = true\n", '[[measured]]\nid = "Monday"\n'])
def test_taking_back_needs_its_id_and_measuring_its_what(tmp_path: Path, text: str) -> None:
    with pytest.raises(UnusableFile, match="measured 1"):
        load_measurements(written(tmp_path, text), KNOWN)
