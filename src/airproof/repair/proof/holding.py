"""Whether the repair holds: from how sure it is that the cause is gone, by the days without its return.

Three things may be so: it holds; it was mended and comes back later; it was never gone. Each leaves a quiet time of its
own (docs/proof.md, section 6):

    P(holds | quiet for d) = F (1 - r) / ( F (1 - r) + F r exp(-d / later) + (1 - F) exp(-d / soon) )

F is the probability that the cause is gone, r the share of such repairs that do not last. A return that somebody felt
turns this over, as far as people feel what is there and not what is gone.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import cache
from importlib.resources import files
from typing import Annotated

import tomli
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from airproof.errors import BrokenKnowledge
from airproof.knowledge.model import JUDGED, Step
from airproof.repair.proof.proof import Holding
from airproof.repair.proof.words import in_hundred

Share = Annotated[float, Field(gt=0.0, lt=1.0)]
Days = Annotated[float, Field(gt=0.0)]
UNKNOWN = "unknown"


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")

    source: Annotated[str, Field(pattern=JUDGED.pattern)]


class Shows(_Part):
    """Mean days until a cause that is still there shows."""

    usual: Days
    causes: Mapping[str, Days] = {}


class ComesBack(_Part):
    """Share of repairs of a kind that do not last, and after how many days on average."""

    share: Share
    after_days: Days


class Felt(_Part):
    """How probably somebody says that the trouble is back."""

    when_gone: Share
    when_there: Share


class ToldAt(_Part):
    """Days at which the probability is told."""

    days: tuple[Annotated[float, Field(ge=0.0)], ...]


class HoldingNumbers(BaseModel):
    """All of them."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    shows_after_days: Shows
    comes_back: Mapping[str, ComesBack]
    felt: Felt
    told_at_days: ToldAt


@cache
def holding_numbers() -> HoldingNumbers:
    """The numbers that ship with the package, read once.

    Raises BrokenKnowledge when the data file is at fault.
    """
    text = (files("airproof.repair.proof") / "data" / "holding.toml").read_text(encoding="utf-8")
    try:
        return HoldingNumbers.model_validate(tomli.loads(text))
    except (tomli.TOMLDecodeError, ValidationError) as fault:
        raise BrokenKnowledge(str(fault), "every number with its source", "Repair it.", where="holding.toml") from fault


SAME_DAY = 0.5
"""Days that have passed on average when something is said to be back on the day of the repair."""


def holding_of(
    gone: float, cause: str | None, steps: Sequence[Step], days: float, *, returned: bool = False
) -> Holding:
    """Whether it holds: `gone` is the probability that the cause is gone, `days` those since the repair."""
    numbers = holding_numbers()
    soon = numbers.shows_after_days.causes.get(cause or "", numbers.shows_after_days.usual)
    kinds = [step.kind if step.kind in numbers.comes_back else UNKNOWN for step in steps] or [UNKNOWN]
    # Of several steps any may be the one that does not last.
    lasts = math.prod(1.0 - numbers.comes_back[kind].share for kind in kinds)
    later = min(numbers.comes_back[kind].after_days for kind in kinds)

    def felt(since: float, mean: float) -> float:
        """Probability that it is said to be back when it shows itself after so many days on average, if it does."""
        there = -math.expm1(-since / mean)
        return there * numbers.felt.when_there + (1.0 - there) * numbers.felt.when_gone

    def holds(quiet: float, back: bool = False) -> float:
        here = gone * lasts
        again = gone * (1.0 - lasts)
        still = 1.0 - gone
        if back:
            here *= numbers.felt.when_gone
            again *= felt(max(quiet, SAME_DAY), later)
            still *= felt(max(quiet, SAME_DAY), soon)
        else:
            again *= math.exp(-quiet / later)
            still *= math.exp(-quiet / soon)
        return here / max(here + again + still, 1e-300)

    probability = holds(days, returned)
    at_days = tuple((day, holds(day)) for day in sorted({*numbers.told_at_days.days, days}))
    whole = round(days)
    so_long = "one day" if whole == 1 else f"{whole} days"
    if returned:
        when = f"after {so_long}" if whole else "on the day of the repair"
        says = f"said to be back {when}: that the repair holds is {in_hundred(probability)}"
    elif whole:
        says = f"{so_long} without its return: that the repair holds is {in_hundred(probability)}"
    else:
        later_day, then = next(((d, p) for d, p in at_days if d >= 30.0), at_days[-1])
        says = (
            f"that the repair holds is {in_hundred(probability)}, and {in_hundred(then)} once it has stayed away for "
            f"{later_day:.0f} days"
        )
    rests_on = (numbers.shows_after_days.source, *dict.fromkeys(numbers.comes_back[kind].source for kind in kinds))
    return Holding(probability, days, returned, () if returned else at_days, says, rests_on)


def felt_again(gone: float) -> float:
    """The probability that a cause is gone, once somebody says that the trouble is back."""
    felt = holding_numbers().felt
    back = gone * felt.when_gone
    return back / max(back + (1.0 - gone) * felt.when_there, 1e-300)
