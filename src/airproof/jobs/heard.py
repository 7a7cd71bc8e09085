"""From what a car was heard to say, over the link or in a log of a bus, to the facts of a job.

Each fact says where it comes from and when it was heard. What the job holds already is never overwritten in silence: a
log, which may be older than what was told since, only adds, and where the two differ it is said; a car that is read now
corrects what was told of it before, and that is said too.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from airproof.jobs.events import Draft
from airproof.jobs.kinds import Car, Code, Frame, Readiness, payload_of
from airproof.jobs.state import Fact, State
from airproof.knowledge.model import Knowledge
from airproof.vehicle.bus_log.heard import What
from airproof.vehicle.readout.readout import FreezeFrame, Readout, UnitReadout


@dataclass(frozen=True)
class Heard:
    """What is to be added to a job, and in words what is not, or takes the place of something else."""

    drafts: tuple[Draft, ...] = ()
    remarks: tuple[str, ...] = ()


def heard_in_log(readout: Readout, name: str, state: State, known: Knowledge) -> Heard:
    """What a log by that name tells, beside what the job holds."""
    return _Hearing(readout, state, known, log=name).heard()


def read_from_car(readout: Readout, state: State, known: Knowledge) -> Heard:
    """What a car that was read just now tells, in place of what the job holds of the same things."""
    return _Hearing(readout, state, known).heard()


def checked_in_log(readout: Readout, name: str, known: Knowledge) -> Draft | None:
    """What a log of after the repair tells of the car as it was left; None where it tells nothing of that."""
    codes = {code: status for code, status, _ in readout.each_code()}
    monitors = {monitor: done for monitor, done in readout.monitors.items() if monitor in known.monitors}
    engine = next((unit for unit in readout.units if unit.unit.id == readout.engine_unit), None)
    counted = {} if engine is None else engine.counted
    data: dict[str, Any] = {"codes": codes} if codes or readout.complete else {}
    data |= {"codes_read": True} if readout.complete else {}
    data |= {"monitors": monitors} if monitors else {}
    for key, counter in (("warm_ups", "warm_ups_since_cleared"), ("distance_km", "distance_since_cleared")):
        if counter in counted:
            data[key] = int(counted[counter])
    return Draft("checked", payload_of("checked", {**data, "note": f"heard in {name}"})) if data else None


def another_car(readout: Readout, name: str, state: State) -> tuple[str, ...]:
    """In words where the VIN is not the job's."""
    held, vin = state.car.vin, readout.vin
    if not held or not vin or _plain(held) == _plain(vin):
        return ()
    return (f"the VIN differs: {held} in the job, {vin} in {name}. Is it another car? Then take back what was added",)


@dataclass
class _Hearing:
    readout: Readout
    state: State
    known: Knowledge
    log: str = ""
    drafts: list[Draft] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)

    def heard(self) -> Heard:
        self._the_car()
        told = {}
        for code, status, unit in self.readout.each_code():
            told[code] = status
            payload = Code(id=code, status=status, source=self._source(unit, "codes"))
            self._put("code", payload, self.state.codes.get(code), code, lambda one: one.status)
        for name, frame, unit in self.readout.each_frame():
            self._frame(name, frame, unit)
        self._readiness()
        self._not_told(told)
        cleared = [unit.unit.name for unit in self.readout.units if "cleared" in unit.heard_s]
        if cleared:
            self.remarks.append(
                f"{self.log}: codes of {' and '.join(cleared)} were cleared within it; what was told before was taken"
            )
        return Heard(tuple(self.drafts), tuple(self.remarks))

    def _source(self, unit: UnitReadout, what: What) -> str:
        if not self.log:
            return f"read from {unit.unit.name} on {self.readout.read_at:%Y-%m-%d %H:%M} UTC"
        at_s = unit.heard_s.get(what)
        if at_s is None:
            return f"{unit.unit.name} in {self.log}"
        began = self.readout.began_at
        day = "" if began is None else f", {began + timedelta(seconds=at_s):%Y-%m-%d %H:%M:%S} UTC"
        return f"{unit.unit.name} in {self.log}, {at_s:.1f} s into it{day}"

    def _put(self, kind: str, payload: Any, old: Fact[Any] | None, what: str, of: Callable[[Any], object]) -> None:
        """Add it; where the job holds something else, say so, and correct that where the car was read just now."""
        if old is None:
            self.drafts.append(Draft(kind, payload))
            return
        was, now = of(old.payload), of(payload)
        if was == now:
            return
        told = old.payload.source or "as told by hand"
        differ = f"{was}, {told}; {now}, {payload.source}" if isinstance(was, str) else f"{told} and {payload.source}"
        if self.log:
            self.remarks.append(f"{what} differs: {differ}. What the job holds stands (fact {old.number})")
            return
        self.drafts.append(Draft(kind, payload, corrects=old.number))
        self.remarks.append(f"{what} differs: {differ}. The car counts; fact {old.number} is corrected")

    def _the_car(self) -> None:
        vin = self.readout.vin
        if vin and not self.state.car.vin:
            unit = next(unit for unit in self.readout.units if unit.vin == vin)
            self.drafts.append(Draft("car", Car(vin=vin, vin_source=self._source(unit, "vin"))))
        self.remarks += another_car(self.readout, self.log or "the car", self.state)

    def _frame(self, name: str, frame: FreezeFrame, unit: UnitReadout) -> None:
        if not frame.written:
            return
        named = {"name": name} if name else {}
        payload = Frame(code=frame.code, values=dict(frame.written), source=self._source(unit, "frames"), **named)
        called = name or frame.code
        old = self.state.frames.get(called)
        self._put("freeze_frame", payload, old, f"the freeze frame of {called}", lambda one: one.values)

    def _readiness(self) -> None:
        monitors = {
            name: "complete" if done else "incomplete"
            for name, done in sorted(self.readout.monitors.items())
            if name in self.known.monitors
        }
        if not monitors and not self.readout.complete:
            return
        telling = [unit for unit in self.readout.units if unit.readiness is not None] or list(self.readout.units)
        engine = [unit for unit in telling if unit.unit.id == self.readout.engine_unit]
        source = self._source((engine or telling)[0], "readiness")
        payload = Readiness(codes_read=self.readout.complete, monitors=monitors, source=source)
        self._put("readiness", payload, self.state.readiness, "readiness", lambda one: (one.codes_read, one.monitors))

    def _not_told(self, told: Mapping[str, str]) -> None:
        """Codes that the job holds and the car does not tell of, though it was asked for all."""
        missing = [code for code in self.state.codes if code not in told]
        if missing and self.readout.complete:
            who = self.log or "the car"
            self.remarks.append(f"{', '.join(missing)}: in the job, and not told by {who}, which told all its codes")


def _plain(vin: str) -> str:
    return "".join(vin.split()).replace("-", "").upper()
