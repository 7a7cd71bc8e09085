"""The units of bare columns, guessed together: what one column shows of its unit tells of its kin in the same file.

Each column's range is asked first (unit_guess.py). Then the pressures of a file are held against its barometer, an air
flow against speed and pressure, and temperatures, speeds and flows against the system of units that is sure by then.
Where that leaves two units open, or contradicts itself, none is guessed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from airproof.quantities.constants import R_AIR
from airproof.quantities.unit_table import UNITS
from airproof.recording.recording import Floats
from airproof.recording.signals import SignalKind
from airproof.recording.table import Column
from airproof.recording.unit_guess import Guess, guess_unit
from airproof.recording.units_stated import StatedUnit, in_signal_unit

INCH = frozenset(("inHg", "psi", "mph", "degF", "lb/min"))
METRIC = frozenset(("km/h", "degC", "kPa", "hPa", "bar"))
PRESSURES = ("manifold_pressure", "charge_pressure", "charge_pressure_target")
TEMPERATURES = ("intake_temperature", "ambient_temperature")

TURNING_RPM = 400.0  # faster than any starter turns it, slower than any engine idles
SEA_LEVEL_KPA = 97.0  # stands for a barometer that is not there: where most people live, with weather
ALIKE = 0.35
"""ln of two pressures that are one: no fault moves a reading further than 40 %, no two units but hPa and mmHg lie
closer. judged: Airproof authors."""

THROTTLED = (0.12, 0.85)
"""Of the barometer: where the lowest twentieth of a running petrol engine's manifold pressure lies, from overrun to a
cam that leaves little vacuum. judged: Airproof authors."""

BEFORE_THROTTLE = (0.70, 1.40)  # of the barometer: the lowest twentieth of the charge pressure, idle and overrun
HIGHEST = (0.22, 3.5)  # of the barometer: the highest hundredth of either
LITRES = (0.45, 7.0)
"""Swept volume times efficiency of the engines of cars, 0.6 to 8 L, as speed, pressure and air flow give it. judged:
Airproof authors."""

INTAKE_K = 310.0  # where no temperature is asked: half the range of intake temperatures is 10 % of it


@dataclass(frozen=True)
class _Bare:
    """A column without a stated unit, what it is, and the unit its range suggests."""

    values: Floats
    kind: SignalKind
    guess: Guess


def guesses_together(columns: Sequence[Column]) -> dict[int, Guess]:
    """The guessed unit of each column that states none that fits, by its place among them."""
    bare: dict[int, _Bare] = {}
    stated: dict[str, tuple[Floats, str]] = {}
    for place, column in enumerate(columns):
        kind = column.claim.signal
        unit = stated_for(column)
        if unit is not None:
            stated[kind.name] = in_signal_unit(column.values, unit.unit, kind), unit.unit
        elif is_bare(column):
            bare[place] = _Bare(column.values, kind, guess_unit(column.values, kind))
    if not bare:
        return {}
    return _Together(bare, stated, columns).guesses()


def stated_for(column: Column) -> StatedUnit | None:
    """The unit a column states and can be in: as a map, its cells or a row of units, or its heading tell."""
    claim = column.claim
    mapped = claim.how == "mapped" and claim.unit is not None
    first, second = (claim.unit, column.unit) if mapped else (column.unit, claim.unit)
    return next((unit for unit in (first, second) if unit is not None and unit.fits(claim.signal)), None)


def is_bare(column: Column) -> bool:
    """Whether a column states no unit at all."""
    unit = column.claim.unit or column.unit
    return unit is None or unit.unit == "1"


class _Together:
    """The bare columns of one file beside the others."""

    def __init__(
        self, bare: dict[int, _Bare], stated: dict[str, tuple[Floats, str]], columns: Sequence[Column]
    ) -> None:
        self.bare = bare
        self.known = dict(stated)  # values in the signal's own unit, and the unit they came in
        self.found = {place: one.guess for place, one in bare.items()}
        self.one_clock = all(column.time is None for column in columns)
        for one in bare.values():
            if one.kind.name in ("barometric_pressure", "engine_speed", "coolant_temperature"):
                self._know(one, one.guess)

    def guesses(self) -> dict[int, Guess]:
        """Pressures first: they are what everything else is judged against."""
        for names, settled in (
            (PRESSURES, self._pressure),
            (("air_flow",), self._air_flow),
            (TEMPERATURES, self._temperature),
            (("vehicle_speed",), self._speed),
        ):
            for place, one in self.bare.items():
                if one.kind.name in names:
                    self.found[place] = settled(one)
                    self._know(one, self.found[place])
        return self.found

    def _know(self, one: _Bare, guess: Guess) -> None:
        if guess.unit is not None and one.kind.name not in self.known:
            self.known[one.kind.name] = in_signal_unit(one.values, guess.unit, one.kind), guess.unit

    def _pressure(self, one: _Bare) -> Guess:
        """The unit in which a pressure goes with the barometer: equal to it at rest, below or above it as it must."""
        first = one.guess
        if not np.isfinite(one.values).any() or not np.nanmax(np.abs(one.values)) > 0.0:
            return first
        barometer, its_unit = self._barometer()
        going = {unit: self._goes_with(one, unit, barometer, its_unit) for unit in _units(one.kind)}
        fits = {unit: apart for unit, apart in going.items() if apart is not None}
        if its_unit is None:
            return self._pressure_alone(one, fits)
        if its_unit == first.unit and (its_unit in fits or not fits):
            return first
        if not fits:
            if first.unit is None:
                return first
            return Guess(
                None,
                f"{one.kind.title}, unit not stated, and {_reach(one.values)}, which goes with the barometer beside it "
                f"({barometer:.4g} kPa, read in {its_unit}) in no usual unit",
            )
        best = min(fits, key=lambda unit: (fits[unit] + ALIKE * (unit != its_unit) * 0.3, unit != first.unit))
        if best == first.unit:
            return first
        why = f"in {best} it goes with the barometer beside it, which reads {barometer:.4g} kPa in {its_unit}"
        return Guess(best, f"{one.kind.title}, unit not stated; guessed {best}, because {why}")

    def _pressure_alone(self, one: _Bare, fits: dict[str, float]) -> Guess:
        """Without a barometer: the range's guess, unless it cannot be, or two units fit and one means boost."""
        first = one.guess
        inch = {unit for unit in fits if unit in INCH} if self._inch() else set[str]()
        if len(inch) == 1 and first.unit not in INCH:
            (unit,) = inch
            why = f"other columns of this file are in {self._inch()}"
            return Guess(unit, f"{one.kind.title}, unit not stated; guessed {unit}, because {why}")
        if first.unit in fits or not fits:
            high = in_signal_unit(one.values, first.unit, one.kind) if first.unit else one.values
            boosted = float(np.nanquantile(high, 0.99)) > (1.0 + ALIKE / 2) * SEA_LEVEL_KPA
            rivals = [unit for unit in fits if unit != first.unit and {unit, first.unit} <= INCH]
            if not (rivals and boosted and one.kind.name == "manifold_pressure"):
                return first
            fits = {unit: fits[unit] for unit in (first.unit, *rivals) if unit is not None}
        if len(fits) == 1:
            (unit,) = fits
            return Guess(unit, f"{one.kind.title}, unit not stated; guessed {unit}, because {_reach(one.values)}")
        alike = " and ".join(fits)
        return Guess(None, f"{one.kind.title}, unit not stated, and {_reach(one.values)}, which fit {alike} alike")

    def _goes_with(self, one: _Bare, unit: str, barometer: float, its_unit: str | None) -> float | None:
        """How far from the barometer it is at rest (ln) in that unit, or 0 where rest is not there; None if it
        cannot be in it.
        """
        share = in_signal_unit(one.values, unit, one.kind) / barometer
        speed = self._held("engine_speed")
        turning = np.ones(share.size, dtype=bool)
        apart, rested = 0.0, False
        if speed is not None and speed.size == share.size:
            rest = share[(speed == 0.0) & np.isfinite(share)]
            if rest.size >= 3 and one.kind.name != "charge_pressure_target":
                apart, rested = abs(float(np.log(max(np.median(rest), 1e-6)))), True
                if apart > ALIKE:
                    return None
            turning = speed > TURNING_RPM
        known = share[turning & np.isfinite(share)]
        if not known.size:
            return apart if rested else None
        low, high = (float(q) for q in np.quantile(known, (0.05, 0.99)))
        least, most = THROTTLED if one.kind.name == "manifold_pressure" else BEFORE_THROTTLE
        if unit == its_unit:  # a diesel, or a pull, which never falls below the barometer
            most = max(most, BEFORE_THROTTLE[1])
        if one.kind.name == "charge_pressure_target":
            least = THROTTLED[0]
        return apart if least <= low <= most and HIGHEST[0] <= high <= HIGHEST[1] else None

    def _barometer(self) -> tuple[float, str | None]:
        """The file's barometer, kPa, and the unit it came in; a usual one and None where there is none to go by."""
        values, unit = self.known.get("barometric_pressure", (np.empty(0), ""))
        if np.isfinite(values).any() and 45.0 <= float(np.nanmedian(values)) <= 110.0:
            return float(np.nanmedian(values)), unit
        return SEA_LEVEL_KPA, None

    def _air_flow(self, one: _Bare) -> Guess:
        """The unit in which flow, speed and pressure are those of an engine of a car."""
        first = one.guess
        litres = self._litres(one.values)
        if litres is None or first.unit == "kg/s":
            return first
        fits = [
            unit
            for unit in _units(one.kind)
            if LITRES[0] <= litres * float(in_signal_unit(np.ones(1), unit, one.kind)[0]) <= LITRES[1]
        ]
        other = [unit for unit in fits if unit in INCH] if self._inch() else []
        if not fits or (first.unit in fits and not other):
            return first
        if first.unit not in fits and len(other or fits) == 1:
            (unit,) = other or fits
            why = "with speed and pressure beside it no other makes it the flow of a car's engine"
            return Guess(unit, f"{one.kind.title}, unit not stated; guessed {unit}, because {why}")
        alike = " and ".join(dict.fromkeys((*fits, *other)))
        return Guess(None, f"{one.kind.title}, unit not stated, and {_reach(one.values)}, which fit {alike} alike")

    def _litres(self, values: Floats) -> float | None:
        """Swept volume times efficiency, L, were the flow in g/s; None where speed or pressure are missing."""
        speed, pressure = self._held("engine_speed"), self._held("manifold_pressure")
        if speed is None or pressure is None or not speed.size == pressure.size == values.size:
            return None
        sound = (speed > TURNING_RPM) & (pressure > 0.0) & (values > 0.0)
        if np.count_nonzero(sound) < 10:
            return None
        cycles_s = speed[sound] / 120.0
        return float(np.median(values[sound] * R_AIR * INTAKE_K / (pressure[sound] * 1e3 * cycles_s)))

    def _temperature(self, one: _Bare) -> Guess:
        """As the coolant's, else as the system of the file."""
        beside = self.known.get("coolant_temperature")
        unit = beside[1] if beside is not None else ("degF" if self._inch() else one.guess.unit)
        return self._as_others(one, unit, f"the coolant beside it is in {unit}" if beside is not None else "")

    def _speed(self, one: _Bare) -> Guess:
        return self._as_others(one, "mph" if self._inch() else one.guess.unit, "")

    def _as_others(self, one: _Bare, unit: str | None, why: str) -> Guess:
        """In that unit where its range allows it, else as its range says."""
        fitting = [guess for guess in (*one.kind.guesses, *one.kind.kin_guesses) if guess.unit == unit]
        known = one.values[np.isfinite(one.values)]
        if unit in (None, one.guess.unit) or not fitting or not known.size:
            return one.guess
        low, high = (float(q) for q in np.quantile(known, (0.01, 0.99)))
        if not any(guess.within[0] <= low and high <= guess.within[1] for guess in fitting):
            return one.guess
        because = why or f"other columns of this file are in {self._inch()}"
        return Guess(unit, f"{one.kind.title}, unit not stated; guessed {unit}, because {because}")

    def _inch(self) -> str:
        """The units of inch and pound that are sure in this file, as words; empty where none or metric ones are."""
        units = {unit for _, unit in self.known.values()}
        return "" if units & METRIC else " and ".join(sorted(units & INCH))

    def _held(self, name: str) -> Floats | None:
        """A known column's values, each held until the next; None where columns have clocks of their own."""
        if name not in self.known or not self.one_clock:
            return None
        values = self.known[name][0]
        latest = np.maximum.accumulate(np.where(np.isfinite(values), np.arange(values.size), 0))
        return values[latest]


def _units(kind: SignalKind) -> list[str]:
    """The units a bare column of that signal may be in beside its kin, likeliest first."""
    units = dict.fromkeys(guess.unit for guess in (*kind.guesses, *kind.kin_guesses))
    return [unit for unit in units if unit in UNITS]


def _reach(values: Floats) -> str:
    known = values[np.isfinite(values)]
    low, high = (float(q) for q in np.quantile(known, (0.01, 0.99)))
    return f"its values run from {low:.4g} to {high:.4g}"
