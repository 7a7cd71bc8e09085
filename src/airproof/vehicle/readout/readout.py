"""What was read out of a car, unit by unit; nothing in it depends on how it was asked for."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from airproof.recording.signals import signal_kind
from airproof.vehicle.answers import car_information as ci
from airproof.vehicle.answers.car_information import CarInformation
from airproof.vehicle.answers.monitor_results import MonitorResult
from airproof.vehicle.answers.readiness import CarReadiness
from airproof.vehicle.bus_log.heard import NOT_IN_A_FRAME, STRONGEST, What
from airproof.vehicle.items import FullScales, by_signal, decode_one, items_table
from airproof.vehicle.link.finding import Unit


@dataclass(frozen=True)
class FreezeFrame:
    """What a unit stored when it set a code: data bytes by item. `record` tells several frames of one code apart."""

    code: str
    record: int
    items: Mapping[int, bytes]
    full_scales: FullScales = field(default_factory=dict)

    @property
    def signals(self) -> Mapping[str, float]:
        """The values that are signals, each in its signal's unit."""
        return by_signal(self.items.items(), self.full_scales)

    @property
    def written(self) -> Mapping[str, str | float]:
        """Its signals as they are typed, with their units: {"manifold_pressure": "52 kPa"}."""
        return {
            name: round(value, 6) if (unit := signal_kind(name).unit) == "1" else f"{value:.6g} {unit}"
            for name, value in self.signals.items()
            if name not in NOT_IN_A_FRAME
        }

    @property
    def lines(self) -> tuple[str, ...]:
        """Every value in words, item by item."""
        return tuple(
            line for number, data in sorted(self.items.items()) for line in _in_words(number, data, self.full_scales)
        )


@dataclass
class UnitReadout:
    """What one control unit told. A list that is None was not answered; an empty one was, and is empty.

    `since_cleared` are its answers to the items that clearing resets, `further` those to F5xx as they came; `heard_s`
    is when each was told, s from the beginning of the log it was heard in.
    """

    unit: Unit
    items: frozenset[int] = frozenset()
    readiness: CarReadiness | None = None
    present: tuple[str, ...] | None = None
    stored: tuple[str, ...] | None = None
    pending: tuple[str, ...] | None = None
    permanent: tuple[str, ...] | None = None
    failures: Mapping[str, str] = field(default_factory=dict)
    frames: list[FreezeFrame] = field(default_factory=list)
    results: list[MonitorResult] = field(default_factory=list)
    vin: str = ""
    name: str = ""
    calibration_ids: tuple[str, ...] = ()
    calibration_numbers: tuple[str, ...] = ()
    ratios: Mapping[str, int] = field(default_factory=dict)
    full_scales: dict[int, bytes] = field(default_factory=dict)
    since_cleared: dict[int, bytes] = field(default_factory=dict)
    further: dict[int, bytes] = field(default_factory=dict)
    heard_s: Mapping[What, float] = field(default_factory=dict)
    remarks: list[str] = field(default_factory=list)

    @property
    def counted(self) -> Mapping[str, float]:
        """Distances, warm-ups and minutes since codes were cleared, by the names of the table of items."""
        return {
            name: value
            for number, data in sorted(self.since_cleared.items())
            if data
            for name, value in decode_one(items_table()[number], data, mode="forgiving").items()
        }

    @property
    def counted_lines(self) -> tuple[str, ...]:
        """The same in words, with their units."""
        return tuple(line for number, data in sorted(self.since_cleared.items()) for line in _in_words(number, data))

    @property
    def codes_read(self) -> bool:
        """Whether stored and pending codes were answered; many cars have no permanent ones."""
        return None not in (self.stored, self.pending)


@dataclass(frozen=True)
class Readout:
    """Everything read from all units that answer, and when.

    `engine_unit` is the engine's, where that is known; `began_at` when the log was begun that all this was heard in.
    """

    units: tuple[UnitReadout, ...]
    read_at: datetime
    remarks: tuple[str, ...] = ()
    engine_unit: int | None = None
    began_at: datetime | None = None

    def codes(self, which: str) -> tuple[str, ...]:
        """Codes of all units, each once: which is "present", "stored", "pending" or "permanent"."""
        return tuple(dict.fromkeys(code for unit in self.units for code in getattr(unit, which) or ()))

    def each_code(self) -> Iterator[tuple[str, str, UnitReadout]]:
        """Each code once, with the strongest status it was told with, and the unit that told it."""
        seen = set()
        for status in STRONGEST:
            for unit in self.units:
                for code in getattr(unit, status) or ():
                    if code not in seen:
                        seen.add(code)
                        yield code, status, unit

    def each_frame(self) -> Iterator[tuple[str, FreezeFrame, UnitReadout]]:
        """Each freeze frame with a name of its own where it is not the first of its code, else ""."""
        seen = set()
        for unit in self.units:
            for frame in unit.frames:
                name = f"{frame.code} of {unit.unit.name}, record {frame.record}" if frame.record else ""
                if frame.code in seen and not name:
                    name = f"{frame.code} of {unit.unit.name}"
                seen.add(name or frame.code)
                yield name, frame, unit

    @property
    def monitors(self) -> Mapping[str, bool]:
        """Monitors of all units, and whether they are complete: incomplete where any unit that has one says so."""
        complete: dict[str, bool] = {}
        for unit in self.units:
            for monitor, done in ({} if unit.readiness is None else unit.readiness.complete).items():
                complete[monitor] = complete.get(monitor, True) and done
        return complete

    @property
    def vin(self) -> str:
        """The car's number, by the engine's unit, or the first that tells it."""
        return next((unit.vin for unit in sorted(self.units, key=self._engine_first) if unit.vin), "")

    @property
    def tells_anything(self) -> bool:
        """Whether any unit told a code, a freeze frame, readiness or the car's number, or that there is no code."""
        return bool(self.vin or self.monitors or self.complete or any(self.each_code()) or any(self.each_frame()))

    @property
    def complete(self) -> bool:
        """Whether the engine's unit, or where it is not known every one, answered about all its codes."""
        known = [unit for unit in self.units if unit.unit.id == self.engine_unit] or self.units
        return bool(known) and all(unit.codes_read for unit in known)

    def _engine_first(self, unit: UnitReadout) -> bool:
        return unit.unit.id != self.engine_unit


def take_information(into: UnitReadout, told: CarInformation | None) -> None:
    """Keep what a unit told of itself and the car where it belongs; None is that it told nothing."""
    if told is None:
        return
    match told.number:
        case ci.VIN:
            into.vin = next(iter(told.texts), "")
        case ci.NAME:
            into.name = next(iter(told.texts), "")
        case ci.CALIBRATION_IDS:
            into.calibration_ids = told.texts
        case ci.CALIBRATION_NUMBERS:
            into.calibration_numbers = told.texts
    into.ratios = told.counters or into.ratios


def _in_words(number: int, data: bytes, full_scales: FullScales | None = None) -> Iterator[str]:
    item = items_table().get(number)
    if item is None or not data:
        return
    found = decode_one(item, data, mode="forgiving", full_scales=full_scales)
    for value in item.values:
        if value.name in found:
            said = value.in_words(found[value.name]) or f"{found[value.name]:.5g}"
            unit = "" if value.unit == "1" else f" {value.unit}"
            yield f"{value.name.replace('_', ' ')}: {said}{unit}"
