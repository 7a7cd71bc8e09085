"""The present state of a job: a pure fold over its events.

An event that was taken back was never said, nor was what points to it: a correction of it, or its own taking back of
another. A correction stands in the place of what it corrects, the latest one first. Of two facts on one thing (a code,
a look, the engine) the later one counts; the car and the place are laid over each other field by field. Facts on
different things may come in any order: the state is the same.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Generic, TypeVar, cast

from airproof.jobs.events import Event
from airproof.jobs.kinds import (
    WITHDRAWAL,
    Car,
    Checked,
    Cleared,
    Closed,
    Code,
    Complaint,
    Engine,
    Frame,
    Measured,
    Note,
    Noted,
    NotedKind,
    Payload,
    Place,
    Proved,
    Readiness,
    Reading,
    Recording,
    Rehearsed,
    Reopened,
    Repair,
    Step,
    Unreadable,
    Verdict,
)

Held = TypeVar("Held", bound=Payload)
Laid = TypeVar("Laid", Car, Place)


@dataclass(frozen=True)
class Fact(Generic[Held]):
    """A fact that stands: who said it last and when.

    `number` is that of the event that first said it, and no part of what the fact is.
    """

    uid: str
    at: datetime
    author: str
    payload: Held
    number: int = field(compare=False)


@dataclass(frozen=True)
class State:
    """What is so, as far as anyone has said; lists are in the order of their times.

    `placed`: the fact that said each part of the place last.
    """

    car: Car = field(default_factory=Car)
    engine: Fact[Engine] | None = None
    complaint: Fact[Complaint] | None = None
    place: Place = field(default_factory=Place)
    placed: Mapping[str, Fact[Place]] = field(default_factory=dict)
    codes: Mapping[str, Fact[Code]] = field(default_factory=dict)
    frames: Mapping[str, Fact[Frame]] = field(default_factory=dict)
    readiness: Fact[Readiness] | None = None
    noted: Mapping[tuple[NotedKind, str], Fact[Noted]] = field(default_factory=dict)
    readings: Mapping[str, Fact[Reading]] = field(default_factory=dict)
    measured: tuple[Fact[Measured], ...] = ()
    recordings: Mapping[str, Fact[Recording]] = field(default_factory=dict)
    steps: tuple[Fact[Step], ...] = ()
    verdicts: tuple[Fact[Verdict], ...] = ()
    notes: tuple[Fact[Note], ...] = ()
    repairs: tuple[Fact[Repair], ...] = ()
    cleared: Fact[Cleared] | None = None
    checked: tuple[Fact[Checked], ...] = ()
    proofs: tuple[Fact[Proved], ...] = ()
    reopened: Fact[Reopened] | None = None
    closed: Fact[Closed] | None = None
    rehearsed: Fact[Rehearsed] | None = None
    unreadable: tuple[Fact[Unreadable], ...] = ()

    @property
    def latest_steps(self) -> list[Fact[Step]]:
        """Each step as it was said last, in the order of their times: one step has one outcome."""
        return _in_time({one.payload.id: one for one in self.steps}.values())

    @property
    def outcomes(self) -> dict[str, Fact[Step]]:
        """The latest outcome of each step that could be done."""
        return {one.payload.id: one for one in self.steps if one.payload.outcome != "could not"}

    @property
    def overtaken(self) -> dict[int, int]:
        """Outcomes of steps that count no more, with the one that does, by number: pages used to keep both."""
        last = {one.payload.id: one.number for one in self.steps}
        counting = {*last.values(), *(one.number for one in self.outcomes.values())}
        return {one.number: last[one.payload.id] for one in self.steps if one.number not in counting}

    def recordings_as(self, role: str) -> list[Fact[Recording]]:
        """The recordings in that role, oldest first."""
        return _in_time(one for one in self.recordings.values() if one.payload.role == role)


def standing(events: Sequence[Event]) -> list[tuple[str, Fact[Payload]]]:
    """The facts that stand, by kind, in the order in which they were first said."""
    void: set[int] = set()
    for event in reversed(events):  # only later events take an event back
        if event.withdraws is not None and event.number not in void:
            void.add(event.withdraws)
    said: dict[int, Event] = {}
    root: dict[int, int] = {}
    for event in events:
        if event.number in void or event.kind == WITHDRAWAL:
            continue
        if event.corrects is None:
            root[event.number] = event.number
        elif event.corrects in root:
            root[event.number] = root[event.corrects]
        else:
            continue  # a correction of what was never said
        said[root[event.number]] = event
    return [
        (event.kind, Fact(event.uid, event.at, event.author, event.payload, first))
        for first, event in sorted(said.items())
    ]


def state_of(events: Sequence[Event]) -> State:
    """The state after those events, which are in the order of their numbers."""
    facts: dict[str, list[Fact[Payload]]] = {}
    for kind, fact in standing(events):
        facts.setdefault(kind, []).append(fact)

    def of(kind: str, model: type[Held]) -> list[Fact[Held]]:
        del model  # says what the kind holds: kinds.MODELS
        return cast("list[Fact[Held]]", facts.get(kind, []))

    noted: dict[tuple[NotedKind, str], Fact[Noted]] = {}
    for kind in ("symptom", "look", "history", "condition"):
        noted |= {(cast("NotedKind", kind), one.payload.id): one for one in of(kind, Noted)}
    return State(
        car=_laid(Car(), (one.payload for one in of("car", Car))),
        engine=_last(of("engine", Engine)),
        complaint=_last(of("complaint", Complaint)),
        place=_laid(Place(), (one.payload for one in of("place", Place))),
        placed={name: one for one in of("place", Place) for name in one.payload.model_dump(exclude_none=True)},
        codes=_by(of("code", Code), lambda one: one.id),
        frames=_by(of("freeze_frame", Frame), lambda one: one.name or one.code),
        readiness=_last(of("readiness", Readiness)),
        noted=noted,
        readings=_by(of("reading", Reading), lambda one: one.name or one.signal),
        measured=tuple(_in_time(of("measured", Measured))),
        recordings=_by(of("recording", Recording), lambda one: one.sha256),
        steps=tuple(_in_time(of("step", Step))),
        verdicts=tuple(_in_time(of("verdict", Verdict))),
        notes=tuple(_in_time(of("note", Note))),
        repairs=tuple(_in_time(of("repair", Repair))),
        cleared=_last(of("cleared", Cleared)),
        checked=tuple(_in_time(of("checked", Checked))),
        proofs=tuple(_in_time(of("proof", Proved))),
        reopened=_last(of("reopened", Reopened)),
        closed=_still_closed(_last(of("closed", Closed)), _last(of("reopened", Reopened))),
        rehearsed=_last(of("rehearsed", Rehearsed)),
        unreadable=tuple(of("unreadable", Unreadable)),
    )


def _still_closed(closed: Fact[Closed] | None, reopened: Fact[Reopened] | None) -> Fact[Closed] | None:
    """A job that was reopened since is open, with everything in place."""
    if closed is None or reopened is None:
        return closed
    return closed if closed.number > reopened.number else None


Key = TypeVar("Key", bound=Hashable)


def _by(facts: Iterable[Fact[Held]], key: Callable[[Held], Key]) -> dict[Key, Fact[Held]]:
    return {key(one.payload): one for one in facts}


def _last(facts: Sequence[Fact[Held]]) -> Fact[Held] | None:
    return facts[-1] if facts else None


def _in_time(facts: Iterable[Fact[Held]]) -> list[Fact[Held]]:
    return sorted(facts, key=lambda one: (one.at, one.number))


def _laid(bare: Laid, over: Iterable[Laid]) -> Laid:
    """Each over the one before, as far as it says anything."""
    said = {name: value for one in over for name, value in one.model_dump(exclude_none=True).items()}
    return bare.model_copy(update=said)
