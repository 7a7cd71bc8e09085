"""Reading files: good ones, and every way to get one wrong in a line."""

from __future__ import annotations

from pathlib import Path

import pytest

from airproof.diagnosis.readings import EngineOffReading, Outcome, load_readings
from airproof.errors import UnusableFile
from airproof.knowledge.load import knowledge

KNOWN = knowledge()
TELLING = next(name for name, step in KNOWN.steps.items() if step.tells)
CURING = next(name for name, step in KNOWN.steps.items() if step.cures)


def written(folder: Path, text: str) -> Path:
    path = folder / "readings.toml"
    path.write_text(text, "utf-8")
    return path


def test_outcomes_and_pressures(tmp_path: Path) -> None:
    text = f"""
[[reading]]
step = "{TELLING}"
found = false
note = "by torchlight"

[[reading]]
signal = "manifold_pressure"
value = "108,5 kPa"
regime = "key-on"

[[reading]]
signal = "barometric_pressure"
value = "29.1 inHg"
"""
    read = load_readings(written(tmp_path, text), KNOWN)
    assert read[0] == Outcome(TELLING, found=False)
    assert isinstance(read[1], EngineOffReading)
    assert (read[1].signal, read[1].kpa) == ("manifold_pressure", pytest.approx(108.5))
    assert isinstance(read[2], EngineOffReading)
    assert read[2].kpa == pytest.approx(98.544, abs=0.001)  # 1 inHg = 3386.389 Pa


BAD = {
    "not TOML": ("[[reading]\n", "TOML"),
    "nothing": ("", "reading"),
    "unknown key": (f'[[reading]]\nstep = "{TELLING}"\nfond = true\n', "fond"),
    "no such step": ('[[reading]]\nstep = "look-at-the-moon"\nfound = true\n', "look-at-the-moon"),
    "a step that tells nothing": (f'[[reading]]\nstep = "{CURING}"\nfound = true\n', CURING),
    "a step without outcome": (f'[[reading]]\nstep = "{TELLING}"\n', "neither"),
    "an outcome without step": ("[[reading]]\nfound = true\n", "neither"),
    "both kinds": (
        f'[[reading]]\nstep = "{TELLING}"\nfound = true\nsignal = "manifold_pressure"\nvalue = "98 kPa"\n',
        "neither",
    ),
    "a signal without value": ('[[reading]]\nsignal = "manifold_pressure"\n', "neither"),
    "another signal": ('[[reading]]\nsignal = "air_flow"\nvalue = "3 g/s"\n', "signal"),
    "another regime": ('[[reading]]\nsignal = "manifold_pressure"\nvalue = "30 kPa"\nregime = "idle"\n', "regime"),
    "no unit": ('[[reading]]\nsignal = "manifold_pressure"\nvalue = "98"\n', "98"),
    "a number for a text": ('[[reading]]\nsignal = "manifold_pressure"\nvalue = 98.0\n', "value"),
    "wrong kind of unit": ('[[reading]]\nsignal = "manifold_pressure"\nvalue = "98 degC"\n', "98"),
    "an unknown unit": ('[[reading]]\nsignal = "manifold_pressure"\nvalue = "12 furlongs"\n', "furlongs"),
    "a word for yes": (f'[[reading]]\nstep = "{TELLING}"\nfound = "perhaps"\n', "found"),
}


@pytest.mark.parametrize("name", BAD)
def test_a_bad_file_is_one_line(tmp_path: Path, name: str) -> None:
    text, named = BAD[name]
    path = written(tmp_path, text)
    with pytest.raises(UnusableFile) as caught:
        load_readings(path, KNOWN)
    message = str(caught.value)
    assert "\n" not in message
    assert message.startswith(str(path))
    assert named in message
    assert caught.value.exit_status == 2
    assert caught.value.way_out


def test_a_misspelt_step_is_answered_with_those_near_it(tmp_path: Path) -> None:
    path = written(tmp_path, f'[[reading]]\nstep = "{TELLING[:-1]}"\nfound = true\n')
    with pytest.raises(UnusableFile, match=TELLING):
        load_readings(path, KNOWN)


def test_no_file_a_folder_and_no_text(tmp_path: Path) -> None:
    (tmp_path / "binary.toml").write_bytes(b"\xff\xfe\x00\x81")
    for path in (tmp_path / "absent.toml", tmp_path, tmp_path / "binary.toml"):
        with pytest.raises(UnusableFile) as caught:
            load_readings(path, KNOWN)
        assert "\n" not in str(caught.value)
        assert str(caught.value).startswith(str(path))
        assert caught.value.way_out
