"""What one cell of a text table can hold: a number in either decimal style, with or without its unit, or a stamp."""

from __future__ import annotations

import csv
import re

MISSING = frozenset(
    ("", "-", "--", "---", "nan", "n/a", "na", "null", "none", "nil", "nodata", "no data", "?", "#n/a",
     "inf", "-inf", "+inf", "infinity")
)  # fmt: skip
"""Cells that say there is no value, in lower case."""

_NUMBER = re.compile(r"[-+]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][-+]?\d+)?")
_GROUPED = re.compile(r"[-+]?\d{1,3}(?:[., ']\d{3})+(?:[.,]\d+)?")
_STAMP = re.compile(
    r"\d{1,2}:\d{2}(?::\d{2})?(?:[.,:]\d+)?(?:\s*[ap]m)?"
    r"|\d{1,4}[-/.]\w{1,3}[-/.]\d{2,4}(?:[T ,]+\d{1,2}:\d{2}(?::\d{2})?(?:[.,:]\d+)?)?"
    r"(?:\s*[ap]m)?(?:\s*(?:Z|UTC|[-+]\d{2}:?\d{2}))?",
    re.IGNORECASE,
)
_SUFFIX = re.compile(r" *[^\d\s.,;|][^\t;|\"]{0,15}| +1/[a-z]{1,3}")  # a unit, "1/min" after a blank


def split(line: str, delimiter: str) -> list[str]:
    """The cells of a line, quotes removed, outer blanks stripped."""
    if '"' in line:
        try:
            cells = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True))
        except (csv.Error, StopIteration):
            cells = line.replace('"', "").split(delimiter)
    else:
        cells = line.split(delimiter)
    return [cell.strip() for cell in cells]


def is_missing(cell: str) -> bool:
    """Whether a cell says that there is no value."""
    return cell.lower() in MISSING


def is_number(cell: str) -> bool:
    """Whether a cell is a bare number, with a decimal point or comma."""
    return _NUMBER.fullmatch(cell) is not None


def is_stamp(cell: str) -> bool:
    """Whether a cell is a time of day, a date or both."""
    return _STAMP.fullmatch(cell) is not None


def number_with_suffix(cell: str) -> tuple[float, str] | None:
    """The number and the text after it ("12,5 %" -> 12.5 and "%"), in either decimal style; None where none leads."""
    match = _GROUPED.match(cell)
    if match is None or (match.group().count(",") + match.group().count(".") < 2 and " " not in match.group()):
        match = _NUMBER.match(cell)
    if match is None:
        return None
    rest = cell[match.end() :]
    if rest and _SUFFIX.fullmatch(rest) is None:
        return None
    try:
        return plain_number(match.group()), rest.strip()
    except ValueError:
        return None


def plain_number(text: str) -> float:
    """A number in either decimal style; where both signs occur, the last is the decimal one."""
    text = text.replace(" ", "").replace("'", "")
    comma, point = text.rfind(","), text.rfind(".")
    if comma > point:
        text = text.replace(".", "").replace(",", ".") if text.count(",") == 1 else text.replace(",", "")
    elif comma >= 0:
        text = text.replace(",", "")
    elif text.count(".") > 1:
        text = text.replace(".", "")
    return float(text)
