"""What a recording must hold to prove a repair, and how each stretch is driven, from the data beside this module."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Annotated

import tomli
from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from airproof.errors import BrokenKnowledge
from airproof.recording.regimes import Regime

SOAK = "soak"
Seconds = Annotated[float, Field(gt=0.0)]
Source = Annotated[str, Field(pattern=r"^(judged: \S[^,:]*[,:] \S.{9,}|read: \S.{9,}|from memory of \S.{9,})")]


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")

    source: Source


class Stretch(_Part):
    """One stretch of a drive; `seconds` is how long one drives it where nothing says better."""

    title: str
    seconds: Seconds
    how: str
    cautions: tuple[str, ...] = ()


class Needs(_Part):
    """What a cause is called in a sentence, and what shows it: seconds by regime that a proof needs, that would help,
    findings one of which must be there, and signals in which it shows best.
    """

    called: str
    needs: Mapping[str, Seconds]
    helps: Mapping[str, Seconds] = {}
    findings: tuple[str, ...] = ()
    shows_in: tuple[str, ...] = ()


class Drive(BaseModel):
    """All of it; stretches in the order in which they are driven."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    stretches: Mapping[str, Stretch]
    causes: Mapping[str, Needs]

    @model_validator(mode="after")
    def _known(self) -> Drive:
        known = {str(regime) for regime in Regime} | {SOAK}
        named = {name for one in self.causes.values() for name in (*one.needs, *one.helps)}
        if not named <= set(self.stretches) <= known:
            msg = f"{sorted((named | set(self.stretches)) - known or named - set(self.stretches))}: no such stretch"
            raise ValueError(msg)
        return self


@cache
def drive() -> Drive:
    """The data that ships with the package, read once.

    Raises BrokenKnowledge when the file is at fault.
    """
    text = (files("airproof.repair.proof") / "data" / "drive.toml").read_text(encoding="utf-8")
    try:
        return Drive.model_validate(tomli.loads(text))
    except (tomli.TOMLDecodeError, ValidationError) as fault:
        raise BrokenKnowledge(
            str(fault), "stretches and causes, each with its source", "Repair it.", where="drive.toml"
        ) from fault
