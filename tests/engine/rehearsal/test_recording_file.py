"""Every way of writing is read back by Airproof's own readers, value by value."""

from __future__ import annotations

import errno
import gzip
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import ValidationError
from smooth_drive import smooth_drive

from airproof.engine.rehearsal.written import recording_file
from airproof.engine.rehearsal.written.logger import Log, data_items, log, logger_named, logger_names
from airproof.engine.rehearsal.written.recording_file import Dialect, dialect_named, dialect_names, write_recording
from airproof.errors import UnusableFile, UnusableRequest
from airproof.quantities.unit_table import UNITS
from airproof.recording.readers import read_recording
from airproof.recording.signals import signal_kind

DRIVE = smooth_drive(100.0)
LOGS = {name: log(DRIVE, logger_named(name), np.random.default_rng(3)) for name in logger_names()}


def half_a_step(signal: str) -> float:
    return min(item.step for item in data_items() if item.signal == signal) / 2


@pytest.mark.parametrize("dialect_name", dialect_names())
@pytest.mark.parametrize("logger_name", logger_names())
def test_it_is_read_back(tmp_path: Path, logger_name: str, dialect_name: str) -> None:
    stored, dialect = LOGS[logger_name], dialect_named(dialect_name)
    path = tmp_path / "drive.csv"
    write_recording(stored, path, dialect)
    recording = read_recording(path)
    assert set(recording) == set(stored.columns)
    assert recording.report.rows_read == stored.time.size
    rows = stored.time - (stored.time[0] if dialect.time == "time of day" else 0.0)
    for name, cells in stored.columns.items():
        read = recording[name]
        if logger_named(logger_name).rows == "sample-and-hold":
            assert len(read) > 1 + np.count_nonzero(np.diff(cells)[~np.isnan(cells[:-1])]) // 2
        else:
            assert len(read) == np.count_nonzero(~np.isnan(cells))
        places = np.abs(rows - read.time[:, None]).argmin(axis=1)
        # stamps are rounded, and so is the first, from which time of day is counted
        np.testing.assert_allclose(rows[places], read.time, rtol=0, atol=1.01 * 10.0**-dialect.time_decimals)
        np.testing.assert_allclose(read.values, cells[places], rtol=0, atol=half_a_step(name) * (1 + 1e-9))
    for column in recording.report.columns:
        assert column.signal is not None
        kind = signal_kind(column.signal)
        own = kind.unit
        if dialect.units_in == "nowhere":
            assert column.unit == own
            stated = column.heading == "RPM" or kind.has_no_unit  # which state their unit by themselves
            assert column.how == ("stated" if stated else "guessed")
        elif own != "1":
            assert column.how == "stated", column
            assert UNITS[column.unit or ""].kind == UNITS[own].kind
            assert column.unit == dialect.unit_of(column.signal).name
    assert not any("impossible" in remark or "readable" in remark for remark in recording.report.remarks)


def small() -> Log:
    return Log(
        np.array([0.0004, 0.25, 29.9996, 129.9996]),
        {
            "engine_speed": np.array([726.25, np.nan, 800.0, 801.0]),
            "manifold_pressure": np.array([101.0, 33.0, np.nan, 33.0]),
            "lamp": np.array([0.0, 1.0, np.nan, 1.0]),
        },
    )


# Worked out by hand: 726.25 to one decimal is a tie, and the even digit is taken; 101 kPa = 14.6488 psi, 33 = 4.7862.
# The last two stamps fall on a full minute and on midnight only when rounded.
WRITTEN = {
    "plain": "Time (s),Engine speed (1/min),Manifold pressure (kPa),Warning lamp\n"
    "0.000,726.2,101.00,0\n0.250,,33.00,1\n30.000,800.0,,\n130.000,801.0,33.00,1\n",
    "short-words": "TIME_ms,RPM_1/min,MAP_kPa,MIL,\r\n"
    "0,726.25,101.000,0.0,\r\n250,,33.000,1.0,\r\n30000,800.00,,,\r\n130000,801.00,33.000,1.0,\r\n",
    "decimal-commas": "Time;Engine speed, 1/min;Manifold pressure, hPa;Warning lamp\r\n"
    "07:41:30,000;726,2;1010,0;0\r\n07:41:30,250;-;330,0;1\r\n"
    "07:42:00,000;800,0;-;-\r\n07:43:40,000;801,0;330,0;1\r\n",
    "inches-and-pounds": "\ufeffTIME (s),RPM (rpm),MAP (psi),MIL\n"
    "0.000,726.2,14.649,0\n0.250,,4.786,1\n30.000,800.0,,\n130.000,801.0,4.786,1\n",
    "units-in-cells": "Time;Engine speed;Manifold pressure;Warning lamp\n"
    "23:57:50.000;726.2 rpm;101.00 kPa;0\n23:57:50.250;-;33.00 kPa;1\n"
    "23:58:20.000;800.0 rpm;-;-\n00:00:00.000;801.0 rpm;33.00 kPa;1\n",
    "unit-row": "Time;Engine speed;Manifold pressure;Warning lamp\ns;min-1;bar;\n"
    "0.000;726.2;1.0100;0\n0.250;;0.3300;1\n30.000;800.0;;\n130.000;801.0;0.3300;1\n",
}


@pytest.mark.parametrize("name", WRITTEN)
def test_how_it_is_written(tmp_path: Path, name: str) -> None:
    path = tmp_path / "small.csv"
    write_recording(small(), path, dialect_named(name))
    assert path.read_bytes().decode("utf-8") == WRITTEN[name]


@settings(max_examples=60, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.floats(0.005, 19.9), min_size=3, max_size=60), st.sampled_from(dialect_names()))
def test_any_stamps_are_read_back(tmp_path: Path, pauses: list[float], name: str) -> None:
    if not dialect_named(name).units:  # seconds without their unit are taken for milliseconds where rows are far apart
        pauses = [min(pause, 2.0) for pause in pauses]
    least = 2.0 * 10.0 ** -dialect_named(name).time_decimals  # two rows with one stamp are moved apart
    time = np.cumsum(np.maximum(pauses, least))
    speed = 800.0 + 0.25 * np.arange(time.size) ** 2
    path, dialect = tmp_path / "stamps.csv", dialect_named(name)
    write_recording(Log(time, {"engine_speed": speed}), path, dialect)
    read = read_recording(path)["engine_speed"]
    start = time[0] if dialect.time == "time of day" else 0.0
    assert len(read) == time.size
    np.testing.assert_allclose(read.time, time - start, rtol=0, atol=2.01 * 10.0**-dialect.time_decimals)


@pytest.mark.parametrize("name", dialect_names())
def test_packed_by_its_name_and_the_same_each_time(tmp_path: Path, name: str) -> None:
    plain, packed, again = tmp_path / "a.csv", tmp_path / "a.csv.gz", tmp_path / "b.csv.gz"
    for path in (plain, packed, again):
        write_recording(LOGS["grouped"], path, dialect_named(name))
    assert gzip.decompress(packed.read_bytes()) == plain.read_bytes()
    assert packed.read_bytes() == again.read_bytes()
    assert packed.read_bytes()[3:8] == bytes(5)  # RFC 1952: neither a name nor a date in it
    assert set(read_recording(packed)) == set(LOGS["grouped"].columns)


def test_whole_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "drive.csv"
    path.write_text("what was there")

    def full_disk(_log: Log, _dialect: Dialect) -> Iterator[str]:
        yield "Time (s)\n"
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(recording_file, "_text", full_disk)
    with pytest.raises(UnusableFile, match="No space left on device"):
        write_recording(small(), path, dialect_named("plain"))
    assert [one.name for one in tmp_path.iterdir()] == ["drive.csv"]
    assert path.read_text() == "what was there"


def test_a_place_that_cannot_be_written_is_refused(tmp_path: Path) -> None:
    (tmp_path / "folder").mkdir()
    (tmp_path / "file").write_text("")
    for path in (tmp_path / "folder", tmp_path / "nowhere" / "drive.csv", tmp_path / "file" / "drive.csv"):
        with pytest.raises(UnusableFile, match="cannot be written"):
            write_recording(small(), path, dialect_named("plain"))
    assert sorted(one.name for one in tmp_path.iterdir()) == ["file", "folder"]


@pytest.mark.parametrize(
    ("time", "columns"),
    [
        (np.arange(3.0), {}),
        (np.arange(3.0), {"engine_speed": np.zeros(2)}),
        (np.arange(3.0), {"engine_speed": np.array([0.0, np.inf, 0.0])}),
        (np.arange(3.0), {"oil_pressure": np.zeros(3)}),
        (np.array([0.0, np.nan, 2.0]), {"engine_speed": np.zeros(3)}),
        (np.zeros((3, 1)), {"engine_speed": np.zeros((3, 1))}),
    ],
)
def test_a_log_that_is_no_table_is_refused(tmp_path: Path, time: np.ndarray, columns: dict[str, np.ndarray]) -> None:
    with pytest.raises(UnusableRequest, match="no table"):
        write_recording(Log(time, columns), tmp_path / "drive.csv", dialect_named("plain"))
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    "changes",
    [
        {"decimal": ","},
        {"units": {"kPa": "km/h"}},
        {"units": {"kPa": "kPa gauge"}},
        {"units": {"kPa": "furlongs"}},
        {"heading": "{name}, {unit}"},
        {"names": {"engine_speed": "Engine speed"}},
        {"heading": "{name} λ {unit}", "encoding": "cp1252"},
        {"source": ""},
    ],
)
def test_a_dialect_that_could_not_be_read_back_is_refused(changes: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        Dialect.model_validate(dialect_named("plain").model_dump() | changes)


def test_an_unknown_dialect_is_refused_by_name() -> None:
    with pytest.raises(UnusableRequest, match="plain, short-words"):
        dialect_named("fancy")
