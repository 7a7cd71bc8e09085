"""Small workshops, made up for one question each."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import pytest

from airproof.knowledge.model import Cause, Knowledge, PartPrice, Prices, Step

WHY = "judged: these tests, made up for one question"
MakeWorkshop = Callable[..., Knowledge]


def make_step(key: str, money: float, minutes: float = 0.0, **rest: Any) -> tuple[Step, PartPrice]:
    """A step and the price of its part."""
    if "tells" in rest:
        rest = {"if_so": "Yes.", "if_not": "No.", "otherwise": 0.5, **rest}
    kind = rest.pop("kind", "measure" if "tells" in rest else "repair")
    step = Step(
        id=key,
        title=key,
        kind=kind,
        minutes=minutes,
        part=f"{key}-part",
        how=("Do it.",),
        source=(WHY,),
        **rest,
    )
    return step, PartPrice(id=f"{key}-part", title=key, low=money, typical=money, high=money, source=(WHY,))


def make_workshop(
    causes: Sequence[str],
    steps: Mapping[str, Mapping[str, Any]],
    *,
    ending: float = 1e6,
    labour_per_hour: float = 0.0,
) -> Knowledge:
    """Knowledge of these causes and steps only; `ending` is the price of handing the car over."""
    made = [make_step(key, **step) for key, step in steps.items()]
    made.append(make_step("hand-over", ending, kind="specialist", ends=True))
    names = dict.fromkeys(["none", *causes])
    return Knowledge(
        sources={},
        equipment={},
        causes={c: Cause(id=c, title=c, says=f"{c}.", weight=1.0, source=(WHY,)) for c in names},
        families={},
        areas={},
        codes={},
        symptoms={},
        steps={step.id: step for step, _ in made},
        prices=Prices(
            currency="USD",
            labour_per_hour=labour_per_hour,
            source=(WHY,),
            parts={price.id: price for _, price in made},
        ),
    )


@pytest.fixture
def workshop() -> MakeWorkshop:
    """How to make a workshop."""
    return make_workshop
