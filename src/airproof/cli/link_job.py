"""What was read from a car, and recorded of it, kept in a job."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from airproof.cli.job_request import Where, number_of
from airproof.cli.streams import complain
from airproof.cli.typed import once
from airproof.jobs.events import Draft
from airproof.jobs.given import append_with
from airproof.jobs.heard import Heard, read_from_car
from airproof.jobs.kinds import Cleared, Role
from airproof.knowledge.load import knowledge
from airproof.vehicle.readout.readout import Readout


class JobOnTheLine:
    """A job that takes what is read; it is opened at once, so that a wrong number is told before the car is asked."""

    def __init__(self, at: Where, typed: str) -> None:
        self._at = at
        self._job = number_of(typed)
        with at.store() as store:
            store.state(self._job)

    def keep(self, readout: Readout | None, recording: Path | None = None, *, cleared: bool = False) -> None:
        """What the car tells, its number where the job has none yet, that its codes were cleared, and the recording."""
        with self._at.store() as store:
            seen = store.last_event(self._job)
            heard = Heard() if readout is None else read_from_car(readout, store.state(self._job), knowledge())
            drafts = [*heard.drafts, *([Draft("cleared", Cleared())] if cleared else [])]
            files: list[tuple[Role, Path]] = [] if recording is None else [("car", recording)]
            if drafts or files:
                append_with(store, self._job, drafts, files, seen=seen, author=self._at.author)
        for remark in heard.remarks:
            complain(remark)
        complain(f"kept in job {self._job}")


def job_on_the_line(job: Sequence[str] | None, at: Where) -> JobOnTheLine | None:
    """The job that was named, if one was. Raises as the store does where there is none by that number."""
    typed = once("--job", job)
    return None if typed is None else JobOnTheLine(at, typed)
