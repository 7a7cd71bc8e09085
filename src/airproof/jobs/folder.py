"""Where the jobs are kept: a folder for the data of this user, by the custom of each system.

Linux and the like: XDG Base Directory Specification 0.8 ($XDG_DATA_HOME, else ~/.local/share). macOS and Windows: where
their makers' guides put what a program keeps for one user (~/Library/Application Support, %LOCALAPPDATA%).
"""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping
from pathlib import Path

VARIABLE = "AIRPROOF_DATA"
"""Names the folder, where the usual one is not wanted."""

STORE_VARIABLE = "AIRPROOF_STORE"
"""The address of a PostgreSQL database that holds the jobs instead of the file in the folder."""

NAME = "airproof"


def data_folder(
    asked: Path | None = None, environment: Mapping[str, str] | None = None, system: str = sys.platform
) -> Path:
    """The folder: the one asked for, else the one that AIRPROOF_DATA names, else the user's own."""
    surroundings = os.environ if environment is None else environment
    if asked is not None:
        return asked.expanduser()
    named = surroundings.get(VARIABLE, "").strip()
    if named:
        return Path(named).expanduser()
    home = Path.home()
    if system == "win32":
        local = surroundings.get("LOCALAPPDATA", "")
        return (Path(local) if local else home / "AppData" / "Local") / "Airproof"
    if system == "darwin":
        return home / "Library" / "Application Support" / "Airproof"
    shared = surroundings.get("XDG_DATA_HOME", "")
    # The specification: a relative path there is to be ignored.
    return (Path(shared) if Path(shared).is_absolute() else home / ".local" / "share") / NAME
