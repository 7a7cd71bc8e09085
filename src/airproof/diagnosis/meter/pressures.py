"""All readings of one pressure sensor as rows of one Gaussian: each reading, the pressure it was taken at, and how the
errors of meter, supply, gauge, day and sensor hang together.

    reading_i = offset + slope P_i,   P_i = given_i + day_i x barometer

Readings in V are taken as shares of the supply. Where the supply was measured with the same meter, what its scale is
wrong by alike in all readings falls out of that share; where it was not, the supply is 5.00 V give or take what control
units have. How much is alike, and how much each reading's own, the points themselves say (error_parts).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.expectations import expected
from airproof.diagnosis.meter.error_parts import ErrorParts, settled
from airproof.diagnosis.meter.lines import SHOWN, Line
from airproof.diagnosis.meter.measured import Measured, Measurements
from airproof.quantities.meter_accuracy import EVEN

Floats = NDArray[np.float64]

LEAST_SUPPLY_V = 1.0
"""Less is no supply, and nothing is a share of it, V; judged: Airproof authors."""

USUAL_OUTPUT_OHM = 1000.0
"""Source resistance of a sensor's output at most, where it is not known, ohm; judged: Airproof authors."""

SHOWN_DELAY_KPA = 0.3
"""Live data is rounded, and some control units round it once more inside; kPa. judged: Airproof authors."""

OPEN_TO_AIR_KPA = 0.05
"""A point at no gauge pressure is open to the air, where the gauge's error plays no part."""


@dataclass(frozen=True)
class Supply:
    """The supply (V) that readings are shares of, its standard deviation, and whether the same meter read it."""

    volts: float
    sd: float
    measured: bool


@dataclass(frozen=True)
class Rows:
    """n readings. `reading` (n,) in the line's unit (V: as a share of the supply), with covariance (n, n).

    `given` (n,) kPa and `day` (n,): the sensor's pressure is given + day x barometer (kPa absolute), or what a sensor
    that measures a difference has; `given_covariance` (n, n) is the gauge's. `item` (n,): what it is part of.
    """

    reading: Floats
    covariance: Floats
    given: Floats
    day: Floats
    given_covariance: Floats
    item: tuple[Measured, ...]
    from_air: NDArray[np.bool_]

    def __len__(self) -> int:
        return int(self.reading.size)

    def seen_by(self, line: Line) -> Rows:
        """The same readings for a sensor of that line: what the air outside is to it follows what it measures."""
        day = np.where(self.from_air, 0.0, -1.0) if line.difference else np.where(self.from_air, 1.0, 0.0)
        return replace(self, day=day)

    def pressures(self, barometer_kpa: float) -> Floats:
        """The pressures that the sensor was given, kPa."""
        return np.asarray(self.given + self.day * barometer_kpa)

    def pressure_covariance(self, barometer_sd: float) -> Floats:
        """Covariance (n, n) of those pressures, kPa squared."""
        return np.asarray(self.given_covariance + barometer_sd**2 * np.outer(self.day, self.day))


def supply_of(measurements: Measurements) -> Supply:
    """The supply at the sensor's own pins: as measured, less the drop of the ground where it was counted from there."""
    item = measurements.first("supply")
    usual = expected("sensor-supply")
    nominal = Supply(usual.mean, usual.sd, measured=False)
    if item is None or item.value is None:
        return nominal
    volts = item.value.value
    if item.against == "battery minus":
        volts -= _ground_drop(measurements)
    if volts < LEAST_SUPPLY_V:
        return nominal
    digit = measurements.meter.digit(item.value)
    return Supply(volts, measurements.meter.volts.last_places_sd(digit), measured=True)


def no_supply(measurements: Measurements) -> bool:
    """Whether the sensor was measured to have no supply: then nothing that it gives can be judged."""
    item = measurements.first("supply")
    return item is not None and item.value is not None and item.value.value < LEAST_SUPPLY_V


def _ground_drop(measurements: Measurements) -> float:
    ground = measurements.first("ground")
    return 0.0 if ground is None or ground.value is None else ground.value.value


def rows_at_plug(measurements: Measurements) -> Rows | None:
    """The readings of signal and sweep taken with the meter, or None where there are none, or no supply was."""
    if no_supply(measurements):
        return None
    signal, sweep = measurements.first("signal"), measurements.first("sweep")
    taken = [] if signal is None or signal.value is None else [(signal, 0.0, True, signal.value)]
    taken += [] if sweep is None else [(sweep, p.kpa, p.from_air, p.taken) for p in sweep.points]
    taken = [one for one in taken if one[3].read_as != "kPa"]
    units = {one[3].read_as for one in taken}
    if len(units) != 1:  # V and Hz have nothing to say to each other
        taken = [one for one in taken if one[3].read_as == "V"]
    if not taken:
        return None
    items, given, from_air, readings = zip(*taken, strict=True)
    meter = measurements.meter
    values = np.array([one.value for one in readings])
    digits = np.array([meter.digit(one) for one in readings])
    rounding = EVEN * 0.5 * digits
    if readings[0].read_as != "V":
        fixed = np.diag(rounding**2 + 1e-12)
        parts = _Meter(meter.volts.scale_sd * values, meter.volts.digits_sd(digits), fixed)
        return _rows(values, parts, given, from_air, items)
    supply = supply_of(measurements)
    drop = _ground_drop(measurements)
    values = values - np.array([drop if item.against == "battery minus" else 0.0 for item in items])
    output_ohm = measurements.sensor.output_ohm
    lost = 1.0 if output_ohm is None else 1.0 + output_ohm / meter.input_ohm
    share = values * lost / supply.volts
    loading = EVEN * USUAL_OUTPUT_OHM / meter.input_ohm if output_ohm is None else 0.0
    fixed = np.diag((rounding / supply.volts) ** 2 + 1e-12)
    fixed = fixed + ((supply.sd / supply.volts) ** 2 + loading**2) * np.outer(share, share)
    scale = meter.volts.scale_sd * share
    parts = _Meter(
        scale,
        meter.volts.digits_sd(digits) / supply.volts,
        fixed,
        scale if supply.measured else 0.0 * scale,
        supply.measured,
    )
    return _rows(share, parts, given, from_air, items)


def rows_shown(measurements: Measurements) -> Rows | None:
    """The pressures that live data showed at known pressures, kPa, or None where there are none."""
    signal, sweep = measurements.first("signal"), measurements.first("sweep")
    taken = [] if signal is None or signal.shown is None else [(signal, 0.0, True, signal.shown)]
    if sweep is not None:
        taken += [(sweep, p.kpa, p.from_air, p.taken) for p in sweep.points if p.taken.read_as == "kPa"]
    if not taken:
        return None
    items, given, from_air, readings = zip(*taken, strict=True)
    own = np.array([np.hypot(EVEN * 0.5 * one.digit, SHOWN_DELAY_KPA) for one in readings])
    none = np.zeros(len(readings))
    values = np.array([one.value for one in readings])
    return _rows(values, _Meter(none, none, np.diag(own**2)), given, from_air, items)


class _Meter(NamedTuple):
    """The meter's parts of ErrorParts."""

    scale: Floats
    digits: Floats
    fixed: Floats
    supply_scale: Floats | None = None
    scale_falls_out: bool = False


def _rows(
    reading: Floats,
    meter: _Meter,
    given: tuple[float, ...],
    from_air: tuple[bool, ...],
    items: tuple[Measured, ...],
) -> Rows:
    kpa, air = np.array(given), np.array(from_air)
    gauge = np.array([
        0.0 if outside and abs(at) < OPEN_TO_AIR_KPA else EVEN * item.gauge_kpa
        for at, outside, item in zip(given, from_air, items, strict=True)
    ])  # fmt: skip
    pattern = kpa / max(float(np.abs(kpa).max()), 1.0)
    supply_scale = np.zeros(kpa.size) if meter.supply_scale is None else meter.supply_scale
    parts = ErrorParts(meter.scale, meter.digits, meter.fixed, supply_scale, meter.scale_falls_out, gauge, pattern)
    day = np.where(air, 1.0, 0.0)
    covariance, given_covariance = settled(parts, reading, kpa, day)
    return Rows(reading, covariance, kpa, day, given_covariance, items, air)


@dataclass(frozen=True)
class Seen:
    """Rows held against a line, in kPa: `read` (n,) by the line, `covariance` (n, n) of read less true without the day.

    `tolerance` (n, n) is that of a good sensor of the line; `per_reading` kPa for one unit of the reading.
    """

    line: Line
    rows: Rows
    read: Floats
    covariance: Floats
    tolerance: Floats
    per_reading: float


def held_against(rows: Rows, line: Line, temperature_c: float) -> Seen:
    """The rows as pressures by that line."""
    rows = rows.seen_by(line)
    read = line.kpa(rows.reading)
    design = np.column_stack([np.ones(len(rows)), read])
    covariance = rows.covariance + design @ line.covariance @ design.T
    in_kpa = covariance / line.slope**2 + rows.given_covariance
    # What the sensor's own slope may be off counts from the middle of its span: at its ends the sheet's band holds.
    middle = (line.low_kpa + line.high_kpa) / 2.0 if line is not SHOWN else 100.0
    gain = expected("sensor-gain-tolerance").sd / 100.0 * (read - middle)
    tolerance = line.tolerance_sd(temperature_c) ** 2 + np.outer(gain, gain)
    return Seen(line, rows, read, in_kpa, np.asarray(tolerance), 1.0 / abs(line.slope))
