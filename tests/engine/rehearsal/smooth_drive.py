"""A smooth drive made by hand: every signal swings slowly within what a car shows."""

from __future__ import annotations

import numpy as np

from airproof.engine.rehearsal.trace import Trace

RANGES = {
    "engine_speed": (700, 6000),
    "manifold_pressure": (25, 240),
    "air_flow": (2, 150),
    "throttle": (8, 90),
    "load": (15, 95),
    "short_trim_1": (-9, 9),
    "long_trim_1": (-6, 6),
    "short_trim_2": (-8, 8),
    "long_trim_2": (-5, 5),
    "charge_pressure": (95, 240),
    "charge_pressure_target": (97, 235),
    "wastegate": (3, 95),
    "lambda": (0.8, 1.4),
    "lambda_target": (0.82, 1.1),
    "pedal": (2, 95),
    "throttle_target": (8, 90),
    "ignition_advance": (-5, 40),
    "vehicle_speed": (0, 160),
    "intake_temperature": (20, 55),
    "coolant_temperature": (70, 98),
    "barometric_pressure": (97, 99),
    "ambient_temperature": (16, 20),
    "absolute_load": (15, 180),
    "fuel_rate": (0.2, 10),
    "fuel_rail_pressure": (3000, 18000),
    "egr": (0, 20),
    "purge": (0, 60),
    "exhaust_pressure": (99, 260),
    "turbo_speed": (9000, 190000),
    "supply_voltage": (13.1, 14.4),
    "fuel_system_status": (2, 4),
    "lamp": (0, 1),
    "code_count": (0, 3),
}


def smooth_drive(duration_s: float = 60.0, *, raised: float = 0.0, start_s: float = 0.0, seed: int = 5) -> Trace:
    """All signals in steps of 10 ms; `raised` shifts each by so much of its range, with nothing else changed."""
    rng = np.random.default_rng(seed)
    time = start_s + np.arange(round(duration_s * 100) + 1) / 100.0
    items = {}
    for name, (low, high) in RANGES.items():
        pace, phase = rng.uniform(0.1, 1.5, 3), rng.uniform(0.0, 6.0, 3)
        swing = np.sin(np.outer(time - start_s, pace) + phase).mean(axis=1) / 2 + 0.5
        items[name] = low + (high - low) * (swing + raised)
    return Trace(time, items, {})
