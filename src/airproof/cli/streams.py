"""Where words go: safe on any console, colour only where it helps."""

from __future__ import annotations

import io
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from airproof.report.in_words import Part

WIDEST = 100


def make_streams_safe() -> None:
    """A console that lacks a letter shows a question mark in its place instead of ending the program."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")


def complain(line: str) -> None:
    """One line on stderr."""
    if sys.stderr is not None:
        sys.stderr.write(f"airproof: {line}\n")


def say(text: str) -> None:
    """Text on stdout, nothing added but the end of the line."""
    sys.stdout.write(text + "\n")


def say_parts(parts: Sequence[Part], title: str = "") -> None:
    """Parts of a verdict or an explanation, wrapped to the console; headings bold where the console can."""
    from rich.console import Console
    from rich.text import Text

    from airproof.report.wording import wrap

    console = Console(file=sys.stdout, highlight=False, emoji=False, markup=False)
    width = min(console.width, WIDEST)

    def put(text: str, style: str = "", first: str = "", rest: str = "") -> None:
        lines = wrap(text, width, first, rest) or [""]
        console.print(Text("\n".join(lines), style=style), soft_wrap=True)

    if title:
        put(title, "bold")
    for number, part in enumerate(parts):
        if title or number:
            put("")
        if not part.heading:
            for row, line in enumerate(part.lines):
                put(line, "bold" if row == 0 else "")
            continue
        put(part.heading, "bold")
        for line in part.lines:
            mark = "  - " if len(part.lines) > 1 else "  "
            put(line, "", mark, " " * len(mark))
