"""One column of a text table as it is read piece by piece: bare numbers at once, all other cells one look later."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import polars as pl

from airproof.recording.cells import is_missing, number_with_suffix
from airproof.recording.claims import Claim
from airproof.recording.recording import Floats
from airproof.recording.units_stated import StatedUnit, in_other_unit, stated_unit


def parsed_name(index: int) -> str:
    """What the parser calls a column."""
    return f"column_{index + 1}"


@dataclass
class CsvColumn:
    """Where a column stands, what claims it, and what has been read of it.

    `as_text` when its cells are mostly no bare numbers; `cell_unit` is the first unit that stands behind a number,
    into which others are turned (`mixed`); `unread` counts the cells in which no number was found.
    """

    index: int
    claim: Claim
    as_text: bool = False
    cell_unit: StatedUnit | None = None
    mixed: bool = False
    unread: int = 0
    _usual_end: str | None = None
    _texts: list[pl.Series] = field(default_factory=list)
    _numbers: list[pl.Series] = field(default_factory=list)

    @property
    def name(self) -> str:
        """The column's name while it is parsed."""
        return parsed_name(self.index)

    def judge(self, rows: list[list[str]], *, decimal_comma: bool) -> None:
        """Decide from the first rows whether the column must be read as text."""
        cells = [row[self.index] for row in rows if self.index < len(row)]
        if _are_bare(cells, decimal_comma=decimal_comma):
            return
        odd = [cell for cell in cells if not _are_bare([cell], decimal_comma=decimal_comma)]
        self.as_text = 2 * sum(not is_missing(cell) for cell in odd) > len(cells) - sum(map(is_missing, odd))

    def take(self, piece: pl.Series) -> None:
        """Add what one block held, as numbers."""
        self._numbers.append(piece)

    def take_texts(self, piece: pl.Series) -> None:
        """Add what one block held, as text; stamps stay text, because only all of them together tell their style."""
        if self.claim.signal.name == "time":
            self._texts.append(piece)
        else:
            self._numbers.append(pl.Series(self._numbers_in(piece)))

    def number(self, cell: str) -> float:
        """The number in a cell that is no bare number; NaN, counted, where there is none."""
        cell = cell.strip(' "\t')
        if is_missing(cell):
            return np.nan
        stands_for = self.claim.signal.texts.get(cell.lower())
        if stands_for is not None:
            return stands_for
        found = number_with_suffix(cell)
        if found is not None and not found[1]:
            return found[0]
        unit = stated_unit(found[1]) if found is not None else None
        if found is None or unit is None:
            self.unread += 1
            return np.nan
        self.cell_unit = self.cell_unit or unit
        self.mixed = self.mixed or unit != self.cell_unit
        value = in_other_unit(found[0], unit, self.cell_unit, self.claim.signal)
        self.unread += value is None
        return np.nan if value is None else value

    def texts(self) -> pl.Series | None:
        """The whole column of stamps as text, where it was read so."""
        if not self._texts:
            return None
        return self._texts[0] if len(self._texts) == 1 else pl.concat(self._texts)

    def _numbers_in(self, texts: pl.Series) -> Floats:
        """The numbers in cells read as text: those in the usual style all at once, others looked at one by one."""
        usual = self._in_usual_style(texts)
        rest = texts.is_not_null() & usual.is_null()
        odd = texts.filter(rest)
        counts: dict[str, int] = dict(odd.value_counts().iter_rows())
        numbers: dict[str, float] = {}
        for cell in odd.unique(maintain_order=True):  # the first unit met is the column's
            unread, self.unread = self.unread, 0
            numbers[cell] = self.number(cell)
            self.unread = unread + self.unread * counts[cell]
        values: Floats = usual.fill_null(np.nan).to_numpy(writable=True)
        if numbers:
            values[rest.to_numpy()] = odd.replace_strict(numbers, return_dtype=pl.Float64).to_numpy()
        return values

    def _in_usual_style(self, texts: pl.Series) -> pl.Series:
        """Numbers for the cells that end as the first one does ("12,5 kPa") or are bare; null for all others."""
        if self._usual_end is None:
            for cell in texts.drop_nulls().head(100):
                found = number_with_suffix(cell.strip(' "\t'))
                unit = stated_unit(found[1]) if found is not None else None
                if found is not None and unit is not None and self.cell_unit in (None, unit):
                    self.cell_unit = self.cell_unit or unit
                    after = cell.strip(' "\t').removesuffix(found[1])
                    self._usual_end = " " * (len(after) - len(after.rstrip())) + found[1]
                    break
        if self._usual_end is None or self.claim.signal.texts:
            return pl.Series([None], dtype=pl.Float64).new_from_index(0, texts.len())
        numbers = (
            texts.str.strip_chars(' "\t')
            .str.strip_suffix(self._usual_end)
            .str.replace(",", ".", literal=True)
            .cast(pl.Float64, strict=False)
        )
        return numbers.set(~numbers.is_finite(), None)

    def values(self) -> Floats:
        """The whole column as numbers, NaN where there is none; what was held is given up."""
        texts = self.texts()
        if texts is not None:
            self._texts.clear()
            return self._numbers_in(texts)
        whole = self._numbers[0] if len(self._numbers) == 1 else pl.concat(self._numbers, rechunk=False)
        self._numbers.clear()
        return whole.to_numpy()

    def unit_beside(self, units: list[str] | None) -> StatedUnit | None:
        """The unit a second heading row or the cells themselves state."""
        if units is not None and self.index < len(units):
            found = stated_unit(units[self.index])
            if found is not None:
                return found
        return self.cell_unit


def _are_bare(cells: list[str], *, decimal_comma: bool) -> bool:
    """Whether all of some cells are bare numbers."""
    try:
        for cell in cells:
            float(cell.replace(",", ".") if decimal_comma else cell)
    except ValueError:
        return False
    return True
