"""Writing a file whole or not at all: whoever reads it never sees half of it. And never over what is not ours."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterable, Mapping
from pathlib import Path

from airproof.errors import UnusableFile

MARK = '<meta name="generator" content="Airproof">'
_MARKS: Mapping[str, bytes] = {
    ".html": MARK.encode(),
    ".svg": b"<dc:title>Airproof</dc:title>",  # its creator
    ".pdf": b"<rdf:li>Airproof</rdf:li>",  # its author
}
"""By what is known again what was written here: it may be made anew, which is what doing the same again is for."""


def refuse_others(files: Iterable[Path]) -> None:
    """Refuse, before any work is done, to write over a file that Airproof did not make.

    Raises UnusableFile.
    """
    for file in files:
        if file.exists() and not _is_ours(file):
            raise UnusableFile(
                "is there already, and Airproof did not write it",
                "a new file, or one of Airproof's that may be made anew",
                "Name another one, or move it away. It is left as it is.",
                where=str(file),
            )


def _is_ours(file: Path) -> bool:
    ending = file.suffix.lower()
    if ending == ".png":  # bears no mark: one goes with the drawing of its name
        drawing = file.with_suffix(".svg")
        return drawing.is_file() and _is_ours(drawing)
    try:
        return file.is_file() and ending in _MARKS and _MARKS[ending] in file.read_bytes()
    except OSError:
        return False


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
