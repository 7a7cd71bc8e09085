"""The real recordings read right: counts and figures taken from the raw files with pandas, apart from this code."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from airproof.recording.readers import read_recording
from airproof.recording.regimes import find_regimes

pytestmark = pytest.mark.realdata

# LiU-ICE benchmark (Jung, Frisk, Krysander, arXiv:2408.13269): raw columns in the file's own units.
BENCH = {
    "charge_pressure": ("Intercooler_pressure", 0.001, 0.0),
    "intake_temperature": ("intercooler_temperature", 1.0, -273.15),
    "manifold_pressure": ("intake_manifold_pressure", 0.001, 0.0),
    "air_flow": ("air_mass_flow", 1000.0, 0.0),
    "engine_speed": ("engine_speed", 30 / np.pi, 0.0),
    "throttle": ("throttle_position", 1.0, 0.0),
    "wastegate": ("wastegate_position", 100.0, 0.0),
    "fuel_rate": ("injected_fuel_mass", 1000.0, 0.0),
    "barometric_pressure": ("ambient_pressure", 0.001, 0.0),
    "ambient_temperature": ("ambient_temperature", 1.0, -273.15),
}
BENCH_MAP = """[signals]
charge_pressure = {heading = "Intercooler_pressure", unit = "Pa"}
intake_temperature = {heading = "intercooler_temperature", unit = "K"}
manifold_pressure = {heading = "intake_manifold_pressure", unit = "Pa"}
air_flow = {heading = "air_mass_flow", unit = "kg/s"}
engine_speed = {heading = "engine_speed", unit = "rad/s"}
throttle = {heading = "throttle_position", unit = "%"}
wastegate = {heading = "wastegate_position", unit = "1"}
fuel_rate = {heading = "injected_fuel_mass", unit = "kg/s"}
barometric_pressure = {heading = "ambient_pressure", unit = "Pa"}
ambient_temperature = {heading = "ambient_temperature", unit = "K"}
"""


@pytest.mark.parametrize("name", ["wltp_NF", "wltp_f_pim_090", "wltp_f_pic_110", "wltp_f_waf_110", "wltp_f_iml_6mm"])
@pytest.mark.parametrize("mapped", [False, True])
def test_bench(realdata: Path, tmp_path: Path, name: str, mapped: bool) -> None:
    import pandas as pd

    path = realdata / "bench_turbo_petrol" / f"{name}.csv.gz"
    raw = pd.read_csv(path)
    (tmp_path / "MAP.toml").write_text(BENCH_MAP)
    recording = read_recording(path, signals=tmp_path / "MAP.toml" if mapped else None)
    assert recording.report.rows_read == len(raw)
    assert set(recording) == set(BENCH)
    assert {c.how for c in recording.report.columns} == {"mapped" if mapped else "guessed"}
    for signal, (column, scale, offset) in BENCH.items():
        assert len(recording[signal]) == len(raw)
        np.testing.assert_allclose(recording[signal].values, raw[column] * scale + offset, rtol=1e-9)
        np.testing.assert_array_equal(recording[signal].time, raw["time"])


def test_bench_known_facts(realdata: Path) -> None:
    recording = read_recording(realdata / "bench_turbo_petrol" / "wltp_NF.csv.gz")
    # pandas: 12539 rows, medians 30339.55 Pa, 172.725... rad/s, 0.006693206 kg/s
    assert recording.report.rows_read == 12539
    assert np.median(recording["manifold_pressure"].values) == pytest.approx(30.33955, abs=1e-5)
    assert np.median(recording["air_flow"].values) == pytest.approx(6.693206, abs=1e-6)
    regimes = find_regimes(recording)
    # WLTC: the vehicle stands for 13 % of the cycle's 1800 s (UN GTR 15, annex 1, from memory of it), 235 s and more
    # with the ends; the engine idles then, and once more wherever the clutch is open.
    assert 200 < regimes.seconds()["idle"] < 450
    assert 800 < (regimes.idle_rpm or 0) < 950
    assert regimes.seconds()["key-on"] == 0.0


NA = ["drive11", "drive12", "drive13", "drive6", "drive9", "idle19", "idle26", "idle42", "idle45", "idle5", "live13",
      "live15", "live20", "live24", "live27", "long10", "long11", "long12", "long4", "long7", "ufpe13", "ufpe15",
      "ufpe18", "ufpe7", "ufpe9"]  # fmt: skip


@pytest.mark.parametrize("name", NA)
def test_road_na_columns_are_not_shifted(realdata: Path, name: str) -> None:
    import pandas as pd

    path = realdata / "road_na_petrol" / f"{name}.csv.gz"
    raw = pd.read_csv(path, index_col=False)
    recording = read_recording(path)
    assert recording.report.rows_read == len(raw)
    for signal, column in {
        "engine_speed": "ENGINE_RPM ()",
        "manifold_pressure": "INTAKE_MANIFOLD_PRESSURE ()",
        "barometric_pressure": "ABSOLUTE_BAROMETRIC_PRESSURE ()",
        "coolant_temperature": "COOLANT_TEMPERATURE ()",
        "intake_temperature": "INTAKE_AIR_TEMP ()",
        "long_trim_1": "LONG_TERM_FUEL_TRIM_BANK_1 ()",
        "pedal": "PEDAL_D ()",
        "throttle_target": "COMMANDED_THROTTLE_ACTUATOR ()",
        "supply_voltage": "CONTROL_MODULE_VOLTAGE ()",
    }.items():
        # held rows are thinned, so each level must still be there, and no other
        assert set(np.unique(recording[signal].values)) == set(np.unique(raw[column]))
    assert "lambda_target" not in recording  # always 0 in these files
    # the car is 1.5 L and at sea level: 1 Hz items, at least the run time the car itself counted
    assert recording.duration_s >= raw.iloc[:, 0].max()
    assert recording.duration_s < raw.iloc[:, 0].max() + 15


@pytest.mark.parametrize("name", NA)
def test_road_na_key_on_is_clean(realdata: Path, name: str) -> None:
    recording = read_recording(realdata / "road_na_petrol" / f"{name}.csv.gz")
    regimes = find_regimes(recording)
    pressure = recording["manifold_pressure"]
    resting = pressure.values[regimes.mask(pressure.time, "key-on")]
    barometer = np.median(recording["barometric_pressure"].values)
    assert resting.size >= 1
    assert np.all(np.abs(resting - barometer) <= 2.0)  # each is rounded to 1 kPa
    speed = recording["engine_speed"]
    assert np.all(speed.values[regimes.mask(speed.time, "key-on")] == 0.0)
    if name.startswith("idle"):
        assert regimes.seconds()["idle"] > 0.75 * recording.duration_s
        assert regimes.seconds()["cruise"] == regimes.seconds()["full-load"] == regimes.seconds()["overrun"] == 0
    overrun = pressure.values[regimes.mask(pressure.time, "overrun")]
    idle = pressure.values[regimes.mask(pressure.time, "idle")]
    if overrun.size > 20 and idle.size > 20:
        assert np.median(overrun) < np.median(idle)


# KIT automotive OBD-II data set (Weber, doi 10.35097/1130), figures by pandas from the raw files.
@pytest.mark.parametrize(
    ("name", "rows", "highest_kpa", "highest_rpm", "coolant", "lasts_s"),
    [
        ("drive_a", 41050, 233, 3563, (40, 93), 3521.5),
        ("drive_b", 20413, 226, 2923, (87, 91), 1854.0),
        ("drive_c", 34710, 227, 2975, (14, 94), 3548.0),
    ],
)
def test_road_diesel(
    realdata: Path,
    name: str,
    rows: int,
    highest_kpa: float,
    highest_rpm: float,
    coolant: tuple[float, float],
    lasts_s: float,
) -> None:
    recording = read_recording(realdata / "road_turbo_diesel" / f"{name}.csv.gz")
    assert recording.report.rows_read == rows
    assert recording["manifold_pressure"].values.max() == highest_kpa
    assert recording["manifold_pressure"].values.min() == 36
    assert recording["engine_speed"].values.max() == highest_rpm
    assert (recording["coolant_temperature"].values.min(), recording["coolant_temperature"].values.max()) == coolant
    assert recording.duration_s == pytest.approx(lasts_s, abs=1.0)
    # one signal is refreshed in each row, each of ten about once a second
    assert rows / 12 < len(recording["manifold_pressure"]) < rows / 8
    assert all(c.how == "stated" for c in recording.report.columns if c.signal)
    regimes = find_regimes(recording)
    assert not regimes.throttled
    assert regimes.idle_rpm == pytest.approx(770, abs=15)
    speed, road = recording["engine_speed"], recording["vehicle_speed"]
    idle = regimes.mask(speed.time, "idle")
    assert np.all((speed.values[idle] > 600) & (speed.values[idle] < 1250))  # cold, it idles at up to 1050 1/min
    assert np.all(road.values[regimes.mask(road.time, "idle")] <= 2)
    pedal = recording["pedal"]
    overrun = regimes.mask(pedal.time, "overrun")
    assert np.mean(pedal.values[overrun] < 17) > 0.95
    load = regimes.mask(pedal.time, "full-load")
    assert np.median(pedal.values[load]) > 45
