"""A recording as if the usual fuel had been in the tank: what another one needs more of, the loop has added."""

from __future__ import annotations

from dataclasses import replace

from airproof.engine.profile import EngineProfile
from airproof.knowledge.model import Fuel
from airproof.recording.recording import Recording, Signal

BANKS = ("1", "2")


def on_usual_fuel(recording: Recording, profile: EngineProfile, burnt: Fuel | None) -> Recording:
    """The recording with its trims and fuel rate as the profile's fuel would have them, by the stoichiometric ratios;
    the recording itself where no other fuel is told. Trims are in percent; of each bank the long one is changed, where
    it is there.
    """
    if burnt is None:
        return recording
    share = profile.model_copy(update={"fuel": burnt}).stoichiometric / profile.stoichiometric
    changed: dict[str, Signal] = {}
    for bank in BANKS:
        trim = recording.get(f"long_trim_{bank}") or recording.get(f"short_trim_{bank}")
        if trim is not None:
            changed[trim.name] = replace(trim, values=100.0 * ((1.0 + trim.values / 100.0) * share - 1.0))
    rate = recording.get("fuel_rate")
    if rate is not None:
        changed[rate.name] = replace(rate, values=rate.values * share)
    return replace(recording, signals={**recording.signals, **changed})
