"""The data files of the rehearsal: read once, each table with its source."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from importlib import resources
from typing import Any

import tomli

from airproof.errors import BrokenKnowledge


@cache
def tables(name: str) -> Mapping[str, Any]:
    """Every table of data/NAME.toml. Raises BrokenKnowledge where one has no source, of its own or in its parts."""
    text = resources.files("airproof.engine.rehearsal").joinpath(f"data/{name}.toml").read_text("utf-8")
    found: dict[str, Any] = tomli.loads(text)
    for heading, table in found.items():
        parts = table if isinstance(table, list) else [part for part in table.values() if isinstance(part, dict)]
        own = isinstance(table, dict) and table.get("source")
        if not own and not (parts and all(part.get("source") for part in parts)):
            raise BrokenKnowledge(f"[{heading}] has no source", "a source", "Add one.", where=f"{name}.toml")
    return found
