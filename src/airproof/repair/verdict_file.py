"""Taking up a verdict where it was written down, to plan from it."""

from __future__ import annotations

import json
from typing import Annotated, Literal

from pydantic import BaseModel, Field, ValidationError

from airproof.errors import UnusableFile
from airproof.knowledge.model import Knowledge, Prices
from airproof.repair.plan import already_recorded
from airproof.repair.task import Task, task_for
from airproof.toml_files import in_words

WANTED = "a verdict of airproof.verdict/1"
WAY_OUT = 'Write one with "airproof weigh ... --json > verdict.json".'

Probability = Annotated[float, Field(ge=0.0, le=1.0)]


class _Cause(BaseModel):
    id: str
    probability: Probability


class _Pair(BaseModel):
    ids: tuple[str, str]
    weight: Annotated[float, Field(ge=0.0)] = 0.0


class _Engine(BaseModel):
    fuel: str = "petrol"


class _Inputs(BaseModel):
    regimes_s: dict[str, float | None] = {}
    steps_done: dict[str, bool] = {}
    engine: _Engine = _Engine()


class _Verdict(BaseModel):
    version: Annotated[Literal["airproof.verdict/1"], Field(alias="schema")]
    inputs: _Inputs
    causes: Annotated[list[_Cause], Field(min_length=1)]
    pairs: list[_Pair] = []
    refusal: str | None = None


def task_of(text: str, knowledge: Knowledge, prices: Prices, where: str) -> Task:
    """The planning task of a verdict in JSON.

    Raises UnusableFile: not JSON, not a verdict, or one that refused to judge; UnusableRequest for causes or steps that
    are not known.
    """
    try:
        verdict = _Verdict.model_validate(json.loads(text))
    except json.JSONDecodeError as fault:
        raise UnusableFile(f"is not JSON ({fault})", WANTED, WAY_OUT, where=where) from fault
    except ValidationError as fault:
        raise UnusableFile(in_words(fault), WANTED, WAY_OUT, where=where) from fault
    if verdict.refusal is not None:
        raise UnusableFile(
            f"nothing was judged there: {verdict.refusal}", "a verdict that judges", WAY_OUT, where=where
        )
    seconds = {regime: s for regime, s in verdict.inputs.regimes_s.items() if s is not None}
    steps = verdict.inputs.steps_done
    return task_for(
        {cause.id: cause.probability for cause in verdict.causes},
        knowledge,
        prices,
        done={*steps, *already_recorded(seconds, knowledge)},
        seen={step for step, found in steps.items() if found},
        pairs={pair.ids: pair.weight for pair in verdict.pairs if pair.weight > 0.0},
        fuel=verdict.inputs.engine.fuel,
    ).doubted()
