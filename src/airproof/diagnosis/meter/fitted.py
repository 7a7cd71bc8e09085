"""The line that readings make, how it lies to the line the car expects, and which published line it is nearest to.

The trap: a replacement part of the same family and range may have another line. Its readings lie on a straight line
as good as any, and only the car's expectation is wrong: `recognised` names the line they fit.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.meter.lines import Line, published
from airproof.diagnosis.meter.pressures import Rows, held_against
from airproof.diagnosis.weighing import Barometer
from airproof.errors import UnusableQuantity
from airproof.knowledge.sensors import SensorLine
from airproof.quantities.line_fit import NORMAL_90, LineFit, fit_straight

Floats = NDArray[np.float64]

Interval = tuple[float, float, float]
"""Value, low and high, 90 %."""

IDLE_KPA = 35.0
"""Where a warm engine idles, kPa absolute; common practice, no source."""

UNLIKELY = 0.01
"""Readings that would lie so far off a line less often than this do not fit it; judged: Airproof authors."""

FAULT_OFFSET_SD, FAULT_GAIN_SD = 10.0, 0.10
"""How far a faulty sensor's offset (kPa) and gain may be off, when its own line is compared with another part's;
judged: Airproof authors, from the sizes that causes.toml holds typical."""

SURE_DECIBANS = 5.0
"""From so many decibans on another part's line is said to explain readings better than a fault of the right one;
judged: Airproof authors."""

LEAST_SPREAD_KPA = 5.0
"""A slope is fitted only through pressures at least so far apart; judged: Airproof authors."""


@dataclass(frozen=True)
class ErrorAt:
    """How far too high a sensor reads at a pressure: `kpa` absolute, `where` in words, the error with its interval."""

    where: str
    kpa: float
    error: Interval


@dataclass(frozen=True)
class Fitted:
    """The line through the readings, and against the line the car expects (None where that is unknown).

    `offset_kpa` and `gain_percent` are those of the causes map-offset and map-gain together: what the car would read is
    (1 + gain) P + offset. `crooked`: the points lie on no line. `learned` is the fitted line itself.
    """

    learned: Line
    fit: LineFit
    pressures: Floats
    crooked: bool
    offset_kpa: Interval | None = None
    gain_percent: Interval | None = None
    errors: tuple[ErrorAt, ...] = ()
    within_band: bool | None = None

    @property
    def off_line_kpa(self) -> Floats:
        """How far each point lies from the line (n,), kPa; NaN where the line is flat, so that no pressure says it."""
        if abs(self.fit.slope) * float(np.ptp(self.pressures)) < FLAT:
            return np.full(self.pressures.size, np.nan)
        return np.asarray(self.fit.residuals / self.fit.slope)


FLAT = 1e-6  # of the supply, over all pressures: no meter reads so little


def fitted_line(
    rows: Rows, expected: Line | None, barometer: Barometer, temperature_c: float, supply_v: float, unit: str
) -> Fitted | None:
    """The line through the rows, or None where they are all at about one pressure.

    `supply_v` is what shares of the supply are of (V), to state the learned line for.
    """
    if expected is not None:
        rows = rows.seen_by(expected)
    pressures = rows.pressures(barometer.kpa)
    if len(rows) < 2 or float(np.ptp(pressures)) < LEAST_SPREAD_KPA:
        return None
    try:
        fit = fit_straight(pressures, rows.reading, rows.covariance, rows.pressure_covariance(barometer.sd_kpa))
    except (UnusableQuantity, np.linalg.LinAlgError):
        return None
    learned = Line(
        "learned", "the line learned from these readings", unit, fit.intercept, fit.slope, float(pressures.min()),
        float(pressures.max()), supply_v, standing=f"learned from {len(rows)} readings", covariance=fit.covariance,
    )  # fmt: skip
    crooked = fit.freedom > 0 and chance_beyond(fit.chi_square, fit.freedom) < UNLIKELY
    if expected is None:
        return Fitted(learned, fit, pressures, crooked)
    joint = fit.covariance + expected.covariance
    against = np.array([fit.intercept - expected.offset, fit.slope - expected.slope]) / expected.slope
    uncertain = joint / expected.slope**2

    def interval(combine: Floats, scale: float = 1.0) -> Interval:
        value = scale * float(combine @ against)
        reach = abs(scale) * NORMAL_90 * float(np.sqrt(combine @ uncertain @ combine))
        return value, value - reach, value + reach

    places = [("with the engine off", 0.0 if expected.difference else barometer.kpa), ("at idle", IDLE_KPA)]
    if expected.difference:
        places = places[:1]
    errors = tuple(ErrorAt(where, kpa, interval(np.array([1.0, kpa]))) for where, kpa in places)
    band = expected.band_kpa(temperature_c)
    reached = [interval(np.array([1.0, float(p)])) for p in (pressures.min(), pressures.max())]
    return Fitted(
        learned,
        fit,
        pressures,
        crooked,
        interval(np.array([1.0, 0.0])),
        interval(np.array([0.0, 1.0]), 100.0),
        errors,
        all(low <= band and high >= -band for _, low, high in reached),
    )


def chance_beyond(chi_square: float, freedom: int) -> float:
    """Probability that a chi-square of so much freedom is larger: the regularised upper gamma function.

    By its finite sums for whole and half arguments, exact. Source: M. Abramowitz, I. Stegun, Handbook of Mathematical
    Functions, 26.4.4 and 26.4.5; from memory of it.
    """
    if chi_square <= 0.0:
        return 1.0
    half = chi_square / 2.0
    if freedom % 2 == 0:
        start, total = 1.0, 0.0
        for k in range(freedom // 2):
            start = 1.0 if k == 0 else start * half / k
            total += start
        return min(1.0, math.exp(-half) * total) if half < 700.0 else 0.0
    if half >= 700.0:
        return 0.0
    total = math.erfc(math.sqrt(half))
    term = math.exp(-half) * math.sqrt(half) * 2.0 / math.sqrt(math.pi)
    for k in range(1, (freedom - 1) // 2 + 1):
        total += term
        term *= half / (k + 0.5)
    return min(1.0, total)


@dataclass(frozen=True)
class Candidate:
    """One published line: how probable readings so far off it are (`fits`), and the log density of the readings."""

    line: Line
    fits: float
    log_density: float

    @property
    def fitting(self) -> bool:
        """Whether the readings fit it."""
        return self.fits >= UNLIKELY


@dataclass(frozen=True)
class Recognised:
    """Published lines by how well the readings fit them, best first, and the line the car expects.

    `wrong_part` is the other line they fit where they do not fit the expected one; `decibans` how much better that
    explains them than the expected line with an offset and a gain of its own; `reports` what the car would then show,
    kPa, engine off and at idle; `offset_kpa` and `gain_percent` the map-offset and map-gain that amount to the same.
    """

    candidates: tuple[Candidate, ...]
    expected: Candidate | None
    wrong_part: Candidate | None = None
    decibans: float = 0.0
    reports: tuple[tuple[str, float, float], ...] = ()
    offset_kpa: float = 0.0
    gain_percent: float = 0.0


def recognised(
    rows: Rows,
    expected: Line | None,
    barometer: Barometer,
    sensors: Mapping[str, SensorLine],
    temperature_c: float,
) -> Recognised:
    """How well the readings (shares of the supply) fit each published line, and the one the car expects."""
    lines = [published(entry) for entry in sensors.values() if entry.known]
    found = [_candidate(rows, line, barometer, temperature_c) for line in lines]
    found.sort(key=lambda one: -one.log_density)
    if expected is None:
        return Recognised(tuple(found), None)
    own = _candidate(rows, expected, barometer, temperature_c)
    others = [one for one in found if one.fitting and not _alike(one.line, expected)]
    spread = float(np.ptp(rows.pressures(barometer.kpa)))
    if own.fitting or not others or spread < LEAST_SPREAD_KPA:
        return Recognised(tuple(found), own)
    other = others[0]
    faulty = _candidate(rows, expected, barometer, temperature_c, faulty=True)
    return Recognised(
        tuple(found),
        own,
        other,
        10.0 / math.log(10.0) * (other.log_density - faulty.log_density),
        reports(expected, other.line, barometer.kpa),
        (other.line.offset - expected.offset) / expected.slope,
        100.0 * (other.line.slope / expected.slope - 1.0),
    )


def reports(expected: Line, fitted: Line, barometer_kpa: float) -> tuple[tuple[str, float, float], ...]:
    """What a car that expects one line shows with a sensor of the other: where, the true pressure, the shown one, kPa
    absolute.
    """
    shown = []
    for where, kpa in (("with the engine off", barometer_kpa), ("at idle", IDLE_KPA)):
        out = float(output(fitted, np.array([kpa]), barometer_kpa)[0])
        shown.append((where, kpa, float(expected.kpa(out)) + (barometer_kpa if expected.difference else 0.0)))
    return tuple(shown)


def output(line: Line, absolute_kpa: Floats, barometer_kpa: float) -> Floats:
    """What a sensor of that line puts out at absolute pressures (kPa); beyond its span it stays at the end."""
    seen = absolute_kpa - barometer_kpa if line.difference else absolute_kpa
    return line.reading(_within_span(line, seen))


def _within_span(line: Line, kpa: Floats) -> Floats:
    slack = 0.02 * (line.high_kpa - line.low_kpa) + 2.0  # sheets stop before sensors do
    # Spans of car sensors are those of their printed points: they reach further.
    ends = (line.low_kpa - slack, line.high_kpa + slack) if line.error_kpa is not None else (5.0, 400.0)
    return np.clip(kpa, *ends) if line.unit == "V" else kpa


def _alike(one: Line, other: Line) -> bool:
    """Whether two lines differ by less than their sensors do over the span of the second."""
    if one.difference != other.difference or one.unit != other.unit:
        return False
    ends = np.array([max(one.low_kpa, other.low_kpa), min(one.high_kpa, other.high_kpa)])
    return bool(np.all(np.abs(other.kpa(one.reading(ends)) - ends) < other.band_kpa()))


def _candidate(
    rows: Rows, line: Line, barometer: Barometer, temperature_c: float, *, faulty: bool = False
) -> Candidate:
    seen = held_against(rows, line, temperature_c)
    true = seen.rows.pressures(barometer.kpa)
    off = seen.read - line.kpa(line.reading(_within_span(line, true)))
    day = barometer.sd_kpa * seen.rows.day
    covariance = seen.covariance + seen.tolerance + np.outer(day, day)
    if faulty:
        covariance = covariance + FAULT_OFFSET_SD**2 + FAULT_GAIN_SD**2 * np.outer(true, true)
    solved = np.linalg.solve(covariance, off)
    chi_square = float(off @ solved)
    _, size = np.linalg.slogdet(covariance)
    # As a density of the readings, not of kilopascals, so that lines of different slopes compare.
    density = -0.5 * (chi_square + size + off.size * math.log(2.0 * math.pi))
    log_density = density + off.size * math.log(seen.per_reading)
    return Candidate(line, chance_beyond(chi_square, off.size), log_density)
