"""As if the usual fuel had been in the tank: what another one needs more of for the same air, the loop has added."""

from __future__ import annotations

from dataclasses import replace

from airproof.engine.air_path import OnePath
from airproof.engine.profile import EngineProfile
from airproof.knowledge.model import Fuel
from airproof.recording.recording import Recording, Signal

BANKS = ("1", "2")


def burning(profile: EngineProfile, fuel: Fuel | None) -> EngineProfile:
    """The engine with that fuel in its tank, where one is told."""
    return profile if fuel is None else profile.model_copy(update={"fuel": fuel})


def path_on_usual_fuel(path: OnePath, profile: EngineProfile) -> OnePath:
    """The points as they would be with the profile's fuel."""
    share = path.profile.stoichiometric / profile.stoichiometric
    return path if share == 1.0 else replace(path, points=replace(path.points, trim=path.points.trim * share))


def on_usual_fuel(recording: Recording, profile: EngineProfile, burnt: Fuel | None) -> Recording:
    """The recording with its trims and fuel rate as they would be with the profile's fuel; the recording itself where
    no other is told. Trims are in percent; of each bank the long one is changed, where it is there.
    """
    share = burning(profile, burnt).stoichiometric / profile.stoichiometric
    if share == 1.0:
        return recording
    changed: dict[str, Signal] = {}
    for bank in BANKS:
        trim = recording.get(f"long_trim_{bank}") or recording.get(f"short_trim_{bank}")
        if trim is not None:
            changed[trim.name] = replace(trim, values=100.0 * ((1.0 + trim.values / 100.0) * share - 1.0))
    rate = recording.get("fuel_rate")
    if rate is not None:
        changed[rate.name] = replace(rate, values=rate.values * share)
    return replace(recording, signals={**recording.signals, **changed})
