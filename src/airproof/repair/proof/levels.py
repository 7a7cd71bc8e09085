"""The level checks that are compared between two days."""

from __future__ import annotations

from airproof.diagnosis.checks import boost_control, exhaust, full_load, idle, overrun, response, temperatures
from airproof.diagnosis.level import Level

LEVELS: tuple[Level, ...] = (
    full_load.NATURAL,
    full_load.BOOSTED,
    boost_control.ERROR,
    boost_control.REACHED,
    exhaust.LEVEL,
    response.LEVEL,
    temperatures.DRIVING,
    temperatures.COLD,
    overrun.LEVEL,
    idle.PRESSURE,
    idle.SPEED,
    idle.UNSTEADINESS,
    idle.NOISE,
)
"""In the order of the checks."""
