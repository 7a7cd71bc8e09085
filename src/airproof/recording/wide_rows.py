"""Rows with more cells than there are headings: nobody can say which of their values stands under which heading.

A cell beyond the headings is harmless where it is empty in every row, as after a last delimiter. Filled, it may be a
note at the end of the line, or the last value of a row that is shifted from where a number was cut in two.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from airproof.errors import UnusableFile
from airproof.recording.cells import split

MOST_SHARE = 0.5
"""Of the rows: where more are too wide the headings are what is wrong, not the rows. judged: Airproof authors."""

STRAY_SHARE = 0.05
"""Rows that all end in one delimiter too many are all as wide, but for a few that were cut or garbled. judged: Airproof
authors."""


@dataclass(frozen=True)
class Widths:
    """How wide rows are: `wide` of them wider than the headings, `beyond` with something in a cell beyond the last.

    `uneven` where most are wider than the headings and not all as wide; `point` where any number has a decimal point.
    """

    rows: int
    widest: int
    wide: int
    beyond: int
    uneven: bool
    point: bool
    delimiter: str

    @classmethod
    def of(cls, lines: list[str], delimiter: str, headings: int) -> Widths:
        """Of some lines of numbers."""
        counts = Counter[int]()
        beyond = 0
        for line in lines:
            width = line.count(delimiter) + 1
            if width <= headings:
                continue
            rest = line.split(delimiter, headings)[-1].replace(delimiter, "")
            if '"' in line:  # a delimiter between quotes parts nothing
                row = split(line, delimiter)
                width, rest = len(row), "".join(row[headings:])
            if width > headings:
                counts[width] += 1
                beyond += bool(rest.strip())
        wide = counts.total()
        usual = max(counts.values(), default=0)
        return cls(
            len(lines),
            max(counts, default=headings),
            wide,
            beyond,
            wide > MOST_SHARE * len(lines) and wide - usual > STRAY_SHARE * wide,
            any("." in line for line in lines),
            delimiter,
        )

    @property
    def cannot_be_matched(self) -> bool:
        """Whether so many rows are too wide that no value can be trusted to stand under its heading."""
        return self.beyond > MOST_SHARE * self.rows or (self.uneven and self.beyond > 0)

    @property
    def decimal_comma(self) -> bool:
        """Whether decimal commas in a table split by commas explain it: no number has a decimal point."""
        return self.delimiter == "," and not self.point and self.cannot_be_matched

    @property
    def end_in_delimiter(self) -> bool:
        """Whether each row ends in one more delimiter than the headings, and in nothing after it."""
        return self.wide > MOST_SHARE * self.rows and not self.beyond

    @property
    def says(self) -> str:
        """The rows' width as an error says it."""
        return f"rows of {'up to ' * self.uneven}{self.widest} values"


def refuse_wide(headings: int, rows: str, source: str, *, decimal_comma: bool = False) -> UnusableFile:
    """The error for rows that are wider than the headings."""
    given = f"{headings} headings stand above {rows}, so nobody can match them"
    if decimal_comma:
        return UnusableFile(
            f"{given}: the numbers seem to have a decimal comma while a comma parts the cells, too",
            "decimal points, or another delimiter than the comma",
            "Export it again with decimal points, or with semicolons between the cells.",
            where=source,
        )
    return UnusableFile(
        given,
        "as many headings as values in a row",
        "Add the missing heading or take the surplus column out.",
        where=source,
    )
