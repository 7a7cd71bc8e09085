"""What differed between the two days and was reckoned with, in words."""

from __future__ import annotations

import numpy as np

from airproof.diagnosis.case import Case
from airproof.repair.proof.sides import Sides


def taken_out(sides: Sides) -> tuple[str, ...]:
    """Weather, place, air temperature, the pace of the recorder, a part that was replaced."""
    before, after = sides.before, sides.after
    lines = [
        f"pressure of the day: {before.barometer.kpa:.1f} kPa before, {after.barometer.kpa:.1f} kPa after: "
        "every pressure is held against its own day's"
    ]
    air = [_air(case) for case in (before, after)]
    if air[0] is not None and air[1] is not None:
        lines.append(f"intake air: {air[0]:.0f} degC before, {air[1]:.0f} degC after: it stands in each flow")
    fuels = [case.path.profile.fuel for case in (before, after)]
    if fuels[0] != fuels[1]:
        lines.append(f"fuel: {fuels[0]} before, {fuels[1]} after: trims are held to what each needs of air")
    pace = [_pace(case) for case in (before, after)]
    if pace[0] and pace[1] and max(pace) > 1.5 * min(pace):
        lines.append(f"manifold pressure was read {pace[0]:.1f} times a second before, {pace[1]:.1f} times after")
    lines.append("loads and speeds that differ: through what this engine breathes there, known from both recordings")
    lines.append("one engine strays from itself from day to day, fuel and trims included: that much is no change")
    if sides.replaced:
        lines.append("a part was replaced: the new one may be off by as much as two good ones differ")
    return tuple(lines)


def _air(case: Case) -> float | None:
    values = case.points.intake_temperature
    known = values[np.isfinite(values)]
    return float(np.median(known)) - 273.15 if known.size else None


def _pace(case: Case) -> float:
    signal = case.recording.get("manifold_pressure")
    if signal is None or len(signal) < 3:
        return 0.0
    return float(1.0 / max(np.median(np.diff(signal.time)), 1e-3))
