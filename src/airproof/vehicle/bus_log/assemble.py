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

OFTEN = 1 / 3
"""An item asked less often than this share of another's is hardly asked (judged: Airproof authors)."""

CLOSE_S, ENOUGH, AGREE = 1.0, 5, 0.05
"""Two items are compared where their answers lie this close, s, and there are so many; they agree in the median within
their steps and this share (judged: Airproof authors, because a wrong scale is wrong by a factor of two or more, while
an engine at work moves a few per cent from one answer to the next)."""


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

    For each signal one series speaks: that of the engine's unit before others, the item of the best rank before others;
    but an item that was hardly asked for does not stand in for one that was asked all the time, nor one that stands on
    memory for a verified one that it contradicts.
    """
    found = list(series)
    engine = _engine_unit(found)
    making = _Making(name_of, zero_s, list(remarks))
    carried: dict[str, list[Series]] = {}
    for one in sorted(found, key=lambda each: (each.unit != engine, each.unit, each.item.rank, each.item.number)):
        if one.value.signal is not None:
            carried.setdefault(one.value.signal, []).append(one)
        elif one.item.number not in TOLD_ELSEWHERE:
            making.keep_other(one)
    for name, candidates in carried.items():
        making.keep_signal(name, candidates)
    report = ReadReport(
        label, tuple(making.columns), tuple(making.said), sum(map(len, making.signals.values())), rows_set_aside=0
    )
    return Assembled(Recording(making.signals, label, report), making.others, engine)


@dataclass
class _Making:
    """A recording in the making, with what is said of it."""

    name_of: Callable[[int], str]
    zero_s: float
    said: list[str]
    columns: list[ColumnReading] = field(default_factory=list)
    signals: dict[str, Signal] = field(default_factory=dict)
    others: dict[tuple[int, str], Signal] = field(default_factory=dict)

    def heading(self, one: Series) -> str:
        return f"item {one.item.id} of {self.name_of(one.unit)}"

    def leave_out(self, one: Series, says: str) -> None:
        self.columns.append(ColumnReading(self.heading(one), None, one.value.unit, "left out", says))

    def keep_other(self, one: Series) -> None:
        """A value that is no signal of Airproof."""
        self.others[one.unit, one.value.name] = _signal(one, one.value.name, one.value.unit, self.zero_s)
        self.leave_out(one, f"{one.item.title}{_in_unit(one.value.unit)}: no check of Airproof asks for it")

    def keep_signal(self, name: str, candidates: list[Series]) -> None:
        """The first of the candidates, best first, that holds a possible value; the others are left out."""
        for one in self._best_first(candidates):
            heading = self.heading(one)
            if name in self.signals:
                self.leave_out(one, f"{signal_kind(name).title} is taken from another item or control unit")
                continue
            signal, lost = _possible(_signal(one, name, signal_kind(name).unit, self.zero_s))
            if lost:
                self.said.append(f"{heading}: {lost} values that cannot be were set aside")
            if not len(signal):
                self.leave_out(one, "it holds no possible value")
                continue
            self.signals[name] = signal
            self.columns.append(ColumnReading(heading, name, one.value.unit, "stated", _says(one)))
            self.said.extend(_doubts(one, heading))

    def _best_first(self, candidates: list[Series]) -> list[Series]:
        """Hardly asked ones of a unit behind its others; and of memory behind a verified one that it contradicts."""
        most = {one.unit: 0 for one in candidates}
        for one in candidates:
            most[one.unit] = max(most[one.unit], len(one.values))
        often = [one for one in candidates if len(one.values) >= OFTEN * most[one.unit]]
        first = often[0]
        for rival in often[1:]:
            proves = first.item.standing != "verified" == rival.item.standing and rival.unit == first.unit
            if proves and (apart := _apart(first, rival)) is not None:
                kind = signal_kind(first.value.signal or "")
                self.said.append(
                    f"{self.heading(first)}, which stands on memory of the standard, differs from {self.heading(rival)}"
                    f" by {apart:.3g} {kind.unit} ({kind.title}): the verified one was taken"
                )
                first = rival
        rest = [one for one in candidates if one is not first]
        return [first, *rest]


def _apart(one: Series, other: Series) -> float | None:
    """By how much two series of one signal differ, in its unit; None where they agree, or never come close in time."""
    mine = Signal("", "", one.time, one.values).at(other.time, "linear", max_gap_s=CLOSE_S)
    differences = np.abs(mine - other.values)[np.isfinite(mine) & ~other.at_its_end]
    if differences.size < ENOUGH:
        return None
    apart = float(np.median(differences))
    allowed = one.step + other.step + AGREE * float(np.median(np.abs(other.values)))
    return apart if apart > allowed else None


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
    at_its_end = int(np.count_nonzero(one.at_its_end))
    if at_its_end and one.value.signal == "manifold_pressure":
        yield (
            f"{heading}: {at_its_end} answers stand at {one.highest:.4g} kPa, the most it can tell: the pressure may"
            " have been higher, and items 4F and 87 would tell"
        )
