"""What was read from a car, and recorded of it, kept in a job."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from pathlib import Path

from airproof.cli.job_request import Where, number_of
from airproof.cli.streams import complain
from airproof.cli.typed import once
from airproof.jobs.adding import append_with, facts_said, in_place
from airproof.jobs.events import Draft
from airproof.jobs.facts_written import toml
from airproof.jobs.kinds import Role, payload_of
from airproof.jobs.state import State
from airproof.knowledge.load import knowledge
from airproof.vehicle.readout.as_facts import facts_tables
from airproof.vehicle.readout.readout import Readout


class JobOnTheLine:
    """A job that takes what is read; it is opened at once, so that a wrong number is told before the car is asked."""

    def __init__(self, at: Where, typed: str) -> None:
        self._at = at
        self._job = number_of(typed)
        with at.store() as store:
            store.state(self._job)

    def keep(self, readout: Readout | None, recording: Path | None = None) -> None:
        """Codes, freeze frames, readiness, the car's number where the job has none yet, and the recording."""
        with self._at.store() as store:
            state = store.state(self._job)
            drafts = [] if readout is None else in_place(_drafts(readout, state), state)
            files: list[tuple[Role, Path]] = [] if recording is None else [("car", recording)]
            if drafts or files:
                append_with(
                    store, self._job, drafts, files, seen=store.last_event(self._job), author=self._at.author
                )  # fmt: skip
        complain(f"kept in job {self._job}")


def job_on_the_line(job: Sequence[str] | None, at: Where) -> JobOnTheLine | None:
    """The job that was named, if one was. Raises as the store does where there is none by that number."""
    typed = once("--job", job)
    return None if typed is None else JobOnTheLine(at, typed)


def _drafts(readout: Readout, state: State) -> list[Draft]:
    known = knowledge()
    tables, _ = facts_tables(readout, known)
    drafts: list[Draft] = []
    if tables:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "the car.toml"
            path.write_text(toml(tables), encoding="utf-8")
            drafts = facts_said(path, state, known)
    if readout.vin and not state.car.vin:
        drafts.append(Draft("car", payload_of("car", {"vin": readout.vin})))
    return drafts
