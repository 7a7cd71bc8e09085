"""What was typed on the command line, before anything is read: one of each, and every name a name."""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from pathlib import Path

from airproof.errors import UnusableRequest

ADDRESS = re.compile(r"[a-z][a-z0-9+.-]+://", re.IGNORECASE)
_BYTES = re.compile("[\udc80-\udcff]")
"""How Python keeps bytes that are no letters in the terminal's encoding (PEP 383)."""


def as_typed(text: str) -> str:
    """The text in the letters that were typed, where the terminal's encoding hides them, as LC_ALL=C hides UTF-8."""
    if not _BYTES.search(text):
        return text
    try:
        return os.fsencode(text).decode("utf-8")
    except UnicodeError:  # bytes of another encoding: they may name a file all the same
        return text


def as_a_name(text: str) -> str:
    """The text as this system takes the name of a file."""
    try:
        os.fsencode(text)
    except UnicodeEncodeError:
        return os.fsdecode(text.encode("utf-8", "surrogateescape"))
    return text


def once(option: str, values: Sequence[str] | None) -> str | None:
    """The value of an option that is given once, or None; the same one typed twice is no contradiction.

    Raises UnusableRequest where it is given with different values: nobody can know which one is meant.
    """
    different = list(dict.fromkeys(values or ()))
    if len(different) > 1:
        raise UnusableRequest(
            f"given {len(different)} times, as {' and '.join(map(repr, different))}",
            "one value",
            "Leave out all but one.",
            where=option,
        )
    return different[0] if different else None


def either(yes: str, is_so: bool, no: str, is_not_so: bool) -> bool | None:
    """What two options say of which one rules the other out; None where neither was given.

    Raises UnusableRequest where both are.
    """
    if is_so and is_not_so:
        raise UnusableRequest(f"{yes} and {no}", "one of them, or neither where nobody knows", "Leave one out.")
    return True if is_so else False if is_not_so else None


def path_of(where: str, text: str, wanted: str = "a file") -> Path:
    """The path that was typed.

    Raises UnusableRequest where it is empty or an address on the network.
    """
    if not text.strip():
        raise UnusableRequest("an empty name", wanted, "Give its name.", where=where)
    if ADDRESS.match(text):
        raise UnusableRequest(
            f"{text} is an address on the network", f"{wanted} on this computer", "Save it here first.", where=where
        )
    return Path(as_a_name(text))


def one_path(option: str, values: Sequence[str] | None, wanted: str = "a file") -> Path | None:
    """The path of an option that is given once, or None."""
    text = once(option, values)
    return None if text is None else path_of(option, text, wanted)


def paths_of(where: str, values: Sequence[str] | None) -> list[Path]:
    """The paths of an option that may be given again and again."""
    return [path_of(where, text) for text in values or ()]
