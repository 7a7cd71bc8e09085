"""The write-up as a PDF by Typst: tagged, with headings, alternative texts and languages; fonts come with Typst.

All goes to the template as data, never as markup, so that nothing that was typed can be taken for a command.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any

import typst
from matplotlib import get_data_path

from airproof.report.language.language import Words
from airproof.report.write_up.content import Block, Bullets, Figure, Paper, Paragraph, Section, Table, WriteUp

if TYPE_CHECKING:
    from typst import PDFStandard


@dataclass(frozen=True)
class Pdf:
    """The file, and whether every letter of it could be shown with the fonts there are."""

    content: bytes
    whole: bool = True


def as_pdf(write_up: WriteUp, paper: Paper, made_at: datetime) -> Pdf:
    """The PDF, by PDF/UA-1. The same content, day and paper give the same bytes.

    Fonts come with Typst and with the drawing library; for letters that neither has those of the computer are used. A
    letter that no font has is shown as a box: such a file cannot be PDF/UA, and `whole` is False.
    """
    template = (resources.files("airproof.report.write_up") / "data" / "write_up.typ").read_bytes()
    inputs = {"data": json.dumps(_data(write_up, paper), ensure_ascii=False)}
    try:
        return Pdf(_compiled(template, inputs, made_at, ["1.7", "ua-1"]))
    except typst.TypstError as fault:
        if "could not be displayed" not in str(fault):
            raise
        return Pdf(_compiled(template, inputs, made_at, ["1.7"]), whole=False)


def _compiled(template: bytes, inputs: dict[str, str], made_at: datetime, standards: list[PDFStandard]) -> bytes:
    made = typst.compile(
        template,
        format="pdf",
        font_paths=_fonts(),
        sys_inputs=inputs,
        pdf_standards=standards,
        timestamp=int(made_at.timestamp()),
    )
    assert isinstance(made, bytes)
    return made


@cache
def _fonts() -> typst.Fonts:
    """Found once: that takes longer than a page."""
    return typst.Fonts(font_paths=[get_data_path() + "/fonts/ttf"])


def _data(write_up: WriteUp, paper: Paper) -> dict[str, Any]:
    return {
        "paper": {"a4": "a4", "letter": "us-letter"}[paper],
        "language": write_up.language,
        "title": _text(write_up.title),
        "facts": [[_text(name), _text(value)] for name, value in write_up.facts],
        "owner": list(map(_section, write_up.owner)),
        "trade_title": _text(write_up.trade_title),
        "trade": list(map(_section, write_up.trade)),
        "foot": _text(write_up.foot),
        "exhibit": write_up.labels.exhibit,
        "page": write_up.labels.page,
        "of": write_up.labels.of,
    }


def _text(words: Words) -> list[str]:
    return [words.text, words.language]


def _section(section: Section) -> dict[str, Any]:
    return {"id": section.id, "heading": _text(section.heading), "blocks": list(map(_block, section.blocks))}


def _block(block: Block) -> dict[str, Any]:
    match block:
        case Paragraph(words, lead):
            return {"kind": "paragraph", "lead": lead, "words": list(map(_text, words))}
        case Bullets(items):
            return {"kind": "bullets", "items": list(map(_text, items))}
        case Table():
            return {
                "kind": "table",
                "caption": _text(block.caption),
                "heads": list(map(_text, block.heads)),
                "rows": [list(map(_text, row)) for row in block.rows],
                "columns": _columns(block),
                "right": list(block.right),
                "code": list(block.code),
            }
        case Figure():
            return {
                "kind": "figure",
                "number": block.number,
                "caption": _text(block.caption),
                "alt": block.alt.text,
                "svg": block.svg.decode("utf-8"),
            }


_NARROW = 16  # signs: a column that never has more takes the room it needs


def _columns(table: Table) -> list[float]:
    """Each column's share of the width, by its longest text; 0 for one that takes what it needs."""
    longest = [max(len(row[place].text) for row in (table.heads, *table.rows)) for place in range(len(table.heads))]
    if max(longest) <= _NARROW:
        return [0.0] * (len(longest) - 1) + [1.0]
    # A fingerprint breaks nowhere: its column takes what it needs.
    return [
        0.0 if signs <= _NARROW or (place in table.code and len(longest) > 1) else min(float(signs), 120.0) ** 0.5
        for place, signs in enumerate(longest)
    ]
