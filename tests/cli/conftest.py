"""A car's files, and the command run in this process."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import invented_files
import pytest

from airproof.cli.main import run


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


@pytest.fixture
def airproof(capsys: pytest.CaptureFixture[str]) -> Airproof:
    """Runs `airproof` with these words and says how it ended."""

    def go(*words: object) -> Ended:
        capsys.readouterr()
        with pytest.raises(SystemExit) as ended:
            run([str(word) for word in words])
        said = capsys.readouterr()
        assert isinstance(ended.value.code, int)
        return Ended(ended.value.code, said.out, said.err)

    return go


@dataclass(frozen=True)
class Car:
    """Files of one invented car: `lying` has a pressure sensor that reads 9 kPa high."""

    engine: Path
    healthy: Path
    lying: Path


@pytest.fixture(scope="session")
def car(tmp_path_factory: pytest.TempPathFactory) -> Car:
    folder = tmp_path_factory.mktemp("car")
    return Car(
        invented_files.engine(folder / "engine.toml"),
        invented_files.recording(folder / "healthy.csv", phase=1.0),
        invented_files.recording(folder / "lying.csv", offset_kpa=9.0),
    )
