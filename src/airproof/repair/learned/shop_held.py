"""One writer of a shop's file at a time: it is read, changed and written again by one program before the next begins.

What is held is a file of its own beside it, which bears nothing. The system lets go of it when its holder ends, however
that ends; the holder takes it away, and one that was left behind is in nobody's way.
"""

from __future__ import annotations

import contextlib
import errno
import os
import sys
import time
from collections.abc import Iterator
from pathlib import Path

from airproof.errors import UnusableFile

LONGEST_WAIT_S = 60.0
"""Judged: Airproof authors: a job is counted in a second, and more than some dozens at once are one command."""

BETWEEN_S = 0.05
_NO_LOCKS = {errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS, errno.ENOLCK}
"""What a few network drives answer: they know of no locks, and a shop there must still be able to learn."""


@contextlib.contextmanager
def held(path: Path) -> Iterator[None]:
    """Hold the shop's file against others who would write it, waiting until they are done.

    Raises UnusableFile where nothing can be written beside it, or another holds it for too long.
    """
    lock = path.resolve().with_name(f".{path.resolve().name}.lock")
    try:
        number = _taken(lock)
    except TimeoutError as fault:
        raise UnusableFile(
            f"another program has been writing to it for {LONGEST_WAIT_S:g} s",
            "one at a time",
            "Wait until the other one is done, and try again; nothing was written.",
            where=str(path),
        ) from fault
    except OSError as fault:
        raise UnusableFile(
            f"cannot be written ({fault.strerror or fault})", "a place to write to", "Choose another.", where=str(path)
        ) from fault
    try:
        yield
    finally:
        _let_go(lock, number)


def _taken(lock: Path) -> int:
    """The open lock, which is ours; raises TimeoutError."""
    until = time.monotonic() + LONGEST_WAIT_S
    while (number := _tried(lock)) is None:
        if time.monotonic() > until:
            raise TimeoutError
        time.sleep(BETWEEN_S)
    return number


def _tried(lock: Path) -> int | None:
    try:
        number = _opened(lock)
    except PermissionError:
        if lock.exists():  # one that Windows is about to take away
            return None
        raise
    try:
        if _is_ours(number) and _is_there(lock, number):
            return number
    except BaseException:
        os.close(number)
        raise
    os.close(number)
    return None


def _opened(lock: Path) -> int:
    try:
        return os.open(lock, os.O_RDWR | os.O_CREAT, 0o666)
    except PermissionError:
        if sys.platform == "win32" or not lock.exists():
            raise
        return os.open(lock, os.O_RDONLY)  # another user's: to be held it need not be written


def _is_ours(number: int) -> bool:
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(number, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(number, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as fault:
        return fault.errno in _NO_LOCKS
    return True


def _is_there(lock: Path, number: int) -> bool:
    """Whether the file that is held is the one that others find; the holder before took it away while we waited."""
    try:
        return os.path.samestat(os.fstat(number), lock.stat())
    except FileNotFoundError:
        return False


def _let_go(lock: Path, number: int) -> None:
    with contextlib.suppress(OSError):  # on Windows only who closed it can take it away, and only if nobody waits
        if sys.platform != "win32":
            lock.unlink()
    os.close(number)
    with contextlib.suppress(OSError):
        if sys.platform == "win32":
            lock.unlink()
