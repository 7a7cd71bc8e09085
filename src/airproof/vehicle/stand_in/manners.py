"""How a stand-in answers: quick or slow, polite or rude. Data: data/manners.toml."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Annotated

import tomli
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from airproof.errors import BrokenKnowledge, UnusableRequest
from airproof.toml_files import in_words

Share = Annotated[float, Field(ge=0.0, le=1.0)]
Seconds = Annotated[float, Field(ge=0.0, le=60.0)]


class Manners(BaseModel):
    """How a stand-in answers; what each means stands in the data."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    says: str = ""
    answers_after_s: Seconds = 0.005
    jitter_s: Seconds = 0.0
    between_frames_s: Seconds = 0.0003
    items_at_once: Annotated[int, Field(ge=1, le=6)] = 6
    busy_share: Share = 0.0
    pending_share: Share = 0.0
    pending_s: Seconds = 1.0
    says_no: bool = False
    silent_share: Share = 0.0
    lost_share: Share = 0.0
    wrong_length_share: Share = 0.0
    resets_share: Share = 0.0
    resets_s: Seconds = 2.0
    chatter_per_s: Annotated[float, Field(ge=0.0, le=4000.0)] = 0.0
    source: Annotated[str, Field(min_length=1)]


@cache
def all_manners() -> Mapping[str, Manners]:
    """All manners by name, the politest first. Raises BrokenKnowledge where one is unsound or has no source."""
    text = resources.files("airproof.vehicle.stand_in").joinpath("data/manners.toml").read_text("utf-8")
    found = {}
    for name, table in tomli.loads(text).items():
        try:
            found[name] = Manners.model_validate(table)
        except ValidationError as fault:
            raise BrokenKnowledge(
                f"[{name}] {in_words(fault)}", "manners with a source", "Mend it.", where="manners.toml"
            ) from fault
    return MappingProxyType(found)


def manners_named(name: str) -> Manners:
    """The manners of that name. Raises UnusableRequest, naming those there are."""
    if name not in all_manners():
        raise UnusableRequest(f"{name[:40]!r}", f"one of {', '.join(all_manners())}", "Choose one.", where="--manners")
    return all_manners()[name]
