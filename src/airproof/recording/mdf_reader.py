"""ASAM MDF 4 measurement files, through the optional asammdf; each channel keeps its group's own stamps."""

from __future__ import annotations

import gc
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from airproof.errors import MissingExtra, UnusableFile
from airproof.recording.claims import Claim, claims, refuse_nothing_known
from airproof.recording.table import Column, Progress, Table
from airproof.recording.units_stated import StatedUnit, stated_unit

if TYPE_CHECKING:
    from airproof.recording.mapping import SignalMap


def read_mdf(path: Path, mapping: SignalMap | None = None, progress: Progress | None = None) -> Table:
    """The channels of an MDF file that signals claim.

    Raises MissingExtra where asammdf is not installed, UnusableFile for a damaged file or one without a known channel.
    """
    try:
        from asammdf import MDF
    except ImportError as error:
        raise MissingExtra(
            f"{path.name} is an ASAM MDF file, and the part that reads them is not installed",
            "the mdf extra",
            "Install it: pip install airproof[mdf]",
        ) from error
    source = path.name
    with path.open("rb") as file:
        if file.read(68)[64:68] != b"##HD":
            raise UnusableFile(
                "the MDF file has no header block",
                "a whole ASAM MDF 4 file",
                "Export it again, as MDF 4 or as CSV.",
                where=source,
            )
    try:
        with MDF(path) as mdf:
            return _table(mdf, source, mapping, progress)
    except UnusableFile:
        raise
    except Exception as error:  # asammdf raises whatever its parsers meet in a damaged file
        raise _damaged(error, source) from None


def _damaged(error: Exception, source: str) -> UnusableFile:
    """The error for a damaged file."""
    let_go(error)
    return UnusableFile(
        f"the MDF file is damaged or of a version that cannot be read ({type(error).__name__}: {str(error)[:80]})",
        "an ASAM MDF 4 file",
        "Export it again, as MDF 4 or as CSV.",
        where=source,
    )


def let_go(error: Exception) -> None:
    """Throw away what asammdf leaves half built in a damaged file: it complains on the error stream, here unheard."""
    loud, sys.unraisablehook = sys.unraisablehook, lambda _: None
    try:
        error.with_traceback(None)
        error.__context__ = None
        gc.collect()
    finally:
        sys.unraisablehook = loud


def _table(mdf: Any, source: str, mapping: SignalMap | None, progress: Progress | None) -> Table:
    """The claimed channels, each with its own time."""
    places: list[tuple[str, int, int]] = []
    for number, group in enumerate(mdf.groups):
        master = mdf.masters_db.get(number)
        places.extend(
            (str(channel.name), number, index) for index, channel in enumerate(group.channels) if index != master
        )
    names = list(dict.fromkeys(name for name, _, _ in places))
    found = dict(zip(names, claims(names, mapping, source), strict=True))
    kept: list[tuple[Claim, int, int]] = []
    for name, number, index in places:
        claim = found[name]
        if claim is not None and claim.signal.name != "time":
            kept.append((claim, number, index))
    unread = [name for name in names if found[name] is None]
    refuse_nothing_known([claim for claim, _, _ in kept], unread, source)
    columns: list[Column] = []
    remarks: list[str] = []
    rows = 0
    for done, (claim, number, index) in enumerate(kept):
        channel = mdf.get(group=number, index=index)
        if progress is not None:
            progress((done + 1) / len(kept))
        values = np.asarray(channel.samples)
        if values.ndim != 1 or not (np.issubdtype(values.dtype, np.number) or values.dtype == bool):
            remarks.append(f"{claim.heading}: its channel holds no plain numbers and was left out")
            unread.append(claim.heading)
            continue
        invalid = getattr(channel, "invalidation_bits", None)
        numbers = values.astype(np.float64)
        if invalid is not None:
            bits = np.asarray(invalid, dtype=bool)
            if bits.shape == numbers.shape and bits.any():
                numbers[bits] = np.nan
                remarks.append(f"{claim.heading}: {int(bits.sum())} values marked invalid in the file were set aside")
        rows = max(rows, numbers.size)
        time = np.asarray(channel.timestamps, dtype=np.float64)
        columns.append(Column(claim, numbers, _unit(channel.unit), time))
    if not columns:
        raise UnusableFile(
            "no known channel holds numbers",
            "at least one known signal, such as engine speed or manifold pressure",
            "Record one of them. Or name the channels in a MAP.toml and give it with --signals.",
            where=source,
        )
    return Table(source, np.empty(0), columns, unread, remarks, rows)


def _unit(text: object) -> StatedUnit | None:
    return stated_unit(text) if isinstance(text, str) else None
