"""What healthy petrol engines share, read from data; every table there has a source."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

import numpy as np
import tomli
from numpy.typing import NDArray

from airproof.engine.smooth_table import Smoothness
from airproof.errors import BrokenKnowledge

Floats = NDArray[np.float64]

TABLES = ("efficiency", "area", "mixture", "trim", "rest")
OURS = "This is a fault of ours: please report it."


@dataclass(frozen=True)
class Shared:
    """Knots as natural logarithms of Pa, 1/s and opening + shift; spreads as standard deviations of logarithms.

    `scatter` is that of one steady point of each relation; so many neighbouring points as `points_that_repeat` count
    as one, since they say nearly the same.
    """

    log_pressures: Floats
    log_speeds: Floats
    log_openings: Floats
    opening_shift: float
    log_efficiency: Floats
    full_area: float
    area_power: float
    rest: float
    spread: Mapping[str, Smoothness]
    another_day: Mapping[str, Smoothness]
    another_car: Mapping[str, Smoothness]
    scatter: Mapping[str, float]
    points_that_repeat: float


@cache
def shared() -> Shared:
    """The tables that ship with the package, read once.

    Raises BrokenKnowledge where a table, a number or a source is missing.
    """
    text = (resources.files("airproof.engine") / "data" / "healthy_engines.toml").read_text(encoding="utf-8")
    return from_toml(tomli.loads(text))


def from_toml(tables: Mapping[str, Any]) -> Shared:
    """Shared knowledge from parsed TOML.

    Raises BrokenKnowledge where a table, a number or a source is missing.
    """
    for name in (*TABLES, "scatter"):
        if not str(tables.get(name, {}).get("source", "")).strip():
            raise BrokenKnowledge(f"healthy_engines.toml, {name}: no source", "where its numbers come from", OURS)
    try:
        efficiency, area, scatter = tables["efficiency"], tables["area"], dict(tables["scatter"])
        del scatter["source"]
        return Shared(
            log_pressures=np.log(np.array(efficiency["pressure_kpa"]) * 1e3),
            log_speeds=np.log(np.array(efficiency["speed_per_min"]) / 60.0),
            log_openings=np.log(np.array(area["opening"]) + area["shift"]),
            opening_shift=area["shift"],
            log_efficiency=np.log(np.array(efficiency["mean"])),
            full_area=area["full_m2_per_m3"],
            area_power=area["power"],
            rest=tables["rest"]["mean"],
            spread={name: _smoothness(tables[name]) for name in TABLES},
            another_day={name: _smoothness(tables[name]["another_day"]) for name in TABLES},
            another_car={name: _smoothness(tables[name]["another_car"]) for name in TABLES},
            points_that_repeat=scatter.pop("points_that_repeat"),
            scatter=scatter,
        )
    except (KeyError, TypeError, ValueError) as cause:
        raise BrokenKnowledge(f"healthy_engines.toml: {cause!r}", "whole tables of numbers", OURS) from cause


def _smoothness(table: Mapping[str, Any]) -> Smoothness:
    bend = table["bend"]
    return Smoothness(table["level"], np.array(bend) if isinstance(bend, list) else bend, tuple(table["reach"]))
