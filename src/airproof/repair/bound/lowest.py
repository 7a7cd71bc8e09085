"""What no plan can stay below."""

from __future__ import annotations

from airproof.repair.bound.ahead import raised
from airproof.repair.choices import Choices
from airproof.repair.places import Place


def lowest(choices: Choices, place: Place) -> float:
    """A cost that no plan from here can stay below, weighted as the belief of `place` is."""
    from airproof.repair.bound.programme import best_form  # its solver takes its time to load, and few need it

    return raised(best_form(choices, place), place)
