"""Adding facts beside somebody else who adds: what touches other things stands beside, what touches the same is asked.

Facts on different things may come in any order and the state is the same (state.py), so a writer need not be sent back
because somebody else added a code meanwhile. Two who speak of the same thing are: the later one has not seen the other.
"""

from __future__ import annotations

from collections.abc import Sequence

from airproof.jobs.events import Draft, Event
from airproof.jobs.kinds import Car, Code, Frame, Noted, Payload, Place, Reading, Recording, Step
from airproof.jobs.store import Store
from airproof.jobs.trouble import ChangedMeanwhile

TRIES = 20


def append_beside(
    store: Store, job: int, drafts: Sequence[Draft], *, seen: int, author: str = ""
) -> tuple[list[Event], list[Event]]:
    """Add facts to a job: those added, and those that others added since `seen`.

    Raises ChangedMeanwhile, nothing written, where another spoke of the same thing since; else as `Store.append`.
    """
    between: list[Event] = []
    for _ in range(TRIES):
        try:
            return store.append(job, drafts, seen=seen, author=author), between
        except ChangedMeanwhile as other:
            between += other.events
            if any(_same_thing(draft, event) for draft in drafts for event in other.events):
                raise
            seen = other.events[-1].number
    return store.append(job, drafts, seen=seen, author=author), between


def _same_thing(draft: Draft, event: Event) -> bool:
    mine = {number for number in (draft.corrects, draft.withdraws) if number is not None}
    if mine & {event.number, event.corrects, event.withdraws}:
        return True
    return draft.kind == event.kind and bool(_things(draft.payload) & _things(event.payload))


def _things(payload: Payload) -> set[object]:
    """What a fact is about, among facts of its kind; of two facts on one thing the later one counts."""
    match payload:
        case Car() | Place():
            return set(payload.model_dump(exclude_none=True))
        case Code() | Noted():
            return {payload.id}
        case Frame():
            return {payload.name or payload.code}
        case Reading():
            return {payload.name or payload.signal}
        case Recording():
            return {payload.sha256}
        case Step():
            return {payload.id}
    return {""} if type(payload).__name__ in ("Engine", "Complaint", "Readiness", "Cleared", "Closed") else set()
