"""From a table of claimed columns to a Recording.

Rivals are settled, units found or guessed, gauge pressures made absolute, values cleaned.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from airproof.errors import UnknownHeadings, UnusableFile
from airproof.quantities.mixture import PETROL
from airproof.recording import clock
from airproof.recording.claims import SAY_WHICH, Claim
from airproof.recording.cleaning import (
    Hold,
    Moves,
    doubled_rows,
    frozen_rows,
    hold_of,
    ordered,
    refreshed,
    resolution_of,
)
from airproof.recording.headings import recognise, without_unit
from airproof.recording.kin_units import guesses_together, stated_for
from airproof.recording.recording import LOOK_THERE, ColumnReading, Floats, ReadReport, Recording, Signal
from airproof.recording.signals import SignalKind, signal_kind
from airproof.recording.table import Column, Table
from airproof.recording.unit_guess import Guess
from airproof.recording.units_stated import StatedUnit, in_signal_unit

_LOWEST_BEFORE_THROTTLE_KPA = 60.0
"""Pressure before the throttle hardly falls below this (judged: Airproof authors, because the highest roads lie at
about 50 kPa, and cars seldom go there); a "boost" column that does so often is read after the throttle."""


_REST_KPA = 12.0
"""A gauge pressure before the throttle is about nothing at idle: one that never falls so low is something else (judged:
Airproof authors, because good and ageing sensors are within 10 kPa of it)."""

_OWN_ZERO_S = 86400.0
"""Elapsed time that begins before this keeps the file's own zero, so that intervals can be found again in the file."""


_STRAY_SHARE = 0.05  # so few values may be garbled in passing; judged: Airproof authors

LEAST = ("engine_speed", "manifold_pressure")
"""What everything else is judged against."""

STANDING_STILL = 3
"""So many rows at one moment are no recording."""


@dataclass
class _Ready:
    """A column in its signal's own unit, with how its unit was found."""

    column: Column
    values: Floats
    unit: StatedUnit
    how: Literal["stated", "guessed"]
    says: str

    @property
    def claim(self) -> Claim:
        return self.column.claim


def assemble(table: Table, label: str, barometer_kpa: float | None = None) -> Recording:
    """The recording in a table.

    `barometer_kpa` (absolute) turns gauge pressures into absolute ones where the file has no barometer of its own.
    Raises UnusableFile where no column gives a usable signal.
    """
    readings: list[ColumnReading] = []
    guesses = guesses_together(table.columns)
    found = (_in_own_unit(column, guesses.get(n), readings) for n, column in enumerate(table.columns))
    ready = [one for one in found if one is not None]
    ready = _rivals_settled(ready, readings)
    ready = _boost_placed(ready)
    ready = _made_absolute(ready, readings, barometer_kpa)
    remarks = list(table.remarks)
    signals, aside = _signals(table, ready, remarks)
    for one in ready:
        name = one.claim.signal.name
        if name in signals:
            readings.append(ColumnReading(one.claim.heading, name, one.unit.unit, _how(one), one.says))
        else:
            readings.append(ColumnReading(one.claim.heading, None, None, "left out", "it holds no usable number"))
    readings.extend(_unread(heading) for heading in table.unread)
    _refuse_unknown_units(readings, signals, table.source)
    if not signals:
        why = "; ".join(f"{r.heading}: {r.says}" for r in readings[:4])
        raise UnknownHeadings(
            f"no column gives a usable signal ({why})",
            "at least one signal with numbers in it",
            SAY_WHICH,
            where=table.source,
            headings=tuple(reading.heading for reading in readings),
        )
    report = ReadReport(table.source, tuple(readings), tuple(remarks), table.rows, aside)
    recording = Recording(signals, label, report)
    if recording.duration_s == 0.0 and any(len(signal) >= STANDING_STILL for signal in signals.values()):
        raise UnusableFile(
            f"the time column stands still at {recording.start_s:g} s over {table.rows} rows",
            "a time that moves on from row to row",
            "Export it again. Or give the rate of the rows as rate_hz in a MAP.toml.",
            where=table.source,
        )
    return recording


def _unread(heading: str) -> ColumnReading:
    """Why a heading was not taken for a signal: its unit, where it would be known without it, else its words."""
    bare, unit = without_unit(heading)
    meant = recognise(bare) if unit else None
    if meant is None:
        return ColumnReading(heading, None, None, "left out", "no signal Airproof knows goes by this heading")
    says = f"{unit!r} is no unit of {meant.signal.title} known here; map it with --signals"
    return ColumnReading(heading, meant.signal.name, None, "left out", says)


def _refuse_unknown_units(readings: list[ColumnReading], signals: dict[str, Signal], source: str) -> None:
    """Without engine speed or manifold pressure little can be judged: there a unit is asked for, not passed over."""
    for one in readings:
        if one.how == "left out" and one.signal in LEAST and one.signal not in signals:
            raise UnknownHeadings(
                f"{one.heading!r}: {one.says.partition(';')[0]}",
                "a unit such as kPa for the pressure and 1/min for the speed",
                SAY_WHICH,
                where=source,
                headings=tuple(reading.heading for reading in readings),
            )


def _how(one: _Ready) -> Literal["stated", "guessed", "mapped"]:
    return "mapped" if one.claim.how == "mapped" else one.how


def _in_own_unit(column: Column, guess: Guess | None, readings: list[ColumnReading]) -> _Ready | None:
    """The column in its signal's unit: as a map, its cells or a row of units, its heading, or a guess tell."""
    claim = column.claim
    kind = claim.signal
    unit = stated_for(column)
    if unit is not None:
        says = f"{kind.title} in {unit.unit}{' ' + unit.reference if unit.reference else ''}, as stated"
        if column.unit is not None and claim.unit is not None and column.unit.unit != claim.unit.unit:
            where = "in the map" if claim.how == "mapped" else "with the values"
            says += f" {where}, although another place says otherwise"
        if unit.unit == "AFR":
            says += "; turned into lambda by 14.7 to 1, as displays do whatever the fuel"
        elif kind.name == "fuel_rate" and unit.unit.startswith("L/"):
            says += f"; turned into mass as petrol, {PETROL.density_kg_l:g} kg/L"
        return _Ready(column, in_signal_unit(column.values, unit.unit, kind), unit, "stated", says)
    stated = claim.unit or column.unit
    if guess is None:
        named = stated.unit if stated is not None else None
        says = f"its unit {named} does not fit {kind.title} in {kind.unit}; map it with --signals"
        readings.append(ColumnReading(claim.heading, kind.name, named, "left out", says))
        return None
    if guess.unit is None:
        says = f"{guess.says}; state it in a MAP.toml: {kind.name} = {{heading = {claim.heading!r}, unit = ...}}"
        readings.append(ColumnReading(claim.heading, None, None, "left out", says))
        return None
    values, unit = in_signal_unit(column.values, guess.unit, kind), StatedUnit(guess.unit)
    if kind.has_no_unit:
        return _Ready(column, values, unit, "stated", kind.title)
    return _Ready(column, values, unit, "guessed", guess.says)


def _rivals_settled(ready: list[_Ready], readings: list[ColumnReading]) -> list[_Ready]:
    """One column for each signal: mapped before recognised, then stated unit, closest heading, most values."""
    best: dict[str, _Ready] = {}
    for one in ready:
        name = one.claim.signal.name
        rival = best.get(name)
        if rival is None:
            best[name] = one
            continue
        loser = one
        if _standing(one) > _standing(rival):
            best[name], loser = one, rival
        says = f"{best[name].claim.heading!r} states {one.claim.signal.title} better and was taken"
        readings.append(ColumnReading(loser.claim.heading, None, None, "left out", says))
    return list(best.values())


def _standing(one: _Ready) -> tuple[bool, bool, bool, tuple[int, int], int]:
    moves = bool(np.nanmax(one.values, initial=-np.inf) > np.nanmin(one.values, initial=np.inf))
    known = int(np.isfinite(one.values).sum())
    return one.claim.how == "mapped", moves, one.how == "stated", one.claim.closeness, known


def _boost_placed(ready: list[_Ready]) -> list[_Ready]:
    """A column called boost that falls deep below the barometer was read after the throttle: manifold pressure."""
    names = {one.claim.signal.name for one in ready}
    out = []
    for one in ready:
        claim = one.claim
        if claim.signal.name == "charge_pressure" and claim.how != "mapped" and "manifold_pressure" not in names:
            low = float(np.nanquantile(one.values, 0.1)) if np.isfinite(one.values).any() else np.nan
            gauge = one.unit.reference == "gauge" or low < -1.0
            if low < (-40.0 if gauge else _LOWEST_BEFORE_THROTTLE_KPA) and (gauge or low > 8.0):
                claim = replace(claim, signal=signal_kind("manifold_pressure"))
                one = replace(
                    one,
                    column=replace(one.column, claim=claim),
                    how="guessed",
                    says=f"{one.says}; taken for manifold pressure, because it falls far below the barometer",
                )
        out.append(one)
    return out


def _made_absolute(ready: list[_Ready], readings: list[ColumnReading], barometer_kpa: float | None) -> list[_Ready]:
    """Gauge pressures with the barometer added; left out where there is none to add."""
    own = next((one.values for one in ready if one.claim.signal.name == "barometric_pressure"), None)
    barometer = barometer_kpa
    out = []
    for one in ready:
        kind = one.claim.signal
        if not kind.is_absolute_pressure or kind.name == "barometric_pressure" or one.unit.reference == "absolute":
            out.append(one)
            continue
        stated = one.unit.reference in ("gauge", "vacuum")
        if not stated and not _looks_gauge(one.values, kind.name):
            out.append(one)
            continue
        why = "as stated" if stated else "guessed to be gauge, because its values are too low for absolute"
        if barometer is None and own is not None and np.isfinite(own).any():
            barometer = float(np.nanmedian(own))
        if barometer is None:
            says = (
                f"{kind.title} is gauge ({why}) and there is no barometer to add: say the altitude or the air "
                "pressure of the place; in the terminal with --altitude or --barometer"
            )
            readings.append(ColumnReading(one.claim.heading, None, one.unit.unit, "left out", says))
            continue
        sign = -1.0 if one.unit.reference == "vacuum" else 1.0
        says = f"{one.says}; {why}: {barometer:.4g} kPa of barometer added"
        out.append(replace(one, values=sign * one.values + barometer, says=says, how=one.how if stated else "guessed"))
    return out


def _looks_gauge(values: Floats, name: str) -> bool:
    """Whether a pressure cannot be absolute: often below zero, or, before the throttle, mostly below any barometer."""
    known = values[:: max(1, values.size // 4000)]
    known = np.sort(known[np.isfinite(known)])
    if not known.size:
        return False
    if known[known.size // 20] < -2.0:
        return True
    return name != "manifold_pressure" and float(known[known.size // 2]) < 40.0 and known[known.size // 20] < _REST_KPA


def _signals(table: Table, ready: list[_Ready], remarks: list[str]) -> tuple[dict[str, Signal], int]:
    """The cleaned signals, and how many rows were set aside altogether."""
    shared = [one for one in ready if one.column.time is None]
    aside = 0
    hold: Hold | None = None
    time = table.time
    moves = Moves([])
    if shared:
        time, moves, aside, said = _one_clock(time, shared)
        remarks.extend(said)
        hold = hold_of(moves)
        if hold is not None:
            remarks.append(
                f"values are held between updates (about {hold.cycle} rows): only rows that may bring a new one kept"
            )
    start = float(time[0]) if shared and time.size else 0.0
    if table.keeps_zero and 0.0 <= start < _OWN_ZERO_S:
        start = 0.0
    if start:
        time = time - start
    fresh = {}
    if hold is not None:
        fresh = {id(one): rows for one, rows in zip(shared, refreshed(moves, hold), strict=True)}
    signals: dict[str, Signal] = {}
    for one in ready:
        own = one.column.time
        stamps = time
        if own is not None:
            stamps, order, said = ordered(own)
            remarks.extend(f"{one.claim.heading}: {line}" for line in said)
            stamps, one.values = stamps - start if start else stamps, one.values[order]
        elif hold is not None:
            stamps, one.values = stamps[fresh[id(one)]], one.values[fresh[id(one)]]
        found = _one_signal(one, stamps, remarks)
        if found is not None:
            signals[found.name] = found
    return signals, aside


def _one_clock(time: Floats, shared: list[_Ready]) -> tuple[Floats, Moves, int, list[str]]:
    """Time that all columns without stamps of their own share, put in order, their rows with it.

    Returns the time, where the columns move, how many rows were set aside, and what was done.
    """
    rows_given = time.size
    time, order, remarks = ordered(time)
    if not isinstance(order, slice):
        for one in shared:
            one.values = one.values[order]
    doubled, twice = doubled_rows(time, [one.values for one in shared])
    if twice:
        # Only rows that differ show a clock too coarse for them, and then rows between two of its ticks may be alike.
        spread, says = clock.spread_repeats(time)
        if says:
            time = spread
            remarks.append(says)
            doubled, twice = doubled_rows(time, [one.values for one in shared])
    if twice:
        remarks.append(f"{twice} rows share their stamp with the row before: kept in their order")
    turning = next((one.values for one in shared if one.claim.signal.name == "engine_speed"), None)
    moves = Moves([one.values for one in shared])
    stuck = frozen_rows(time, moves, turning) & ~doubled
    if doubled.any():
        remarks.append(f"{int(doubled.sum())} rows are there twice, stamp and all: set aside")
    if stuck.any():
        remarks.append(f"{int(stuck.sum())} rows repeat every value while the engine turns (polling stuck): set aside")
    if doubled.any() or stuck.any():
        keep = ~(doubled | stuck)
        time = time[keep]
        for one in shared:
            one.values = one.values[keep]
        moves = Moves([one.values for one in shared])
    return time, moves, rows_given - time.size, remarks


def _one_signal(one: _Ready, time: Floats, remarks: list[str]) -> Signal | None:
    """One signal without missing, infinite and impossible values; None where nothing is left."""
    kind = one.claim.signal
    values = one.values
    low, high = kind.possible
    if values.size and not (values.min() >= low and values.max() <= high):
        with np.errstate(invalid="ignore"):
            good = (values >= low) & (values <= high)
        impossible = int(np.count_nonzero(~good & ~np.isnan(values)))
        unit = "" if kind.unit == "1" else f" {kind.unit}"
        if impossible:
            remarks.append(
                f"{one.claim.heading}: {impossible} values outside {low:g} to {high:g}{unit} are impossible"
                " and were set aside"
            )
        time, values = time[good], values[good]
    if kind.working is not None and values.size:
        least, most = kind.working
        good = (values >= least) & (values <= most)
        if not good.all():
            remarks.append(_implausible(one.claim.heading, values[~good], values.size, kind))
            time, values = time[good], values[good]
    if not values.size:
        return None
    return Signal(kind.name, kind.unit, time, values, resolution_of(values))


def _implausible(heading: str, beyond: Floats, count: int, kind: SignalKind) -> str:
    """That some of `count` values lie where no working control unit reports any; where they are many, to look there."""
    assert kind.working is not None
    least, most = kind.working
    low, high = float(beyond.min()), float(beyond.max())
    values = f"of {low:g} {kind.unit}" if low == high else f"from {low:g} to {high:g} {kind.unit}"
    look = f"; {LOOK_THERE}" if beyond.size > _STRAY_SHARE * count else ""
    return (
        f"{heading}: {beyond.size} of {count} values, {values}, are beyond what any control unit reports "
        f"({least:g} to {most:g} {kind.unit}) and were set aside{look}"
    )
