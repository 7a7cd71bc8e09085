"""The level checks that are compared between two days."""

from __future__ import annotations

from airproof.diagnosis.checks import boost_control, exhaust, full_load, idle, overrun, response, temperatures
from airproof.diagnosis.level import Level
from airproof.engine.profile import EngineProfile

_OF_ANY_ENGINE: tuple[Level, ...] = (
    full_load.NATURAL,
    full_load.BOOSTED,
    boost_control.ERROR,
    boost_control.REACHED,
    temperatures.DRIVING,
    temperatures.COLD,
)
_THROTTLED: tuple[Level, ...] = (
    exhaust.LEVEL,
    response.LEVEL,
    overrun.LEVEL,
    idle.PRESSURE,
    idle.SPEED,
    idle.UNSTEADINESS,
    idle.NOISE,
)


def levels_of(profile: EngineProfile) -> tuple[Level, ...]:
    """Those that such an engine can be held against."""
    return (*_OF_ANY_ENGINE, *(_THROTTLED if profile.throttled else ()))
