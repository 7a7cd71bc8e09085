"""Jobs of our own invention, for the tests of the store."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from airproof.jobs.events import Draft
from airproof.jobs.kinds import payload_of

VIN = "1M8GDM9AXKP042788"
PLATE = "AB-C 123"
OWNER = "Ünal Meier"
ENGINE = {"displacement_l": 2.0, "cylinders": 4, "induction": "naturally-aspirated", "air_metering": "air-flow sensor"}


def draft(kind: str, **data: Any) -> Draft:
    """A draft from plain values."""
    return Draft(kind, payload_of(kind, data))


def intake() -> Sequence[Draft]:
    """What a job begins with."""
    return [
        draft("car", make="Invented", model="Two", year=2009, vin=VIN, plate=PLATE, owner=OWNER),
        draft("engine", engine=ENGINE),
        draft("complaint", text="lamp on; hesitates"),
        draft("place", altitude="350m", ambient="18C"),
        draft("code", id="P0106"),
        draft("symptom", id="hesitation"),
    ]


def recording(path: Path, offset_kpa: float = 0.0, preamble: str = "") -> Path:
    """Key on, idle, a gentle cruise, as plain arithmetic as will do; the sensor reads `offset_kpa` too high."""
    lines = [
        "time [s],engine speed [1/min],manifold pressure [kPa],barometric pressure [kPa],air flow [g/s],throttle [%]"
    ]
    for tick in range(1000):
        second, ripple = tick * 0.1, math.sin(tick * 1.7)
        speed, pressure, throttle = (
            (0.0, 97.2, 16.0) if second < 15 else (780 + 4 * ripple, 33 + 0.2 * ripple, 16.0) if second < 60
            else (2200 + 6 * ripple, 58 + 0.3 * ripple, 26.0)
        )  # fmt: skip
        flow = 0.8 * pressure * 1e3 * 2e-3 * speed / 120 / (287.05 * 303.15) * 1e3
        lines.append(f"{second:.1f},{speed:.0f},{pressure + offset_kpa:.2f},97.2,{flow:.2f},{throttle:.1f}")
    path.write_text(preamble + "\n".join(lines) + "\n", encoding="utf-8")
    return path
