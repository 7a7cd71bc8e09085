"""What is known of one engine: the profile, from TOML, with wide defaults that name themselves.

Only displacement, cylinders, induction and air metering are needed. Everything else has a default with a spread, and
`assumed` lists in plain words what was taken for granted.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from airproof.errors import UnusableFile
from airproof.quantities.mixture import fuel_named

Induction = Literal["naturally-aspirated", "turbocharged", "supercharged"]
Fuel = Literal["petrol", "e10", "e85", "diesel"]
AirMetering = Literal["air-flow sensor", "speed-density", "both"]

WAY_OUT = (
    "An engine profile looks like this: [engine] displacement_l = 1.984, cylinders = 4, "
    'induction = "turbocharged", air_metering = "air-flow sensor".'
)


class EngineProfile(BaseModel):
    """One engine. Litres, 1/min and kPa gauge as a mechanic writes them; SI through the properties."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    displacement_l: Annotated[float, Field(ge=0.2, le=12.0)]
    cylinders: Annotated[int, Field(ge=1, le=16)]
    induction: Induction
    air_metering: AirMetering
    fuel: Fuel = "petrol"
    compression_ratio: Annotated[float, Field(ge=5.0, le=25.0)] = 10.0
    idle_rpm: Annotated[float, Field(ge=300.0, le=1800.0)] | None = None
    rated_boost_kpa: Annotated[float, Field(ge=5.0, le=300.0)] | None = None
    name: str = ""

    @property
    def displacement_m3(self) -> float:
        """Swept volume, m3."""
        return self.displacement_l * 1e-3

    @property
    def stoichiometric(self) -> float:
        """Mass of air for one of fuel."""
        return fuel_named(self.fuel).stoichiometric

    @property
    def boosted(self) -> bool:
        """Whether a compressor can raise the charge pressure above the barometer."""
        return self.induction != "naturally-aspirated"

    @property
    def assumed(self) -> tuple[str, ...]:
        """What was taken for granted because the profile does not say."""
        given = self.model_fields_set
        lines = []
        if "fuel" not in given:
            lines.append("fuel: petrol")
        if "idle_rpm" not in given:
            lines.append("idle speed: read from the recording, anything from 550 to 1100 1/min")
        if self.boosted and "rated_boost_kpa" not in given:
            lines.append("rated boost: unknown, 30 to 160 kPa gauge")
        return tuple(lines)


class _ProfileFile(BaseModel):
    model_config = ConfigDict(extra="forbid")

    engine: EngineProfile


def load_profile(path: Path) -> EngineProfile:
    """Read an engine profile (TOML, table [engine]).

    Raises UnusableFile: not a file, not TOML, a key unknown, missing, or outside what an engine can have.
    """
    where = str(path)
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as cause:
        found = f"cannot be read ({cause.strerror or cause})"
        raise UnusableFile(found, "an engine profile in TOML", WAY_OUT, where=where) from cause
    except UnicodeDecodeError as cause:
        raise UnusableFile(
            f"cannot be read as text ({cause})", "an engine profile in TOML", WAY_OUT, where=where
        ) from cause
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as cause:
        raise UnusableFile(f"not valid TOML ({cause})", "an engine profile in TOML", WAY_OUT, where=where) from cause
    try:
        return _ProfileFile.model_validate(table).engine
    except ValidationError as cause:
        raise UnusableFile(_in_words(cause), "an engine that can exist", WAY_OUT, where=where) from cause


def _in_words(error: ValidationError) -> str:
    lines = []
    for one in error.errors():
        key = ".".join(str(part) for part in one["loc"])
        if one["type"] == "missing":
            lines.append(f"{key} is missing")
        elif one["type"] == "extra_forbidden":
            lines.append(f"{key} is not a known key")
        else:
            lines.append(f"{key} = {one['input']!r}: {one['msg'].lower()}")
    return "; ".join(lines)
