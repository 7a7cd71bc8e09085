"""What is known of one engine: the profile, from TOML, with defaults that name themselves.

Only displacement, cylinders, induction and air metering are needed. Of everything else `assumed` says in plain words
what was taken for granted.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from airproof.knowledge.model import AirMetering, Fuel, Induction
from airproof.quantities.mixture import fuel_named
from airproof.toml_files import load_toml

WAY_OUT = (
    "An engine profile looks like this: [engine] displacement_l = 1.984, cylinders = 4, "
    'induction = "turbocharged", air_metering = "air-flow sensor".'
)


class EngineProfile(BaseModel):
    """One engine. Litres, 1/min and kPa gauge as a mechanic writes them; SI through the properties."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)

    displacement_l: Annotated[float, Field(ge=0.2, le=12.0)]
    cylinders: Annotated[int, Field(ge=1, le=16)]
    induction: Induction
    air_metering: AirMetering
    fuel: Fuel = "petrol"
    compression_ratio: Annotated[float, Field(ge=5.0, le=25.0)] = 10.0  # 8 to 13 move what stays unburnt by 1 %
    idle_rpm: Annotated[float, Field(ge=300.0, le=1800.0)] | None = None
    rated_boost_kpa: Annotated[float, Field(ge=5.0, le=300.0)] | None = None
    name: str = ""

    @model_validator(mode="after")
    def _nothing_compresses_without_a_compressor(self) -> Self:
        if self.rated_boost_kpa is not None and not self.boosted:
            msg = f"rated_boost_kpa = {self.rated_boost_kpa:g} on an engine that is {self.induction}"
            raise ValueError(msg)
        return self

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
    def throttled(self) -> bool:
        """Whether a throttle governs it; a diesel is governed by its fuel, and idles with the intake open."""
        return self.fuel != "diesel"

    @property
    def metering(self) -> str:
        """What the air is metered by, in words that stand by themselves."""
        return "air-flow sensor and speed-density" if self.air_metering == "both" else self.air_metering

    @property
    def assumed(self) -> tuple[str, ...]:
        """What was taken for granted because the profile does not say."""
        given = self.model_fields_set
        lines = []
        if "fuel" not in given:
            lines.append("fuel: petrol")
        if "compression_ratio" not in given and self.throttled:  # nothing that is asked of a diesel rests on it
            lines.append(f"compression ratio: {self.compression_ratio:g}")
        if "idle_rpm" not in given:
            lines.append("idle speed: read from the recording")
        if self.boosted and "rated_boost_kpa" not in given:
            lines.append("rated boost: unknown, so boost at full load is held against none")
        return tuple(lines)


class _ProfileFile(BaseModel):
    model_config = ConfigDict(extra="forbid")

    engine: EngineProfile
    rehearsal: dict[str, Any] = {}  # what only a simulated engine needs; read where one is built


def load_profile(path: Path) -> EngineProfile:
    """Read an engine profile (TOML, table [engine]).

    Raises UnusableFile: not a file, not TOML, a key unknown, missing, or outside what an engine can have.
    """
    return load_toml(path, _ProfileFile, wanted="an engine that can exist", way_out=WAY_OUT).engine
