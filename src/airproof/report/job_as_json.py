"""Jobs as JSON: lists as "airproof.jobs/1", one job as "airproof.job/1"; keys are added over time, never renamed."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from airproof.jobs.events import Event, stamp_of
from airproof.jobs.kinds import as_data
from airproof.jobs.overview import JobLine
from airproof.jobs.state import Fact, State, standing


def jobs_as_json(lines: Sequence[JobLine], count: int) -> str:
    """A list of jobs, with how many there are altogether."""
    return _text({"schema": "airproof.jobs/1", "count": count, "jobs": [asdict(line) for line in lines]})


def job_as_json(line: JobLine, events: Sequence[Event], state: State) -> str:
    """One job: the facts that stand, and all events."""
    return _text(
        {
            "schema": "airproof.job/1",
            **asdict(line),
            "facts": [{"kind": kind, **_fact(fact)} for kind, fact in standing(events)],
            "car_now": as_data(state.car),
            "place_now": as_data(state.place),
            "events": [_event(event) for event in events],
        }
    )


def done_as_json(job: int, events: Sequence[Event], remarks: Sequence[str]) -> str:
    """What was added to a job, as "airproof.added/1"."""
    added = [_event(event) for event in events]
    return _text({"schema": "airproof.added/1", "job": job, "added": added, "remarks": list(remarks)})


def _fact(fact: Fact[Any]) -> dict[str, Any]:
    return {"number": fact.number, "at": stamp_of(fact.at), "author": fact.author, "payload": as_data(fact.payload)}


def _event(event: Event) -> dict[str, Any]:
    return {
        "number": event.number,
        "uid": event.uid,
        "at": stamp_of(event.at),
        "author": event.author,
        "kind": event.kind,
        "payload": as_data(event.payload),
        "corrects": event.corrects,
        "withdraws": event.withdraws,
    }


def _text(value: dict[str, Any]) -> str:
    return json.dumps(value, indent=1, allow_nan=False)
