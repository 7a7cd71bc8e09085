"""A job that lies prepared in a folder, as the demo job does: what was told, an engine file, recordings."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from airproof.jobs.adding import append_with, code_said, engine_said, noted_said, place_said
from airproof.jobs.events import Draft
from airproof.jobs.kinds import Complaint, Note, Place, Role, payload_of
from airproof.jobs.store import Store
from airproof.knowledge.model import Knowledge
from airproof.toml_files import load_toml

AUTHOR = "demo"
NOTE = "A demo: car, complaint and fault are invented, the recording is a rehearsal. No real car is meant."


class _Prepared(BaseModel):
    model_config = ConfigDict(extra="forbid")

    invented: Annotated[bool, Field(strict=True)]
    complaint: str
    recordings: list[str]
    engine: str
    codes: list[str] = []
    symptoms: list[str] = []
    altitude: str | None = None
    ambient: str | None = None


def open_prepared(store: Store, folder: Path, known: Knowledge) -> int:
    """The number of that job, opened where it is not there yet; raises UnusableFile for what is no such folder."""
    job = load_toml(
        folder / "job.toml", _Prepared, wanted="a prepared job", way_out="Name the folder that has job.toml in it."
    )
    files = [folder / "job.toml", folder / job.engine, *(folder / name for name in job.recordings)]
    uid = hashlib.sha256(b"".join(hashlib.sha256(path.read_bytes()).digest() for path in files)).hexdigest()[:32]
    there = store.called(uid)
    if there is not None:
        return there
    drafts = [
        Draft("complaint", payload_of("complaint", Complaint(text=job.complaint).model_dump())),
        engine_said(folder / job.engine),
        place_said(Place(altitude=job.altitude, ambient=job.ambient), Place()),
        *(code_said(code, known) for code in job.codes),
        *(noted_said("symptom", name, known) for name in job.symptoms),
    ]
    if job.invented:
        drafts.append(Draft("note", Note(text=NOTE)))
    number = store.new_job(drafts, AUTHOR, uid)
    recordings: list[tuple[Role, Path]] = [("car", folder / name) for name in job.recordings]
    append_with(store, number, [], recordings, seen=len(drafts), author=AUTHOR)
    return number
