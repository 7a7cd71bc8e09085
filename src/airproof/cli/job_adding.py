"""Carrying out `airproof job new` and `airproof job add`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, cast

from airproof.cli.job_request import Many, Where, number, number_of
from airproof.cli.streams import say, say_parts
from airproof.cli.typed import once, one_path, paths_of
from airproof.diagnosis.facts import Kind
from airproof.diagnosis.place_as_typed import the_barometer
from airproof.errors import UnusableRequest
from airproof.jobs.adding import (
    closed_said,
    code_said,
    engine_said,
    facts_said,
    noted_said,
    place_said,
    step_said,
    taken_back,
)
from airproof.jobs.events import Draft, Event
from airproof.jobs.given import append_with
from airproof.jobs.in_place import in_place, once_each
from airproof.jobs.kinds import Closed, Complaint, Note, Place, Repair, Role, payload_of
from airproof.jobs.learning import in_own_words
from airproof.jobs.left_to_do import proved_otherwise
from airproof.jobs.state import State
from airproof.knowledge.load import knowledge
from airproof.knowledge.model import Knowledge
from airproof.knowledge.vin import doubts_of
from airproof.recording.mapping import read_signal_map
from airproof.report.in_words import Part
from airproof.report.job_as_json import done_as_json
from airproof.report.job_in_words import event_in_words, overtaken_in_words


@dataclass(frozen=True)
class Said:
    """What was typed for `new` and `add`."""

    car: Mapping[str, Many] = field(default_factory=dict)
    place: Mapping[str, Many] = field(default_factory=dict)
    engine: Many = None
    complaint: Many = None
    codes: Many = None
    noted: Mapping[str, Many] = field(default_factory=dict)
    readings: Many = None
    recordings: Mapping[str, Many] = field(default_factory=dict)
    signals: Many = None
    step: Many = None
    minutes: Many = None
    money: Many = None
    closed: Many = None
    proved: bool = False
    notes: Many = None
    correct: Many = None
    withdraw: Many = None


def open_job(at: Where, said: Said) -> None:
    """Open a job and say its number."""
    known = knowledge()
    drafts = _drafts(said, State(), known)
    with at.store() as store:
        job = store.new_job(drafts, at.author)
        _tell_added(at, job, store.events(job), store.state(job), known, f"Job {job} is open.")


def add_to_job(at: Where, typed: str, said: Said, seen: Many) -> None:
    """Add what was typed, all of it or nothing."""
    known, job = knowledge(), number_of(typed)
    with at.store() as store:
        events = store.events(job)
        last = _seen(seen, len(events))
        state = store.state(job)
        drafts = _in_its_place(_drafts(said, state, known), said, state)
        overtaken = () if said.correct else overtaken_in_words(drafts, events, known)
        drafts += taken_back([number("--withdraw", one) for one in said.withdraw or ()])
        files = [(cast("Role", role), path) for role, many in said.recordings.items() for path in paths_of(role, many)]
        if not drafts and not files:
            raise UnusableRequest("nothing was said", "a fact to add", '"airproof job add --help" lists what there is.')
        map_file = one_path("--signals", said.signals)
        added = append_with(
            store,
            job,
            drafts,
            files,
            seen=last,
            author=at.author,
            mapping=None if map_file is None else read_signal_map(map_file),
            barometer_kpa=_barometer_kpa(drafts, state.place),
            known=known,
        )
        heading = f"Added to job {job}:" if added.events else f"Nothing was added to job {job}."
        remarks = (*overtaken, *not_said(drafts), *added.remarks)
        _tell_added(at, job, added.events, store.state(job), known, heading, remarks)


def _drafts(said: Said, state: State, known: Knowledge) -> list[Draft]:
    drafts: list[Draft] = []
    car: dict[str, Any] = {name: value for name, many in said.car.items() if (value := once(f"--{name}", many))}
    if "year" in car:
        car["year"] = number("--year", car["year"])
    if car:
        drafts.append(Draft("car", payload_of("car", car)))
    engine = one_path("--engine", said.engine)
    if engine is not None:
        drafts.append(engine_said(engine))
    complaint = once("--complaint", said.complaint)
    if complaint is not None:
        drafts.append(Draft("complaint", payload_of("complaint", Complaint(text=complaint).model_dump())))
    place = {name: value for name, many in said.place.items() if (value := once(f"--{name}", many)) is not None}
    if place:
        drafts.append(place_said(Place(**place), state.place))
    drafts += [code_said(typed, known) for typed in said.codes or ()]
    for kind, many in said.noted.items():
        drafts += [noted_said(cast("Kind", kind), typed, known) for typed in many or ()]
    for path in paths_of("--reading", said.readings):
        drafts += facts_said(path, state, known)
    step = once("--step", said.step)
    if step is not None:
        minutes, money = _amount("--minutes", said.minutes), _amount("--money", said.money)
        drafts.append(step_said(step, known, minutes, money))
    elif said.minutes or said.money:
        raise UnusableRequest("--minutes or --money alone", "the step that took them", "Add --step STEP=...")
    cause = once("--closed", said.closed)
    if cause is not None:
        drafts.append(closed_said(cause, known, proved=said.proved))
    elif said.proved:
        raise UnusableRequest("--proved alone", "the cause that was found", "Add --closed CAUSE.")
    drafts += [Draft("note", Note(text=text)) for text in said.notes or ()]
    return once_each(drafts)


def _barometer_kpa(drafts: Sequence[Draft], place: Place) -> float | None:
    """The pressure of the day, as it stands with what is being said."""
    for draft in drafts:
        if isinstance(draft.payload, Place):
            place = place.model_copy(update=draft.payload.model_dump(exclude_none=True))
    day = the_barometer(place.altitude, place.barometer)
    return None if day is None else day.kpa


def _in_its_place(drafts: list[Draft], said: Said, state: State) -> list[Draft]:
    target = once("--correct", said.correct)
    if target is None:
        return in_place(drafts, state)
    if len(drafts) != 1:
        raise UnusableRequest(
            f"--correct with {len(drafts)} facts", "the one fact that takes its place", "Correct one after the other."
        )
    return [replace(drafts[0], corrects=number("--correct", target))]


def _tell_added(
    at: Where,
    job: int,
    added: Sequence[Event],
    state: State,
    known: Knowledge,
    heading: str,
    remarks: Sequence[str] = (),
) -> None:
    doubts = (*(doubts_of(state.car.vin or "") if any(event.kind == "car" for event in added) else ()), *remarks)
    closed = [event.payload for event in added if isinstance(event.payload, Closed)]
    doubts = (*doubts, *(said for one in closed for said in in_own_words(one.cause, known)))
    doubts = (*doubts, *(proved_otherwise(state) if closed else ()))
    if at.json:
        say(done_as_json(job, added, doubts))
        return
    lines = tuple(event_in_words(event, known) for event in added)
    parts = [Part("added", heading, lines) if added else Part("added", "", (heading,))]
    if doubts:
        parts.append(Part("doubts", "To look at again", doubts))
    say_parts(parts)


def not_said(drafts: Sequence[Draft]) -> tuple[str, ...]:
    """That nobody has said yet what came of a repair, and how to say it."""
    return tuple(
        f"it is not said whether {step} helped: prove it with a recording, or say {step}=helped or {step}=did-not-help"
        for draft in drafts
        if isinstance(draft.payload, Repair) and draft.payload.gone is None
        for step in draft.payload.steps
    )


def _seen(many: Many, last: int) -> int:
    typed = once("--seen", many)
    return last if typed is None else number("--seen", typed)


def _amount(option: str, many: Many) -> float | None:
    typed = once(option, many)
    if typed is None:
        return None
    try:
        return float(typed.replace(",", "."))
    except ValueError as fault:
        raise UnusableRequest(f"{typed[:40]!r}", "a plain number", "Leave the unit out.", where=option) from fault
