"""A readout from a log of a bus: what another tester was told, in the same form."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from airproof.vehicle.answers.code_text import NO_CODE, code_text
from airproof.vehicle.bus_log.heard import CODE_OF_FRAME, UnitHeard, What
from airproof.vehicle.bus_log.reading import BusLog, read_bus_log
from airproof.vehicle.link.finding import Unit
from airproof.vehicle.readout.readout import FreezeFrame, Readout, UnitReadout, take_information


def readout_of_log(path: Path) -> Readout:
    """What the units in a log told. Raises UnusableFile as read_bus_log does."""
    return readout_in(read_bus_log(path), path)


def readout_in(log: BusLog, path: Path, *, latest: bool = False) -> Readout:
    """What the units in a log told: what was there before anybody cleared it, or `latest`, how the car was left."""
    read_at = log.began_at or datetime.fromtimestamp(path.stat().st_mtime, UTC)
    return Readout(
        tuple(_unit(unit, log.zero_s, latest=latest) for unit in log.units),
        read_at,
        log.recording.report.remarks,
        None if log.engine_unit is None else log.engine_unit.identifier,
        log.began_at,
    )


def _unit(heard: UnitHeard, zero_s: float, *, latest: bool) -> UnitReadout:
    told = heard.latest if latest else heard.telling
    into = UnitReadout(Unit(heard.identifier, heard.name, heard.new_style), frozenset(heard.announced))
    into.readiness = told.readiness
    into.stored, into.pending, into.permanent = map(told.codes.get, ("stored", "pending", "permanent"))
    into.present = told.codes.get("present")
    into.results = list(told.results.values())
    into.full_scales = dict(heard.full_scales)
    if latest or not heard.cleared_s:  # else it is not known whether they were told before
        into.since_cleared = dict(heard.since_cleared)
    into.further = dict(heard.further)
    when: dict[What, float | None] = {**told.heard_s, "vin": heard.vin_s}
    if heard.cleared_s:
        when["cleared"] = heard.cleared_s[0]
    into.heard_s = {what: at - zero_s for what, at in when.items() if at is not None}
    for (code, record), items in told.frames.items():
        by = code or code_text(int.from_bytes(items.get(CODE_OF_FRAME, b"")[:2], "big") or NO_CODE)
        held = {number: data for number, data in items.items() if number != CODE_OF_FRAME}
        if held and by != code_text(NO_CODE):
            into.frames.append(FreezeFrame(by, record, held, heard.full_scales))
    for one in heard.information.values():
        take_information(into, one)
    return into
