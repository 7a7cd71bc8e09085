"""What a recording should hold: how often each signal, and which stretches. Data: data/wanted.toml, stretches.toml."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Annotated, Any, TypeVar

import tomli
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from airproof.errors import BrokenKnowledge
from airproof.recording.regimes import Regime
from airproof.recording.signals import glossary
from airproof.toml_files import in_words

Text = Annotated[str, Field(min_length=1)]


class WantedSignal(BaseModel):
    """How often a signal is wanted (1/s), and the causes in question for which it is wanted more."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    hz: Annotated[float, Field(gt=0.0, le=50.0)]
    tells: tuple[str, ...] = ()
    why: Text


class WantedStretch(BaseModel):
    """Seconds of a regime, and what to say while they are missing."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    seconds: Annotated[float, Field(gt=0.0)]
    now: Text
    why: Text
    place: str | None = None
    source: Text


Row = TypeVar("Row", bound=BaseModel)


@cache
def wanted_signals() -> Mapping[str, WantedSignal]:
    """By signal. Raises BrokenKnowledge for a row that is unsound or of no signal."""
    return MappingProxyType(_rows("wanted.toml", WantedSignal, set(glossary().signals)))


@cache
def wanted_stretches() -> Mapping[Regime, WantedStretch]:
    """By regime, in the order in which they are best driven. Raises BrokenKnowledge for a row that is unsound."""
    rows = _rows("stretches.toml", WantedStretch, {str(regime) for regime in Regime})
    return MappingProxyType({Regime(name): row for name, row in rows.items()})


def _rows(name: str, model: type[Row], known: set[str]) -> dict[str, Row]:
    raw: dict[str, Any] = tomli.loads(
        resources.files("airproof.vehicle.recorder").joinpath(f"data/{name}").read_text("utf-8")
    )
    found = {}
    for key, row in raw.items():
        try:
            if key not in known:
                raise BrokenKnowledge(f"[{key}] is unknown", "a known name", "Mend it.", where=name)
            found[key] = model.model_validate(row)
        except ValidationError as fault:
            raise BrokenKnowledge(f"[{key}] {in_words(fault)}", "a complete row", "Mend it.", where=name) from fault
    return found
