"""From the file of a bus log to what is in it: a recording, and what each control unit told."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from airproof.diagnosis.facts import Facts, FreezeFrame, Readiness, StoredCode
from airproof.errors import UnusableFile
from airproof.knowledge.model import Knowledge
from airproof.recording.recording import Recording, Signal
from airproof.recording.table import Progress
from airproof.vehicle.bus_log.assemble import assemble
from airproof.vehicle.bus_log.formats import is_bus_log
from airproof.vehicle.bus_log.frames import Frames
from airproof.vehicle.bus_log.heard import UnitHeard
from airproof.vehicle.bus_log.one_bus import OneBus

__all__ = ["BusLog", "is_bus_log", "read_bus_log"]

NEEDED_TO_HAVE_READ_ALL = {"stored", "pending"}
MOST_BUSES = 16
SYSTEM_TIME = (946_684_800.0, 4_102_444_800.0)
"""Seconds since 1970 of the years 2000 to 2100: stamps in between are taken for the system's time."""

_WANTED = "questions and answers of the legislated diagnostics (7DF, 7E0 to 7EF, 18DB33F1, 18DAxxF1, 18DAF1xx)"


@dataclass(frozen=True)
class BusLog:
    """What is in a log.

    `recording` holds the signals, without any where no live data were asked for, and its report what was understood
    and left out; `others` by unit and name the values that are no signals of Airproof. `units` are the control units
    heard, by their identifiers; `engine_unit` is the engine's, where one can be told. `zero_s` is the earliest stamp,
    as the log has it.
    """

    recording: Recording
    others: Mapping[tuple[int, str], Signal]
    units: tuple[UnitHeard, ...]
    engine_unit: UnitHeard | None
    zero_s: float = 0.0

    @property
    def began_at(self) -> datetime | None:
        """When it was begun, where its stamps count the system's time; many logs count from their own beginning."""
        return datetime.fromtimestamp(self.zero_s, UTC) if SYSTEM_TIME[0] <= self.zero_s < SYSTEM_TIME[1] else None

    @property
    def vin(self) -> str | None:
        """The VIN that the engine's unit told, or else any."""
        told = [self.engine_unit] if self.engine_unit is not None else []
        return next((unit.vin for unit in [*told, *self.units] if unit.vin), None)

    def facts(self, known: Knowledge, *, latest: bool = False) -> Facts:
        """Codes, freeze frames and readiness as the weighing takes them: only what `known` has an entry for.

        Where codes were cleared within the log, what was read before that counts; `latest`: what was read after it.
        """
        codes: dict[str, str] = {}
        frames: dict[str, FreezeFrame] = {}
        for unit in self.units:
            of_it = unit.latest if latest else unit.telling
            for code, status in of_it.statuses().items():
                codes.setdefault(code, status)
            for frame in of_it.heard_frames(unit.full_scales):
                if frame.code is not None and frame.code in known.codes:
                    frames.setdefault(frame.code, FreezeFrame(frame.code, frame.values))
        engine = self.engine_unit
        told = None if engine is None else engine.latest if latest else engine.telling
        readiness = None
        if told is not None and (told.readiness is not None or told.codes):
            complete = told.readiness.complete if told.readiness is not None else {}
            readiness = Readiness(
                {monitor: done for monitor, done in complete.items() if monitor in known.monitors},
                codes_read=told.codes.keys() >= NEEDED_TO_HAVE_READ_ALL,
            )
        return Facts(
            codes=tuple(StoredCode(code, status) for code, status in codes.items() if code in known.codes),
            frames=tuple(frames.values()),
            readiness=readiness,
        )


def read_bus_log(path: Path | str, progress: Progress | None = None) -> BusLog:
    """What is in a log of a CAN bus: candump, ASC, BLF, TRC, MDF 4 or python-can's CSV, gzipped or not.

    Times of the recording are seconds from the first question or answer; `progress` is told the share read. Raises
    UnusableFile where it is no such log, cannot be read, holds nothing of the legislated diagnostics, or has stamps
    that are no times; MissingExtra for MDF 4 without the `mdf` extra.
    """
    frames = Frames(Path(path), progress)
    buses: dict[str, OneBus] = {}
    for frame in frames:
        bus = buses.get(frame.channel)
        if bus is None:
            if len(buses) == MOST_BUSES:
                frames.others += 1
                continue
            bus = buses[frame.channel] = OneBus(frame.channel)
        bus.take(frame)
    for bus in buses.values():
        bus.end()
    answered = [bus for bus in buses.values() if bus.dialogue.units]
    if not answered:
        raise _nothing(frames, sum(bus.dialogue.questions for bus in buses.values()))
    bus = max(answered, key=lambda one: one.answers)  # of equals the first
    bus.refuse_differences(Path(path).name)
    dialogue = bus.dialogue
    series = list(dialogue.live.series())
    remarks = [*_remarks(frames), *bus.remarks()]
    if len(answered) > 1:
        others = ", ".join(one.channel for one in answered if one is not bus)
        remarks.append(f"the diagnostics were heard on several buses: {bus.channel} was read, {others} left out")
    made = assemble(
        series,
        name_of=lambda unit: dialogue.units[unit].name,
        zero_s=bus.zero_s,
        label=Path(path).name,
        remarks=remarks,
    )
    units = tuple(dialogue.units[identifier] for identifier in sorted(dialogue.units))
    engine = dialogue.units.get(made.engine_unit) if made.engine_unit is not None else _engine_of(units)
    return BusLog(made.recording, made.others, units, engine, bus.zero_s)


def _engine_of(units: tuple[UnitHeard, ...]) -> UnitHeard | None:
    """Without live data the first unit that told codes or readiness is taken for the engine's."""
    telling = [unit for unit in units if unit.telling.codes or unit.telling.readiness is not None]
    return telling[0] if telling else None


def _nothing(frames: Frames, questions: int) -> UnusableFile:
    damaged = f", and it is damaged ({frames.broken_off})" if frames.broken_off else ""
    if questions:
        given = f"{questions} questions were asked and none was answered{damaged}"
    else:
        given = f"{frames.others} frames, none of them diagnostics, {frames.unreadable} lines unreadable{damaged}"
    return UnusableFile(given, _WANTED, "Log the bus while a tester asks for live data.", where=frames.path.name)


def _remarks(frames: Frames) -> list[str]:
    said = []
    if frames.broken_off:
        said.append(f"the log is damaged ({frames.broken_off}); what came before was read")
    if frames.unreadable:
        said.append(f"{frames.unreadable} lines are no frames and were passed over")
    if frames.others:
        said.append(f"{frames.others} frames of other traffic were passed over")
    return said
