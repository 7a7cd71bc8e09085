"""Learning from a recording: the line the control unit expects, or how the sensor lies to another one.

With a column of the sensor's volts: volts and the pressure the car shows at the same moments are points of the line
that the control unit holds. Without: the car's own pressure against the barometer with the engine off and the charge
pressure at full load, where the two are one pressure but for the throttle's drop, is a sweep that the engine made.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airproof.diagnosis.conditions import UNKNOWN_PLACE
from airproof.diagnosis.expectations import expected
from airproof.diagnosis.meter.fitted import (
    IDLE_KPA,
    LEAST_SPREAD_KPA,
    UNLIKELY,
    ErrorAt,
    Fitted,
    Interval,
    chance_beyond,
)
from airproof.diagnosis.meter.lines import SHOWN, Line
from airproof.diagnosis.weighing import Barometer
from airproof.quantities.line_fit import NORMAL_90, LineFit, fit_straight
from airproof.recording.recording import Recording, Signal
from airproof.recording.regimes import Regime, find_regimes

Floats = NDArray[np.float64]

BIN_KPA = 5.0
"""Samples are put together by pressure in steps of this."""
STEADY_KPA, STEADY_S = 1.5, 0.6
"""Used are moments about which the pressure moved no more than that, within that time; judged: Airproof authors."""
FEWEST_SAMPLES = 3
DROP_KPA, DROP_SD_KPA = 1.5, 1.5
"""What an open throttle takes between charge and manifold sensor at full load, kPa; judged: Airproof authors, as what a
naturally aspirated engine shows there (2 to 7 kPa) without its filter."""
VOLTS_NOISE = 0.002
"""Noise and rounding of a logged voltage, as a share of the supply; judged: Airproof authors."""


@dataclass(frozen=True)
class FromRecording:
    """What was learned: `fitted` is None where the recording cannot tell, and `says` why."""

    fitted: Fitted | None
    points: int
    supply_v: float
    against: str = ""
    says: str = ""
    notes: tuple[str, ...] = ()


def line_of_control_unit(recording: Recording, supply_v: float) -> FromRecording:
    """The line that the control unit expects, from its manifold pressure and the signal's volts (`supply_voltage`)."""
    shown, volts = recording.get("manifold_pressure"), recording.get("supply_voltage")
    if shown is None or volts is None or not len(shown) or not len(volts):
        return FromRecording(None, 0, supply_v, says="It holds no manifold pressure beside the volts.")
    kpa = shown.at(volts.time, "linear", max_gap_s=2.0)
    steady = np.isfinite(kpa) & _steady(shown, volts.time)
    bins = _bins(kpa[steady], volts.values[steady] / supply_v)
    if bins is None or float(np.ptp(bins[0])) < 4.0 * LEAST_SPREAD_KPA:
        return FromRecording(
            None, 0, supply_v, says="The pressure rests at too few levels for a line: idle, cruise and pull."
        )
    at, share, scatter = bins
    rounding = (shown.resolution or 1.0) / np.sqrt(12.0)
    covariance = np.diag(scatter**2 + VOLTS_NOISE**2)
    fit = fit_straight(at, share, covariance, np.diag(np.full(at.size, rounding**2)))
    crooked = fit.freedom > 0 and chance_beyond(fit.chi_square, fit.freedom) < UNLIKELY
    line = Line(
        "learned", "the line the control unit expects", "V", fit.intercept, fit.slope, float(at.min()), float(at.max()),
        supply_v, standing=f"learned from a recording, {at.size} levels", covariance=fit.covariance,
    )  # fmt: skip
    says = "The points lie on no line: is this column the sensor's own voltage?" if crooked else ""
    notes = (f"The supply is taken as {supply_v:.2f} V.", "A car that reads against a fixed reference has it as 5 V.")
    return FromRecording(Fitted(line, fit, at, crooked), int(at.size), supply_v, says=says, notes=notes)


def against_other_sensors(recording: Recording, barometer: Barometer | None) -> FromRecording:
    """Offset and gain of the manifold sensor against the day, engine off, and the charge pressure at full load."""
    shown = recording.get("manifold_pressure")
    if shown is None or not len(shown):
        return FromRecording(None, 0, 5.0, says="It holds no manifold pressure.")
    regimes = find_regimes(recording)
    charge, own = recording.get("charge_pressure"), recording.get("barometric_pressure")
    true: list[float] = []
    read: list[float] = []
    own_sd: list[float] = []
    is_charge: list[bool] = []
    day = barometer
    if day is None and own is not None and len(own):
        seen = float(np.median(own.values))
        day = Barometer(seen, expected("barometer-sensor-tolerance").sd, f"the car's own barometer, {seen:.1f} kPa")
    off = shown.values[regimes.mask(shown.time, Regime.KEY_ON)]
    if off.size and day is not None:
        true.append(day.kpa)
        read.append(float(np.median(off)))
        own_sd.append((shown.resolution or 0.5) / np.sqrt(12.0))
        is_charge.append(False)
    if charge is not None and len(charge):
        inside = regimes.mask(charge.time, Regime.FULL_LOAD)
        manifold = shown.at(charge.time, "linear", max_gap_s=2.0)
        used = inside & np.isfinite(manifold) & _steady(shown, charge.time, 4.0 * STEADY_KPA)
        for at, mean, scatter in zip(
            *(_bins(charge.values[used], manifold[used], 2.0 * BIN_KPA) or ([], [], [])), strict=True
        ):
            true.append(float(at) - DROP_KPA)
            read.append(float(mean))
            own_sd.append(float(np.hypot(scatter, DROP_SD_KPA)))
            is_charge.append(True)
    if len(true) < 2 or float(np.ptp(true)) < 2.0 * LEAST_SPREAD_KPA:
        return FromRecording(
            None, 0, 5.0,
            says="It takes two pressures that another sensor knows: key on with the engine off, and a pull at full "
            "load with the charge pressure recorded.",
        )  # fmt: skip
    used_day = day or UNKNOWN_PLACE
    by_charge = np.array(is_charge, dtype=np.float64)
    common = expected("sensor-tolerance").sd ** 2 * np.outer(by_charge, by_charge)
    common = common + used_day.sd_kpa**2 * np.outer(1.0 - by_charge, 1.0 - by_charge)
    fit = fit_straight(np.array(true), np.array(read), np.diag(np.square(own_sd)), common + 1e-9 * np.eye(len(true)))
    return FromRecording(
        _against_truth(fit, np.array(true), used_day), len(true), 5.0,
        "the day with the engine off and the charge sensor at full load",
        notes=(
            f"The day: {used_day.says}.",
            f"At full load the throttle is taken to cost {DROP_KPA:g} kPa, give or take as much.",
        ),
    )  # fmt: skip


def _against_truth(fit: LineFit, true: Floats, day: Barometer) -> Fitted:
    def interval(combine: Floats, shift: float, scale: float = 1.0) -> Interval:
        value = scale * (float(combine @ np.array([fit.intercept, fit.slope])) - shift)
        reach = scale * NORMAL_90 * float(np.sqrt(combine @ fit.covariance @ combine))
        return value, value - reach, value + reach

    errors = tuple(
        ErrorAt(where, kpa, interval(np.array([1.0, kpa]), kpa))
        for where, kpa in (("with the engine off", day.kpa), ("at idle", IDLE_KPA))
    )
    crooked = fit.freedom > 0 and chance_beyond(fit.chi_square, fit.freedom) < UNLIKELY
    learned = Line("shown", SHOWN.title, "kPa", fit.intercept, fit.slope, float(true.min()), float(true.max()))
    offset, gain = interval(np.array([1.0, 0.0]), 0.0), interval(np.array([0.0, 1.0]), 1.0, 100.0)
    return Fitted(learned, fit, true, crooked, offset, gain, errors)


def _steady(signal: Signal, times: Floats, within_kpa: float = STEADY_KPA) -> NDArray[np.bool_]:
    before = signal.at(times - STEADY_S, "linear", max_gap_s=2.0)
    now = signal.at(times, "linear", max_gap_s=2.0)
    after = signal.at(times + STEADY_S, "linear", max_gap_s=2.0)
    with np.errstate(invalid="ignore"):
        return np.asarray((np.abs(before - now) <= within_kpa) & (np.abs(after - now) <= within_kpa))


def _bins(at: Floats, values: Floats, width: float = BIN_KPA) -> tuple[Floats, Floats, Floats] | None:
    """Means of `at` and `values` in steps of `at`, with the standard error of the second; None where there is none."""
    if not at.size:
        return None
    number = np.floor(at / width).astype(int)
    rows = []
    for one in np.unique(number):
        mine = number == one
        if mine.sum() < FEWEST_SAMPLES:
            continue
        # Neighbours are not independent: a handful counts as one.
        scatter = float(np.std(values[mine])) / np.sqrt(max(mine.sum() / 5.0, 1.0))
        rows.append((float(at[mine].mean()), float(np.median(values[mine])), scatter))
    if not rows:
        return None
    table = np.array(rows)
    return table[:, 0], table[:, 1], table[:, 2]
