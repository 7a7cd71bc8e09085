"""A readout as the tables of a facts file (docs/evidence.md): codes, freeze frames, readiness."""

from __future__ import annotations

from typing import Any

from airproof.knowledge.model import Knowledge
from airproof.vehicle.readout.readout import Readout


def facts_tables(readout: Readout, known: Knowledge) -> tuple[dict[str, Any], tuple[str, ...]]:
    """The tables, by name, and in words what is left out of them because it carries no weight.

    A code with several statuses has the strongest.
    """
    left_out: list[str] = []
    tables: dict[str, Any] = {"code": [], "freeze_frame": []}
    for code, status, _ in sorted(readout.each_code(), key=lambda one: one[0]):
        if code in known.codes:
            tables["code"].append({"id": code, "status": status})
        else:
            left_out.append(f"{code} ({status}) is not among the codes that are weighed here")
    for name, frame, _ in readout.each_frame():
        if frame.code in known.codes and frame.written:
            tables["freeze_frame"].append({"code": frame.code, **({"id": name} if name else {}), **frame.written})
        else:
            left_out.append(f"the freeze frame of {frame.code} carries no weight")
    ready: dict[str, Any] = {"codes_read": True} if readout.complete else {}
    for monitor, done in sorted(readout.monitors.items()):
        if monitor in known.monitors:
            ready[monitor] = "complete" if done else "incomplete"
    if ready:
        tables["readiness"] = ready
    return {name: table for name, table in tables.items() if table}, tuple(left_out)
