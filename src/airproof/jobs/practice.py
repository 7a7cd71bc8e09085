"""A rehearsal as a job to practise on: what a mechanic would be given, with the truth kept out of sight until asked."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from pathlib import Path

from airproof.engine.rehearsal.many import record
from airproof.engine.rehearsal.rehearse import Rehearsal
from airproof.engine.rehearsal.written.truth import truth_object
from airproof.jobs.events import Draft
from airproof.jobs.kinds import Code, Complaint, Place, payload_of
from airproof.jobs.prepared import open_whole
from airproof.jobs.store import Store
from airproof.recording.signals import glossary

AUTHOR = "rehearsal"
COMPLAINT = "A rehearsal to practise on: the car is simulated, no real one is meant. What is wrong with it?"
LOGGER, DIALECT = "fast", "plain"
MONITORS = {"components": "components", "fuel": "fuel-system", "misfire": "misfire", "egr": "egr"}
"""Groups of the simulated control unit, and the readiness monitors they answer to."""


def practice_job(store: Store, rehearsal: Rehearsal) -> int:
    """Open a job with the recording, codes and freeze frames of a rehearsal; its number."""
    truth = truth_object(rehearsal, "drive.csv", LOGGER, DIALECT)
    request, codes = rehearsal.request, rehearsal.codes
    scene = request.scene
    engine = {"engine": request.profile.model_dump(exclude_unset=True), "rehearsal": truth["rehearsal"]}
    drafts = [
        Draft("complaint", payload_of("complaint", Complaint(text=COMPLAINT).model_dump())),
        Draft("engine", payload_of("engine", engine)),
        Draft("place", Place(altitude=f"{scene.altitude_m:.0f}m", ambient=f"{scene.ambient_c:.0f}C")),
        *(Draft("code", Code(id=code, status="stored")) for code in sorted(codes.confirmed)),
        *(Draft("code", Code(id=code, status="pending")) for code in sorted(codes.pending - codes.confirmed)),
        *(_frame(code, frame) for code, frame in sorted(codes.frames.items())),
        _readiness(codes.readiness()),
        Draft("rehearsed", payload_of("rehearsed", {"truth": truth})),
    ]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "drive.csv"
        record(rehearsal, path, LOGGER, DIALECT)
        return open_whole(store, drafts, [path], AUTHOR)


def _frame(code: str, frame: Mapping[str, float]) -> Draft:
    signals = glossary().signals
    values: dict[str, str | float] = {
        name: round(value, 2) if signals[name].unit == "1" else f"{value:.2f} {signals[name].unit}"
        for name, value in frame.items()
        if name in signals
    }
    return Draft("freeze_frame", payload_of("freeze_frame", {"code": code, "values": values}))


def _readiness(groups: Mapping[str, bool]) -> Draft:
    told = {MONITORS[name]: "complete" if done else "incomplete" for name, done in groups.items() if name in MONITORS}
    return Draft("readiness", payload_of("readiness", {"codes_read": True, "monitors": told}))
