"""A thermistor read with a meter: which temperature that is, and how well it is known."""

from __future__ import annotations

import numpy as np

from airproof.diagnosis.expectations import expected
from airproof.diagnosis.meter.expected_here import expected_ohm, middle_table
from airproof.diagnosis.meter.measured import Measured, Measurements
from airproof.diagnosis.meter.pressures import supply_of
from airproof.diagnosis.meter.typed_values import ENDLESS_OHM
from airproof.quantities.constants import ZERO_CELSIUS
from airproof.quantities.meter_accuracy import EVEN
from airproof.quantities.thermistors import ResistanceTable, VoltageDivider

OHM_SHARE_PER_KELVIN = 0.04
"""Near room temperature a thermistor of an engine loses this share of its resistance with each kelvin: the beta of
3619 K of ntc-2500-ohm over (298 K)^2."""


def thermistor_kelvin(item: Measured, measurements: Measurements) -> float | None:
    """The temperature (K) that a thermistor's reading stands for; None where the table or the divider is not known.

    A meter across the thermistor is in parallel with it: with few ohms of its own it is taken out again.
    """
    if item.shown is not None:
        return item.shown.value + ZERO_CELSIUS
    table = measurements.sensor.thermistor
    if item.value is None or table is None:
        return None
    ohm = item.value.value
    if item.value.read_as == "V":
        if table.pull_up_ohm is None:
            return None
        seen = float(VoltageDivider(supply_of(measurements).volts, table.pull_up_ohm).ohm(item.value.value))
        if not np.isfinite(seen) or seen >= measurements.meter.input_ohm:
            seen = ENDLESS_OHM
        inverse = 1.0 / max(seen, 1e-3) - 1.0 / measurements.meter.input_ohm
        ohm = 1.0 / inverse if inverse > 0.0 else ENDLESS_OHM
    middle = middle_table(table)
    return _temperature(middle, ohm)


def _temperature(table: ResistanceTable, ohm: float) -> float:
    """The temperature (K) of a resistance; beyond the table that of its end, which is far enough off."""
    return float(table.temperature(min(max(ohm, min(table.ohms)), max(table.ohms))))


def thermistor_sd(item: Measured, measurements: Measurements) -> float:
    """Standard deviation (K) of a sound thermistor's reading from the thermometer's: table, thermometer, air, meter."""
    tolerance = expected("thermistor-tolerance").sd
    table = measurements.sensor.thermistor
    meter = 0.0
    if table is not None and item.temperature_c is not None and item.value is not None:
        band = expected_ohm(table, item.temperature_c, 0.0)
        middle = middle_table(table)
        if band is not None:
            low, high = (
                float(middle.temperature(min(max(ohm, min(middle.ohms)), max(middle.ohms))))
                for ohm in (band.high, band.low)
            )
            tolerance = max(tolerance, (high - low) / 4.0)
        if item.value.read_as == "ohm" and item.value.value < ENDLESS_OHM:
            share = measurements.meter.ohms.sd(item.value.value, item.value.digit) / max(item.value.value, 1.0)
            meter = share / OHM_SHARE_PER_KELVIN
    return float(np.sqrt(tolerance**2 + (EVEN * item.thermometer_k) ** 2 + meter**2))
