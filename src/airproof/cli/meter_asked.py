"""Asking for readings at a terminal, one by one: each answer is checked and written at once, so that one can stop and
go on another time.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, get_args

import tomli

from airproof.diagnosis.meter.measured_file import load_measurements
from airproof.diagnosis.meter.typed_values import Counted, gauge_limit
from airproof.errors import AirproofError, UnusableFile
from airproof.knowledge.model import Knowledge

Read = Callable[[str], str]
Say = Callable[[str], None]

STOP = ("stop", "end", "quit")
YES, NO = ("y", "yes", "j", "ja"), ("n", "no", "nein")
LIST = "?"
BEGINNING = (
    "Each answer takes its unit along (5.02 V). Enter alone leaves a question out; stop ends, and what was\n"
    "answered is kept. Key on, engine off, plug on, unless it says otherwise. Where the probes go, and what can\n"
    'do harm, is in "airproof meter worksheet".'
)


@dataclass(frozen=True)
class Question:
    """One question: the table and key its answer goes to; `what` for one of [[measured]], `yes_no` for yes or no.

    It is asked only where `goes_with`, a key of the same table, has been answered.
    """

    text: str
    table: str
    key: str
    what: str = ""
    yes_no: bool = False
    goes_with: str = ""


QUESTIONS = (
    Question('Accuracy of the meter on direct voltage, as "0.5 % + 2 digits"', "meter", "accuracy"),
    Question("Which sensor line does the car expect? ? lists them", "sensor", "line"),
    Question('The air pressure at the car, as "98.2 kPa" (not the weather report\'s at sea level)', "day", "barometer"),
    Question('Or the altitude, as "350 m"', "day", "altitude"),
    Question("Supply at the plug, against the sensor's own ground", "measured", "value", "supply"),
    Question("Drop of the sensor's ground: its terminal against the battery's minus", "measured", "value", "ground"),
    Question("Signal, against the sensor's own ground", "measured", "value", "signal"),
    Question("What live data shows at that moment, in kPa absolute", "measured", "shown", "signal"),
    Question("Sweep with a hand pump: does its gauge count vacuum, gauge or absolute?", "measured", "counted", "sweep"),
    Question('How far the gauge may be off, as "2 % of 30 inHg"', "measured", "gauge", "sweep", goes_with="counted"),
    Question("Point", "measured", "points", "sweep", goes_with="counted"),
    Question("Does it come back slowly when the air is let in? y or n", "measured", "creeps", "sweep", True, "points"),
    Question("Does the reading jump on the way? y or n", "measured", "jumps", "sweep", True, "points"),
    Question("Does it jump when plug and wires are moved? y or n", "measured", "found", "wiggle", True),
)


class _Stop(Exception):  # no error: somebody has had enough
    pass


def ask_for_readings(path: Path, known: Knowledge, read: Read, say: Say) -> None:
    """Ask, and write what is answered to `path` as it comes; a file that is there is gone on with.

    Raises UnusableFile where the file that is there is no file of measurements, or cannot be written.
    """
    answers = _begun(path, known)
    say(BEGINNING)
    if answers:
        say(f"Going on with {path}; comments in it are not kept.")
    try:
        for question in QUESTIONS:
            _ask(question, answers, path, known, read, say)
    except (_Stop, EOFError):
        say("")
    if not path.exists():
        raise UnusableFile(
            "nothing was answered", "one reading or more", "Begin again when there is one.", where=str(path)
        )
    say(f"Kept in {path}.")


def _begun(path: Path, known: Knowledge) -> dict[str, Any]:
    if not path.exists():
        return {}
    load_measurements(path, known)
    return dict(tomli.loads(path.read_text(encoding="utf-8-sig")))


def _ask(question: Question, answers: dict[str, Any], path: Path, known: Knowledge, read: Read, say: Say) -> None:
    there = _table(question, answers) or {}
    if question.key in there or (question.goes_with and question.goes_with not in there):
        return
    if question.key == "altitude" and answers.get("day"):
        return
    if question.key == "points":
        _ask_points(question, answers, path, known, read, say)
        return
    while True:
        said = _answer(f"{question.text}: ", read)
        if not said:
            return
        if said == LIST and question.key == "line":
            say("\n".join(f"  {one.id}: {one.title}" for one in known.sensors.values() if one.known))
            continue
        value: str | bool = said
        if question.yes_no:
            if said.casefold() not in (*YES, *NO):
                say("y or n, or Enter to leave it out.")
                continue
            value = said.casefold() in YES
        if _keep(question, value, answers, path, known, say):
            return


def _ask_points(
    question: Question, answers: dict[str, Any], path: Path, known: Knowledge, read: Read, say: Say
) -> None:
    points: list[list[str]] = []
    say('Points, the first open to the air: gauge and reading, as "5 inHg, 1.60 V". Enter alone ends them.')
    while True:
        said = _answer(f"Point {len(points) + 1}: ", read)
        if not said:
            return
        pressure, mark, reading = said.rpartition(";") if ";" in said else _parted(said)
        if not mark:
            say("Two numbers with their units, parted by a comma and a blank, or by ; as in: 5 inHg; 1,60 V")
            continue
        more = [*points, [pressure.strip(), reading.strip()]]
        if len(more) == 1:
            points = more  # one point alone is no sweep yet: it is checked with the second
        elif _keep(question, more, answers, path, known, say):
            points = more
        elif len(more) == 2:
            points = []
            say("Both points once more, please.")


def _parted(said: str) -> tuple[str, str, str]:
    """At ", " only: a comma may mark decimals."""
    return said.rpartition(", ")


def _answer(text: str, read: Read) -> str:
    said = read(text).strip()
    if said.casefold() in STOP:
        raise _Stop
    return said


def _table(question: Question, answers: dict[str, Any]) -> dict[str, Any] | None:
    if not question.what:
        found = answers.get(question.table)
        return found if isinstance(found, dict) else None
    return next((one for one in answers.get("measured", []) if one.get("what") == question.what), None)


def _keep(question: Question, value: object, answers: dict[str, Any], path: Path, known: Knowledge, say: Say) -> bool:
    """Write the answer if the file is sound with it; else say what is wrong with it and keep nothing."""
    table = _table(question, answers)
    fresh = table is None
    if table is None:
        table = {"what": question.what} if question.what else {}
        if question.what:
            answers.setdefault("measured", []).append(table)
        else:
            answers[question.table] = table
    before = table.get(question.key)
    table[question.key] = value
    if question.key in ("counted", "gauge"):
        return _begins(question, table, answers, say)
    part = path.with_name(f"{path.name}.part")
    try:
        part.write_text(as_toml(answers), encoding="utf-8")
        load_measurements(part, known)
        part.replace(path)
    except OSError as fault:
        raise UnusableFile(
            f"cannot be written ({fault.strerror or fault})",
            "a place to write to",
            "Give another --out.",
            where=str(path),
        ) from fault
    except AirproofError as fault:
        part.unlink(missing_ok=True)
        say(f"{fault.given}; wanted: {fault.wanted}. {fault.way_out}")
        if before is None:
            del table[question.key]
        else:
            table[question.key] = before
        if fresh and question.what:
            answers["measured"].remove(table)
        elif fresh:
            del answers[question.table]
        return False
    return True


def _begins(question: Question, table: dict[str, Any], answers: dict[str, Any], say: Say) -> bool:
    """What only begins an entry cannot stand in the file alone: it is checked here, and written with the points."""
    value = str(table[question.key])
    if question.key == "gauge":
        try:
            gauge_limit(value)
        except AirproofError as fault:
            say(f"{fault.given}; wanted: {fault.wanted}. {fault.way_out}")
            del table["gauge"]
            return False
        return True
    counted = next((one for one in get_args(Counted) if value and one.startswith(value.casefold())), None)
    if counted is None:
        say("vacuum, gauge or absolute, or Enter to leave the sweep out.")
        answers["measured"].remove(table)
        return False
    table["counted"] = counted
    return True


def as_toml(answers: Mapping[str, Any]) -> str:
    """The answers, and what else the file held, as TOML; a sweep that has only been begun is left out."""
    lines = []
    for name, entries in answers.items():
        if isinstance(entries, list):
            for entry in entries:
                if name != "measured" or entry.get("what") != "sweep" or {"points", "creeps", "jumps"} & set(entry):
                    lines += [f"[[{name}]]", *(f"{key} = {_value(value)}" for key, value in entry.items()), ""]
        elif entries:
            lines += [f"[{name}]", *(f"{key} = {_value(value)}" for key, value in entries.items()), ""]
    return "\n".join(lines)


def _value(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (list, tuple)):
        return f"[{', '.join(_value(one) for one in value)}]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {_value(one)}" for key, one in value.items()) + "}"
    return str(value) if isinstance(value, (int, float)) else json.dumps(str(value), ensure_ascii=False)
