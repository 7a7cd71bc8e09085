"""Text tables (CSV and its kin), plain or gzipped, read block by block.

Only the columns that some signal claims are turned into numbers. A cell that is no bare number is looked at once
more ("101 kPa", "1.234,5", "closed loop"); what still cannot be read is counted and said.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import polars as pl
from numpy.typing import NDArray

from airproof.errors import UnusableFile
from airproof.recording import clock
from airproof.recording.cells import is_number, is_stamp, number_with_suffix
from airproof.recording.claims import claims, is_run_time, refuse_nothing_known, refuse_without_time
from airproof.recording.csv_column import CsvColumn, parsed_name
from airproof.recording.headings import recognise
from airproof.recording.line_blocks import GZIP_MAGIC, INNER_DELIMITER, ByteSource, ahead, whole_lines, without_quotes
from airproof.recording.recording import Bools, Floats
from airproof.recording.sniff import SAMPLE_BYTES, Layout, layout_of
from airproof.recording.table import Column, Progress, Table
from airproof.recording.wide_rows import MOST_SHARE, refuse_wide

if TYPE_CHECKING:
    from airproof.recording.mapping import SignalMap

Ints = NDArray[np.intp]

_VIN = re.compile(r"\bVIN\b|vehicle identification", re.IGNORECASE)
_LINE_FEED = 10
_AT_ONCE = 1 << 20  # bytes of a packed file that may be unpacked whole, some 10 MB then
_WHOLE = 1 << 28  # bytes of a plain file that may be parsed whole: its numbers take about as much memory again
_LOOKED_AT = 1 << 12  # bytes of a block in which a usual blank before a delimiter shows
_HIDDEN = re.compile("[\udc80-\udcff]")  # bytes of a file's name that are no letters to this system (PEP 383)
_FEW = 0.05  # share of rows up to which only these rows are looked at again, not the whole block


def read_csv(path: Path, mapping: SignalMap | None = None, progress: Progress | None = None) -> Table:
    """The columns of a text table that signals claim, with time in seconds.

    Raises UnusableFile where there is no table, no time, no column that any signal claims, or more than one car.
    """
    source = path.name
    with path.open("rb") as file:
        stream = ByteSource(file)
        whole = os.fstat(file.fileno()).st_size
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
        frame = None
        if stream.gzipped and whole == stream.done <= _AT_ONCE:
            frame = reader.at_once(stream.packed)
        elif not stream.gzipped and whole <= _WHOLE:
            frame = reader.at_once(path)
        if frame is not None and reader.add_if_plain(frame, held[0][:SAMPLE_BYTES]):
            if progress is not None:
                progress(1.0)
            return reader.table()
        ready = whole_lines(_all(held, blocks), layout.encoding, layout.skip, reader.head)
        for lines in ahead(ready) if whole > stream.done else ready:
            reader.take(lines, frame)
            if progress is not None:
                progress(min(stream.done / max(whole, 1), 1.0))
    table = reader.table()
    if stream.broken:
        table.remarks.insert(0, f"{stream.broken}: the {table.rows} rows before that are kept")
    return table


def _all(held: list[bytes], rest: Iterator[bytes]) -> Iterator[bytes]:
    """The blocks read for a first look and the next as one, then the rest."""
    held.append(next(rest, b""))
    first = b"".join(held)
    held.clear()
    if first:
        yield first
    del first
    yield from rest


class _TableReader:
    """Turns blocks of lines into columns of numbers."""

    def __init__(self, layout: Layout, source: str, mapping: SignalMap | None) -> None:
        self.layout = layout
        self.source = source
        self.remarks = list(layout.remarks)
        self.rows = self.lines = self.wide = self.first_wide = 0
        headed = max(len(layout.headings), 1)
        # One column more than headings and rows seen: what stands beyond the headings is counted in every row.
        self.names = [parsed_name(n) for n in range(max(headed, *map(len, layout.rows)) + 1)]
        self.beyond = self.names[headed:]
        self.head = layout.delimiter.join(self.names).encode() + b"\n"
        self.rate_hz = (mapping.rate_hz if mapping is not None else None) or layout.rate_hz
        found = claims(layout.headings, mapping, source)
        columns = [CsvColumn(n, claim) for n, claim in enumerate(found) if claim is not None]
        self.unread = [h for h, claim in zip(layout.headings, found, strict=True) if claim is None and h]
        self.columns = [c for c in columns if c.claim.signal.name != "time"]
        refuse_nothing_known([c.claim for c in self.columns], self.unread, source)
        times = [c for c in columns if c.claim.signal.name == "time"]
        if len(times) > 1:
            times.sort(key=self._time_rank, reverse=True)
        self.time = times[0] if times else None
        self.unread.extend(c.claim.heading for c in times[1:])
        if self.time is None and self.rate_hz is None:
            raise refuse_without_time(layout.headings, source)
        self.read = [self.time, *self.columns] if self.time is not None else self.columns
        for column in self.read:
            column.judge(layout.rows, decimal_comma=layout.decimal_comma)
        self.vin = None
        if _VIN.search("\n".join(layout.headings)):
            self.vin = next(n for n, heading in enumerate(layout.headings) if _VIN.search(heading))
        self.car = ""

    def _time_rank(self, column: CsvColumn) -> tuple[bool, bool, bool, bool, int]:
        """Mapped first, readable stamps, run time since engine start last; then a clock, then the finer stamps."""
        cells = [row[column.index] for row in self.layout.rows if column.index < len(row)]
        readable = any(is_number(cell) or is_stamp(cell) or number_with_suffix(cell) for cell in cells)
        mapped, run_time = column.claim.how == "mapped", is_run_time(column.claim.heading)
        return mapped, readable, not run_time, any(":" in cell for cell in cells), len(set(cells))

    def at_once(self, source: bytes | Path) -> pl.DataFrame | None:
        """The wanted columns of a whole file: a plain one, or the bytes of a small gzip file, which the parser unpacks.

        None where the lines are not plain or not all as wide, or where the parser is not sure or cannot open the file
        by its name.
        """
        layout = self.layout
        plain = layout.encoding == "utf-8" and not layout.quoted and not layout.comments and self.vin is None
        if (
            not plain
            or (isinstance(source, Path) and _HIDDEN.search(str(source)))
            or (isinstance(source, bytes) and source.count(GZIP_MAGIC + b"\x08") > 1)
        ):
            return None
        texts = {c.index for c in self.read if c.as_text}
        try:
            frame = pl.read_csv(
                source,
                has_header=False,
                skip_lines=layout.skip,
                separator=layout.delimiter,
                decimal_comma=layout.decimal_comma,
                quote_char=None,
                schema={
                    name: pl.String if n in texts or name in self.beyond else pl.Float64
                    for n, name in enumerate(self.names)
                },
                columns=[*(c.name for c in self.read), *self.beyond],
                missing_columns="insert",
                truncate_ragged_lines=True,
                ignore_errors=True,
            )
        except (pl.exceptions.PolarsError, OSError, ValueError):
            return None
        # In one piece at once and in parallel, rather than column by column when the numbers are taken.
        return frame.rechunk() if frame.height else None

    def add_if_plain(self, frame: pl.DataFrame, top: bytes) -> bool:
        """Add parsed rows where all cells that are no bare numbers stand in `top`, the beginning of the file."""
        top = top.split(b"\n", self.layout.skip)[-1]
        top = self.head + top[: top.rfind(b"\n") + 1]
        if any(frame.slice(top.count(b"\n") - 1).drop(self.beyond).null_count().row(0)):
            return False
        self.add(frame, top)
        return True

    def take(self, lines: bytes, frame: pl.DataFrame | None = None) -> None:
        """Read one block of whole lines, `head` before them; `frame` where they have been parsed already."""
        delimiter = self.layout.delimiter.encode()
        head = lines[:_LOOKED_AT]
        for end in (delimiter, b"\n", b"\r\n"):
            if b" " + end in head:
                lines, frame = lines.replace(b" " + end, end), None
        if self.layout.quoted:
            lines = without_quotes(lines, self.layout.delimiter)
        if frame is None or frame.height + 1 != np.count_nonzero(np.frombuffer(lines, dtype=np.uint8) == _LINE_FEED):
            texts = {c.index for c in self.read if c.as_text}
            numbers = {c.index for c in self.read} - texts
            if self.vin is not None:
                texts.add(self.vin)
            frame = self._parse(lines, numbers, texts)
        if self.vin is not None:
            self._one_car(frame.get_column(parsed_name(self.vin)))
        self.add(frame, lines)

    def add(self, frame: pl.DataFrame, lines: bytes) -> None:
        """Add parsed rows to the columns; cells that were no bare numbers are read once more from `lines`.

        `lines` are those of the rows under their head, all of them or so many that these cells are among them.
        """
        holes = [c for c in self.read if not c.as_text and frame.get_column(c.name).null_count()]
        numbers = {c.index: frame.get_column(c.name).to_numpy() for c in holes}
        texts = [c for c in self.read if c.as_text]
        kept: Bools | slice = slice(None)
        if frame.get_column(self.read[0].name).null_count() and len(holes) + len(texts) == len(self.read):
            # Blank lines and repeated headings are no rows.
            filled = [frame.get_column(c.name).is_not_null().to_numpy() for c in texts]
            kept = np.logical_or.reduce(filled + [~np.isnan(values) for values in numbers.values()])
        for column, places, cells in self._looked_at_again(lines, numbers, holes) if holes else ():
            if not isinstance(kept, slice):
                kept[places] = True
            numbers[column.index][places] = [column.number(cell) for cell in cells]
        wide = self._wide(frame)
        if wide is not None:
            kept = ~wide if isinstance(kept, slice) else kept & ~wide
        self.lines += frame.height
        self.rows += frame.height if isinstance(kept, slice) else int(kept.sum())
        for column in self.read:
            piece = frame.get_column(column.name)
            if not column.as_text:
                if column.index in numbers:
                    piece = pl.Series(numbers[column.index])
                column.take(piece if isinstance(kept, slice) else piece.filter(pl.Series(kept)))
                continue
            if self.layout.quoted:
                piece = piece.str.replace_all(INNER_DELIMITER, self.layout.delimiter, literal=True)
            column.take_texts(piece if isinstance(kept, slice) else piece.filter(pl.Series(kept)))

    def _wide(self, frame: pl.DataFrame) -> Bools | None:
        """The rows with something beyond the last heading, counted; None where there are none."""
        filled = [cells.is_not_null() for cells in frame.select(self.beyond) if cells.null_count() < cells.len()]
        if not filled:
            return None
        wide: Bools = np.logical_or.reduce([cells.to_numpy() for cells in filled])
        self.first_wide = self.first_wide or self.layout.skip + self.lines + int(wide.argmax()) + 1
        self.wide += int(np.count_nonzero(wide))
        return wide

    def _parse(self, lines: bytes, numbers: set[int], texts: set[int]) -> pl.DataFrame:
        """The wanted columns of some lines under their head; cells that are no bare numbers become null."""
        return pl.read_csv(
            lines,
            separator=self.layout.delimiter,
            decimal_comma=self.layout.decimal_comma,
            quote_char=None,
            comment_prefix=self.layout.comments,
            schema={name: pl.Float64 if n in numbers else pl.String for n, name in enumerate(self.names)},
            columns=[*(parsed_name(n) for n in sorted(numbers | texts)), *self.beyond],
            truncate_ragged_lines=True,
            ignore_errors=True,
        )

    def _looked_at_again(
        self, lines: bytes, numbers: dict[int, Floats], holes: list[CsvColumn]
    ) -> Iterator[tuple[CsvColumn, Ints, list[str]]]:
        """The cells in `holes` that were no bare numbers but hold some text, with their rows, column by column."""
        missing = {c.index: np.isnan(numbers[c.index]) for c in holes}
        rows = np.flatnonzero(np.logical_or.reduce(list(missing.values())))
        height = numbers[holes[0].index].size
        cells = self._cells_of(rows, lines, height)
        if cells is None:  # too many rows to pick them out, or lines and rows do not match one to one
            rows = np.arange(height)
            whole = self._parse(lines, set(), {c.index for c in holes})
            if whole.height != height:
                return
            cells = {c.index: whole.get_column(c.name) for c in holes}
        heads: set[int] | None = None
        for column in holes:
            texts = cells[column.index]
            if texts.null_count() == texts.len():
                continue
            odd = np.flatnonzero(missing[column.index][rows] & texts.is_not_null().to_numpy())
            if not odd.size:
                continue
            if heads is None:
                heads = self._second_header(cells, holes, odd.tolist(), rows)
            places = [n for n in odd.tolist() if n not in heads]
            found = [cell.replace(INNER_DELIMITER, self.layout.delimiter) for cell in texts.gather(places)]
            yield column, rows[places], found

    def _cells_of(self, rows: Ints, lines: bytes, height: int) -> dict[int, pl.Series] | None:
        """The cells of a few rows as text, by column, None for an empty one."""
        if self.layout.comments:
            return None
        ends = np.flatnonzero(np.frombuffer(lines, dtype=np.uint8) == _LINE_FEED)
        all_there = ends.size == height + 1  # the head is no row
        if ends.size > height + 1 or (all_there and rows.size > _FEW * height + 1):
            return None
        picked = [
            lines[a + 1 : b].decode("utf-8", "replace").removesuffix("\r").split(self.layout.delimiter)
            for a, b in zip(ends[rows].tolist(), ends[rows + 1].tolist(), strict=True)
        ]
        return {
            n: pl.Series([(row[n] or None) if n < len(row) else None for row in picked], dtype=pl.String)
            for n in range(len(self.layout.headings))
        }

    def _second_header(
        self, cells: dict[int, pl.Series], holes: list[CsvColumn], odd: list[int], rows: Ints
    ) -> set[int]:
        """Headings once more among the numbers: the same again are a recording appended, others another one.

        Returns the places of the same; raises UnusableFile for others, naming the line.
        """
        heads: set[int] = set()
        for place in odd:
            found = [(c, (cells[c.index][place] or "").strip(' "')) for c in holes]
            if all(cell == c.claim.heading.strip() for c, cell in found if cell):
                heads.add(place)
                continue
            others = [cell for c, cell in found if cell[:1].isalpha() and cell != c.claim.heading and recognise(cell)]
            if others and len(others) * 2 >= sum(bool(cell) for _, cell in found) - 1:
                line = self.layout.skip + self.lines + int(rows[place]) + 1
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
        headed, lines = len(self.layout.headings), self.wide + self.rows
        if self.wide > MOST_SHARE * lines:
            rows = f"{self.wide} of {lines} rows with more values, from line {self.first_wide} on"
            raise refuse_wide(headed, rows, self.source)
        if self.wide:
            self.remarks.append(
                f"rows with more values than the {headed} headings: {self.wide} of {lines}, the first in line "
                f"{self.first_wide}; nobody can say which of their values is what, so they were left out"
            )
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
            unit = column.claim.unit or column.unit_beside(self.layout.units)
            found = clock.from_numbers(values, unit)
            if column.claim.how != "mapped":
                clock.refuse_too_slow(found, unit, column.claim.heading, self.source)
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
