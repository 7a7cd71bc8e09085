"""A bar for long files, only when somebody watches."""

from __future__ import annotations

import io
import sys
from pathlib import Path

import pytest

from airproof.cli import progress
from airproof.cli.progress import progress_over


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "long drive.csv"
    path.write_bytes(b"x" * 1000)
    return path


def test_a_long_file_on_a_terminal_shows_a_bar(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(progress, "LONG_BYTES", 100)
    monkeypatch.setattr(sys, "stderr", Terminal())
    monkeypatch.setenv("TERM", "xterm")
    with progress_over([file]) as shown:
        reading, weighing = shown.reading(file), shown.weighing
        assert reading is not None
        assert weighing is not None
        reading(0.5)
        weighing(0.9)
    assert isinstance(sys.stderr, Terminal)
    assert "weighing" in sys.stderr.getvalue()


@pytest.mark.parametrize(("watched", "long"), [(False, 100), (True, 10_000)])
def test_else_nothing_is_shown(file: Path, watched: bool, long: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(progress, "LONG_BYTES", long)
    monkeypatch.setattr(sys, "stderr", Terminal() if watched else io.StringIO())
    with progress_over([file, file.with_name("missing.csv")]) as shown:
        assert shown.reading(file) is None
        assert shown.weighing is None
    assert isinstance(sys.stderr, io.StringIO)
    assert sys.stderr.getvalue() == ""
