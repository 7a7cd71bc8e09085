"""The exhibits of a weighed job as pictures that a page shows: drawn once, in a thread, kept while the job is open."""

from __future__ import annotations

import asyncio
import hashlib
import threading
from collections import OrderedDict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from airproof.diagnosis.conditions import air_kpa
from airproof.quantities.wishes import Wish
from airproof.report.exhibits import drawn
from airproof.web.bench import KEPT, Bench

if TYPE_CHECKING:
    from airproof.jobs.weighing import Weighed

WIDTH, HEIGHT = 800, 520
"""Of an exhibit on the page, so that nothing jumps when it comes."""

KEY = 16  # letters of a hash: enough to tell the pictures of one evening apart
_ONE_AT_A_TIME = threading.Lock()  # the drawing library keeps its style in one place for all threads


@dataclass(frozen=True)
class Picture:
    """One exhibit: where a browser finds it, or why there is none."""

    number: int
    title: str
    caption: str
    alt: str
    address: str
    not_drawn: str | None
    width: int = WIDTH
    height: int = HEIGHT


_PICTURES: OrderedDict[str, tuple[tuple[Picture, ...], dict[str, bytes]]] = OrderedDict()


async def exhibits_of(bench: Bench, job: int, weighed: Weighed) -> tuple[Picture, ...]:
    """All exhibits of a weighed job."""
    wish = bench.settings.wish(air_kpa(weighed.weighing.barometer))
    key = hashlib.sha256(f"{weighed.facts_sha256} {wish}".encode()).hexdigest()[:KEY]
    held = _PICTURES.get(key)
    if held is None:
        held = await asyncio.to_thread(_draw, job, weighed, wish, key)
        _PICTURES[key] = held
        while len(_PICTURES) > KEPT:
            _PICTURES.popitem(last=False)
    return held[0]


def _draw(job: int, weighed: Weighed, wish: Wish, key: str) -> tuple[tuple[Picture, ...], dict[str, bytes]]:
    with _ONE_AT_A_TIME:
        exhibits, files = drawn(weighed.weighing, wish=wish)
    pictures = tuple(
        Picture(
            one.number,
            one.title,
            one.caption,
            one.alt,
            "" if one.svg is None else f"/job/{job}/exhibit/{key}/{one.svg.name}",
            one.not_drawn,
        )
        for one in exhibits
    )
    return pictures, {name: content for name, content in files.items() if name.endswith(".svg")}


def picture_called(key: str, name: str) -> bytes | None:
    """The picture of that name among those drawn lately."""
    held = _PICTURES.get(key)
    return None if held is None else held[1].get(name)
