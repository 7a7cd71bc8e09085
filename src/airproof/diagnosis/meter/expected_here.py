"""What a sound sensor shows here and today, with the band that its error, meter, supply and barometer leave."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from airproof.diagnosis.meter.lines import Line
from airproof.diagnosis.meter.measured import Meter
from airproof.diagnosis.meter.pressures import Supply
from airproof.diagnosis.weighing import Barometer
from airproof.knowledge.sensors import ThermistorTable
from airproof.quantities.constants import ZERO_CELSIUS
from airproof.quantities.line_fit import NORMAL_90
from airproof.quantities.meter_accuracy import EVEN
from airproof.quantities.thermistors import ResistanceTable, VoltageDivider


@dataclass(frozen=True)
class Expected:
    """A number to expect, its 90 % band, and what the band is made of: one standard deviation by its source."""

    value: float
    low: float
    high: float
    unit: str
    parts: Mapping[str, float]

    def holds(self, value: float) -> bool:
        """Whether a reading lies within the band."""
        return self.low <= value <= self.high


def expected_signal(
    line: Line,
    barometer: Barometer,
    supply: Supply,
    meter: Meter,
    *,
    above_kpa: float = 0.0,
    absolute_kpa: float | None = None,
    gauge_kpa: float = 0.0,
    temperature_c: float = 25.0,
    digit_v: float = 0.01,
) -> Expected:
    """The signal (V or Hz) of a sound sensor at the day's pressure and `above_kpa` more, or at an absolute pressure.

    `gauge_kpa`: the largest error of the gauge that says so. Standard deviations in `parts`: sensor (its error at that
    temperature), meter, supply, barometer, gauge, line.
    """
    kpa = barometer.kpa + above_kpa if absolute_kpa is None else absolute_kpa
    if line.difference:
        kpa -= barometer.kpa
    on_the_day = (absolute_kpa is None) != line.difference
    volts = line.unit == "V"
    scale = supply.volts if volts else 1.0
    share = float(line.reading(kpa))
    per_kpa = abs(line.slope) * scale
    digit = digit_v if meter.resolution_v is None or not volts else meter.resolution_v
    value = scale * share
    design = np.array([1.0, kpa])
    # With half of the variance of the scale alike in supply and signal, their ratio has as much as one reading alone.
    scale = meter.volts.scale_sd * value
    parts = {
        "sensor": line.tolerance_sd(temperature_c) * per_kpa,
        "meter": float(np.hypot(scale, meter.volts.last_places_sd(digit))),
        "supply": supply.sd * abs(share) if volts else 0.0,
        "barometer": barometer.sd_kpa * per_kpa if on_the_day else 0.0,
        "gauge": EVEN * gauge_kpa * per_kpa,
        "line": float(np.sqrt(design @ line.covariance @ design)) * scale,
    }
    reach = NORMAL_90 * float(np.sqrt(sum(sd**2 for sd in parts.values())))
    return Expected(value, value - reach, value + reach, "V" if volts else line.unit, parts)


def middle_table(table: ThermistorTable) -> ResistanceTable:
    """The middle (geometric mean of least and most) of a printed table."""
    rows = table.rows
    return ResistanceTable(
        tuple(ZERO_CELSIUS + celsius for celsius, _, _ in rows), tuple(float(np.sqrt(lo * hi)) for _, lo, hi in rows)
    )


def edge_tables(table: ThermistorTable) -> tuple[ResistanceTable, ResistanceTable]:
    """The least and the most resistance of a printed table."""
    kelvins = tuple(ZERO_CELSIUS + celsius for celsius, _, _ in table.rows)
    low = ResistanceTable(kelvins, tuple(row[1] for row in table.rows))
    return low, ResistanceTable(kelvins, tuple(row[2] for row in table.rows))


NOMINAL_SHARE = 0.05
"""Where a table prints one value, a good part is taken to lie within this share of it: as far as makers who print least
and most allow at 20 degC; judged: Airproof authors."""


def expected_ohm(table: ThermistorTable, celsius: float, thermometer_k: float) -> Expected | None:
    """The resistance (ohm) of a sound thermistor at a temperature, or None outside its table.

    The band is the printed least and most, at the temperature either side that the thermometer leaves.
    """
    low, high = edge_tables(table)
    kelvin = celsius + ZERO_CELSIUS
    middle = float(middle_table(table).resistance(kelvin))
    if not np.isfinite(middle):
        return None
    coldest, hottest = low.temperatures_k[0], low.temperatures_k[-1]
    least = float(low.resistance(min(kelvin + thermometer_k, hottest)))
    most = float(high.resistance(max(kelvin - thermometer_k, coldest)))
    if all(lo == hi for _, lo, hi in table.rows):
        least, most = least * (1.0 - NOMINAL_SHARE), most * (1.0 + NOMINAL_SHARE)
    return Expected(middle, least, most, "ohm", {})


def expected_thermistor_volts(table: ThermistorTable, ohms: Expected, supply: Supply) -> Expected | None:
    """The voltage across a sound thermistor behind its printed pull-up, or None where none is printed."""
    if table.pull_up_ohm is None:
        return None
    divider = VoltageDivider(supply.volts, table.pull_up_ohm)
    value, low, high = (float(divider.volts(ohm)) for ohm in (ohms.value, ohms.low, ohms.high))
    return Expected(value, low, high, "V", {})
