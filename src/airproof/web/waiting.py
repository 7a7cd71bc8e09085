"""Files that came in and cannot be read yet, kept while somebody says what their columns are."""

from __future__ import annotations

import secrets
import tempfile
from collections import OrderedDict
from dataclasses import dataclass
from pathlib import Path

from airproof.errors import UnknownHeadings
from airproof.jobs.kinds import Role

MOST = 8
"""Files that wait at a time; the oldest goes first. judged: Airproof authors: a shop's morning of odd files."""


@dataclass(frozen=True)
class Waiting:
    """A file that waits: for which job and as what, its name for people, and what was wrong with it."""

    job: int
    role: Role
    name: str
    fault: UnknownHeadings
    path: Path


class WaitingRoom:
    """The files that wait, in a folder that goes with the program."""

    def __init__(self) -> None:
        self._folder = tempfile.TemporaryDirectory(prefix="airproof-waiting-", ignore_cleanup_errors=True)
        self._there: OrderedDict[str, Waiting] = OrderedDict()
        self._to_tell: dict[int, str] = {}

    def keep(self, job: int, role: Role, name: str, fault: UnknownHeadings, path: Path) -> str:
        """Take a file over from where it is; the key by which it is found."""
        key = secrets.token_hex(8)
        place = Path(self._folder.name) / f"{key}{''.join(path.suffixes)}"
        path.replace(place)
        self._there[key] = Waiting(job, role, name, fault, place)
        while len(self._there) > MOST:
            self.let_go(next(iter(self._there)))
        return key

    def get(self, key: str) -> Waiting | None:
        """The file of that key, if it still waits."""
        return self._there.get(key)

    def let_go(self, key: str) -> None:
        """Forget a file."""
        gone = self._there.pop(key, None)
        if gone is not None:
            gone.path.unlink(missing_ok=True)

    def came_in(self, key: str, says: str) -> None:
        """A file was read at last: it waits no longer, and what is to be said of it is told on its job's page."""
        gone = self._there.get(key)
        if gone is not None:
            self._to_tell[gone.job] = says
        self.let_go(key)

    def to_tell(self, job: int) -> str:
        """What came of a file of that job, to be told once; nothing where all is told."""
        return self._to_tell.pop(job, "")

    def forget_job(self, job: int) -> None:
        """Forget the files of a job that is gone."""
        self._to_tell.pop(job, None)
        for key in [key for key, one in self._there.items() if one.job == job]:
            self.let_go(key)

    def close(self) -> None:
        """Forget all of them."""
        self._there.clear()
        self._folder.cleanup()
