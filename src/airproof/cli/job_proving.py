"""Carrying out `airproof job prove`, `job reopen` and `job learn`."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from airproof.cli.job_request import Many, Where, number_of
from airproof.cli.learning_request import in_parts, with_job
from airproof.cli.progress import counting
from airproof.cli.shop import learned_in
from airproof.cli.streams import complain, say, say_parts
from airproof.cli.typed import once, one_path, paths_of
from airproof.diagnosis.place_as_typed import quantity_of, the_ambient_c, the_barometer
from airproof.errors import UnusableFile, UnusableRequest
from airproof.jobs.events import Draft
from airproof.jobs.given import append_with
from airproof.jobs.in_place import in_place
from airproof.jobs.kinds import payload_of
from airproof.jobs.learning import closed_job_of, in_own_words
from airproof.jobs.proving import cleared_said, keep_proof, prove_job
from airproof.jobs.state import State
from airproof.knowledge.load import knowledge
from airproof.knowledge.model import Knowledge
from airproof.recording.mapping import read_signal_map
from airproof.repair.learned.shop_file import new_shop, read_shop, write_shop
from airproof.repair.learned.shop_held import held
from airproof.repair.proof.as_typed import amount_of, codes_said, count_of, days_of, monitors_said
from airproof.repair.proof.prove import Done, check_done
from airproof.report.proof_as_json import as_json, proof_object
from airproof.report.proof_in_words import in_words

DAY = re.compile(r"\d{4}-\d{2}-\d{2}")


@dataclass(frozen=True)
class Said:
    """What was typed for `prove`."""

    after: Many = None
    steps: Many = None
    cause: Many = None
    day: Many = None
    minutes: Many = None
    money: Many = None
    place: Mapping[str, Many] = field(default_factory=dict)
    signals: Many = None
    codes: Many = None
    codes_read: bool = False
    cleared: bool | None = None
    monitors: Many = None
    warm_ups: Many = None
    distance: Many = None
    days: Many = None
    returned: bool = False


def prove_and_tell(at: Where, typed: str, said: Said, shop: Many) -> None:
    """Keep what was said, judge, keep the proof, tell it."""
    job = number_of(typed)
    own = one_path("--shop", shop)
    learned = learned_in(own, knowledge())
    known = knowledge() if learned is None else learned.knowledge
    with at.store() as store:
        events = store.events(job)
        state = store.state(job)
        drafts = in_place(_drafts(said, state, known), state)
        files = paths_of("AFTER_RECORDING", said.after)
        map_file = one_path("--signals", said.signals)
        if drafts or files:
            added = append_with(
                store,
                job,
                drafts,
                [("after", path) for path in files],
                seen=len(events),
                author=at.author,
                mapping=None if map_file is None else read_signal_map(map_file),
                barometer_kpa=_barometer_kpa(said, state),
                known=known,
            )
            for remark in added.remarks:
                complain(remark)
        with counting(f"proving job {job}") as progress:
            proving = prove_job(store, job, known, progress)
        try:
            keep_proof(store, job, proving, proof_object, at.author)
        except UnusableFile as fault:  # a full disk, say: what was judged is there all the same
            complain(f"the proof was not kept in job {job}: {fault}")
    if at.json:
        say(as_json(proving.proof))
    else:
        say_parts(in_words(proving.proof))


def _drafts(said: Said, state: State, known: Knowledge) -> list[Draft]:
    drafts = []
    steps, cause = tuple(said.steps or ()), once("--cause", said.cause)
    repair: dict[str, Any] = {"steps": list(steps)} if steps else {}
    repair |= {} if cause is None else {"cause": cause}
    for name, many in (("minutes", said.minutes), ("money", said.money)):
        amount = amount_of(f"--{name}", once(f"--{name}", many))
        repair |= {} if amount is None else {name: amount}
    day = once("--day", said.day)
    if day is not None:
        repair["day"] = _day(day)
    if repair:
        if not steps and cause is None:
            raise UnusableRequest("nothing that was done", "the step or the cause", "Add --step STEP or --cause CAUSE.")
        check_done(Done(steps, cause), known)
        drafts.append(Draft("repair", payload_of("repair", repair)))
    drafts += cleared_said(said.cleared, state)
    checked = _checked(said, known)
    if checked:
        drafts.append(Draft("checked", payload_of("checked", checked)))
    return drafts


def _checked(said: Said, known: Knowledge) -> dict[str, Any]:
    place = {name: value for name, many in said.place.items() if (value := once(f"--{name}", many)) is not None}
    the_barometer(place.get("altitude"), place.get("barometer"))
    the_ambient_c(place.get("ambient"))
    metres = quantity_of("--distance", once("--distance", said.distance), "length", "35km")
    days = once("--days", said.days)
    found: dict[str, Any] = {
        "codes": codes_said(said.codes or (), known),
        "codes_read": said.codes_read,
        "monitors": monitors_said(said.monitors or (), known),
        "warm_ups": count_of("--warm-ups", once("--warm-ups", said.warm_ups)),
        "distance_km": None if metres is None else metres / 1e3,
        "days": None if days is None else days_of("--days", days),
        "returned": said.returned,
    }
    # Where all codes were read, that there are none is said as well, and takes the place of those of before.
    none_left: dict[str, Any] = {"codes": {}} if said.codes_read else {}
    not_cleared = {"cleared": False} if said.cleared is False else {}
    told = {name: value for name, value in found.items() if value not in (None, False, {})}
    return none_left | told | not_cleared | place


def _day(typed: str) -> str:
    if not DAY.fullmatch(typed.strip()):
        raise UnusableRequest(f"{typed[:40]!r}", "a day as 2026-03-14", "Write year, month and day.", where="--day")
    return typed.strip()


def _barometer_kpa(said: Said, state: State) -> float | None:
    altitude = once("--altitude", said.place.get("altitude")) or state.place.altitude
    day = the_barometer(altitude, once("--barometer", said.place.get("barometer")))
    return None if day is None else day.kpa


def reopen_and_tell(at: Where, typed: str, why: Many) -> None:
    """Open a closed job again."""
    job = number_of(typed)
    with at.store() as store:
        state = store.state(job)
        if state.closed is None:
            raise UnusableRequest(f"job {job} is open", "a closed job", "Nothing is to be done.")
        text = once("--why", why)
        payload = payload_of("reopened", {} if text is None else {"why": text})
        added = store.append(job, [Draft("reopened", payload)], seen=len(store.events(job)), author=at.author)
    if at.json:
        from airproof.report.job_as_json import done_as_json

        say(done_as_json(job, added, ()))
        return
    say(f"Job {job} is open again, with everything in place.")


def learn_and_tell(at: Where, typed: str, shop: Many) -> None:
    """Count a closed job in what the shop has learned."""
    job, path = number_of(typed), one_path("--shop", shop)
    if path is None:
        raise UnusableRequest("--shop is missing", "the shop's file", "Add --shop shop.json; it is made if need be.")
    known = knowledge()
    with at.store() as store:
        state, line = store.state(job), store.line(job)
    closed = closed_job_of(state, job, line.uid, known)
    with held(path):
        before = read_shop(path) if path.exists() else new_shop()
        after, notes = with_job(before, closed, known, f"job {job}")
        if state.closed is not None:
            notes += in_own_words(state.closed.payload.cause, known)
        notes.append(
            f"job {job} stands there as {line.uid}: airproof learn --shop {path} --undo {line.uid} takes it back"
        )
        told = in_parts(after, known, notes, as_json=at.json)
        if after != before or not path.exists():
            write_shop(after, path)
    say(told) if isinstance(told, str) else say_parts(told)
