"""A readout as the tables of a facts file (docs/evidence.md): codes, freeze frames, readiness."""

from __future__ import annotations

from typing import Any

from airproof.knowledge.model import Knowledge
from airproof.recording.signals import signal_kind
from airproof.vehicle.readout.readout import Readout, UnitReadout

_NOT_IN_A_FRAME = ("lamp", "code_count")


def facts_tables(readout: Readout, known: Knowledge) -> tuple[dict[str, Any], tuple[str, ...]]:
    """The tables, by name, and in words what is left out of them because it carries no weight.

    A code with several statuses has the strongest: stored before permanent before pending.
    """
    left_out: list[str] = []
    statuses: dict[str, str] = {}
    for which in ("pending", "permanent", "stored"):
        statuses |= dict.fromkeys(readout.codes(which), which)
    tables: dict[str, Any] = {"code": [], "freeze_frame": []}
    for code, status in sorted(statuses.items()):
        if code in known.codes:
            tables["code"].append({"id": code, "status": status})
        else:
            left_out.append(f"{code} ({status}) is not among the codes that are weighed here")
    for unit in readout.units:
        tables["freeze_frame"] += _frames(unit, known, left_out)
    ready = _readiness(readout, known)
    if ready:
        tables["readiness"] = ready
    return {name: table for name, table in tables.items() if table}, tuple(left_out)


def _frames(unit: UnitReadout, known: Knowledge, left_out: list[str]) -> list[dict[str, Any]]:
    rows = []
    for frame in unit.frames:
        signals = {name: value for name, value in frame.signals.items() if name not in _NOT_IN_A_FRAME}
        if frame.code not in known.codes or not signals:
            left_out.append(f"the freeze frame of {frame.code} carries no weight")
            continue
        row: dict[str, Any] = {"code": frame.code}
        if frame.record:
            row["id"] = f"{frame.code} of {unit.unit.name}, record {frame.record}"
        for name, value in signals.items():
            unit_text = signal_kind(name).unit
            row[name] = round(value, 6) if unit_text == "1" else f"{value:.6g} {unit_text}"
        rows.append(row)
    return rows


def _readiness(readout: Readout, known: Knowledge) -> dict[str, Any]:
    """Monitors of all units: incomplete where any unit that has one says so."""
    complete: dict[str, bool] = {}
    for unit in readout.units:
        if unit.readiness is not None:
            for monitor, done in unit.readiness.complete.items():
                complete[monitor] = complete.get(monitor, True) and done
    table: dict[str, Any] = {"codes_read": True} if readout.complete else {}
    return table | {
        name: "complete" if done else "incomplete" for name, done in sorted(complete.items()) if name in known.monitors
    }
