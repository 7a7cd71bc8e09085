"""Readings that would be right in another unit, or under another heading: no sensor's fault, and to be put right first.

A pressure in psi under a heading that says kPa follows every move of the throttle and stands at a seventh of the day's
pressure with the engine off; two headings that were swapped leave a barometer that follows the throttle. Taken as they
stand such readings accuse a sensor with certainty. A faulty sensor is another thing: it stands still or is off by less.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from airproof.diagnosis.weighing import Barometer
from airproof.engine.profile import EngineProfile
from airproof.quantities.air_mass import volumetric_efficiency
from airproof.quantities.unit_table import UNITS
from airproof.recording.recording import Floats, Recording
from airproof.recording.signals import signal_kind

PRESSURES = {
    "manifold_pressure": "manifold pressure",
    "charge_pressure": "charge pressure",
    "barometric_pressure": "barometric pressure",
}
PRESSURE_UNITS = ("kPa", "psi", "inHg", "bar", "hPa", "mmHg", "Pa")
FLOW_UNITS = ("g/s", "kg/h", "lb/min", "kg/s", "lb/h")
PROXIES = ("throttle", "pedal", "load", "absolute_load")  # what rises with the load
FLOWS = ("air_flow", "fuel_rate")  # what does so when divided by the speed

# All judged: Airproof authors; the reason stands beside each.
RUNNING_RPM = 400.0  # faster than any starter turns it
MOST_SAMPLES = 4000
FEWEST = 20
DRAWN = 0.85  # rank correlation of flow with pressure times speed, in whatever units; real drives have 0.92
FOLLOWS = 0.6  # rank correlation with the load, from which on a signal moves with the engine; real drives have 0.8
MOVES_BEFORE = 1.15  # the same before the throttle, where only boost moves it
TOO_HIGH = 2.6  # of the day: no car's manifold stays above it all through a drive
POSSIBLE = (0.1, 1.3)  # of the day: where the lowest twentieth of any pressure here lies, before or after the throttle
FULL = 0.6  # of the day: below it a sensor's offset may pass for a unit
MOVES = 1.5  # highest to lowest in running: a pressure that never does so shows nothing
NO_FAULT = 0.6  # ln: no cause known here moves a reading by more than 40 %, which is 0.51
AT_REST = 0.12  # ln: so near the day's pressure it must stand in the other unit; a fitting sensor is within 0.05
BREATHES = 0.30  # ln: so near the usual efficiency the air flow must lie; real engines are within 0.25
USUAL_EFFICIENCY = 0.85
USUAL_INTAKE_K = 310.0
THROTTLED = 0.75  # of the day: a pressure before the throttle does not fall so low for a quarter of a drive
NEVER_THROTTLED = 0.85  # of the day: what stays above it all through a drive is before the throttle
NO_FLOW = 0.1  # of the day's kPa: more than a meter shows (g/s) with the engine at rest
STANDS = 0.03  # of itself: a barometer moves less in one drive, and so does what stands before an idle turbo
LEAST_PULL = 0.10  # of the day: a pressure that rises further above it was compressed
UNSURE_DAY_KPA = 3.0  # a day known better was stated by somebody

WAY_OUT = (
    "put it right before anything is judged: in the file's heading, or on the recording's own page of the job; in the "
    "terminal, name heading and unit in a MAP.toml and give it with --signals"
)

SWAPS = {
    "barometric pressure": "the barometer follows the load while the manifold pressure stands at the day's",
    "charge pressure": "the charge pressure falls as only a manifold does, and the manifold pressure not at all",
    "air flow": "the other way round they are the flow and the pressure of this engine, and as they stand of none",
}
AS_THE_DAY = "with the engine off it then stands at the day's pressure"
AS_IT_BREATHES = "the engine then breathes as it must"
TOO_MUCH = "no engine has so much in its manifold all the time"


def misread(recordings: Sequence[Recording], profile: EngineProfile, weather: Barometer) -> str | None:
    """What reads as if in another unit or under another's heading, in the first recording where anything does."""
    for recording in recordings:
        found = _Reading.of(recording, profile, weather)
        says = found.swapped() or found.in_another_unit() if found is not None else None
        if says is not None:
            return f"{recording.label}: {says}" if len(recordings) > 1 else says
    return None


@dataclass(frozen=True)
class _Reading:
    """A recording at the moments of its engine speed: which of them run, which rest."""

    recording: Recording
    profile: EngineProfile
    weather: Barometer
    time: Floats
    speed: Floats

    @classmethod
    def of(cls, recording: Recording, profile: EngineProfile, weather: Barometer) -> _Reading | None:
        """None where there is no engine speed to tell rest from running."""
        speed = recording.get("engine_speed")
        if speed is None or np.count_nonzero(speed.values > RUNNING_RPM) < FEWEST:
            return None
        every = max(1, len(speed) // MOST_SAMPLES)
        return cls(recording, profile, weather, speed.time[::every], speed.values[::every])

    @cached_property
    def running(self) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        return self.speed > RUNNING_RPM

    def at(self, name: str) -> Floats | None:
        """A signal at these moments, NaN where it has none; None where it is not there."""
        signal = self.recording.get(name)
        return None if signal is None or len(signal) < FEWEST else signal.at(self.time, max_gap_s=5.0)

    def running_part(self, name: str) -> Floats:
        """The signal while the engine runs, without gaps; empty where there are too few."""
        values = self.at(name)
        if values is None:
            return np.empty(0)
        known = values[self.running & np.isfinite(values)]
        return known if known.size >= FEWEST else np.empty(0)

    def at_rest(self, name: str) -> float | None:
        """The middle of the signal with the engine at rest."""
        values = self.at(name)
        if values is None:
            return None
        known = values[(self.speed == 0.0) & np.isfinite(values)]
        return float(np.median(known)) if known.size >= 3 else None

    @cached_property
    def day_kpa(self) -> float:
        """The pressure of the day: as stated, else as a pressure that stands shows it, whatever its heading."""
        if self.weather.sd_kpa <= UNSURE_DAY_KPA:
            return self.weather.kpa
        standing = (float(np.median(self.running_part(name))) for name in PRESSURES if self.stands(name))
        return next(
            (kpa for kpa in standing if abs(kpa - self.weather.kpa) < 3.0 * self.weather.sd_kpa), self.weather.kpa
        )

    def stands(self, name: str) -> bool:
        """Whether it hardly moves while the engine runs."""
        values = self.running_part(name)
        if not values.size:
            return False
        low, middle, high = np.quantile(values, (0.01, 0.5, 0.99))
        return bool(high - low < STANDS * abs(middle) + 1.0)

    def follows(self, name: str, without: Sequence[str] = ()) -> bool:
        """Whether it moves with the load while the engine runs, by the best witness of it that is there."""
        values = self.at(name)
        moving = self.running_part(name)
        if values is None or not moving.size:
            return False
        low, high = np.quantile(moving, (0.05, 0.99))
        if not high > (MOVES if name != "charge_pressure" else MOVES_BEFORE) * max(low, 0.0):
            return False
        witnesses = [self.at(one) for one in PROXIES if one not in without]
        for one in FLOWS:
            flow = None if one in without else self.at(one)
            witnesses.append(None if flow is None else flow / np.maximum(self.speed, RUNNING_RPM))
        return any(
            _together(values[self.running], one[self.running]) >= FOLLOWS for one in witnesses if one is not None
        )

    def breathing(self, flow: str = "air_flow", pressure: str = "manifold_pressure") -> tuple[float, float] | None:
        """ln of how many times the usual the efficiency is, were these the air flow (g/s) and the pressure (kPa); and
        that pressure. Of the moments with most air, where an offset of the sensor counts least.
        """
        drawn, filled = self.at(flow), self.at(pressure)
        if drawn is None or filled is None:
            return None
        sound = np.flatnonzero(self.running & (drawn > 0.0) & (filled > 0.0))
        if sound.size < FEWEST or _in_step(drawn[sound], (filled * self.speed)[sound]) < DRAWN:
            return None
        most = sound[np.argsort(drawn[sound] / self.speed[sound])[-max(FEWEST // 2, sound.size // 20) :]]
        shares = volumetric_efficiency(
            drawn[most] * 1e-3,
            filled[most] * 1e3,
            USUAL_INTAKE_K,
            self.profile.displacement_m3,
            self.speed[most] / 60.0,
        )
        return float(np.log(np.median(shares) / USUAL_EFFICIENCY)), float(np.median(filled[most]))

    def stated(self, name: str) -> tuple[str, str]:
        """The unit that the values were read in, and how that is known, in words."""
        column = next((c for c in self.recording.report.columns if c.signal == name and c.unit is not None), None)
        unit = signal_kind(name).unit if column is None or column.unit not in UNITS else str(column.unit)
        guessed = column is not None and column.how == "guessed"
        return unit, f"though it was guessed to be in {unit}" if guessed else f"under a heading that says {unit}"

    def swapped(self) -> str | None:
        """Two columns that would be right the other way round."""
        day = self.day_kpa
        manifold, charge, barometer = (self.running_part(name) for name in PRESSURES)
        if not manifold.size:
            return None

        def throttled(values: Floats, name: str) -> bool:
            return bool(values.size and np.quantile(values, 0.25) < THROTTLED * day and self.follows(name))

        still = self.stands("manifold_pressure") and _apart(float(np.median(manifold)), day) < NO_FAULT / 2
        if still and throttled(barometer, "barometric_pressure"):
            return swap("barometric pressure")
        if np.quantile(manifold, 0.05) > NEVER_THROTTLED * day and throttled(charge, "charge_pressure"):
            return swap("charge pressure")
        return self._swapped_with_flow()

    def _swapped_with_flow(self) -> str | None:
        """Air flow under the heading of the pressure, and the other way round."""
        pressure, flow = self.at_rest("manifold_pressure"), self.at_rest("air_flow")
        as_read, turned = self.breathing(), self.breathing("manifold_pressure", "air_flow")
        if turned is None or turned[1] < FULL * self.day_kpa or abs(turned[0]) > BREATHES:
            return None
        if as_read is not None and abs(as_read[0]) < NO_FAULT:
            return None
        if pressure is not None and pressure > NO_FLOW * self.day_kpa:
            return None
        if flow is not None and _apart(flow, self.day_kpa) > NO_FAULT / 2:
            return None
        if not self.follows("air_flow", without=("air_flow",)):
            return None
        return swap("air flow")

    def in_another_unit(self) -> str | None:
        """A signal that moves with the engine and would be right in another unit."""
        for name in ("manifold_pressure", "charge_pressure"):  # a barometer moves with nothing that would show its unit
            found = self._pressure_in_another_unit(name)
            if found is not None:
                return found
        return self._flow_in_another_unit()

    def _pressure_in_another_unit(self, name: str) -> str | None:
        """By the day's pressure with the engine off, else by what the engine breathes."""
        values = self.running_part(name)
        if not values.size or not self.follows(name):
            return None
        unit, as_said = self.stated(name)
        rest = self.at_rest(name)
        other, where = None, AS_THE_DAY
        if rest is not None and rest > 0.0:
            off = float(np.log(rest / self.day_kpa))
            if abs(off) < NO_FAULT:
                return None  # a fault perhaps, no unit
            other = _other_unit(off, unit, PRESSURE_UNITS, AT_REST + 2.0 * self.weather.sd_kpa / self.weather.kpa)
        low = float(np.quantile(values, 0.05)) / self.day_kpa
        breathing = self.breathing() if other is None and name == "manifold_pressure" else None
        if breathing is not None and not POSSIBLE[0] < low < POSSIBLE[1]:
            where = AS_IT_BREATHES
            other = _other_unit(-breathing[0], unit, PRESSURE_UNITS, BREATHES)
            if other is not None and breathing[1] * _ratio(other, unit) < FULL * self.day_kpa:
                return None
        if other is None and name == "manifold_pressure" and low > TOO_HIGH:
            smaller = [one for one in PRESSURE_UNITS if 0.05 < _ratio(one, unit) < 0.2]
            if smaller:
                other, where = smaller[0], TOO_MUCH
        if other is None or not POSSIBLE[0] < low * _ratio(other, unit) < POSSIBLE[1]:
            return None
        reads = f"the {PRESSURES[name]} reads as if it were {named(other)} {as_said}"
        return f"{reads}: {where}, and it moves with the load; {WAY_OUT}"

    def _flow_in_another_unit(self) -> str | None:
        """By what the engine breathes, where the pressure is not in doubt."""
        breathing, rest = self.breathing(), self.at_rest("manifold_pressure")
        if (
            breathing is None
            or breathing[1] < FULL * self.day_kpa
            or not self.follows("manifold_pressure", without=("load", "absolute_load"))
        ):
            return None
        if rest is not None and _apart(rest, self.day_kpa) > NO_FAULT:
            return None
        unit, as_said = self.stated("air_flow")
        other = _other_unit(breathing[0], unit, FLOW_UNITS, BREATHES)
        if other is None:
            return None
        return (
            f"the air flow reads as if it were {other} {as_said}: as it stands it is {np.exp(breathing[0]):.2g} times "
            f"what an engine of {self.profile.displacement_l:g} L breathes; check the engine's size too, and {WAY_OUT}"
        )


def _apart(one: float, other: float) -> float:
    """How far apart two positive values are, ln; infinite where the first is nothing."""
    return abs(float(np.log(one / other))) if one > 0.0 else np.inf


def _ratio(other: str, unit: str) -> float:
    """How many times as much a value in `other` is as the same number in `unit`."""
    return UNITS[other].factor / UNITS[unit].factor


def _other_unit(off: float, unit: str, units: Sequence[str], near: float) -> str | None:
    """The unit in which a reading that is off by exp(off) would be right; None where none is, or it is hardly off."""
    if abs(off) < NO_FAULT:
        return None
    apart = {other: abs(off + np.log(_ratio(other, unit))) for other in units if other != unit}
    best = min(apart, key=lambda other: apart[other])
    return best if apart[best] < near else None


def named(unit: str) -> str:
    """The unit, with another that cannot be told from it."""
    return {"bar": "bar or kg/cm2", "hPa": "mbar"}.get(unit, unit)


def swap(other: str) -> str:
    """That manifold pressure and another signal read as if they were each other."""
    return f"manifold pressure and {other} read as if their headings were swapped: {SWAPS[other]}; {WAY_OUT}"


def _together(one: Floats, other: Floats) -> float:
    """The correlation of two signals where both are known, by rank or by size, whichever is more."""
    known = np.isfinite(one) & np.isfinite(other)
    if np.count_nonzero(known) < FEWEST or not np.ptp(one[known]) or not np.ptp(other[known]):
        return 0.0
    return max(_in_step(one[known], other[known]), float(np.corrcoef(one[known], other[known])[0, 1]))


def _in_step(one: Floats, other: Floats) -> float:
    """The rank correlation of two signals; 0 where one never moves."""
    a, b = _ranks(one), _ranks(other)
    return float(np.corrcoef(a, b)[0, 1]) if np.ptp(a) and np.ptp(b) else 0.0


def _ranks(values: Floats) -> Floats:
    """The rank of each value, the mean one where values are equal."""
    _, places, counts = np.unique(values, return_inverse=True, return_counts=True)
    return (np.cumsum(counts) - 0.5 * (counts - 1))[places]
