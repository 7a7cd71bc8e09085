"""A large sparse programme, put together block by block: its variables (columns) and its inequalities (rows)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csc_matrix

from airproof.repair.choices import Floats

Numbers = NDArray[np.intp]


class Columns:
    """The variables, one after the other: each block by the number of its first."""

    def __init__(self) -> None:
        self.count = 0

    def new(self, count: int) -> int:
        """A block of so many."""
        self.count += count
        return self.count - count


class Rows:
    """Rows of `matrix` x <= `right`, or in whatever cones they are said to be."""

    def __init__(self) -> None:
        self.count = 0
        self._entries: list[tuple[Numbers, Numbers, Floats]] = []
        self._right: list[Floats] = []

    def new(self, right: Floats) -> int:
        """Begin as many rows as `right` has; the number of the first."""
        self._right.append(right)
        self.count += right.size
        return self.count - int(right.size)

    def put(self, row: Numbers | int, column: Numbers | int, value: Floats | float) -> None:
        """Add entries, broadcast against each other."""
        rows, columns, values = np.broadcast_arrays(row, column, np.asarray(value, dtype=np.float64))
        self._entries.append((rows.ravel(), columns.ravel(), values.ravel()))

    def right(self) -> Floats:
        """The right side of all rows."""
        return np.concatenate(self._right)

    def matrix(self, columns: Columns) -> csc_matrix:
        """All of it."""
        row, column, value = (np.concatenate(part) for part in zip(*self._entries, strict=True))
        return csc_matrix((value, (row, column)), shape=(self.count, columns.count))
