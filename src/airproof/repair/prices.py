"""A shop's own prices, and the tools it has not, over the ones that ship with the package.

PRICES.toml, every line of it optional:

    currency = "EUR"           # then every part needs its own price: nothing is converted
    labour_per_hour = 85
    own_time_free = true       # for those who work on their own car; instead of labour_per_hour
    tools_missing = ["smoke machine"]   # steps that need them are not planned

    [parts]
    map-sensor = 39.90
"""

from __future__ import annotations

import difflib
from collections.abc import Collection, Sequence
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from airproof.errors import UnusableFile
from airproof.knowledge.model import Knowledge, PartPrice, Prices
from airproof.toml_files import load_toml

WAY_OUT = "A price file looks like this: labour_per_hour = 85, then [parts] and map-sensor = 39.90."

NAMED = 4
MOST_MONEY = 1e7
"""Judged: Airproof authors, because no part or hour costs more in any currency; more is a slip."""

ALL_OF = {kind: f'"airproof explain {kind}" lists them all.' for kind in ("parts", "tools")}
Amount = Annotated[float, Field(ge=0.0, le=MOST_MONEY, allow_inf_nan=False)]


class _PriceFile(BaseModel):
    model_config = ConfigDict(extra="forbid")

    currency: Annotated[str, Field(pattern=r"^[A-Z]{3}$")] | None = None
    labour_per_hour: Amount | None = None
    own_time_free: bool = False
    tools_missing: list[str] = []
    parts: dict[str, Amount] = {}


def load_prices(path: Path, usual: Prices, tools: Collection[str] = ()) -> Prices:
    """`usual` with what the file at `path` says put over it; `tools` are those that any step needs.

    Raises UnusableFile: not a file, not TOML, an unknown key, part or tool, a price that cannot be, a time both
    free and paid, or another currency with parts left unpriced.
    """
    own = load_toml(path, _PriceFile, wanted="a shop's prices", way_out=WAY_OUT)
    strange = [tool for tool in own.tools_missing if tool not in tools]
    if strange:
        near = [n for tool in strange for n in difflib.get_close_matches(tool, tools, n=2)]
        hint = f"Did you mean {' or '.join(near)}?" if near else f"Known are {_few(sorted(tools))}. {ALL_OF['tools']}"
        raise UnusableFile(f"unknown tool {', '.join(strange)}", "tools by their names", hint, where=str(path))
    return _put_over(own, usual, str(path)).model_copy(update={"tools_missing": tuple(own.tools_missing)})


def tools_of(knowledge: Knowledge) -> frozenset[str]:
    """All tools that any step needs."""
    return frozenset(tool for step in knowledge.steps.values() for tool in step.tools)


def _few(names: Sequence[str]) -> str:
    """The first names of a list, and how many more there are."""
    more = len(names) - NAMED
    return ", ".join(names[:NAMED]) + (f" and {more} more" if more > 0 else "")


def _put_over(own: _PriceFile, usual: Prices, where: str) -> Prices:
    unknown = [key for key in own.parts if key not in usual.parts]
    if unknown:
        near = [n for key in unknown for n in difflib.get_close_matches(key, usual.parts, n=2)]
        hint = (
            f"Did you mean {' or '.join(near)}?" if near else f"Known are {_few(list(usual.parts))}. {ALL_OF['parts']}"
        )
        raise UnusableFile(f"unknown part {', '.join(unknown)}", "parts by their names", hint, where=where)
    if own.own_time_free and own.labour_per_hour:
        raise UnusableFile(
            f"own_time_free and labour_per_hour = {own.labour_per_hour:g}",
            "one of the two",
            "Leave one of them out.",
            where=where,
        )
    currency = own.currency or usual.currency
    if currency != usual.currency:
        unpriced = [key for key in usual.parts if key not in own.parts]
        if unpriced or (own.labour_per_hour is None and not own.own_time_free):
            missing = [*(["labour_per_hour"] if own.labour_per_hour is None else []), *unpriced]
            raise UnusableFile(
                f"currency {currency}, but no price in it for {_few(missing)}",
                f"all prices in one currency, or in {usual.currency}",
                f"Nothing is converted: price what is missing, or leave the currency out. {ALL_OF['parts']}",
                where=where,
            )
    labour = usual.labour_per_hour if own.labour_per_hour is None else own.labour_per_hour
    mine = f"judged: the shop, its own price in {Path(where).name}"
    parts = dict(usual.parts)
    for key, price in own.parts.items():
        parts[key] = PartPrice(id=key, title=parts[key].title, low=price, typical=price, high=price, source=(mine,))
    return Prices(
        currency=currency,
        labour_per_hour=0.0 if own.own_time_free else labour,
        source=(*usual.source, mine),
        parts=parts,
    )
