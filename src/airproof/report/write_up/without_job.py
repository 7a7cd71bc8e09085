"""What was given on the command line, as the events of a job that nobody keeps: so that it is written up like one."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from airproof.diagnosis.facts import Facts
from airproof.engine.profile import EngineProfile
from airproof.jobs.events import Event
from airproof.jobs.kinds import payload_of
from airproof.knowledge.model import Knowledge
from airproof.recording.recording import Recording
from airproof.recording.signals import signal_kind

_BLOCK = 1 << 20


@dataclass(frozen=True)
class Given:
    """A recording with the file it was read from, and its role: "car", "good" or "sister"."""

    path: Path
    recording: Recording
    role: str


def events_of(
    profile: EngineProfile,
    place: Mapping[str, str | None],
    facts: Facts,
    recordings: Sequence[Given],
    known: Knowledge,
    at: datetime,
) -> list[Event]:
    """Events in the order of the first page; each recording by the SHA-256 of its file."""
    said: list[tuple[str, dict[str, Any]]] = [
        ("engine", {"engine": profile.model_dump(mode="json", exclude_unset=True)}),
        ("place", {name: value for name, value in place.items() if value}),
        *_facts(facts, known),
        *(("recording", _recording(one)) for one in recordings),
    ]
    return [
        Event(number, f"{number:032x}", at, "", kind, 1, payload_of(kind, data))
        for number, (kind, data) in enumerate(said, 1)
    ]


def _facts(facts: Facts, known: Knowledge) -> Iterator[tuple[str, dict[str, Any]]]:
    for code in facts.codes:
        yield "code", {"id": code.id, "status": code.status, "order": code.order}
    for frame in facts.frames:
        yield "freeze_frame", {"code": frame.code, "values": _values(frame.values)}
    if facts.readiness is not None:
        names = {True: "complete", False: "incomplete"}
        monitors = {name: names[done] for name, done in facts.readiness.complete.items()}
        yield "readiness", {"codes_read": facts.readiness.codes_read, "monitors": monitors}
    for one in facts.noted:
        yield one.kind, {"id": one.id, "found": one.found}
    for signal, kpa in facts.engine_off_kpa.items():
        yield "reading", {"signal": signal, "value": f"{kpa:g} kPa"}
    for outcome in facts.outcomes:
        if outcome.step in known.steps:
            yield "step", {"id": outcome.step, "outcome": "found" if outcome.found else "not found"}


def _values(values: Mapping[str, float]) -> dict[str, str | float]:
    units = {name: signal_kind(name).unit for name in values}
    return {name: value if units[name] in ("", "1") else f"{value:g} {units[name]}" for name, value in values.items()}


def _recording(one: Given) -> dict[str, Any]:
    digest = hashlib.sha256()
    with one.path.open("rb") as file:
        while block := file.read(_BLOCK):
            digest.update(block)
    return {
        "sha256": digest.hexdigest(),
        "bytes": one.path.stat().st_size,
        "name": one.path.name,
        "role": one.role,
        "seconds": one.recording.duration_s,
        "holds": sorted(one.recording),
    }
