"""From series of values to a Recording: which unit and which item speaks for each signal, and what is left out."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from airproof.recording.recording import ColumnReading, ReadReport, Recording, Signal
from airproof.recording.signals import signal_kind
from airproof.vehicle.bus_log.collected import Series

TELLING = ("manifold_pressure", "engine_speed", "load", "air_flow", "short_trim_1", "ignition_advance", "throttle")
"""Signals that only the engine's own unit tells, as against a gearbox that repeats speeds and temperatures."""

TOLD_ELSEWHERE = (0x01, 0x41)
"""Items whose bits are readiness, which is told as such."""


@dataclass(frozen=True)
class Assembled:
    """The recording, and by name and unit the values that no signal of Airproof stands for.

    `engine_unit` is the unit that was taken for the engine's; None where nothing was answered.
    """

    recording: Recording
    others: Mapping[tuple[int, str], Signal] = field(default_factory=dict)
    engine_unit: int | None = None


def assemble(
    series: Iterable[Series],
    *,
    name_of: Callable[[int], str],
    zero_s: float,
    label: str,
    remarks: Sequence[str] = (),
) -> Assembled:
    """The recording in series of values; its time counts from `zero_s`.

    For each signal one series speaks: that of the engine's unit before others, the item of the best rank before others.
    """
    found = list(series)
    engine = _engine_unit(found)
    columns: list[ColumnReading] = []
    said = list(remarks)
    signals: dict[str, Signal] = {}
    others: dict[tuple[int, str], Signal] = {}
    for one in sorted(found, key=lambda each: (each.unit != engine, each.unit, each.item.rank, each.item.number)):
        heading = f"item {one.item.id} of {name_of(one.unit)}"
        name = one.value.signal
        if name is None and one.item.number in TOLD_ELSEWHERE:
            continue
        if name is None:
            others[one.unit, one.value.name] = _signal(one, one.value.name, one.value.unit, zero_s)
            says = f"{one.item.title}{_in_unit(one.value.unit)}: no check of Airproof asks for it"
            columns.append(ColumnReading(heading, None, one.value.unit, "left out", says))
            continue
        if name in signals:
            says = f"{signal_kind(name).title} is taken from another item or control unit"
            columns.append(ColumnReading(heading, None, one.value.unit, "left out", says))
            continue
        signal, lost = _possible(_signal(one, name, signal_kind(name).unit, zero_s))
        if lost:
            said.append(f"{heading}: {lost} values that cannot be were set aside")
        if not len(signal):
            columns.append(ColumnReading(heading, None, one.value.unit, "left out", "it holds no possible value"))
            continue
        signals[name] = signal
        columns.append(ColumnReading(heading, name, one.value.unit, "stated", _says(one)))
        said.extend(_doubts(one, heading))
    report = ReadReport(label, tuple(columns), tuple(said), sum(map(len, signals.values())), 0)
    return Assembled(Recording(signals, label, report), others, engine)


def _engine_unit(series: Sequence[Series]) -> int | None:
    """The unit that tells most of what only the engine's does; of equals the one with the lowest address."""
    tells: dict[int, set[str]] = {}
    for one in series:
        tells.setdefault(one.unit, set()).update({one.value.signal} & set(TELLING) if one.value.signal else set())
    return min(tells, key=lambda unit: (-len(tells[unit]), unit), default=None)


def _signal(one: Series, name: str, unit: str, zero_s: float) -> Signal:
    return Signal(name, unit, one.time - zero_s, one.values, one.step)


def _possible(signal: Signal) -> tuple[Signal, int]:
    """The signal without values that cannot be, and how many those were."""
    low, high = signal_kind(signal.name).possible
    good = (signal.values >= low) & (signal.values <= high)
    if good.all():
        return signal, 0
    return Signal(signal.name, signal.unit, signal.time[good], signal.values[good], signal.resolution), int(
        np.count_nonzero(~good)
    )


def _says(one: Series) -> str:
    kind = signal_kind(one.value.signal or "")
    says = f"{kind.title}{_in_unit(one.value.unit)}, {len(one.values)} answers"
    return says if one.item.standing == "verified" else f"{says}; the item stands on memory of the standard"


def _in_unit(unit: str) -> str:
    return "" if unit == "1" else f" in {unit}"


def _doubts(one: Series, heading: str) -> Iterable[str]:
    if one.item.doubt:
        yield f"{heading}: {one.item.doubt}"
    if one.top and one.value.signal == "manifold_pressure":
        top = f"{float(one.values.max()):.4g} {signal_kind('manifold_pressure').unit}"
        yield (
            f"{heading}: {one.top} answers stand at {top}, the most it can tell: the pressure may have been higher, and"
            " items 4F and 87 would tell"
        )
