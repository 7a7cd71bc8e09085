"""Some two hundred numbers that sum a recording up: what a mechanic would read off it, by what the engine was doing.

Each is chosen so that a healthy engine keeps it near a value that the profile foretells: ratios as natural logarithms,
pressures over or against the pressure of the day. NaN where the recording does not show it. No cause is looked for
here; what each cause does to these numbers is learnt from rehearsals (`forest`).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.case import Case
from airproof.diagnosis.picture import answers, loads, over_time, pulls, unsteadiness

Floats = NDArray[np.float64]

ACROSS = tuple((what, load) for what in ("ve", "fve", "load", "thr", "lam") for load in ("high", "middle", "light"))
"""Quantities whose full-load value is also set against part load: there the engine's own level drops out."""

NAMES: tuple[str, ...] = (
    *loads.NAMES,
    *pulls.NAMES,
    *(f"{what}_full_over_{load}" for what, load in ACROSS),
    *unsteadiness.NAMES,
    *answers.NAMES,
    *over_time.NAMES,
)


def summaries(case: Case, day_kpa: float) -> Floats:
    """The summaries, in the order of NAMES, of a case, given the pressure of the day, kPa absolute."""
    found: dict[str, float] = {}
    if len(case.points):
        of_point, where = loads.quantities(case, day_kpa), loads.places(case.points, day_kpa)
        found |= loads.by_load(of_point, where)
        found |= over_time.over_time(case, of_point, where)
    found |= pulls.full_load(case, day_kpa)
    for what, load in ACROSS:
        if f"full_{what}" in found and f"{load}_{what}" in found:
            found[f"{what}_full_over_{load}"] = found[f"full_{what}"] - found[f"{load}_{what}"]
    found |= unsteadiness.at_idle(case, day_kpa) | unsteadiness.at_rest(case, day_kpa)
    found |= unsteadiness.in_motion(case, day_kpa) | answers.answers(case)
    return np.array([found.get(name, np.nan) for name in NAMES])
