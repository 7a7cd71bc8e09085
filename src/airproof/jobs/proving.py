"""Proving what a job holds: its recordings before and after the repair, what was done, and what the car says since.

Facts of before (codes, symptoms, recordings in the role `car`) and of after (`checked`, recordings in the role `after`)
never mix: a verdict is of before, whatever was said later.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from airproof import __version__
from airproof.diagnosis.place_as_typed import the_ambient_c, the_barometer
from airproof.errors import UnusableRequest
from airproof.jobs.beside import append_beside
from airproof.jobs.events import Draft, now, withdrawal
from airproof.jobs.kinds import Checked, payload_of
from airproof.jobs.state import Fact, State
from airproof.jobs.store import Store
from airproof.jobs.weighing import fingerprint, recordings_as, weigh_job
from airproof.knowledge.model import Knowledge
from airproof.repair.proof.after import Said
from airproof.repair.proof.proof import Proof
from airproof.repair.proof.prove import AfterRepair, Before, Done, prove

AsObject = Callable[[Proof], dict[str, Any]]
"""How a proof is written as JSON: report/proof_as_json.py."""


@dataclass(frozen=True)
class Proving:
    """A job proved: `seen` is the last event that was heard."""

    proof: Proof
    facts_sha256: str
    recordings: tuple[str, ...]
    seen: int


def prove_job(
    store: Store, job: int, known: Knowledge, progress: Callable[[float], None] | None = None, learned: str = ""
) -> Proving:
    """Judge the repair of a job; raises UnusableRequest where a recording of before or after is missing."""
    events = store.events(job)
    state = store.state(job)
    after = state.recordings_as("after")
    if not state.recordings_as("car") or not after:
        side, way = ("before", "--recording") if not state.recordings_as("car") else ("after", "--after")
        raise UnusableRequest(
            f"job {job} holds no recording of {side} the repair",
            "one of before and one of after",
            "Give it as such; without it, say of the repair that it helped or did not help. In the terminal: "
            f"airproof job add {job} {way} drive.csv.",
        )
    weighed = weigh_job(store, job, known, progress=progress, learned=learned)
    assert state.engine is not None  # weighing has asked for it
    place, checked = state.place, _laid(state.checked)
    day = the_barometer(place.altitude, place.barometer)
    day_after = the_barometer(checked.altitude or place.altitude, checked.barometer)
    codes = {id_: fact.payload.status for id_, fact in state.codes.items()}
    proof = prove(
        Before.weighed(weighed.weighing, day, the_ambient_c(place.ambient), codes),
        AfterRepair(
            tuple(recordings_as(store, state, "after")), day_after, the_ambient_c(checked.ambient), said_of(state)
        ),
        done_of(state),
        state.engine.payload.engine,
        baselines=recordings_as(store, state, "good"),
        sisters=recordings_as(store, state, "sister"),
        known=known,
    )
    hashes = tuple(sorted(state.recordings))
    return Proving(proof, proof_fingerprint(state, known, learned), hashes, len(events))


def keep_proof(store: Store, job: int, proving: Proving, as_object: AsObject, author: str = "") -> None:
    """Add the proof to the job, whatever came in meanwhile: its fingerprint says what it was judged from."""
    payload = payload_of(
        "proof",
        {
            "proof": as_object(proving.proof),
            "program": f"airproof {__version__}",
            "facts_sha256": proving.facts_sha256,
            "recordings": list(proving.recordings),
        },
    )
    append_beside(store, job, [Draft("proof", payload)], seen=proving.seen, author=author)


def proof_fingerprint(state: State, known: Knowledge, learned: str = "") -> str:
    """SHA-256 over all that a proof of this state hears."""
    heard = {
        "weighed": fingerprint(state, known, learned),
        "repairs": [one.payload.model_dump(mode="json") for one in state.repairs],
        "cleared": state.cleared is not None,
        "checked": [one.payload.model_dump(mode="json") for one in state.checked],
    }
    return hashlib.sha256(json.dumps(heard, sort_keys=True).encode()).hexdigest()


def done_of(state: State) -> Done:
    """What was done, all repairs together; of the causes they were for the last counts."""
    steps = tuple(dict.fromkeys(step for one in state.repairs for step in one.payload.steps))
    causes = [one.payload.cause for one in state.repairs if one.payload.cause]
    return Done(steps, causes[-1] if causes else None)


def said_of(state: State) -> Said:
    """What the car and its owner said after the repair; the latest of each counts, and a return is not forgotten."""
    checked = _laid(state.checked)
    return Said(
        codes=checked.codes,
        codes_read=checked.codes_read,
        cleared=True if state.cleared is not None else checked.cleared,
        monitors=checked.monitors,
        warm_ups=checked.warm_ups,
        distance_km=checked.distance_km,
        days=max(days_since(state), checked.days or 0.0),
        returned=any(one.payload.returned for one in state.checked),
    )


def cleared_said(cleared: bool | None, state: State) -> list[Draft]:
    """Drafts for codes that were cleared; where they were not after all, what was said of it before is taken back."""
    if cleared and state.cleared is None:
        return [Draft("cleared", payload_of("cleared", {}))]
    if cleared is False and state.cleared is not None:
        return [withdrawal(state.cleared.number, "codes were not cleared")]
    return []


def days_since(state: State, today: datetime | None = None) -> float:
    """Days since the last repair; 0 where none was told."""
    if not state.repairs:
        return 0.0
    last = state.repairs[-1]
    said = last.payload.day
    began = last.at if said is None else datetime.combine(date.fromisoformat(said), last.at.timetz()).astimezone(UTC)
    return max(((today or now()) - began).total_seconds() / 86400.0, 0.0)


def _laid(checked: tuple[Fact[Checked], ...]) -> Checked:
    """Each look over the one before, as far as it says anything."""
    laid: Mapping[str, Any] = {}
    for one in checked:
        laid = {**laid, **one.payload.model_dump(exclude_unset=True)}
    return Checked.model_validate(dict(laid))
