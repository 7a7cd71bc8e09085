"""How much the judged numbers weigh against a shop's own jobs, from the data file beside this module."""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files
from typing import Annotated

import tomli
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from airproof.errors import BrokenKnowledge
from airproof.knowledge.model import JUDGED

Factor = Annotated[float, Field(gt=1.0, le=20.0)]
Jobs = Annotated[float, Field(gt=0.0)]


class _Weight(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")

    source: Annotated[str, Field(pattern=JUDGED.pattern)]


class InJobs(_Weight):
    """A judged number that counts as so many closed jobs."""

    jobs: Jobs


class Within(_Weight):
    """A judged probability whose odds are right within a factor, one standard deviation of their logarithm."""

    factor: Factor


class Otherwise(Within):
    """The same for what holds under all causes not named; each of them lies within the factor `alike` of it."""

    alike: Factor


class Amount(_Weight):
    """A judged mean right within a factor; single values spread by another, known as from `spread_jobs` jobs."""

    factor: Factor
    spread: Factor | None = None
    spread_jobs: Jobs


class Share(_Weight):
    """What a job counts that was not proved."""

    share: Annotated[float, Field(gt=0.0, le=1.0)]


class JudgedWeights(BaseModel):
    """One entry for each kind of number that is learned."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    causes: InJobs
    cures: Within
    tells: Within
    tells_otherwise: Otherwise
    codes: Within
    codes_otherwise: Otherwise
    looks: Within
    looks_otherwise: Otherwise
    symptoms: Within
    symptoms_otherwise: Otherwise
    minutes: Amount
    prices: Amount
    unproved: Share


@lru_cache(maxsize=1)
def judged_weights() -> JudgedWeights:
    """The weights that ship with the package, read once.

    Raises BrokenKnowledge when the data file is at fault.
    """
    text = (files("airproof.repair.learned") / "data" / "learning.toml").read_text(encoding="utf-8")
    try:
        return JudgedWeights.model_validate(tomli.loads(text))
    except (tomli.TOMLDecodeError, ValidationError) as fault:
        raise BrokenKnowledge(
            str(fault), "every weight with its source", "Repair that entry.", where="learning.toml"
        ) from fault
