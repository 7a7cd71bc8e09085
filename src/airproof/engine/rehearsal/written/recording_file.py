"""What a logger stored, written as a text table in one of several ways; all of them are data (data/loggers.toml)."""

from __future__ import annotations

import contextlib
import datetime
import gzip
import io
import math
import os
import tempfile
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import IO, Annotated, Literal, Self

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, model_validator

from airproof.engine.rehearsal.tables import tables
from airproof.engine.rehearsal.trace import Floats
from airproof.engine.rehearsal.written.logger import DATA, OURS, Log, data_items, entries, named
from airproof.errors import BrokenKnowledge, UnusableFile, UnusableRequest
from airproof.quantities.unit_table import UNITS, Unit, canonical
from airproof.recording.signals import signal_kind

_ROWS_AT_ONCE = 4096
_NO_UNIT = "1"
_GZIP_LEVEL = 3


class Dialect(BaseModel):
    """One way of writing a recording. What each part means stands in the data."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: str
    says: str = ""
    names: Mapping[str, str]
    heading: str
    blank: str = " "
    units: Mapping[str, str] = {}
    units_in: Literal["heading", "cells", "row", "nowhere"] = "heading"
    delimiter: Literal[",", ";", "\t"] = ","
    decimal: Literal[".", ","] = "."
    time: Literal["seconds", "milliseconds", "time of day"] = "seconds"
    begins: datetime.time = datetime.time()
    time_decimals: Annotated[int, Field(ge=0, le=6)] = 3
    more_decimals: Annotated[int, Field(ge=0, le=6)] = 0
    trailing_delimiter: bool = False
    missing: Literal["", "-", "n/a"] = ""
    encoding: Literal["utf-8", "utf-8-sig", "utf-16", "cp1252"] = "utf-8"
    line_end: Literal["\n", "\r\n"] = "\n"
    source: Annotated[str, Field(min_length=1)]

    @model_validator(mode="after")
    def _can_be_read_back(self) -> Self:
        signals = {item.signal for item in data_items()}
        nameless = sorted({"time", *signals} - self.names.keys())
        if nameless:
            raise ValueError(f"no name for {', '.join(nameless)}")
        if self.decimal == self.delimiter:
            raise ValueError("decimal sign and delimiter are the same")
        for name in sorted(signals):
            self.unit_of(name)
        cells = [cell for line in self.headings(sorted(signals)) for cell in line]
        "".join(cells).encode(self.encoding)
        if any(mark in cell for cell in cells for mark in (self.delimiter, "\n", '"')):
            raise ValueError("a heading holds a delimiter, a quote or a line end")
        return self

    def unit_of(self, signal: str) -> Unit:
        """The unit that values of a signal are written in."""
        own = UNITS[signal_kind(signal).unit]
        found = canonical(self.written_unit(signal) or _NO_UNIT)
        if found is None or found.kind != own.kind or found.reference not in (None, "absolute"):
            raise ValueError(f"{signal} cannot be written in {self.written_unit(signal)!r}")
        return found

    def written_unit(self, signal: str) -> str:
        """The unit of a signal as it is spelt here; empty where there is none."""
        own = signal_kind(signal).unit
        return self.units.get(signal, self.units.get(own, "" if own == _NO_UNIT else own))

    def headings(self, signals: list[str]) -> list[list[str]]:
        """The line of headings, time first, and the line of units where there is one."""
        time_unit = {"seconds": "s", "milliseconds": "ms", "time of day": ""}[self.time]
        units = [time_unit, *map(self.written_unit, signals)]
        names = [self.names[name].replace(" ", self.blank) for name in ("time", *signals)]
        if self.units_in == "heading":
            both = [self.heading.replace("{name}", n).replace("{unit}", u) for n, u in zip(names, units, strict=True)]
            names = [heading if unit else name for heading, name, unit in zip(both, names, units, strict=True)]
        return [names, units] if self.units_in == "row" else [names]


def dialect_named(name: str) -> Dialect:
    """The dialect of that name. Raises UnusableRequest, naming those there are."""
    return named("dialect", name, _dialects())


def dialect_names() -> tuple[str, ...]:
    """The dialects there are, the plainest first."""
    return tuple(_dialects())


@cache
def _dialects() -> Mapping[str, Dialect]:
    lists = {key: dict(names) for key, names in tables("loggers")["names"].items()}
    if not all(names.pop("source", "") for names in lists.values()):
        raise BrokenKnowledge("a list of names has no source", "a source for each", OURS, where=DATA)
    raw = [entry | {"names": lists.get(entry["names"], {})} for entry in tables("loggers")["dialect"]]
    return {dialect.name: dialect for dialect in entries("dialect", Dialect, raw)}


def write_recording(log: Log, path: Path, dialect: Dialect) -> None:
    """Write what a logger stored as a text table, gzipped where the name ends in .gz; whole or not at all.

    Values are rounded so far that two codes of the standard stay apart. The same log gives the same bytes.

    Raises UnusableRequest for a log that is not a table of known signals with a finite time, and UnusableFile where
    the file cannot be written; what was there before then stays.
    """
    _check(log)
    path = Path(path)
    passing = None
    try:
        handle, passing = tempfile.mkstemp(prefix=".airproof-", dir=path.parent)
        with os.fdopen(handle, "wb") as file:
            _write(log, file, dialect, packed=path.suffix.lower() == ".gz")
        Path(passing).chmod(0o644)
        Path(passing).replace(path)
    except OSError as fault:
        raise UnusableFile(
            f"it cannot be written ({fault.strerror or fault})",
            "the name of a file in a folder that exists, may be written to and has room",
            "Give another place, or make room.",
            where=str(path),
        ) from fault
    finally:
        if passing is not None:
            with contextlib.suppress(OSError):
                Path(passing).unlink(missing_ok=True)


def _check(log: Log) -> None:
    known = {item.signal for item in data_items()}
    unknown = sorted(log.columns.keys() - known)
    odd = [name for name, values in log.columns.items() if values.shape != log.time.shape or np.isinf(values).any()]
    if unknown or odd or log.time.ndim != 1 or not log.columns or not np.isfinite(log.time).all():
        raise UnusableRequest(
            f"the log is no table of known signals (odd columns: {', '.join(unknown + odd) or 'time'})",
            "columns as long as the time, finite or empty, named as in the signals' table",
            OURS,
        )


def _write(log: Log, file: IO[bytes], dialect: Dialect, *, packed: bool) -> None:
    """The whole text into an open file, which is closed; packed without a date, so that equal logs give equal files."""
    stream = gzip.GzipFile("", "wb", _GZIP_LEVEL, file, mtime=0) if packed else file
    with io.TextIOWrapper(stream, encoding=dialect.encoding, newline="") as text:
        text.writelines(_text(log, dialect))


def _text(log: Log, dialect: Dialect) -> Iterator[str]:
    """The headings, then the rows piece by piece.

    One format for a whole piece and all its numbers at once: several times faster than cell by cell.
    """
    end = dialect.delimiter * dialect.trailing_delimiter + dialect.line_end
    signals = list(log.columns)
    for line in dialect.headings(signals):
        yield dialect.delimiter.join(line) + end
    stamp, columns = _stamps(log.time, dialect)
    cells, ends = [stamp], {""}
    for name, values in log.columns.items():
        written, decimals = _in_written_unit(name, values, dialect)
        unit = dialect.written_unit(name)
        after = f" {unit}" if unit and dialect.units_in == "cells" else ""
        ends.add(after)
        cells.append(f"%.{decimals}f" + after.replace("%", "%%"))
        columns.append(written)
    row = dialect.delimiter.join(cells) + end
    table = np.column_stack(columns)
    for start in range(0, len(table), _ROWS_AT_ONCE):
        piece = table[start : start + _ROWS_AT_ONCE]
        text = row * len(piece) % tuple(piece.ravel().tolist())
        if dialect.decimal != ".":
            text = text.replace(".", dialect.decimal)
        for after in sorted(ends, key=len, reverse=True):
            text = text.replace(f"nan{after}", dialect.missing)
        yield text


def _stamps(time: Floats, dialect: Dialect) -> tuple[str, list[Floats]]:
    """How a stamp is written, and the numbers it is made of."""
    if dialect.time == "seconds":
        return f"%.{dialect.time_decimals}f", [time]
    if dialect.time == "milliseconds":
        return "%.0f", [time * 1e3]
    begins = dialect.begins.hour * 3600 + dialect.begins.minute * 60 + dialect.begins.second
    decimals = dialect.time_decimals
    # Rounded first, or 59.9996 would become 60.000 within its minute.
    seconds = np.round(time + begins, decimals) % 86400.0
    minutes = np.floor(seconds / 60.0)
    width = decimals + 3 if decimals else 2
    return f"%02d:%02d:%0{width}.{decimals}f", [minutes // 60.0, minutes % 60.0, seconds - 60.0 * minutes]


def _in_written_unit(signal: str, values: Floats, dialect: Dialect) -> tuple[Floats, int]:
    """Values in the unit they are written in, and the decimals it takes to keep neighbouring codes apart."""
    own, given = UNITS[signal_kind(signal).unit], dialect.unit_of(signal)
    written = values
    if given.name != own.name:
        written = (values * own.factor + own.offset - given.offset) / given.factor
    finest = min(item.step for item in data_items() if item.signal == signal) * own.factor / given.factor
    decimals = max(0, math.ceil(-math.log10(finest) - 1e-9))
    return written, decimals + dialect.more_decimals
