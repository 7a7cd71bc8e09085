"""Writing a file whole or not at all: whoever reads it never sees half of it."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path

from airproof.errors import UnusableFile


def put_whole(path: Path, content: bytes) -> None:
    """Write it under a passing name beside its place, then put it there.

    Raises UnusableFile where it cannot be written.
    """
    passing = None
    try:
        handle, passing = tempfile.mkstemp(prefix=".airproof-", dir=path.parent)
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        Path(passing).chmod(0o644)
        Path(passing).replace(path)
    except OSError as fault:
        found = f"it cannot be written ({fault.strerror or fault})"
        wanted = "the name of a file in a folder that exists, may be written to and has room"
        raise UnusableFile(found, wanted, "Give another place, or make room.", where=str(path)) from fault
    finally:
        if passing is not None:
            with contextlib.suppress(OSError):
                Path(passing).unlink(missing_ok=True)
