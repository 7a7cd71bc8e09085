"""A job in plain words: one line of a list, what stands, and what was said when and by whom."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from airproof.diagnosis.told import STILL_THERE
from airproof.jobs.events import Draft, Event
from airproof.jobs.in_place import SAID_ANEW
from airproof.jobs.kinds import (
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
    Withdrawal,
)
from airproof.jobs.overview import JobLine, foremost, on_one_line
from airproof.jobs.state import Fact, State, standing
from airproof.knowledge.model import Knowledge
from airproof.knowledge.vin import doubts_of
from airproof.recording.signals import glossary
from airproof.report.in_words import Part
from airproof.report.wording import in_hundred, signals

HEADINGS = (
    ("What the owner says", ("complaint", "symptom", "condition")),
    ("Car and engine", ("car", "engine", "place")),
    ("What the car says", ("code", "freeze_frame", "readiness")),
    ("Recordings", ("recording",)),
    ("What was seen, measured and done", ("look", "history", "reading", "measured", "step")),
    ("Verdicts", ("verdict",)),
    ("Repair and proof", ("repair", "cleared", "checked", "proof", "reopened")),
    ("Notes", ("note",)),
)
SHOWN_VERDICTS = 3
DONE = {
    None: "done",
    True: "done, and the trouble is gone",
    False: STILL_THERE,
}
"""What is said of a repair, by whether the trouble is gone."""

_CAR = {"vin": "VIN {}", "odometer_km": "odometer {:.10g} km"}
_KPA = re.compile(r"^ *([0-9.]+) *kPa *$")


def list_in_words(lines: Sequence[JobLine], count: int) -> list[Part]:
    """Jobs, one line each."""
    if not lines:
        return [Part("jobs", "", ("No job.",))]
    title = f"{len(lines)} jobs" if len(lines) == count else f"{len(lines)} of {count} jobs, the last changed first"
    return [Part("jobs", title if count > 1 else "1 job", tuple(line_in_words(line) for line in lines))]


def line_in_words(line: JobLine) -> str:
    """One job on one line."""
    what = ", ".join(part for part in (line.car or "a car", line.plate, line.owner) if part)
    says = f": {line.complaint}" if line.complaint else ""
    end = f" - closed: {line.cause} ({line.closed})" if line.closed else f" - {line.cause}?" if line.cause else ""
    return f"Job {line.number}, {line.changed_at[:10]}: {what}{says}{end}"


def job_in_words(
    line: JobLine, events: Sequence[Event], state: State, known: Knowledge, *, history: bool
) -> list[Part]:
    """What stands of a job, each fact with its number; with `history` all events as well."""
    head = [line_in_words(line)]
    if state.closed is not None:
        head.append(f"Closed on {_day(state.closed)}: {fact_in_words('closed', state.closed.payload, known)}")
    parts = [Part("job", "", tuple(head))]
    facts = standing(events)
    for heading, kinds in HEADINGS:
        said = [(kind, fact) for kind, fact in facts if kind in kinds]
        if kinds == ("verdict",):
            said = said[-SHOWN_VERDICTS:]
        lines = tuple(
            f"[{fact.number}] {fact_in_words(kind, fact.payload, known)}"
            + (f" (corrected by [{state.overtaken[fact.number]}])" if fact.number in state.overtaken else "")
            for kind, fact in said
        )
        if lines:
            parts.append(Part(kinds[0], heading, lines))
    if state.unreadable:
        parts.append(Part("unreadable", "What cannot be read", unreadable_in_words(state, known)))
    doubts = doubts_of(state.car.vin or "")
    if doubts:
        parts.append(Part("doubts", "To look at again", doubts))
    if history:
        parts.append(Part("history", "All that was said", tuple(event_in_words(event, known) for event in events)))
    return parts


def unreadable_in_words(state: State, known: Knowledge) -> tuple[str, ...]:
    """What of a job cannot be read, and what to do about it."""
    lines = [f"[{one.number}] {fact_in_words('unreadable', one.payload, known)}" for one in state.unreadable]
    return (
        *lines,
        "All else stands without it. Say anew what it said; one that is still there is put right by a correction, or "
        "taken back.",
    )


def event_in_words(event: Event, known: Knowledge, *, local: bool = False) -> str:
    """One event with its number, time and author; the time in UTC, or as a clock on the wall here has it."""
    when = f"{event.at.astimezone():%Y-%m-%d %H:%M}" if local else f"{event.at:%Y-%m-%d %H:%M} UTC"
    does = f" (corrects {event.corrects})" if event.corrects is not None else ""
    takes = f"{event.withdraws} is taken back" if event.withdraws is not None else ""
    says = takes + _why(event.payload) if takes else fact_in_words(event.kind, event.payload, known)
    return f"[{event.number}] {when}, {on_one_line(event.author)}: {says}{does}"


def _why(payload: Payload) -> str:
    return on_one_line(f": {payload.why}") if isinstance(payload, Withdrawal) and payload.why else ""


def _day(fact: Fact[Any]) -> str:
    return f"{fact.at:%Y-%m-%d}"


def fact_in_words(kind: str, payload: Payload, known: Knowledge) -> str:
    """The fact on one line; nothing that was typed or came in a file can steer the console."""
    return on_one_line(_worded(kind, payload, known))


def _worded(kind: str, payload: Payload, known: Knowledge) -> str:
    match payload:
        case Car():
            held = payload.model_dump(exclude_none=True, exclude={"vin_source"})
            told = (_CAR.get(name, f"{name} {{}}").format(value) for name, value in held.items())
            return f"car: {', '.join(told)}" + _from(payload.vin_source)
        case Engine():
            one = payload.engine
            known_as = f"{one.name}: " if one.name else ""
            return (
                f"engine: {known_as}{one.displacement_l:g} l, {one.cylinders} cylinders, {one.induction}, {one.fuel}, "
                f"air by {one.metering}"
            )
        case Complaint() | Note():
            return payload.text
        case Place():
            return "place: " + _list(payload.model_dump(exclude_none=True))
        case Code():
            order = f", number {payload.order} in time" if payload.order else ""
            title = known.codes[payload.id].title if payload.id in known.codes else "kept; it is not weighed here"
            return f"{payload.id}, {payload.status}{order}: {title}" + _from(payload.source)
        case Frame():
            values = {name: _absolute(name, value) for name, value in payload.values.items()}
            return f"freeze frame of {payload.code}: " + _list(values) + _from(payload.source)
        case Readiness():
            read = "all codes were read; " if payload.codes_read else ""
            return f"readiness: {read}{_list(payload.monitors)}" + _from(payload.source)
        case Noted():
            return f"{kind}: {payload.id}" + ("" if payload.found else ", looked for and not there")
        case Reading():
            return f"{payload.signal.replace('_', ' ')} {payload.value}, engine off, by hand"
        case Measured():
            return _measurements(payload)
        case Recording():
            role = {
                "car": "", "good": ", a good one of this car", "sister": ", a good one of a sister car",
                "after": ", after the repair",
            }  # fmt: skip
            long = "" if payload.seconds is None else f", {payload.seconds:.0f} s, {signals(len(payload.holds))}"
            return f"{payload.name}{role[payload.role]}{long}"
        case Step():
            title = known.steps[payload.id].title if payload.id in known.steps else payload.id
            came = STILL_THERE if in_vain(payload, known) else payload.outcome
            return f"{title} [{payload.id}]: {came}" + _took(payload)
        case Verdict():
            found = foremost(payload)
            says = "judged nothing" if found is None else f"{found[0]}, {in_hundred(found[1])}"
            return f"{says} ({payload.program})"
        case Rehearsed():
            return "a rehearsal; its truth is kept out of sight"
        case Repair():
            steps = (f"{known.steps[one].title} [{one}]" if one in known.steps else one for one in payload.steps)
            done = "; ".join(steps) or "repaired"
            meant = f", for {payload.cause}" if payload.cause else ""
            day = f" ({payload.day})" if payload.day else ""
            return f"{done}{meant}: {DONE[payload.gone]}{day}{_took(payload)}"
        case Cleared():
            return "codes cleared" + (f" ({payload.day})" if payload.day else "")
        case Checked():
            return "after the repair: " + _checked(payload) + (f" ({payload.note})" if payload.note else "")
        case Proved():
            return f"{payload.proof.get('says', 'judged')} ({payload.program})"
        case Reopened():
            return "opened again" + (f": {payload.why}" if payload.why else "")
        case Closed():
            return f"{payload.cause}, {payload.standing}" + (f": {payload.note}" if payload.note else "")
        case Unreadable():
            return f"cannot be read: {payload.trouble}"
    return kind


def _measurements(payload: Measured) -> str:
    told = payload.tables.get("measured")
    rows = [row for row in told if isinstance(row, dict)] if isinstance(told, list) else []
    values = [
        f"{str(row.get('what')).replace('_', ' ')} {row['value']}"
        + (f" ({row['shown']} in live data)" if row.get("shown") else "")
        for row in rows
        if "value" in row
    ]
    count = "1 measurement with a meter" if len(rows) == 1 else f"{len(rows)} measurements with a meter"
    return f"{count}: {'; '.join(values)}" if values else count


def in_vain(step: Step, known: Knowledge) -> bool:
    """Whether it is a repair after which the trouble is still there; else the step tells something, or ends the job."""
    return step.outcome == "done" and step.id in known.steps and bool(known.steps[step.id].cures)


def overtaken_in_words(drafts: Sequence[Draft], events: Sequence[Event], known: Knowledge) -> tuple[str, ...]:
    """What the drafts take the place of among the facts that stand, where it said something else."""
    stood = {fact.number: (kind, fact.payload) for kind, fact in standing(events)}
    found = []
    for draft in drafts:
        anew = isinstance(draft.payload, Withdrawal) and draft.payload.why == SAID_ANEW
        number = draft.withdraws if anew else draft.corrects
        if number in stood:
            was = fact_in_words(*stood[number], known)
            if was != fact_in_words(draft.kind, draft.payload, known):
                found.append(f"it was said before ({number}): {was}. What is said now counts; the history keeps both")
    return tuple(found)


def _took(payload: Step | Repair) -> str:
    took = _list({"minutes": payload.minutes, "money": payload.money}, skip=True)
    return f" ({took})" if took else ""


def _from(source: str | None) -> str:
    """Where a fact was heard; nothing for one that was told by hand."""
    return "" if source is None else f" ({source})"


def _absolute(name: str, value: str | float) -> str | float:
    """A value of a freeze frame, a pressure that is absolute called so."""
    kind = glossary().signals.get(name)
    if isinstance(value, str) and kind is not None and kind.is_absolute_pressure:
        return _KPA.sub(r"\1 kPa absolute", value)
    return value


def _checked(payload: Checked) -> str:
    said = [f"{code} {status}" for code, status in payload.codes.items()]
    if payload.codes_read and not said:
        said.append("no codes")
    if payload.cleared is False:
        said.append("codes not cleared")
    said += [f"{name} {'complete' if done else 'incomplete'}" for name, done in payload.monitors.items()]
    if payload.warm_ups is not None:
        said.append(f"{payload.warm_ups} warm-ups")
    if payload.distance_km is not None:
        said.append(f"{payload.distance_km:g} km")
    if payload.days is not None:
        said.append(f"{payload.days:g} days")
    if payload.returned:
        said.append("the trouble is back")
    return ", ".join(said) or "place and air of the recording"


def _list(values: Any, *, skip: bool = False) -> str:
    return ", ".join(
        f"{name.replace('_', ' ')} {value:g}" if isinstance(value, float) else f"{name.replace('_', ' ')} {value}"
        for name, value in values.items()
        if not (skip and value is None)
    )
