"""A way out is left on a page, where nothing of the command line is said."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import airproof
from airproof import errors
from airproof.diagnosis.gaps import NO_PLACE
from airproof.jobs.trouble import BUSY, NO_ROOM, NO_WRITING
from airproof.report.wording import for_a_page

RAISED = {
    *(name for name, one in vars(errors).items() if isinstance(one, type) and issubclass(one, errors.AirproofError)),
    "ChangedMeanwhile",
}


def ways_out(package: str) -> Iterator[tuple[str, str]]:
    """Each way out in the sources of a package, what it fills in as 7, and where it stands."""
    for file in sorted((Path(airproof.__path__[0]) / package).rglob("*.py")):
        for one in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            said: ast.expr | None = None
            line = getattr(one, "lineno", 0)
            if isinstance(one, ast.Call) and isinstance(one.func, ast.Name) and one.func.id in RAISED:
                said = one.args[2] if len(one.args) > 2 else None
            elif isinstance(one, ast.Assign) and isinstance(one.targets[0], ast.Name):
                said = one.value if one.targets[0].id.lower() in ("way_out", "say_which") else None
            if said is not None and (text := text_of(said)):
                yield f"{file.name}:{line}", text


def text_of(said: ast.expr) -> str:
    if isinstance(said, ast.JoinedStr):
        return "".join(text_of(part) if isinstance(part, ast.Constant) else "7" for part in said.values)
    return said.value if isinstance(said, ast.Constant) and isinstance(said.value, str) else ""


@pytest.mark.parametrize("package", ["jobs", "recording"])
def test_every_way_out_leaves_one_on_a_page(package: str) -> None:
    found = list(ways_out(package))
    assert len(found) > 20
    assert [(where, text) for where, text in found if not for_a_page(text)] == []


def test_what_a_full_disk_says_on_a_page() -> None:
    assert for_a_page(NO_ROOM) == "Make room. What was acknowledged before is kept."
    assert for_a_page(NO_WRITING) == "May this user write there?"
    assert for_a_page(BUSY) == BUSY


def test_what_is_missing_is_said_on_a_page_too() -> None:
    assert for_a_page(NO_PLACE) == "neither altitude nor barometer is known: say one of them"
