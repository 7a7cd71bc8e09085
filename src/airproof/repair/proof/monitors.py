"""What readiness monitors wait for, and the rules by which codes come and go, from the data file beside this module."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Annotated

import tomli
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from airproof.errors import BrokenKnowledge
from airproof.repair.proof.stretches import Source

Count = Annotated[int, Field(gt=0)]
Number = Annotated[float, Field(gt=0.0)]


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")

    source: Source


class Rules(_Part):
    """How codes are confirmed and erased, and what a warm-up is."""

    drives_to_confirm: Count
    drives_for_lamp_out: Count
    warm_ups_to_erase: Count
    warm_up_rise_k: Number
    warm_up_reaches_c: Number


class Permanent(_Part):
    """The least drive after which a permanent code may go."""

    drive_s: Number
    above_40_km_h_s: Number
    idle_s: Number


class Waits(_Part):
    """What one monitor waits for."""

    needs: tuple[str, ...]
    drives: tuple[str, ...]
    a_drive: Annotated[float, Field(gt=0.0, lt=1.0)]


class MonitorRules(BaseModel):
    """All of it."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    rules: Rules
    permanent: Permanent
    monitors: Mapping[str, Waits]


@cache
def monitor_rules() -> MonitorRules:
    """The data that ships with the package, read once.

    Raises BrokenKnowledge when the file is at fault.
    """
    text = (files("airproof.repair.proof") / "data" / "monitors.toml").read_text(encoding="utf-8")
    try:
        return MonitorRules.model_validate(tomli.loads(text))
    except (tomli.TOMLDecodeError, ValidationError) as fault:
        raise BrokenKnowledge(
            str(fault), "rules and monitors, each with its source", "Repair it.", where="monitors.toml"
        ) from fault
