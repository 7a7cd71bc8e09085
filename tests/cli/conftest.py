"""A car's files, and the command run in this process."""

from __future__ import annotations

import invented_files
import pytest
from command_line import Airproof, Car, Ended

from airproof.cli.main import run


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


@pytest.fixture(scope="session")
def car(tmp_path_factory: pytest.TempPathFactory) -> Car:
    folder = tmp_path_factory.mktemp("car")
    return Car(
        invented_files.engine(folder / "engine.toml"),
        invented_files.recording(folder / "healthy.csv", phase=1.0),
        invented_files.recording(folder / "lying.csv", offset_kpa=9.0),
    )
