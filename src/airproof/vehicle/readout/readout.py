"""What was read out of a car, unit by unit; nothing in it depends on how it was asked for."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from airproof.vehicle.answers.monitor_results import MonitorResult
from airproof.vehicle.answers.readiness import CarReadiness
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
    def lines(self) -> tuple[str, ...]:
        """Every value in words, item by item."""
        return tuple(line for number, data in sorted(self.items.items()) for line in _in_words(number, data, self))


@dataclass
class UnitReadout:
    """What one control unit told. A list that is None was not answered; an empty one was, and is empty."""

    unit: Unit
    items: frozenset[int] = frozenset()
    readiness: CarReadiness | None = None
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
    remarks: list[str] = field(default_factory=list)

    @property
    def codes_read(self) -> bool:
        """Whether stored and pending codes were answered; many cars have no permanent ones."""
        return None not in (self.stored, self.pending)


@dataclass(frozen=True)
class Readout:
    """Everything read from all units that answer, and when."""

    units: tuple[UnitReadout, ...]
    read_at: datetime
    remarks: tuple[str, ...] = ()

    def codes(self, which: str) -> tuple[str, ...]:
        """Codes of all units, each once: which is "stored", "pending" or "permanent"."""
        return tuple(dict.fromkeys(code for unit in self.units for code in getattr(unit, which) or ()))

    @property
    def vin(self) -> str:
        """The car's number, by the first unit that tells it."""
        return next((unit.vin for unit in self.units if unit.vin), "")

    @property
    def complete(self) -> bool:
        """Whether every unit answered about all its codes."""
        return bool(self.units) and all(unit.codes_read for unit in self.units)


def _in_words(number: int, data: bytes, frame: FreezeFrame) -> Iterator[str]:
    item = items_table().get(number)
    if item is None or not data:
        return
    found = decode_one(item, data, mode="forgiving", full_scales=frame.full_scales)
    for value in item.values:
        if value.name in found:
            said = value.in_words(found[value.name]) or f"{found[value.name]:.5g}"
            unit = "" if value.unit == "1" else f" {value.unit}"
            yield f"{value.name.replace('_', ' ')}: {said}{unit}"
