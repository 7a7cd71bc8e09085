"""Units guessed from the values' range, said so, or honestly left open."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from airproof.recording.readers import read_recording
from airproof.recording.signals import signal_kind
from airproof.recording.unit_guess import guess_unit

DRIVE = np.concatenate((np.full(300, 32.0), np.linspace(25, 98, 700)))


@pytest.mark.parametrize(
    ("name", "values", "unit"),
    [
        ("manifold_pressure", DRIVE, "kPa"),
        ("manifold_pressure", DRIVE * 1000, "Pa"),
        ("manifold_pressure", DRIVE * 10, "hPa"),
        ("manifold_pressure", DRIVE / 100, "bar"),
        ("manifold_pressure", DRIVE / 6.894757, "psi"),
        ("barometric_pressure", np.full(9, 99.0), "kPa"),
        ("barometric_pressure", np.full(9, 990.0), "hPa"),
        ("barometric_pressure", np.full(9, 29.2), "inHg"),
        ("barometric_pressure", np.full(9, 14.4), "psi"),
        ("barometric_pressure", np.full(9, 742.0), "mmHg"),
        ("coolant_temperature", np.linspace(20, 92, 99), "degC"),
        ("coolant_temperature", np.linspace(290, 365, 99), "K"),
        ("coolant_temperature", np.linspace(140, 198, 99), "degF"),
        ("engine_speed", np.linspace(700, 3500, 99), "1/min"),
        ("engine_speed", np.linspace(73, 366, 99), "rad/s"),
        ("engine_speed", np.zeros(9), "1/min"),
        ("throttle", np.linspace(12, 80, 99), "%"),
        ("wastegate", np.linspace(0, 0.66, 99), "1"),
        ("lambda", np.linspace(0.9, 1.1, 99), "1"),
        ("lambda", np.linspace(12, 16, 99), "AFR"),
        ("fuel_rate", np.linspace(0.0003, 0.005, 99), "kg/s"),
        ("fuel_rate", np.linspace(0.3, 5, 99), "g/s"),
        ("air_flow", np.linspace(0.002, 0.06, 99), "kg/s"),
    ],
)
def test_range_tells_the_unit(name: str, values: np.ndarray, unit: str) -> None:
    guess = guess_unit(values, signal_kind(name))
    assert guess.unit == unit
    assert unit in guess.says


def test_engine_speed_between_the_two_is_left_open() -> None:
    # 200 to 390 may be an engine being cranked, in 1/min, or one at 2000 to 3700 1/min, in rad/s
    assert guess_unit(np.linspace(200, 390, 99), signal_kind("engine_speed")).unit is None


def test_what_cannot_be_guessed_is_left_out_with_the_way_to_map_it(tmp_path: Path) -> None:
    path = tmp_path / "rec.csv"
    rows = "".join(f"{n},{5000 + n},{800 + n}\n" for n in range(20))
    path.write_text("time (s),MAP,RPM\n" + rows)
    recording = read_recording(path)
    assert "manifold_pressure" not in recording
    (left,) = [c for c in recording.report.columns if c.how == "left out"]
    assert "MAP.toml" in left.says


def test_gauge_needs_a_barometer(tmp_path: Path) -> None:
    path = tmp_path / "rec.csv"
    path.write_text("time (s),Boost (psig),RPM\n" + "".join(f"{n},{n / 2},{800 + n}\n" for n in range(20)))
    alone = read_recording(path)
    assert "charge_pressure" not in alone
    assert any("barometer" in c.says for c in alone.report.columns)
    told = read_recording(path, barometer_kpa=98.0)
    # 1 psi = 6.894757 kPa (NIST SP 811, appendix B)
    assert told["charge_pressure"].values[2] == pytest.approx(98.0 + 6.894757, abs=1e-5)


def test_gauge_takes_the_file_s_own_barometer(tmp_path: Path) -> None:
    path = tmp_path / "rec.csv"
    path.write_text("time (s),Boost (kPa gauge),Baro (kPa)\n" + "".join(f"{n},{n},95\n" for n in range(60)))
    recording = read_recording(path)
    assert recording["charge_pressure"].values[:2].tolist() == [95.0, 96.0]


def test_a_vacuum_is_taken_off_the_barometer(tmp_path: Path) -> None:
    path = tmp_path / "rec.csv"
    path.write_text("time (s),Manifold pressure (inHg vac),Baro (kPa)\n" + "".join(f"{n},20,101.3\n" for n in range(9)))
    # 20 inHg of vacuum at sea level is 33.6 kPa absolute (20 x 3.386389 kPa below 101.3)
    assert read_recording(path)["manifold_pressure"].values[0] == pytest.approx(33.6, abs=0.05)


def test_boost_read_after_the_throttle_is_manifold_pressure(tmp_path: Path) -> None:
    path = tmp_path / "rec.csv"
    path.write_text("time (s),Boost (kPa)\n" + "".join(f"{n},{30 + 2 * n}\n" for n in range(60)))
    recording = read_recording(path)
    assert set(recording) == {"manifold_pressure"}
    assert "falls far below" in recording.report.columns[0].says


def test_of_two_rivals_the_better_stated_is_taken_and_the_other_reported(tmp_path: Path) -> None:
    path = tmp_path / "rec.csv"
    path.write_text(
        "time (s),MAP,Intake manifold pressure (kPa)\n" + "".join(f"{n},{30 + n},{60 + n}\n" for n in range(9))
    )
    recording = read_recording(path)
    assert recording["manifold_pressure"].values[0] == 60.0
    (left,) = [c for c in recording.report.columns if c.how == "left out"]
    assert left.heading == "MAP"
    assert "Intake manifold pressure (kPa)" in left.says


def test_a_state_or_a_count_has_no_unit_to_be_guessed(tmp_path: Path) -> None:
    file = tmp_path / "drive.csv"
    rows = "\n".join(f"{n},{800 + n},{33 + n % 50},2,0,{n % 3},1.0" for n in range(200))
    file.write_text(f"Time,Engine speed,Manifold pressure,Fuel system status,Lamp,Code count,Lambda\n{rows}\n")
    how = {column.signal: column.how for column in read_recording(file).report.columns}
    assert [how[name] for name in ("fuel_system_status", "lamp", "code_count")] == ["stated"] * 3
    assert how["lambda"] == how["manifold_pressure"] == "guessed"
