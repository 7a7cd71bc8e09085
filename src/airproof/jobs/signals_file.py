"""The signals of a recording as Parquet, one row each: all its stamps and values exactly, and how they were read.

| column | holds |
|---|---|
| signal, unit | as in signals.toml: pressures kPa absolute, temperatures degC, time s |
| time, value | lists of the same length |
| resolution | the step the values are rounded to, or null |
| about | in the first row: label and reading report, as JSON |
"""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import Any, BinaryIO, cast

import numpy as np
import polars as pl

from airproof.errors import UnusableFile
from airproof.recording.recording import ColumnReading, ReadReport, Recording, Signal
from airproof.recording.signals import glossary

WANTED = "signals as airproof writes them"
WAY_OUT = "Export the job again."
MOST_ABOUT = 1 << 22  # letters
COLUMNS: dict[str, pl.DataType | type[pl.DataType]] = {
    "signal": pl.String,
    "unit": pl.String,
    "time": pl.List(pl.Float64),
    "value": pl.List(pl.Float64),
    "resolution": pl.Float64,
    "about": pl.String,
}


_DAMAGED = (pl.exceptions.PolarsError, OSError, ValueError, TypeError, KeyError, AttributeError, RecursionError)


def write_signals(recording: Recording, file: BinaryIO) -> None:
    """Write all signals of a recording, in the order of their names.

    Raises OSError where the disk does not take them.
    """
    signals = [recording[name] for name in sorted(recording)]
    about = json.dumps({"label": recording.label, "report": asdict(recording.report)}, sort_keys=True)
    frame = pl.DataFrame(
        {
            "signal": [one.name for one in signals],
            "unit": [one.unit for one in signals],
            "time": [one.time for one in signals],
            "value": [one.values for one in signals],
            "resolution": [one.resolution for one in signals],
            "about": [about if number == 0 else None for number in range(len(signals))],
        },
        schema=COLUMNS,
    )
    try:
        frame.write_parquet(file, compression="zstd", statistics=False)
    except pl.exceptions.PolarsError as fault:  # so a full disk is told of there
        raise OSError(str(fault)) from fault


def read_signals(path: Path, where: str = "") -> Recording:
    """The recording in such a file.

    Raises UnusableFile for a damaged one, and for signals that cannot be.
    """
    where = where or path.name
    try:
        if pl.read_parquet_schema(path) != COLUMNS:
            raise UnusableFile("its columns are others", WANTED, WAY_OUT, where=where)
        frame = pl.read_parquet(path)
        signals = [_signal(row, where) for row in frame.iter_slices(1)]
        label, report = _about(frame, where)
    except _DAMAGED as fault:
        if isinstance(fault, UnusableFile):
            raise
        words = (str(fault).splitlines() or [type(fault).__name__])[0][:80]
        raise UnusableFile(f"the Parquet file is damaged ({words})", WANTED, WAY_OUT, where=where) from fault
    found = {one.name: one for one in signals}
    if len(found) != len(signals):
        raise UnusableFile("a signal is in it twice", WANTED, WAY_OUT, where=where)
    return Recording(found, label=label, report=report)


def _signal(row: pl.DataFrame, where: str) -> Signal:
    name = row["signal"][0]
    kind = glossary().signals.get(name)
    if kind is None or kind.unit != row["unit"][0]:
        raise UnusableFile(f"{name!r} in {row['unit'][0]!r} is not a signal", WANTED, WAY_OUT, where=where)
    time, values = (np.ascontiguousarray(row[column].explode().drop_nulls().to_numpy()) for column in ("time", "value"))
    whole = time.shape == values.shape and np.isfinite(time).all() and np.isfinite(values).all()
    if not whole or (time[1:] < time[:-1]).any():
        raise UnusableFile(f"{name} is not a signal over time", WANTED, WAY_OUT, where=where)
    return Signal(name, kind.unit, time, values, cast("float | None", row["resolution"][0]))


def _about(frame: pl.DataFrame, where: str) -> tuple[str, ReadReport]:
    if not frame.height:
        raise UnusableFile("it holds no signal", WANTED, WAY_OUT, where=where)
    text = frame["about"][0] or "{}"
    if len(text) > MOST_ABOUT:
        raise UnusableFile("what it says of itself is too long", WANTED, WAY_OUT, where=where)
    about: dict[str, Any] = json.loads(text)
    report: dict[str, Any] = about.get("report", {})
    columns = tuple(ColumnReading(**column) for column in report.pop("columns", ()))
    remarks = tuple(str(remark) for remark in report.pop("remarks", ()))
    return str(about.get("label", "recording")), ReadReport(**report, columns=columns, remarks=remarks)
