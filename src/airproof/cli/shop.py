"""What a shop has learned, for the commands that reckon with it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from airproof.knowledge.model import Knowledge

if TYPE_CHECKING:
    from airproof.repair.learned.sharpen import Learned
    from airproof.report.in_words import Part


def learned_in(shop: Path | None, known: Knowledge) -> Learned | None:
    """What is known, with the shop's own numbers; None where no shop was named.

    Raises UnusableFile where its file cannot be read.
    """
    if shop is None:
        return None
    from airproof.repair.learned.sharpen import sharpened
    from airproof.repair.learned.shop_file import read_shop

    return sharpened(known, read_shop(shop))


def in_your_shop(learned: Learned | None, shop: str) -> tuple[Part, ...]:
    """That an answer was reckoned with it, to stand below the answer; nothing where it was not."""
    if learned is None:
        return ()
    from airproof.report.learned_in_words import beside

    return beside(learned, shop)
