"""Files for the command line: a car of our own invention, as plain arithmetic as will do."""

from __future__ import annotations

import math
from pathlib import Path

ENGINE = """[engine]
displacement_l = 2.0
cylinders = 4
induction = "naturally-aspirated"
air_metering = "air-flow sensor"
"""
BAROMETER_KPA = 97.2
R_AIR = 287.05
CHARGE_K = 303.15
EFFICIENCY = 0.80


def row(second: float, offset_kpa: float, ripple: float) -> list[float]:
    """Key on for 15 s, then idle, then a gentle cruise; the pressure sensor reads `offset_kpa` too high."""
    if second < 15.0:
        speed, pressure, throttle, road = 0.0, BAROMETER_KPA, 16.0, 0.0
    elif second < 60.0:
        speed, pressure, throttle, road = 780.0 + 4.0 * ripple, 33.0 + 0.2 * ripple, 16.0, 0.0
    else:
        speed, pressure, throttle, road = 2200.0 + 6.0 * ripple, 58.0 + 0.3 * ripple, 26.0, 70.0
    flow = EFFICIENCY * pressure * 1e3 * 2.0e-3 * speed / 60.0 / 2.0 / (R_AIR * CHARGE_K) * 1e3
    coolant, intake = 88.0, CHARGE_K - 273.15
    return [
        second,
        speed,
        pressure + offset_kpa,
        BAROMETER_KPA,
        flow,
        throttle,
        0.4 * ripple,
        -0.8,
        intake,
        coolant,
        road,
    ]


HEADINGS = (
    "Time (s)",
    "Engine speed (1/min)",
    "Intake manifold absolute pressure (kPa)",
    "Barometric pressure (kPa)",
    "Air flow rate (g/s)",
    "Absolute throttle position (%)",
    "Short term fuel trim bank 1 (%)",
    "Long term fuel trim bank 1 (%)",
    "Intake air temperature (degC)",
    "Engine coolant temperature (degC)",
    "Vehicle speed (km/h)",
)


def recording(path: Path, *, offset_kpa: float = 0.0, phase: float = 0.0, seconds: int = 150) -> Path:
    """A CSV recording, two rows a second."""
    lines = [",".join(HEADINGS)]
    for k in range(2 * seconds):
        values = row(k / 2.0, offset_kpa, math.sin(0.9 * k + phase))
        lines.append(",".join(f"{value:.3f}" for value in values))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def engine(path: Path, text: str = ENGINE) -> Path:
    """An engine profile."""
    path.write_text(text, encoding="utf-8")
    return path
