"""How a command ended, and the files of one invented car: what the command line's tests speak of."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Ended:
    """How a command ended."""

    status: int
    out: str
    err: str

    @property
    def line(self) -> str:
        """The one line on stderr."""
        lines = self.err.splitlines()
        assert len(lines) == 1, self.err
        return lines[0]


Airproof = Callable[..., Ended]


@dataclass(frozen=True)
class Car:
    """`lying` has a pressure sensor that reads 9 kPa high."""

    engine: Path
    healthy: Path
    lying: Path
