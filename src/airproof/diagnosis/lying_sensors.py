"""What a pressure sensor would have read without a supposed cause: the one place where its lies are undone."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from airproof.engine.bend import SUPPLY_V

Floats = NDArray[np.float64]
_Rule = Callable[[float | Floats, Floats], Floats]


def _shifted(value: float | Floats, kpa: Floats) -> Floats:
    return value - kpa


def _scaled(value: float | Floats, percent: Floats) -> Floats:
    return value / (1.0 + percent / 100.0)


def _with_its_supply(value: float | Floats, volts: Floats) -> Floats:
    return value / (1.0 + volts / SUPPLY_V)


_RULES: Mapping[tuple[str, str], _Rule] = {
    ("map-offset", "manifold_pressure"): _shifted,
    ("map-gain", "manifold_pressure"): _scaled,
    ("boost-sensor-scale", "charge_pressure"): _scaled,
    ("supply-reference", "manifold_pressure"): _with_its_supply,
    ("supply-reference", "charge_pressure"): _with_its_supply,
    ("baro-sensor", "barometric_pressure"): _shifted,
}


def lies(cause: str, signal: str) -> bool:
    """Whether the cause makes this pressure signal read wrong by an amount that its size tells."""
    return (cause, signal) in _RULES


def undone(signal: str, value: float | Floats, cause: str, sizes: Floats) -> Floats:
    """What the sensor would have read, kPa absolute, without the cause at each of the sizes (in the cause's unit).

    `value` in kPa absolute and `sizes` are spread over one another; where the cause leaves the sensor alone, the value
    itself comes back in that shape.
    """
    rule = _RULES.get((cause, signal))
    if rule is None:
        return np.broadcast_to(value, np.broadcast_shapes(np.shape(value), sizes.shape))
    return rule(value, sizes)
