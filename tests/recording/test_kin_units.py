"""Units that no heading states, guessed from the columns of a file together.

Factors: 1 inHg = 3.386389 kPa, 1 psi = 6.894757 kPa, 1 mmHg = 0.1333224 kPa, 1 lb = 453.59237 g, 1 mile = 1.609344 km
(NIST Special Publication 811, 2008, appendix B.8).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from airproof.recording.readers import read_recording
from airproof.recording.recording import Recording

KPA = {"kPa": 1.0, "inHg": 3.386389, "psi": 6.894757, "mmHg": 0.1333224, "hPa": 0.1}
FLOW = {"g/s": 1.0, "lb/min": 453.59237 / 60.0, "kg/h": 1.0 / 3.6}

# 1/min and kPa of a round: rest, idle, slow, faster, overrun, full load, idle
STEPS = ((0, 97.2), (780, 34.0), (1600, 40.0), (2500, 55.0), (2600, 19.0), (4000, 95.0), (780, 34.0))
WOBBLE = np.tile([0.0, 0.4, -0.4, 0.2, -0.2], 8)


def columns(boost: float = 0.0) -> dict[str, np.ndarray]:
    """A drive of a 2 L engine in metric units; `boost` is added to the manifold pressure at full load (kPa)."""
    speed = np.concatenate([np.full(40, float(n)) for n, _ in STEPS])
    manifold = np.concatenate([p + (boost if n == 4000 else 0.0) + WOBBLE for n, p in STEPS])
    flow = 0.85 * manifold * 1e3 * 2.0e-3 * speed / 120.0 / (287.05 * 310.0) * 1e3
    charge = np.maximum(97.0, manifold + 2.0)
    road = np.concatenate([np.full(40, float(v)) for v in (0, 0, 30, 60, 60, 100, 0)])
    return {
        "RPM": speed,
        "MAP": manifold,
        "MAF": flow,
        "Boost": charge,
        "Speed": road,
        "BARO": np.full(speed.size, 97.2),
        "IAT": np.linspace(22.0, 31.0, speed.size),
        "ECT": np.linspace(78.0, 91.0, speed.size),
    }


def read(folder: Path, said: dict[str, np.ndarray], *, apart: bool = False) -> Recording:
    """A file of those columns; `apart`: each row holds one of them, in turn."""
    names = list(said)
    lines = [",".join(["Time", *names])]
    for n in range(said["RPM"].size):
        cells = [f"{said[name][n]:.4f}" for name in names]
        if not apart:
            lines.append(f"{n / 5:.2f},{','.join(cells)}")
            continue
        for k, cell in enumerate(cells):
            lines.append(f"{n / 5 + k / 50:.2f},{',' * k}{cell}{',' * (len(names) - 1 - k)}")
    path = folder / "drive.csv"
    path.write_text("\n".join(lines) + "\n")
    return read_recording(path)


def of(recording: Recording, name: str) -> str | None:
    return next((one.unit for one in recording.report.columns if one.signal == name), None)


def in_inch(said: dict[str, np.ndarray], pressure: str = "inHg") -> dict[str, np.ndarray]:
    return said | {
        "MAP": said["MAP"] / KPA[pressure],
        "BARO": said["BARO"] / KPA[pressure],
        "Boost": said["Boost"] / KPA[pressure],
        "MAF": said["MAF"] / FLOW["lb/min"],
        "Speed": said["Speed"] / 1.609344,
        "IAT": said["IAT"] * 1.8 + 32.0,
        "ECT": said["ECT"] * 1.8 + 32.0,
    }


@pytest.mark.parametrize("apart", [False, True])
@pytest.mark.parametrize("boost", [0.0, 60.0])
@pytest.mark.parametrize("pressure", ["inHg", "psi"])
def test_a_file_in_inch_and_pound(tmp_path: Path, boost: float, pressure: str, *, apart: bool) -> None:
    true = columns(boost)
    recording = read(tmp_path, in_inch(true, pressure), apart=apart)
    units = {"manifold_pressure": pressure, "charge_pressure": pressure, "barometric_pressure": pressure}
    units |= {"air_flow": "lb/min", "vehicle_speed": "mph", "intake_temperature": "degF", "coolant_temperature": "degF"}
    assert {name: of(recording, name) for name in units} == units
    for name, heading in (("manifold_pressure", "MAP"), ("air_flow", "MAF"), ("charge_pressure", "Boost")):
        np.testing.assert_allclose(np.median(recording[name].values), np.median(true[heading]), rtol=0.02)
    assert "manifold pressure in " + pressure in recording.report.guessed


@pytest.mark.parametrize("apart", [False, True])
@pytest.mark.parametrize("boost", [0.0, 60.0])
@pytest.mark.parametrize("pressure", ["kPa", "hPa"])
def test_a_metric_file_is_read_as_before(tmp_path: Path, boost: float, pressure: str, *, apart: bool) -> None:
    said = columns(boost)
    said |= {name: said[name] / KPA[pressure] for name in ("MAP", "BARO", "Boost")}
    recording = read(tmp_path, said, apart=apart)
    units = {"manifold_pressure": pressure, "charge_pressure": pressure, "barometric_pressure": pressure}
    units |= {"air_flow": "g/s", "vehicle_speed": "km/h", "intake_temperature": "degC", "coolant_temperature": "degC"}
    assert {name: of(recording, name) for name in units} == units


@pytest.mark.parametrize("unit", list(KPA))
def test_a_pressure_that_is_the_barometers_to_the_last_digit(tmp_path: Path, unit: str) -> None:
    """Key on, engine off, nothing wrong: nothing else can be so near."""
    still = np.full(60, 101.3 / KPA[unit])
    recording = read(tmp_path, {"RPM": np.zeros(60), "MAP": still, "BARO": still})
    assert of(recording, "manifold_pressure") == unit


@pytest.mark.parametrize("unit", ["kPa", "hPa", "psi", "inHg"])
def test_a_pressure_that_never_falls_below_the_barometer_is_in_its_unit(tmp_path: Path, unit: str) -> None:
    """A diesel, or a pull of a turbo."""
    rising = np.linspace(100.0, 218.0, 60) / KPA[unit]
    recording = read(tmp_path, {"RPM": np.full(60, 2500.0), "MAP": rising, "BARO": np.full(60, 100.0 / KPA[unit])})
    assert of(recording, "manifold_pressure") in (unit, None)
    if unit in ("kPa", "hPa"):
        assert of(recording, "manifold_pressure") == unit


PAIRS = [(m, b) for m in ("kPa", "inHg", "psi", "mmHg") for b in ("kPa", "inHg", "psi", "mmHg", "hPa")]
PAIRS.remove(("mmHg", "hPa"))  # a third apart, as a faulty sensor may be: then kin are taken to share their unit


@pytest.mark.parametrize(("manifold", "barometer"), PAIRS)
def test_the_unit_that_stands_at_the_barometer_at_rest(tmp_path: Path, manifold: str, barometer: str) -> None:
    """Whatever the barometer is in: a manifold pressure equals it with the engine off."""
    said = {name: columns()[name] for name in ("RPM", "MAP", "BARO")}
    said |= {"MAP": said["MAP"] / KPA[manifold], "BARO": said["BARO"] / KPA[barometer]}
    recording = read(tmp_path, said)
    assert of(recording, "manifold_pressure") == manifold
    assert np.median(recording["manifold_pressure"].values) == pytest.approx(np.median(columns()["MAP"]), rel=0.01)


def test_a_sensor_that_reads_a_third_too_high_is_still_in_kpa(tmp_path: Path) -> None:
    said = {name: columns()[name] for name in ("RPM", "MAP", "BARO")}
    assert of(read(tmp_path, said | {"MAP": said["MAP"] * 1.35}), "manifold_pressure") == "kPa"


def test_a_frozen_sensor_is_read_in_the_unit_of_its_kin(tmp_path: Path) -> None:
    said = {name: columns()[name] for name in ("RPM", "BARO")}
    said |= {"MAP": np.full(280, 60.0)}
    assert of(read(tmp_path, said), "manifold_pressure") == "kPa"


def test_what_goes_with_the_barometer_in_no_unit_is_asked_for(tmp_path: Path) -> None:
    """45 to 47 beside 29.2 inHg is no pressure of a running engine in any unit."""
    said = {name: columns()[name] for name in ("RPM", "BARO")}
    said |= {"BARO": said["BARO"] / KPA["inHg"], "MAP": np.linspace(45.0, 47.0, 280)}
    recording = read(tmp_path, said)
    assert "manifold_pressure" not in recording
    (asked,) = recording.report.without_unit
    assert asked.heading == "MAP"
    assert "goes with the barometer beside it" in asked.says
    assert "MAP.toml" in asked.says


def test_inch_of_mercury_or_psi_with_boost_is_asked_for(tmp_path: Path) -> None:
    """5 to 28 may be inHg of an engine that breathes freely or psi of one with boost; nothing else tells."""
    said = {name: columns()[name] for name in ("RPM", "MAP")}
    running = said["RPM"] > 0
    said = {name: values[running] for name, values in said.items()}
    recording = read(tmp_path, said | {"MAP": said["MAP"] / KPA["inHg"]})
    (asked,) = recording.report.without_unit
    assert "fit psi and inHg alike" in asked.says


def test_a_mixed_file_keeps_what_each_column_shows(tmp_path: Path) -> None:
    """Only the barometer in inHg, as a weather station gives it: no system is sure, nothing else is turned."""
    said = columns()
    recording = read(tmp_path, said | {"BARO": said["BARO"] / KPA["inHg"]})
    units = {name: of(recording, name) for name in ("manifold_pressure", "air_flow", "vehicle_speed")}
    assert units == {"manifold_pressure": "kPa", "air_flow": "g/s", "vehicle_speed": "km/h"}


def test_a_stated_unit_is_never_touched(tmp_path: Path) -> None:
    said = in_inch(columns())
    said["MAP (kPa)"] = said.pop("MAP")
    assert of(read(tmp_path, said), "manifold_pressure") == "kPa"
