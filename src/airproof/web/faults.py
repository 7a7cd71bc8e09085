"""A fault of our own, as the pages tell it: in plain words with a number, the whole of it in the log."""

from __future__ import annotations

import logging
import secrets

_LOG = logging.getLogger("airproof.web")
_NOTE = "on the page: number "


def reported(fault: BaseException) -> str:
    """Write the fault to the log under a number, and say so; one that was told before keeps its number."""
    told = [note for note in getattr(fault, "__notes__", ()) if note.startswith(_NOTE)]
    number = told[0].removeprefix(_NOTE) if told else secrets.token_hex(4)
    if not told:
        fault.add_note(f"{_NOTE}{number}")
        _LOG.error("fault %s", number, exc_info=fault)
    return (
        f"A fault of our own, number {number}. Nothing that was acknowledged is lost. The window in which Airproof was "
        "started says more under that number: please send it to us."
    )
