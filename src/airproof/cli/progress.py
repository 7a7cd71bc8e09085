"""A progress bar on stderr for long files, only when somebody watches."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Protocol

LONG_BYTES = 4_000_000
"""Files below this altogether are read before a bar could be looked at."""


class Progress(Protocol):
    """Told the share done, 0 to 1."""

    def reading(self, path: Path) -> Callable[[float], None] | None:
        """What to tell while that file is read."""

    @property
    def weighing(self) -> Callable[[float], None] | None:
        """What to tell while weighing."""


class _Silent:
    def reading(self, path: Path) -> None:  # noqa: ARG002 # nothing is shown
        return None

    @property
    def weighing(self) -> None:
        return None


class _Bar:
    def __init__(self, advance: Callable[[str, float], None]) -> None:
        self._advance = advance

    def reading(self, path: Path) -> Callable[[float], None]:
        return lambda share: self._advance(f"reading {path.name}", share)

    @property
    def weighing(self) -> Callable[[float], None]:
        return lambda share: self._advance("weighing", share)


@contextlib.contextmanager
def progress_over(paths: Sequence[Path]) -> Iterator[Progress]:
    """A bar while the files are read and weighed; silent where they are short or nobody watches."""
    size = sum(path.stat().st_size for path in paths if path.is_file())
    if size < LONG_BYTES or sys.stderr is None or not sys.stderr.isatty():
        yield _Silent()
        return
    from rich.console import Console
    from rich.progress import BarColumn, TextColumn
    from rich.progress import Progress as RichProgress

    with RichProgress(
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        console=Console(stderr=True),
        transient=True,
    ) as shown:
        task = shown.add_task("reading", total=1.0)
        yield _Bar(lambda words, share: shown.update(task, description=words, completed=share))


@contextlib.contextmanager
def counting(words: str) -> Iterator[Callable[[float], None] | None]:
    """A bar that is told the share done, with the time that is left; None where nobody watches."""
    if sys.stderr is None or not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, TextColumn, TimeRemainingColumn
    from rich.progress import Progress as RichProgress

    columns = (TextColumn("{task.description}", markup=False), BarColumn(), TimeRemainingColumn())
    with RichProgress(*columns, console=Console(stderr=True), transient=True) as shown:
        task = shown.add_task(words, total=1.0)
        yield lambda share: shown.update(task, completed=share)
