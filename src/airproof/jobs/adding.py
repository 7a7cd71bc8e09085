"""From what a person types or a file says to the events of a job: checked before anything is written."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Hashable, Mapping, Sequence
from pathlib import Path
from typing import Any

import tomli

from airproof.diagnosis.facts import KINDS, Kind, entries_of
from airproof.diagnosis.facts_file import load_facts
from airproof.diagnosis.meter.measured_file import measurements_of
from airproof.diagnosis.place_as_typed import the_ambient_c, the_barometer
from airproof.engine.profile import load_profile
from airproof.errors import UnusableFile, UnusableRequest
from airproof.jobs.events import Draft, Event, now, withdrawal
from airproof.jobs.facts_written import MEASURED_TABLES, toml, written
from airproof.jobs.kinds import Code, Noted, Place, payload_of
from airproof.jobs.state import State, state_of
from airproof.knowledge.lookup import code_in, find_noticed, near, normal_code
from airproof.knowledge.model import Knowledge, Step
from airproof.repair.proof.as_typed import COULD_NOT, OF_A_REPAIR

CODES = re.compile(r"(?<![A-Za-z0-9])[PCBUpcbu][ -]?[0-3Oo][0-9A-Fa-fOo]{3}(?:[-:]?[0-9A-Fa-f]{2})?(?![A-Za-z0-9])")
"""A code in any text, with the kind of failure behind it where it is told ("P0106-00")."""

_NUMBERED = re.compile(r"^(?:reading|freeze_frame) 1(?::|,) ")
_YES = {"": True, "yes": True, "y": True, "found": True, "no": False, "n": False, "not-found": False}


def codes_in_text(text: str) -> list[str]:
    """All codes in a text of any form, each once, in their order."""
    found = (code_in(match[0].replace("-", "")) for match in CODES.finditer(text))
    return list(dict.fromkeys(code for code in found if code is not None))


def code_said(typed: str, known: Knowledge) -> Draft:
    """A code from "P0106" or "P0106=pending"; one that is not in our lists is kept all the same."""
    name, _, status = typed.partition("=")
    id_ = normal_code(name, known)
    if not status.strip():
        return Draft("code", Code(id=id_))
    if status.strip().lower() not in known.statuses:
        raise UnusableRequest(f"{typed!r}", f"one of {', '.join(known.statuses)} after =", "Leave it out if unsure.")
    return Draft("code", Code(id=id_, status=status.strip().lower()))


def noted_said(kind: Kind, typed: str, known: Knowledge) -> Draft:
    """Something noticed from "plug-loose", or "plug-loose=no" where it was looked for and is not there."""
    name, _, found = typed.partition("=")
    if found.strip().lower() not in _YES:
        raise UnusableRequest(f"{typed!r}", "nothing, =yes or =no after the name", "Say which.")
    entries = entries_of(kind, known)
    entry = find_noticed(name, entries, kind, f'Take the one that fits. "airproof explain {kind}" lists them all.')
    return Draft(kind, Noted(id=entry.id, found=_YES[found.strip().lower()]))


def step_said(typed: str, known: Knowledge, minutes: float | None = None, money: float | None = None) -> Draft:
    """A step from "look-hoses=no", "smoke-test-intake=could-not"; a repair from "clean-map-sensor=helped".

    A repair that did not help is a step with its outcome, and evidence. Any other that was done is a repair, to be
    proved: of "done" alone nobody knows yet what came of it.
    """
    name, _, outcome = (part.strip() for part in typed.partition("="))
    step = known.steps.get(name)
    if step is None:
        raise UnusableRequest(f"{name!r} is not a step", "the id of a step", near(name, known.steps))
    amounts = {key: value for key, value in (("minutes", minutes), ("money", money)) if value is not None}
    word = "-".join(outcome.lower().split())
    came = OF_A_REPAIR.get(word) if step.cures else None
    if came in ("done", "helped"):
        # "done" in so many words takes back that it helped; the step alone, as with its minutes, leaves that as it was.
        gone = {"gone": True} if came == "helped" else {"gone": None} if word else {}
        return Draft("repair", payload_of("repair", {"steps": [name], **gone, **amounts}))
    said = "done" if came == "did not help" else _outcome(word, step)
    if said is None:
        wanted = (
            f'{name}=yes ("{step.if_so}"), {name}=no ("{step.if_not}") or {name}=could-not'
            if step.tells
            else f"{name}=helped, {name}=did-not-help, {name}=done (nobody knows yet) or {name}=could-not"
            if step.cures
            else f"{name}=done or {name}=could-not"
        )
        raise UnusableRequest(f"{typed!r} does not say what came of it", wanted, "Say which.")
    return Draft("step", payload_of("step", {"id": name, "outcome": said, **amounts}))


def _outcome(word: str, step: Step) -> str | None:
    """What came of a step that is no repair done, or None where that word does not say it."""
    if word in COULD_NOT:
        return "could not"
    if step.tells:
        return None if word == "" or word not in _YES else "found" if _YES[word] else "not found"
    return "done" if step.ends and word in ("", "done") else None


def closed_said(typed: str, known: Knowledge, *, proved: bool) -> Draft:
    """The end of a job with its cause: by id or title, or in several words of one's own.

    Raises UnusableRequest for one word that is no id: it is far more often one typed wrong than all there is to say.
    """
    cause = typed.strip()
    plain = "-".join(cause.casefold().split())
    titled = (one.id for one in known.causes.values() if one.title.casefold() == cause.casefold())
    id_ = plain if plain in known.causes else next(titled, None)
    if id_ is None and " " not in cause:
        raise UnusableRequest(
            f"{cause!r} is not a cause",
            "the id of a cause, or what it was in several words of your own",
            near(plain, known.causes),
            where="--closed",
        )
    standing = "proved" if proved else "believed"
    return Draft("closed", payload_of("closed", {"cause": id_ or cause, "standing": standing}))


def place_said(place: Place, before: Place) -> Draft:
    """Where and on what day; raises where it cannot be, or contradicts what was said before."""
    whole = before.model_copy(update=place.model_dump(exclude_none=True))
    the_barometer(whole.altitude, whole.barometer)
    the_ambient_c(whole.ambient)
    return Draft("place", place)


def engine_said(path: Path) -> Draft:
    """An engine profile from its file; raises as `load_profile`."""
    load_profile(path)
    return Draft("engine", payload_of("engine", tomli.loads(path.read_text(encoding="utf-8-sig")), where=str(path)))


def facts_said(path: Path, state: State, known: Knowledge) -> list[Draft]:
    """All that a reading file says; what it takes back is taken back, what it says anew of a named thing corrects it.

    Raises UnusableFile as weighing with that file would, beside what the job holds already.
    """
    with tempfile.TemporaryDirectory() as folder:
        earlier = Path(folder) / "what the job holds.toml"
        earlier.write_text(written(state, known).facts, encoding="utf-8")
        # What stands is said first: an entry on the same thing takes its place, as it will in the job.
        files = [path] if not earlier.read_text(encoding="utf-8").strip() else [_without_clash(earlier, path), path]
        load_facts(files, known)
        measurements_of([path], known)
    tables: dict[str, Any] = tomli.loads(path.read_text(encoding="utf-8-sig"))
    strange = set(tables) - {"code", "freeze_frame", "readiness", "reading", *KINDS, *MEASURED_TABLES}
    if strange:
        raise UnusableFile(
            f"{', '.join(sorted(strange))}", "tables that a job can keep", "Give them to weigh.", where=str(path)
        )
    return _drafts(tables, state, known)


def checked(draft: Draft, known: Knowledge) -> None:
    """Refuse a freeze frame or reading that a weighing would refuse, before it is kept; what none hears may be kept."""
    facts = written(state_of([Event(1, "", now(), "", draft.kind, 1, draft.payload)]), known).facts
    if not facts.strip():
        return
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "what was typed.toml"
        place.write_text(facts, encoding="utf-8")
        try:
            load_facts([place], known)
        except UnusableFile as fault:  # of one fact that was typed no number is to be told
            raise UnusableRequest(_NUMBERED.sub("", fault.given), fault.wanted, fault.way_out) from fault


def _without_clash(earlier: Path, path: Path) -> Path:
    """What the job holds, without plain readings of a thing that the file reads as well: the later one counts."""
    said = tomli.loads(path.read_text(encoding="utf-8-sig")) if path.is_file() else {}
    rows = said.get("reading", [])
    things = {one.get("step") or one.get("signal") for one in rows if isinstance(one, dict)}
    tables = tomli.loads(earlier.read_text(encoding="utf-8"))
    tables["reading"] = [
        one for one in tables.get("reading", []) if "id" in one or (one.get("step") or one.get("signal")) not in things
    ]
    earlier.write_text(toml({name: table for name, table in tables.items() if table}), encoding="utf-8")
    return earlier


def _drafts(tables: Mapping[str, Any], state: State, known: Knowledge) -> list[Draft]:
    drafts: dict[Hashable, Draft] = {}  # by what they are of: the later of two in one file counts

    def put(of: Hashable, kind: str, data: Mapping[str, Any], standing: int | None, withdrawn: bool) -> None:
        drafts.pop((kind, of), None)
        if not withdrawn:
            drafts[kind, of] = Draft(kind, payload_of(kind, data), corrects=standing)
        elif standing is not None:
            drafts[kind, of] = withdrawal(standing)

    for row in tables.get("code", []):
        data = _only(row, "id", "status", "order", "note") | {"id": normal_code(row["id"], known)}
        old = state.codes.get(data["id"])
        put(data["id"], "code", data, None if old is None else old.number, row.get("withdrawn", False))
    for kind in KINDS:
        for row in tables.get(kind, []):
            entry = find_noticed(row["id"], entries_of(kind, known), kind, "")
            felt = state.noted.get((kind, entry.id))
            data = _only(row, "found", "note") | {"id": entry.id}
            put(entry.id, kind, data, None if felt is None else felt.number, row.get("withdrawn", False))
    for row in tables.get("freeze_frame", []):
        code = code_in(row["code"]) if row.get("code") else None
        frame = state.frames.get(row.get("id") or code or "")
        values = {key: v for key, v in row.items() if key not in ("code", "id", "withdrawn", "note")}
        data = {"values": values, **_only(row, "note"), "code": code or ""}
        data |= {"name": row["id"]} if row.get("id") else {}
        put(
            row.get("id") or code,
            "freeze_frame",
            data,
            None if frame is None else frame.number,
            row.get("withdrawn", False),
        )
    for row in tables.get("reading", []):
        of = row.get("id") or row.get("step") or row.get("signal")
        put(of, *_reading(row, state, known), row.get("withdrawn", False))
    if "readiness" in tables:
        told = dict(tables["readiness"])
        read = told.pop("codes_read", False)
        put("", "readiness", {"codes_read": read, "monitors": told}, None, withdrawn=False)
    measured = {name: tables[name] for name in MEASURED_TABLES if name in tables}
    if "measured" in measured:
        for number, tables_now in _measured(measured, state):
            put(number, "measured", {"tables": tables_now}, number, withdrawn=not tables_now.get("measured"))
    return list(drafts.values())


def _measured(said: dict[str, Any], state: State) -> list[tuple[int | None, dict[str, Any]]]:
    """Sets of measurements as they stand after what the file says, each with the number of the one it corrects.

    A row with an id takes the place of the one of that id, in whatever set it stands; one that is withdrawn takes it
    back; rows that are new go with those that the file speaks of, or are a set of their own.
    """
    rows = list(said["measured"])
    ids = {row["id"] for row in rows if row.get("id")}
    fresh = [row for row in rows if not row.get("withdrawn")]
    found: list[tuple[int | None, dict[str, Any]]] = []
    for fact in state.measured:
        tables: dict[str, Any] = {str(name): table for name, table in fact.payload.tables.items()}
        there = tables.get("measured")
        standing = [row for row in (there if isinstance(there, list) else []) if isinstance(row, dict)]
        if not any(row.get("id") in ids for row in standing):
            continue
        kept = [row for row in standing if row.get("id") not in ids]
        found.append((fact.number, {**tables, **said, "measured": [*kept, *fresh]}))
        fresh = []
    return [*found, *([(None, {**said, "measured": fresh})] if fresh else [])]


def _reading(row: Mapping[str, Any], state: State, known: Knowledge) -> tuple[str, dict[str, Any], int | None]:
    name = row.get("id")
    named = {"name": name} if name else {}
    step = next((one for one in state.steps if name and one.payload.name == name), None)
    reading = state.readings.get(name or row.get("signal") or "")
    if row.get("step") or (row.get("withdrawn") and step is not None):
        repairs = row.get("step") in known.steps and not known.steps[row["step"]].tells
        outcome = "found" if row.get("found") else "done" if repairs else "not found"
        data = {"id": row.get("step", ""), "outcome": outcome, **named, **_only(row, "note")}
        if row.get("withdrawn") and step is None:
            step = state.outcomes.get(row["step"])
        return "step", data, None if step is None else step.number
    return "reading", {**named, **_only(row, "signal", "value", "note")}, None if reading is None else reading.number


def _only(row: Mapping[str, Any], *keys: str) -> dict[str, Any]:
    return {key: row[key] for key in keys if key in row}


def taken_back(numbers: Sequence[int], why: str = "") -> list[Draft]:
    """Drafts that take events back."""
    return [withdrawal(number, why) for number in numbers]
