"""How a text table is laid out: encoding, delimiter, decimal sign, headings, units and where the numbers begin.

All is decided from the first lines, by content; nothing here reads the whole file.
"""

from __future__ import annotations

import codecs
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache

from airproof.errors import UnusableFile
from airproof.recording.cells import is_missing, is_number, is_stamp, number_with_suffix, split
from airproof.recording.headings import recognise
from airproof.recording.units_stated import stated_unit
from airproof.recording.wide_rows import Widths, refuse_wide

SAMPLE_BYTES = 1 << 16
DELIMITERS = (",", ";", "\t", "|")
_COMMENT = ("#", "//", "%", "!")
_RATE = re.compile(r"(\d+(?:[.,]\d+)?)\s*(?:Hz|samples?/s|S/s)\b", re.IGNORECASE)
_CONTROLS = bytes(set(range(32)) - {9, 10, 12, 13, 26})
_LINES_SHOWN = 300
_LINES_WEIGHED = 8
_WIDTH_WANTED = "a text table: a line of headings, then a line of numbers for each moment"


@dataclass
class Layout:
    """A text table's layout.

    `skip` is how many lines come before the first line of numbers; `rows` are the cells of some of them;
    `rate_hz` is a sampling rate stated in the lines before the headings.
    """

    headings: list[str]
    units: list[str] | None
    rows: list[list[str]]
    encoding: str = "utf-8"
    delimiter: str = ","
    skip: int = 0
    decimal_comma: bool = False
    quoted: bool = False
    comments: str | None = None
    rate_hz: float | None = None
    remarks: list[str] = field(default_factory=list)


def encoding_of(sample: bytes, source: str) -> str:
    """The text encoding of a sample: UTF-8 (with or without mark), UTF-16 or cp1252.

    Raises UnusableFile where it is no text.
    """
    if sample.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    if sample.startswith(codecs.BOM_UTF8):
        return "utf-8-sig"
    head = sample[:4096]
    zeros = head.count(0)
    if zeros:
        even, odd = head[::2].count(0), head[1::2].count(0)
        if max(even, odd) > 0.3 * len(head) / 2 and min(even, odd) < 0.02 * len(head):
            return "utf-16-be" if even > odd else "utf-16-le"
    controls = len(head) - len(head.translate(None, _CONTROLS))
    if controls > 0.01 * len(head):
        raise UnusableFile(
            "this is a binary file of a kind Airproof does not know",
            "a text table (CSV), a Parquet file or an ASAM MDF 4 file",
            "Export the recording as CSV from the program that made it.",
            where=source,
        )
    if sample.isascii():
        return "utf-8"
    try:
        codecs.getincrementaldecoder("utf-8")().decode(sample)
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def _score(lines: list[str], delimiter: str) -> tuple[float, int]:
    """How well a delimiter explains lines: share of usable cells times agreement on the count, then the count."""
    widths: list[int] = []
    usable = cells = 0
    for line in lines:
        row = split(line, delimiter)
        while row and not row[-1]:
            row.pop()
        if len(row) < 2:
            continue
        widths.append(len(row))
        usable += _usable(row, delimiter)
        cells += len(row)
    if not cells:
        return 0.0, 0
    return usable / cells * len(widths) / len(lines), max(set(widths), key=widths.count)


def _usable(row: list[str], delimiter: str) -> int:
    """How many cells of a row of numbers may stand there."""
    if _all_numbers(row):
        return len(row)
    return sum(_is_value(cell) and (delimiter != "," or ";" not in cell) for cell in row)


def _delimiter(top: list[str], body: list[str]) -> str:
    """The delimiter that explains the numbers in `body`; of several, the one whose headings in `top` mean most."""
    scores = {delimiter: _score(body, delimiter) for delimiter in DELIMITERS}
    best = max(scores.values())[0]
    near = [delimiter for delimiter in DELIMITERS if 0 < scores[delimiter][0] >= 0.7 * best]
    if len(near) < 2:
        return near[0] if near else DELIMITERS[0]

    def known(delimiter: str) -> int:
        return max(sum(recognise(cell) is not None for cell in split(line, delimiter) if cell) for line in top)

    return max(near, key=lambda delimiter: (known(delimiter), scores[delimiter]))


def _all_numbers(row: list[str]) -> bool:
    """Whether every cell is a plain number."""
    try:
        for cell in row:
            float(cell)
    except ValueError:
        return False
    return True


def _is_value(cell: str) -> bool:
    """Whether a cell of a row of numbers may look like that: a number, with its unit perhaps, a stamp, or nothing."""
    if cell[:1].isalpha():
        return is_missing(cell)
    try:
        float(cell)
    except ValueError:
        return is_missing(cell) or is_stamp(cell) or number_with_suffix(cell) is not None
    return True


def _is_data(row: list[str]) -> bool:
    """Whether a row holds numbers rather than words: half of its filled cells at least, or a bare one in front."""
    if len(row) > 1 and (is_number(row[0]) or is_stamp(row[0])):
        return True
    filled = [cell for cell in row if not is_missing(cell)]
    numbers = sum(_is_value(cell) for cell in filled)
    return numbers > 0 and numbers * 2 >= len(filled)


def _is_units(row: list[str]) -> bool:
    """Whether a row between headings and numbers states units: most of its filled cells are units."""
    filled = [cell for cell in row if cell]
    return bool(filled) and 2 * sum(stated_unit(cell) is not None for cell in filled) >= len(filled)


def _decimal_comma(lines: list[str], delimiter: str) -> bool:
    """Whether bare numbers have a decimal comma: some do, and none has a decimal point."""
    if delimiter == ",":
        return False
    cells = [cell for line in lines for cell in split(line, delimiter) if is_number(cell)]
    return any("," in cell for cell in cells) and not any("." in cell for cell in cells)


def layout_of(sample: bytes, source: str, *, whole: bool) -> Layout:
    """The layout of a text table from its first bytes; `whole` when they are all there is.

    Raises UnusableFile where there are no headings, no numbers, or the numbers cannot be matched with the headings.
    """
    encoding = encoding_of(sample, source)
    text = sample.decode(encoding, "replace")
    lines = text.splitlines()
    if not whole and len(lines) > 1:
        lines.pop()
    lines = lines[:_LINES_SHOWN]
    start = next((line for line in lines if line.strip()), None)
    if start is None:
        raise UnusableFile("the file is empty", _WIDTH_WANTED, "Give a file that holds a recording.", where=source)
    comments = next((mark for mark in _COMMENT if start.lstrip('" ').startswith(mark)), None)
    table = [
        n
        for n, line in enumerate(lines)
        if line and not line.isspace() and not (comments and line.lstrip().startswith(comments))
    ]
    if not table:
        raise _without_numbers(start, source)
    body = [lines[n] for n in table[-_LINES_WEIGHED:]]
    delimiter = _delimiter([lines[n] for n in table[:30]], body)
    rows = cache(lambda n: split(lines[n], delimiter))
    first = _first_data(table, rows)
    if first is None:
        raise _without_numbers(start, source)
    if first == table[0]:
        raise UnusableFile(
            f"the first line is numbers already ({lines[first][:40]!r}), so nobody can say which column is what",
            "a line of headings above the numbers",
            "Put a first line with a name for each column, such as Time (s), Engine speed (1/min), MAP (kPa).",
            where=source,
        )
    above = [n for n in table if n < first]
    below = [n for n in table if n >= first]
    weighed = [*below[:_LINES_WEIGHED], *below[_LINES_WEIGHED :: max(1, len(below) // _LINES_WEIGHED)]]
    layout = _with_headings([rows(n) for n in above], [rows(n) for n in weighed])
    _as_wide_as_headings(layout, Widths.of([lines[n] for n in below], delimiter, len(layout.headings)), source)
    rate = _RATE.search("\n".join(lines[:first]))
    if comments:
        layout.remarks.append("comment lines skipped")
    layout.encoding, layout.delimiter, layout.comments, layout.skip = encoding, delimiter, comments, first
    layout.decimal_comma = _decimal_comma([lines[n] for n in weighed], delimiter)
    layout.quoted = '"' in text and (any('"' in line for line in lines[first:]) or '"' in lines[above[-1]])
    layout.rate_hz = float(rate[1].replace(",", ".")) if rate else None
    return layout


def _first_data(table: list[int], row_at: Callable[[int], list[str]]) -> int | None:
    """The first line that holds numbers and is as wide as the table usually is, or stands in a row with such."""
    last = [row_at(n) for n in table[-_LINES_WEIGHED:]]  # the end is numbers if anything is
    widths = [len(row) for row in last if _is_data(row)]
    if not widths:
        return None
    usual = max(set(widths), key=widths.count)
    rows: list[list[str]] = []
    for place, n in enumerate(table):
        row = row_at(n)
        rows.append(row)
        if abs(len(row) - usual) <= 1 and (usual > 1 or len(row) == 1) and _is_data(row):
            while place and len(rows[place - 1]) > 1 and all(map(_is_value, rows[place - 1])):
                place -= 1  # rows cut short belong to the numbers too
            return table[place]
    return None


def _as_wide_as_headings(layout: Layout, widths: Widths, source: str) -> None:
    """Raise UnusableFile where the rows seen are wider than the headings; that each ends in a delimiter is said."""
    if widths.cannot_be_matched:
        raise refuse_wide(len(layout.headings), widths.says, source, decimal_comma=widths.decimal_comma)
    if widths.end_in_delimiter:
        layout.remarks.insert(
            0, "each row ends in one more delimiter than the headings: the empty cell after it is ignored"
        )


def _with_headings(above: list[list[str]], rows: list[list[str]]) -> Layout:
    """Which line above the numbers holds the headings, and which the units."""
    units: list[str] | None = None
    skipped = len(above) - 1
    if len(above) > 1 and _is_units(above[-1]) and len(above[-2]) >= 2:
        units = above[-1]
        skipped -= 1
    headings = list(above[skipped])
    while headings and not headings[-1]:
        headings.pop()
    layout = Layout(headings, units, rows)
    if skipped:
        layout.remarks.append(f"{skipped} line{'s' * (skipped != 1)} before the headings skipped")
    return layout


def _without_numbers(start: str, source: str) -> UnusableFile:
    """The error for a text without a line of numbers."""
    if any(recognise(cell) for cell in split(start, max(DELIMITERS, key=start.count))):
        given = f"there are headings ({start[:60]!r}) but no line of numbers under them"
    else:
        given = f"there is text but no table in it (it begins {start[:60]!r})"
    return UnusableFile(given, _WIDTH_WANTED, "Give a file that holds a recording.", where=source)
