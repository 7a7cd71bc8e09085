"""The same table through Parquet and ASAM MDF 4 reads back the same, with the same report of what was understood."""

from __future__ import annotations

import builtins
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest

from airproof.errors import MissingExtra, UnusableFile
from airproof.recording.readers import read_recording

TIME = np.arange(200) / 10.0
SPEED = 800.0 + 50.0 * np.sin(TIME)
PRESSURE = 30_000.0 + 500.0 * np.cos(TIME)


def test_parquet_round_trip(tmp_path: Path) -> None:
    path = tmp_path / "rec.parquet"
    pl.DataFrame({"time": TIME, "engine_rpm": SPEED, "MAP (Pa)": PRESSURE, "mood": TIME}).write_parquet(path)
    recording = read_recording(path)
    assert set(recording) == {"engine_speed", "manifold_pressure"}
    np.testing.assert_array_equal(recording["engine_speed"].time, TIME)
    np.testing.assert_array_equal(recording["engine_speed"].values, SPEED)
    np.testing.assert_allclose(recording["manifold_pressure"].values, PRESSURE / 1000, rtol=1e-15)
    assert recording.report.rows_read == 200
    assert [c.heading for c in recording.report.columns if c.how == "left out"] == ["mood"]


@pytest.mark.parametrize("stamps", ["datetime", "duration", "text", "epoch"])
def test_parquet_clocks(tmp_path: Path, stamps: str) -> None:
    start = datetime(2024, 5, 17, 12, 0, 0)
    moments = [start + timedelta(seconds=float(t)) for t in TIME]
    column = {
        "datetime": pl.Series(moments),
        "duration": pl.Series([timedelta(seconds=float(t)) for t in TIME]),
        "text": pl.Series([m.isoformat(timespec="milliseconds") for m in moments]),
        "epoch": pl.Series(1.7e9 + TIME),
    }[stamps]
    path = tmp_path / "rec.parquet"
    pl.DataFrame({"Timestamp": column, "rpm": SPEED}).write_parquet(path)
    np.testing.assert_allclose(read_recording(path)["engine_speed"].time, TIME, atol=1e-6)


def test_parquet_without_time(tmp_path: Path) -> None:
    path = tmp_path / "rec.parquet"
    pl.DataFrame({"rpm": SPEED}).write_parquet(path)
    with pytest.raises(UnusableFile, match="no time column"):
        read_recording(path)


def test_truncated_parquet(tmp_path: Path) -> None:
    path = tmp_path / "rec.parquet"
    pl.DataFrame({"time": TIME, "rpm": SPEED}).write_parquet(path)
    path.write_bytes(path.read_bytes()[:-40])
    with pytest.raises(UnusableFile, match="damaged"):
        read_recording(path)


def write_mdf(path: Path) -> None:
    from asammdf import MDF, Signal

    with MDF(version="4.10") as mdf:
        mdf.append([Signal(SPEED, TIME, name="EngineSpeed", unit="rpm")], comment="fast")
        slow = TIME[::10] + 0.03
        mdf.append(
            [
                Signal(PRESSURE[::10] / 1000, slow, name="Intake Manifold Pressure", unit="kPa"),
                Signal(np.full(slow.size, 21.0), slow, name="Ambient Air Temperature", unit="°C"),
                Signal(np.arange(slow.size), slow, name="Odometer", unit="km"),
            ],
            comment="slow",
        )
        mdf.save(path, overwrite=True)


def test_mdf_round_trip_keeps_each_group_s_stamps(tmp_path: Path) -> None:
    path = tmp_path / "rec.mf4"
    write_mdf(path)
    told: list[float] = []
    recording = read_recording(path, progress=told.append)
    assert set(recording) == {"engine_speed", "manifold_pressure", "ambient_temperature"}
    np.testing.assert_array_equal(recording["engine_speed"].values, SPEED)
    np.testing.assert_allclose(recording["engine_speed"].time, TIME, atol=1e-12)
    np.testing.assert_allclose(recording["manifold_pressure"].time, TIME[::10] + 0.03, atol=1e-12)
    np.testing.assert_array_equal(recording["manifold_pressure"].values, PRESSURE[::10] / 1000)
    assert all(c.how == "stated" for c in recording.report.columns if c.signal)
    assert [c.heading for c in recording.report.columns if c.signal is None] == ["Odometer"]
    assert told[-1] == 1.0


def test_truncated_mdf(tmp_path: Path) -> None:
    path = tmp_path / "rec.mf4"
    write_mdf(path)
    path.write_bytes(path.read_bytes()[:60])
    with pytest.raises(UnusableFile, match="header block"):
        read_recording(path)


@pytest.mark.parametrize("share", [0.2, 0.5, 0.9])
def test_mdf_cut_off_anywhere_is_refused_quietly(
    tmp_path: Path, share: float, capfd: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "rec.mf4"
    write_mdf(path)
    whole = path.read_bytes()
    capfd.readouterr()
    path.write_bytes(whole[: int(share * len(whole))])
    with pytest.raises(UnusableFile, match="damaged"):
        read_recording(path)
    assert "Traceback" not in capfd.readouterr().err


def test_mdf_without_the_extra(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "rec.mf4"
    path.write_bytes(b"MDF     4.10    " + b"\0" * 48 + b"##HD" + b"\0" * 100)
    real = builtins.__import__

    def without(name: str, *args: Any, **kwargs: Any) -> Any:
        if name == "asammdf":
            raise ImportError(name)
        return real(name, *args, **kwargs)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(MissingExtra, match=r"pip install airproof\[mdf\]"):
        read_recording(path)
