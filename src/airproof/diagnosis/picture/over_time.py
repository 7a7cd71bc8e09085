"""What changed within the recording: a fault that came half way, or comes and goes, shows against its own beginning."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.case import Case

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# Judged: Airproof authors. What the summaries so defined mean is learnt, so that these decide how sharp they are, not
# what they say.
FEWEST = 5  # points at one load
FEWEST_IN_ALL = 12
FLOOR = 0.01  # nepers added to a spread, so that its logarithm stays finite
PART = 0.4  # of the points, at the beginning and at the end
WHAT = ("ve", "trim", "area", "fve", "lam")
AT_IDLE = ("n", "p", "thr")
NAMES = tuple(f"{name}_{way}" for name in (*WHAT, *(f"idle_{n}" for n in AT_IDLE)) for way in ("later", "apart"))


def over_time(case: Case, of_point: Mapping[str, Floats], places: Mapping[str, Bools]) -> dict[str, float]:
    """For each quantity, at like loads: the end of the recording less its beginning, and how far its values part."""
    found: dict[str, float] = {}
    time = (case.points.start_s + case.points.end_s) / 2
    for name in WHAT:
        _compare(name, of_point[name], places, time, found)
    for name in AT_IDLE:
        _compare(f"idle_{name}", of_point[name], {"idle": places["idle"]}, time, found)
    return found


def _compare(name: str, values: Floats, places: Mapping[str, Bools], time: Floats, found: dict[str, float]) -> None:
    left, when = [], []
    for chosen in places.values():
        known = chosen & np.isfinite(values)
        if np.count_nonzero(known) >= FEWEST:
            left.append(values[known] - np.median(values[known]))
            when.append(time[known])
    if not left:
        return
    together, times = np.concatenate(left), np.concatenate(when)
    if together.size < FEWEST_IN_ALL:
        return
    found[f"{name}_later"] = end_less_beginning(together, times, PART)
    low, high = np.quantile(together, (0.06, 0.94))
    found[f"{name}_apart"] = float(np.log(high - low + FLOOR))


def end_less_beginning(values: Floats, times: Floats, part: float) -> float:
    """The median of that part of the values which came last, less that of the part which came first; three at least."""
    inorder = values[np.argsort(times, kind="stable")]
    count = max(int(part * inorder.size), 3)
    return float(np.median(inorder[-count:]) - np.median(inorder[:count]))
