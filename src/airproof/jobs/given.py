"""Recordings given to a job: the file on the shelf, what was understood, and what a log of a bus tells besides."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from airproof.errors import UnknownHeadings, UnusableFile
from airproof.jobs.events import Draft, Event, now
from airproof.jobs.heard import Heard, another_car, checked_in_log, heard_in_log
from airproof.jobs.kinds import Recording, Role, payload_of
from airproof.jobs.state import State, state_of
from airproof.jobs.store import Store
from airproof.jobs.trouble import in_our_words
from airproof.knowledge.load import knowledge
from airproof.knowledge.model import Knowledge
from airproof.recording.mapping import SignalMap
from airproof.recording.recording import Recording as Signals
from airproof.vehicle.readout.readout import Readout
from airproof.vehicle.recordings import read_recording, read_with_readout

LONGEST_NAME = 200


@dataclass(frozen=True)
class Given:
    """What a file gave: the recording, and the facts that a log of a bus holds besides.

    `sha256` is the file's on the shelf, None where it was not put there; `remarks` say what was not taken, and why, and
    which units were guessed.
    """

    drafts: tuple[Draft, ...]
    sha256: str | None
    remarks: tuple[str, ...] = ()


def recording_said(
    store: Store,
    path: Path,
    role: Role = "car",
    mapping: SignalMap | None = None,
    barometer_kpa: float | None = None,
    name: str | None = None,
    recall: Callable[[Sequence[str]], SignalMap | None] | None = None,
    *,
    state: State,
    known: Knowledge,
) -> Given:
    """Read a recording and put its file on the shelf; the drafts say what was understood. See `append_with`.

    Of a log of a bus also codes, freeze frames, readiness and VIN, beside what the job holds in `state`; a log that
    holds nothing else gives those alone. `name` is what it is called where that is not the file's own name; `recall` is
    asked how a file with such headings was read before. Raises UnusableFile for one that cannot be read.
    """
    called = shown_name(name or path.name)
    with in_our_words(store.where):
        try:
            recording, readout = read_with_readout(
                path, signals=mapping, barometer_kpa=barometer_kpa, after=role == "after"
            )
        except UnknownHeadings as fault:
            mapping = recall(fault.headings) if mapping is None and recall is not None else None
            if mapping is None:
                raise
            recording, readout = read_recording(path, signals=mapping, barometer_kpa=barometer_kpa), None
        if readout is None and mapping is None and recall is not None and recording is not None:
            mapping = recall([column.heading for column in recording.report.columns])
            if mapping is not None:
                recording = read_recording(path, signals=mapping, barometer_kpa=barometer_kpa)
        heard = Heard() if readout is None else _heard(readout, called, role, state, known)
        if recording is None:
            if role not in ("car", "after"):
                raise UnusableFile(
                    "it holds no live data",
                    "a recording to compare with",
                    "Log the bus while a tester asks for live data.",
                    where=called,
                )
            said = f"{called} holds no live data: what the car tells in it was taken, and no recording"
            return Given(heard.drafts, None, (said, *heard.remarks))
        with path.open("rb") as file:
            kept = store.shelf.put(file, where=str(path))
    data: dict[str, Any] = {
        "sha256": kept.sha256,
        "bytes": kept.bytes,
        "name": called,
        "role": role,
        "seconds": recording.duration_s,
        "holds": sorted(recording),
    }
    if mapping is not None:
        data["signals"] = mapping.model_dump(mode="json")
    draft = Draft("recording", payload_of("recording", data))
    moved = _moved(state, kept.sha256, role, called)
    return Given((draft, *heard.drafts), kept.sha256, (*_units(recording, called), *moved, *heard.remarks))


def _units(recording: Signals, name: str) -> tuple[str, ...]:
    """Which units the file leaves to be guessed, and which could not be."""
    report = recording.report
    said = [
        f"{one.heading!r} was left out: {one.says.partition(';')[0]}. State its unit on the recording's page. "
        "In the terminal, --signals does"
        for one in report.without_unit
    ]
    if report.guessed:
        said.append(
            f"Units that {name} does not state were guessed: {', '.join(report.guessed)}. If one is wrong, put it "
            "right on the recording's page. In the terminal, --signals does"
        )
    return tuple(said)


ROLES = {
    "car": "one of the car before a repair",
    "after": "one of the car after a repair",
    "good": "a known-good one",
    "sister": "one of a sister car",
}
"""What a recording is, by its role."""


def _moved(state: State, sha256: str, role: Role, name: str) -> tuple[str, ...]:
    """That a recording was in another role until now: one recording is one thing, and its side is now without it."""
    there = state.recordings.get(sha256)
    if there is None or there.payload.role == role:
        return ()
    was = ROLES[there.payload.role]
    return (f"{name} was in the job already, as {was}; now it is {ROLES[role]}, and no longer {was}",)


def once_only(given: Given, state: State, said_before: int) -> Given:
    """What is new in a file that may be in the job already; another role or map corrects it, since one drive is one.

    `said_before` is how many events the job holds: what is being said together with the file has no number yet.
    """
    before = state.recordings.get(given.sha256 or "")
    if before is None:
        return given
    old, drafts, remarks = before.payload, list[Draft](), list(given.remarks)
    for draft in given.drafts:
        new = draft.payload
        if not isinstance(new, Recording):
            drafts.append(draft)
        elif new.role == old.role and new.signals in (None, old.signals):
            remarks.insert(0, f"{new.name} is in the job already, as {ROLES[old.role]}; it was not added again")
        else:
            drafts.append(replace(draft, corrects=before.number) if before.number <= said_before else draft)
    return replace(given, drafts=tuple(drafts), remarks=tuple(remarks))


def _heard(readout: Readout, name: str, role: Role, state: State, known: Knowledge) -> Heard:
    """What a log tells besides its live data, by what it was given as."""
    if role == "car":
        return heard_in_log(readout, name, state, known)
    if role == "after":
        draft = checked_in_log(readout, name, known)
        return Heard(() if draft is None else (draft,), another_car(readout, name, state))
    codes = [code for code, _, _ in readout.each_code()]
    doubt = (f"{name} was given as a good one, and tells of {', '.join(codes)}",) if codes else ()
    return Heard((), (*(another_car(readout, name, state) if role == "good" else ()), *doubt))


@dataclass(frozen=True)
class Added:
    """What was added to a job; `remarks` say what a file told that was not taken, and why."""

    events: tuple[Event, ...]
    remarks: tuple[str, ...] = ()


def append_with(
    store: Store,
    job: int,
    drafts: Sequence[Draft],
    recordings: Sequence[tuple[Role, Path]],
    *,
    seen: int,
    author: str = "",
    mapping: SignalMap | None = None,
    barometer_kpa: float | None = None,
    known: Knowledge | None = None,
) -> Added:
    """Add facts and recordings to a job, all of them or none; raises as `Store.append` and `recording_said`.

    What is told in the drafts counts before what a log among the recordings holds. `known` is the usual if not given.
    """
    kept: dict[str, Path] = {}
    told, heard, remarks = list(drafts), list[Draft](), list[str]()
    try:
        for role, path in recordings:
            before = store.events(job)
            state = with_drafts(before, [*told, *heard])
            given = recording_said(store, path, role, mapping, barometer_kpa, state=state, known=known or knowledge())
            given = once_only(given, state, len(before))
            if given.sha256 is not None:
                kept[given.sha256] = path
            heard += given.drafts
            remarks += given.remarks
        # What the car was heard to say after a repair stands before what was told of it now, which counts.
        checked = [draft for draft in heard if draft.kind == "checked"]
        rest = [draft for draft in heard if draft.kind != "checked"]
        events = store.append(job, [*checked, *told, *rest], seen=seen, author=author)
    except BaseException:
        store.let_go(list(kept))
        raise
    put_back(store, kept)
    return Added(tuple(events), tuple(remarks))


def with_drafts(events: Sequence[Event], drafts: Sequence[Draft]) -> State:
    """The state of a job as it would be with those drafts."""
    added = [
        Event(number, "", now(), "", draft.kind, 1, draft.payload, draft.corrects, draft.withdraws)
        for number, draft in enumerate(drafts, len(events) + 1)
    ]
    return state_of([*events, *added])


def put_back(store: Store, kept: Mapping[str, Path]) -> None:
    """Files by their hash, just added to a job: back on the shelf, if one deleted meanwhile had them and took them."""
    for sha256, path in kept.items():
        if store.shelf.original(sha256) is None:
            with in_our_words(store.where), path.open("rb") as file:
                store.shelf.put(file, where=str(path))


def shown_name(name: str) -> str:
    """The last part of a file's name, for people: it is never used to find a file."""
    last = re.split(r"[\\/]", name)[-1]
    return "".join(sign if sign.isprintable() else "?" for sign in last)[:LONGEST_NAME] or "recording"
