"""Compiling the model with Numba, and keeping what was compiled.

A drive is some hundred thousand small steps, so every function below `drive` is compiled to machine code. What was
compiled is kept on disk under a name made from all the model's sources: a change in any of them compiles anew, and
nothing stale is ever run. No relaxed arithmetic: it saves nothing here, and one seed must give one rehearsal, whether
the code comes from the compiler or from disk.
"""

from __future__ import annotations

import hashlib
import os
import sys
import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

import numba

Function = TypeVar("Function", bound=Callable[..., object])

config: Any = numba.config  # its names are made at run time
HERE = Path(__file__).resolve().parent


def compiled(function: Function) -> Function:
    """A function of the model, compiled together with whatever calls it."""
    return numba.njit(function, error_model="numpy")  # type: ignore[no-any-return]


def entered_from_python(function: Function) -> Function:
    """As `compiled`, for the few functions that Python calls: their machine code is kept on disk."""
    before = config.CACHE_DIR
    config.CACHE_DIR = str(cache_folder())
    try:
        return numba.njit(function, error_model="numpy", cache=True, nogil=True)  # type: ignore[no-any-return]
    finally:
        config.CACHE_DIR = before


@cache
def cache_folder() -> Path:
    """Where machine code is kept: beside the sources, else in the user's own cache, else for this session only."""
    name = f"rehearsal-{fingerprint()}"
    for place in (HERE / "__pycache__", users_cache() / "airproof"):
        folder = place / name
        try:
            folder.mkdir(parents=True, exist_ok=True)
            with tempfile.TemporaryFile(dir=folder):
                pass
        except OSError:
            continue
        return folder
    return Path(tempfile.mkdtemp(prefix="airproof-"))


def users_cache() -> Path:
    """The folder this system gives a user's programs for what can be made again."""
    home = Path.home()
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA", home / "AppData" / "Local"))
    if sys.platform == "darwin":
        return home / "Library" / "Caches"
    return Path(os.environ.get("XDG_CACHE_HOME", home / ".cache"))


def fingerprint() -> str:
    """The model's sources and the compiler's version, in sixteen letters."""
    seen = hashlib.sha256(f"numba {numba.__version__}".encode())
    for source in sorted(HERE.rglob("*.py")):
        seen.update(source.read_bytes())
    return seen.hexdigest()[:16]


def is_ready() -> bool:
    """Whether machine code of these sources lies on disk already, so that starting is quick."""
    return any(cache_folder().rglob("*.nbc"))
