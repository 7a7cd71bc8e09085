"""The numbers a proof is judged by, from the data file beside this module."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Annotated

import tomli
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from airproof.errors import BrokenKnowledge
from airproof.knowledge.model import JUDGED


class _One(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")

    value: Annotated[float, Field(gt=0.0, lt=1.0)]
    source: Annotated[str, Field(pattern=JUDGED.pattern)]


class _Odds(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")

    value: Annotated[float, Field(gt=0.0)]
    source: Annotated[str, Field(pattern=JUDGED.pattern)]


class _All(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")

    cures_by_chance: _One
    usual_cure: _One
    partly: _One
    new: _One
    proved: _One
    proved_evenly: _One
    not_fixed: _One
    something_else: _One
    nothing_before: _One
    nothing_else: _One
    healthy_over_faulty: _Odds


@dataclass(frozen=True)
class Judged:
    """Chances of what work does, and the probabilities and odds from which on something is said."""

    by_chance: float
    usual_cure: float
    partly: float
    new: float
    proved: float
    proved_evenly: float
    not_fixed: float
    something_else: float
    nothing_before: float
    nothing_else: float
    healthy_over_faulty: float


@cache
def judged() -> Judged:
    """The numbers that ship with the package, read once.

    Raises BrokenKnowledge when the data file is at fault.
    """
    text = (files("airproof.repair.proof") / "data" / "judged.toml").read_text(encoding="utf-8")
    try:
        read = _All.model_validate(tomli.loads(text))
    except (tomli.TOMLDecodeError, ValidationError) as fault:
        raise BrokenKnowledge(str(fault), "every number with its source", "Repair it.", where="judged.toml") from fault
    return Judged(
        read.cures_by_chance.value, read.usual_cure.value, read.partly.value, read.new.value, read.proved.value,
        read.proved_evenly.value, read.not_fixed.value, read.something_else.value, read.nothing_before.value,
        read.nothing_else.value, read.healthy_over_faulty.value,
    )  # fmt: skip
