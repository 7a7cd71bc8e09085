"""Parquet files: one table, the first known time column, numbers as they are."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from airproof.errors import UnusableFile
from airproof.recording import clock
from airproof.recording.claims import Claim, claims, first_time, refuse_nothing_known, refuse_without_time
from airproof.recording.recording import Floats
from airproof.recording.table import Column, Table

if TYPE_CHECKING:
    from airproof.recording.mapping import SignalMap


def read_parquet(path: Path, mapping: SignalMap | None = None) -> Table:
    """The columns of a Parquet file that signals claim.

    Raises UnusableFile for a damaged file, one without time, or one without any known column.
    """
    source = path.name
    try:
        headings = list(pl.read_parquet_schema(path))
        found = claims(headings, mapping, source)
        frame = pl.read_parquet(path, columns=[h for h, claim in zip(headings, found, strict=True) if claim])
    except (pl.exceptions.PolarsError, OSError) as error:
        raise UnusableFile(
            f"the Parquet file is damaged ({str(error).splitlines()[0][:80]})",
            "a whole Parquet file",
            "Copy it again from where it was made.",
            where=source,
        ) from error
    kept = [claim for claim in found if claim is not None]
    unread = [h for h, claim in zip(headings, found, strict=True) if claim is None]
    refuse_nothing_known(kept, unread, source)
    times = [claim for claim in kept if claim.signal.name == "time"]
    rate = mapping.rate_hz if mapping is not None else None
    remarks: list[str] = []
    elapsed = True
    if times:
        lead = first_time(times)
        unread.extend(claim.heading for claim in times if claim is not lead)
        stamps = _clock(frame.get_column(lead.heading), lead, source)
        seconds, elapsed = stamps.seconds, stamps.elapsed
        remarks.append(f"{lead.heading}: {stamps.says}")
    elif rate is not None:
        seconds = np.arange(frame.height) / rate
        remarks.append(f"no time column: rows taken as {rate:g} a second, as stated")
    else:
        raise refuse_without_time(headings, source)
    columns = [
        Column(claim, _numbers(frame.get_column(claim.heading), claim)) for claim in kept if claim.signal.name != "time"
    ]
    return Table(source, seconds, columns, unread, remarks, frame.height, elapsed)


def _numbers(column: pl.Series, claim: Claim) -> Floats:
    """A column as numbers, NaN where there is none; words that stand for numbers are turned into them."""
    if column.dtype in (pl.String, pl.Categorical):
        texts = column.cast(pl.String).str.strip_chars().str.to_lowercase()
        known = dict(claim.signal.texts)
        numbers = texts.replace(known).str.replace(",", ".").cast(pl.Float64, strict=False)
    elif column.dtype.is_numeric() or column.dtype == pl.Boolean:
        numbers = column.cast(pl.Float64, strict=False)
    else:
        numbers = pl.Series(np.full(len(column), np.nan))
    return numbers.fill_null(np.nan).to_numpy()


def _clock(column: pl.Series, claim: Claim, source: str) -> clock.Clock:
    """The time column in seconds."""
    if column.dtype.is_temporal():
        if column.dtype == pl.Date:
            column = column.cast(pl.Datetime("us"))
        if column.dtype == pl.Duration:
            return clock.Clock(_seconds_of(column.dt.total_microseconds()), "time as durations")
        if column.dtype == pl.Time:
            nanoseconds = column.cast(pl.Int64)
            return clock.of_day(_seconds_of(nanoseconds.cast(pl.Float64) / 1000.0))
        return clock.Clock(_seconds_of(column.dt.epoch("us")), "date and time", elapsed=False)
    if column.dtype == pl.String:
        found = clock.from_texts(column)
        if found is not None:
            return found
        raise UnusableFile(
            f"the stamps under {claim.heading!r} cannot be understood",
            "numbers, or date and time",
            "Write the stamps in one of these ways.",
            where=source,
        )
    found = clock.from_numbers(column.cast(pl.Float64, strict=False).fill_null(np.nan).to_numpy(), claim.unit)
    if claim.how != "mapped":
        clock.refuse_too_slow(found, claim.unit, claim.heading, source)
    return found


def _seconds_of(microseconds: pl.Series) -> Floats:
    return (microseconds.cast(pl.Float64) * 1e-6).fill_null(np.nan).to_numpy()
