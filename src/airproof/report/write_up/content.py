"""What a write-up holds, whatever it is written as: sections of paragraphs, lists, tables and exhibits.

Every text knows its language, so that a screen reader and a hyphenation know it too.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, is_dataclass
from typing import Any, Literal, TypeAlias

from airproof.report.language.language import Words

Paper = Literal["a4", "letter"]
PAPERS: tuple[Paper, ...] = ("a4", "letter")


@dataclass(frozen=True)
class Paragraph:
    """Some sentences; `lead` is said larger: the one thing a hurried reader takes away."""

    words: tuple[Words, ...]
    lead: bool = False


@dataclass(frozen=True)
class Bullets:
    """A list in no order that matters."""

    items: tuple[Words, ...]


@dataclass(frozen=True)
class Table:
    """Rows under heads; `right` are the columns of numbers, `code` those of long digits that may break anywhere."""

    caption: Words
    heads: tuple[Words, ...]
    rows: tuple[tuple[Words, ...], ...]
    right: tuple[int, ...] = ()
    code: tuple[int, ...] = ()


@dataclass(frozen=True)
class Figure:
    """An exhibit: `title` is its one point, `caption` the sentence with the number, `alt` the picture in words."""

    number: int
    title: Words
    caption: Words
    alt: Words
    svg: bytes


Block: TypeAlias = Paragraph | Bullets | Table | Figure


@dataclass(frozen=True)
class Section:
    """A heading and what stands under it."""

    id: str
    heading: Words
    blocks: tuple[Block, ...]


@dataclass(frozen=True)
class Labels:
    """The few words that the page itself needs."""

    exhibit: str
    page: str
    of: str


@dataclass(frozen=True)
class WriteUp:
    """The whole: `facts` are label and value under the title, `foot` stands on every page."""

    language: str
    title: Words
    facts: tuple[tuple[Words, Words], ...]
    owner: tuple[Section, ...]
    trade_title: Words
    trade: tuple[Section, ...]
    foot: Words
    labels: Labels

    @property
    def figures(self) -> tuple[Figure, ...]:
        """The exhibits in their order."""
        sections = (*self.owner, *self.trade)
        return tuple(block for one in sections for block in one.blocks if isinstance(block, Figure))


def words_in(part: Any) -> Iterator[Words]:
    """Every text of a write-up or of a part of it, in reading order."""
    if isinstance(part, Words):
        yield part
    elif isinstance(part, tuple):
        for one in part:
            yield from words_in(one)
    elif is_dataclass(part) and not isinstance(part, type):
        for field in fields(part):
            yield from words_in(getattr(part, field.name))


def translated(part: Any, into: str) -> tuple[int, int]:
    """How many of our own texts are in that language, and how many there are; what was typed counts in neither."""
    ours = [one for one in words_in(part) if one.language and one.text.strip()]
    return sum(one.language == into for one in ours), len(ours)
