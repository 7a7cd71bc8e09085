"""What was read out of a car, unit by unit; nothing in it depends on how it was asked for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np

from airproof.recording.signals import signal_kind
from airproof.recording.units_stated import in_signal_unit
from airproof.vehicle.answers.monitor_results import MonitorResult
from airproof.vehicle.answers.readiness import CarReadiness
from airproof.vehicle.items import FullScales, Item, decode_one, items_table
from airproof.vehicle.link.finding import Unit


@dataclass(frozen=True)
class ReadValue:
    """One value of an item: its number in the item's own unit, what it is called, and in words where it is a state."""

    item: int
    name: str
    value: float
    unit: str
    says: str | None
    signal: str | None

    @property
    def in_signal_unit(self) -> float | None:
        """The value in the unit of its signal; None where it is of none."""
        if self.signal is None:
            return None
        return float(in_signal_unit(np.array([self.value]), self.unit, signal_kind(self.signal))[0])


@dataclass(frozen=True)
class FreezeFrame:
    """What a unit stored when it set a code; `record` tells several frames of one code apart."""

    code: str
    record: int
    values: tuple[ReadValue, ...]

    @property
    def signals(self) -> dict[str, float]:
        """The values by signal, each in the signal's unit."""
        found: dict[str, float] = {}
        for one in self.values:
            if one.signal is not None and one.in_signal_unit is not None:
                found.setdefault(one.signal, one.in_signal_unit)
        return found


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
        """Whether stored, pending and permanent codes all were answered."""
        return None not in (self.stored, self.pending, self.permanent)


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


def values_of(number: int, data: bytes, full_scales: FullScales) -> tuple[ReadValue, ...]:
    """What the data bytes of an item tell; nothing for an item that is not in the table or came without data."""
    item: Item | None = items_table().get(number)
    if item is None or not data:
        return ()
    found = decode_one(item, data, mode="forgiving", full_scales=full_scales)
    return tuple(
        ReadValue(number, value.name, found[value.name], value.unit, value.in_words(found[value.name]), value.signal)
        for value in item.values
        if value.name in found
    )
