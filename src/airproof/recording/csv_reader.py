"""Text tables (CSV and its kin), plain or gzipped, read block by block.

Only the columns that some signal claims are turned into numbers. A cell that is no bare number is looked at once
more ("101 kPa", "1.234,5", "closed loop"); what still cannot be read is counted and said.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from airproof.errors import UnusableFile
from airproof.recording import clock
from airproof.recording.cells import is_number, is_stamp, number_with_suffix
from airproof.recording.claims import claims, is_run_time, refuse_nothing_known, refuse_without_time
from airproof.recording.csv_column import CsvColumn
from airproof.recording.headings import recognise
from airproof.recording.line_blocks import GZIP_MAGIC, INNER_DELIMITER, ByteSource, ahead, whole_lines, without_quotes
from airproof.recording.recording import Floats
from airproof.recording.sniff import SAMPLE_BYTES, Layout, layout_of
from airproof.recording.table import Column, Progress, Table

if TYPE_CHECKING:
    from airproof.recording.mapping import SignalMap

_VIN = re.compile(r"\bVIN\b|vehicle identification", re.IGNORECASE)
_AT_ONCE = 1 << 20  # bytes of a packed file that may be unpacked whole, some 10 MB then
_FEW = 0.05  # share of rows up to which only these rows are looked at again, not the whole block


def read_csv(path: Path, mapping: SignalMap | None = None, progress: Progress | None = None) -> Table:
    """The columns of a text table that signals claim, with time in seconds.

    Raises UnusableFile where there is no table, no time, no column that any signal claims, or more than one car.
    """
    source = path.name
    with path.open("rb") as file:
        stream = ByteSource(file)
        whole = path.stat().st_size
        blocks = stream.blocks()
        held: list[bytes] = []
        size = 0
        for block in blocks:
            held.append(block)
            size += len(block)
            if size > SAMPLE_BYTES:
                break
        if not held:
            given = f"{stream.broken} before any row" if stream.broken else "the file is empty"
            raise UnusableFile(given, "a recording", "Copy the file again from where it was made.", where=source)
        sample = held[0][:SAMPLE_BYTES] if len(held) == 1 else b"".join(held)[:SAMPLE_BYTES]
        layout = layout_of(sample, source, whole=size <= SAMPLE_BYTES)
        reader = _TableReader(layout, source, mapping)
        if stream.gzipped and whole == stream.done <= _AT_ONCE and reader.take_at_once(path.read_bytes()):
            if progress is not None:
                progress(1.0)
            return reader.table()
        ready = whole_lines(_all(held, blocks), layout.encoding, layout.skip, reader.head)
        for lines in ahead(ready) if whole > stream.done else ready:
            reader.take(lines)
            if progress is not None:
                progress(min(stream.done / max(whole, 1), 1.0))
    table = reader.table()
    if stream.broken:
        table.remarks.insert(0, f"{stream.broken}: the {table.rows} rows before that are kept")
    return table


def _all(held: list[bytes], rest: Iterator[bytes]) -> Iterator[bytes]:
    while held:
        yield held.pop(0)
    yield from rest


class _TableReader:
    """Turns blocks of lines into columns of numbers."""

    def __init__(self, layout: Layout, source: str, mapping: SignalMap | None) -> None:
        self.layout = layout
        self.source = source
        self.remarks = list(layout.remarks)
        self.rows = self.lines = 0
        self.names = [f"c{n}" for n in range(max(len(layout.headings), 1))]
        self.head = layout.delimiter.join(self.names).encode() + b"\n"
        self.rate_hz = (mapping.rate_hz if mapping is not None else None) or layout.rate_hz
        found = claims(layout.headings, mapping, source)
        columns = [CsvColumn(n, claim) for n, claim in enumerate(found) if claim is not None]
        self.unread = [h for h, claim in zip(layout.headings, found, strict=True) if claim is None and h]
        self.columns = [c for c in columns if c.claim.signal.name != "time"]
        refuse_nothing_known([c.claim for c in self.columns], self.unread, source)
        times = sorted((c for c in columns if c.claim.signal.name == "time"), key=self._time_rank, reverse=True)
        self.time = times[0] if times else None
        self.unread.extend(c.claim.heading for c in times[1:])
        if self.time is None and self.rate_hz is None:
            raise refuse_without_time(layout.headings, source)
        self.read = [self.time, *self.columns] if self.time is not None else self.columns
        for column in self.read:
            column.judge(layout.rows, decimal_comma=layout.decimal_comma)
        self.vin = next((n for n, heading in enumerate(layout.headings) if _VIN.search(heading)), None)
        self.car = ""

    def _time_rank(self, column: CsvColumn) -> tuple[bool, bool, bool, bool, int]:
        """Mapped first, readable stamps, run time since engine start last; then a clock, then the finer stamps."""
        cells = [row[column.index] for row in self.layout.rows if column.index < len(row)]
        readable = any(is_number(cell) or is_stamp(cell) or number_with_suffix(cell) for cell in cells)
        mapped, run_time = column.claim.how == "mapped", is_run_time(column.claim.heading)
        return mapped, readable, not run_time, any(":" in cell for cell in cells), len(set(cells))

    def take(self, lines: bytes) -> None:
        """Read one block of whole lines, `head` before them."""
        delimiter = self.layout.delimiter.encode()
        head = lines[:SAMPLE_BYTES]
        for end in (delimiter, b"\n", b"\r\n"):
            if b" " + end in head:
                lines = lines.replace(b" " + end, end)
        if self.layout.quoted:
            lines = without_quotes(lines, self.layout.delimiter)
        texts = {c.index for c in self.read if c.as_text}
        numbers = {c.index for c in self.read} - texts
        if self.vin is not None:
            texts.add(self.vin)
        frame = self._parse(lines, numbers, texts)
        if self.vin is not None:
            self._one_car(frame.get_column(f"c{self.vin}"))
        frame = self._looked_at_again(lines, frame)
        self.lines += frame.height
        if frame.get_column(self.read[0].name).null_count():  # blank lines and repeated headings are no rows
            frame = frame.filter(~pl.all_horizontal(pl.all().is_null()))
        self.rows += frame.height
        for column in self.read:
            piece = frame.get_column(column.name)
            if column.as_text and self.layout.quoted:
                piece = piece.str.replace_all(INNER_DELIMITER, self.layout.delimiter, literal=True)
            column.take(piece)

    def take_at_once(self, packed: bytes) -> bool:
        """Read a small gzip file in one go, unpacked by the parser itself, in about half the time.

        Only where the first rows are full, bare numbers in plain lines; returns False, with nothing taken, where any
        cell of the file then turns out to be something else.
        """
        layout = self.layout
        plain = layout.encoding == "utf-8" and not layout.quoted and not layout.comments and self.vin is None
        full = all(c.index < len(row) and row[c.index] for c in self.read for row in layout.rows)
        if not plain or not full or any(c.as_text for c in self.read) or packed.count(GZIP_MAGIC + b"\x08") > 1:
            return False
        width = max(map(len, layout.rows))
        numbers = {c.index for c in self.read}
        try:
            frame = pl.read_csv(
                packed,
                has_header=False,
                skip_lines=layout.skip,
                separator=layout.delimiter,
                decimal_comma=layout.decimal_comma,
                quote_char=None,
                schema={f"column_{n + 1}": pl.Float64 if n in numbers else pl.String for n in range(width)},
                columns=[f"column_{n + 1}" for n in sorted(numbers)],
                truncate_ragged_lines=True,
                ignore_errors=True,
            )
        except (pl.exceptions.PolarsError, OSError, ValueError):
            return False
        if not frame.height or any(frame.null_count().row(0)):
            return False
        self.rows = frame.height
        for column in self.read:
            column.take(frame.get_column(f"column_{column.index + 1}"))
        return True

    def _parse(self, lines: bytes, numbers: set[int], texts: set[int]) -> pl.DataFrame:
        """The wanted columns of some lines under their head; cells that are no bare numbers become null."""
        return pl.read_csv(
            lines,
            separator=self.layout.delimiter,
            decimal_comma=self.layout.decimal_comma,
            quote_char=None,
            comment_prefix=self.layout.comments,
            schema={name: pl.Float64 if n in numbers else pl.String for n, name in enumerate(self.names)},
            columns=[f"c{n}" for n in sorted(numbers | texts)],
            truncate_ragged_lines=True,
            ignore_errors=True,
        )

    def _looked_at_again(self, lines: bytes, frame: pl.DataFrame) -> pl.DataFrame:
        """The frame with cells that were no bare numbers read once more as text."""
        holes = [c for c in self.read if not c.as_text and frame.get_column(c.name).null_count()]
        if not holes:
            return frame
        rows, part = self._rows_with_holes(lines, frame, holes)
        cells = self._parse(part, set(), {c.index for c in holes})
        if self.layout.quoted:
            cells = cells.with_columns(pl.all().str.replace_all(INNER_DELIMITER, self.layout.delimiter, literal=True))
        if cells.height != rows.size:
            return frame
        row_list = rows.tolist()
        heads: set[int] | None = None
        mended: list[pl.Series] = []
        for column in holes:
            texts = cells.get_column(column.name)
            missing = frame.get_column(column.name).is_null().to_numpy()[rows]
            odd = np.flatnonzero(missing & texts.is_not_null().to_numpy())
            if not odd.size:
                continue
            if heads is None:
                heads = self._second_header(cells, holes, odd.tolist(), row_list)
            places = [n for n in odd.tolist() if n not in heads]
            piece = frame.get_column(column.name)
            mended.append(column.mended(piece, [row_list[n] for n in places], texts.gather(places).to_list()))
        return frame.with_columns(mended) if mended else frame

    def _rows_with_holes(self, lines: bytes, frame: pl.DataFrame, holes: list[CsvColumn]) -> tuple[np.ndarray, bytes]:
        """The rows in which a cell was no bare number, and their lines: all of them where they are many."""
        everything = np.arange(frame.height)
        marked = np.zeros(frame.height, dtype=bool)
        for column in holes:
            marked |= frame.get_column(column.name).is_null().to_numpy()
        rows = np.flatnonzero(marked)
        if rows.size > _FEW * frame.height or self.layout.comments:
            return everything, lines
        ends = np.flatnonzero(np.frombuffer(lines, dtype=np.uint8) == 10)
        if not lines.endswith(b"\n"):
            ends = np.append(ends, len(lines))
        if ends.size != frame.height + 1:
            return everything, lines
        begins = np.concatenate(([0], ends[:-1] + 1))
        begins, ends = begins[1:], ends[1:]  # the head is no row
        part = b"\n".join(lines[a:b] for a, b in zip(begins[rows].tolist(), ends[rows].tolist(), strict=True))
        return rows, self.head + part + b"\n"

    def _second_header(self, cells: pl.DataFrame, holes: list[CsvColumn], odd: list[int], rows: list[int]) -> set[int]:
        """Headings once more among the numbers: the same again are a recording appended, others another one.

        Returns the places of the same; raises UnusableFile for others, naming the line.
        """
        heads: set[int] = set()
        for place in odd:
            found = [(c, (cells.get_column(c.name)[place] or "").strip(' "')) for c in holes]
            if all(cell == c.claim.heading.strip() for c, cell in found if cell):
                heads.add(place)
                continue
            others = [cell for c, cell in found if cell[:1].isalpha() and cell != c.claim.heading and recognise(cell)]
            if others and len(others) * 2 >= sum(bool(cell) for _, cell in found) - 1:
                line = self.layout.skip + self.lines + rows[place] + 1
                raise UnusableFile(
                    f"line {line} begins a second recording with other columns ({', '.join(others[:4])})",
                    "one recording of one car in a file",
                    f"Split the file before line {line}.",
                    where=self.source,
                )
        return heads

    def _one_car(self, cells: pl.Series) -> None:
        """Raise UnusableFile where the file names two vehicles."""
        numbers = cells.str.strip_chars(' "')
        for number in numbers.filter(numbers.str.contains("^[A-Za-z0-9]{11,17}$")).unique(maintain_order=True):
            if self.car and number != self.car:
                line = self.layout.skip + self.lines + int((numbers == number).arg_max() or 0) + 1
                raise UnusableFile(
                    f"there are two cars in it ({self.car} and, from line {line} on, {number})",
                    "one recording of one car in a file",
                    f"Split the file before line {line}.",
                    where=self.source,
                )
            self.car = number

    def table(self) -> Table:
        """All that was read, time in seconds."""
        if not self.rows:
            raise UnusableFile(
                "there are headings but no rows under them",
                "a line of numbers for each moment",
                "Give a file that holds a recording.",
                where=self.source,
            )
        seconds, elapsed = self._seconds()
        columns = []
        for column in self.columns:
            values = column.values()
            columns.append(Column(column.claim, values, column.unit_beside(self.layout.units)))
            self._say_cells(column)
        return Table(self.source, seconds, columns, self.unread, self.remarks, self.rows, elapsed)

    def _say_cells(self, column: CsvColumn) -> None:
        heading, unread = column.claim.heading, column.unread
        if unread:
            plural = "s" * (unread != 1)
            self.remarks.append(f"{heading}: {unread} cell{plural} without a readable number left out")
        if column.mixed and column.cell_unit is not None:
            self.remarks.append(f"{heading}: its cells state several units; all turned into {column.cell_unit.unit}")

    def _seconds(self) -> tuple[Floats, bool]:
        """The time of each row in seconds, and whether it counts from a start of its own."""
        column = self.time
        if column is None:
            rate = self.rate_hz or 1.0
            self.remarks.append(f"no time column: rows taken as {rate:g} a second, as stated")
            return np.arange(self.rows) / rate, True
        texts = column.texts()
        found = clock.from_texts(texts) if texts is not None else None
        if found is None:
            values = column.values()
            found = clock.from_numbers(values, column.claim.unit or column.unit_beside(self.layout.units))
        if not np.isfinite(found.seconds).any():
            cells = [row[column.index] for row in self.layout.rows if column.index < len(row)]
            raise UnusableFile(
                f"the stamps under {column.claim.heading!r} cannot be understood (for example {cells[:1]})",
                "elapsed s, ms or min, time of day as 13:41:34.6, or date and time as 2024-05-17 13:41:34.6",
                "Write the stamps in one of these ways.",
                where=self.source,
            )
        self.remarks.append(f"{column.claim.heading}: {found.says}")
        return found.seconds, found.elapsed
