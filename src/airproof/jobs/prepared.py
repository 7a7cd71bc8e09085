"""A job that lies prepared in a folder, as the demo job does: what was told, an engine file, recordings."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from airproof.errors import UnusableFile
from airproof.jobs.adding import code_said, engine_said, noted_said, place_said
from airproof.jobs.events import Draft
from airproof.jobs.given import put_back, recording_said, with_drafts
from airproof.jobs.kinds import Complaint, Note, Place, payload_of
from airproof.jobs.store import Store
from airproof.knowledge.load import knowledge
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
    uid = hashlib.sha256(b"".join(hashlib.sha256(_bytes(path)).digest() for path in files)).hexdigest()[:32]
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
    return open_whole(store, drafts, [folder / name for name in job.recordings], AUTHOR, uid, known)


def open_whole(
    store: Store,
    drafts: Sequence[Draft],
    recordings: Sequence[Path],
    author: str,
    uid: str | None = None,
    known: Knowledge | None = None,
) -> int:
    """Open a job with its recordings, all of it or nothing; its number. Raises as `recording_said`."""
    kept: dict[str, Path] = {}
    whole = list(drafts)
    try:
        for path in recordings:
            given = recording_said(store, path, state=with_drafts([], whole), known=known or knowledge())
            whole += given.drafts
            if given.sha256 is not None:
                kept[given.sha256] = path
        number = store.new_job(whole, author, uid)
    except BaseException:
        store.let_go(list(kept))
        raise
    put_back(store, kept)
    return number


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as fault:
        given = f"it cannot be read ({fault.strerror or fault})"
        raise UnusableFile(given, "a file that job.toml names", "Put it there.", where=str(path)) from fault
