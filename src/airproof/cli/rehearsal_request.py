"""Carrying out one `airproof rehearse`: everything cheap is checked before anything is simulated."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from airproof.cli.progress import counting
from airproof.cli.streams import complain, say, say_parts
from airproof.cli.teaching_request import SheetWanted, write_sheet, written
from airproof.diagnosis.place_as_typed import quantity_of, the_ambient_c, the_barometer
from airproof.engine.profile import EngineProfile
from airproof.engine.rehearsal.air.build import Details, RehearsedEngine, load_rehearsed_engine
from airproof.engine.rehearsal.compare import Comparison, as_recording, compare
from airproof.engine.rehearsal.compiled import is_ready
from airproof.engine.rehearsal.faults import MOST, Fault, parse_fault
from airproof.engine.rehearsal.many import (
    USUAL_DIALECT,
    USUAL_LOGGER,
    Plan,
    logged,
    record,
    refuse_others_in,
    rehearse_many,
)
from airproof.engine.rehearsal.rehearse import Rehearsal, Request, Scene, rehearse
from airproof.engine.rehearsal.road.drives import Drive, drive_from
from airproof.engine.rehearsal.written.logger import logger_named
from airproof.engine.rehearsal.written.recording_file import dialect_named
from airproof.engine.rehearsal.written.truth import comparison_object, refuse_others, truth_object
from airproof.errors import UnusableRequest
from airproof.knowledge.model import NONE
from airproof.report.exhibits import check_folder
from airproof.report.pictures.compared import draw_compared
from airproof.report.rehearsal_in_words import compared_as_table, compared_in_words, the_point
from airproof.report.rehearsed_in_words import fault_in_words, rehearsed_in_words

COMPARING_LOGGER = "fast"
COMPARED = "compared.svg"
MOST_AT_ONCE = 100_000


@dataclass(frozen=True)
class Rehearsing:
    """The options of `airproof rehearse` as they were typed."""

    engine: Path | None
    causes: Sequence[str]
    drive: str | None
    seed: str | None
    out: Path | None
    compare: bool
    exhibits: Path | None
    sheet: SheetWanted | None
    many: str | None
    spread: bool
    altitude: str | None
    barometer: str | None
    ambient: str | None
    json: bool
    logger: str | None
    written: str | None


def carry_out(asked: Rehearsing) -> None:
    """Simulate, write and tell."""
    _refuse_contradictions(asked)
    seed = _whole("--seed", asked.seed or "1", 0, 2**31 - 1)
    number = None if asked.many is None else _whole("--many", asked.many, 1, MOST_AT_ONCE)
    if asked.exhibits is not None:
        check_folder(asked.exhibits, [COMPARED])
    if asked.logger is not None:
        logger_named(asked.logger)
    if asked.written is not None:
        dialect_named(asked.written)
    engine = None if asked.engine is None else load_rehearsed_engine(asked.engine)
    if engine is not None:
        _refuse_diesel(engine.engine)
    faults = _faults(asked.causes, engine)
    drive = None if asked.drive is None else drive_from(asked.drive)
    scene = _scene(asked)
    if number is not None:
        _many(asked, number, seed, engine, faults, drive, scene)
        return
    assert engine is not None
    if asked.out is not None:
        _refuse_what_is_driven(asked.drive, asked.out)
        refuse_others(asked.out)
    request = Request(engine.engine, engine.rehearsal, faults or (), seed=seed, scene=scene)
    if drive is not None:
        request = replace(request, drive=drive)
    _say_if_compiling()
    rehearsal = rehearse(request)
    logger, dialect = asked.logger or USUAL_LOGGER, asked.written or USUAL_DIALECT
    truth = truth_object(rehearsal, "" if asked.out is None else asked.out.name, logger, dialect)
    if asked.out is not None:
        written = record(rehearsal, asked.out, logger, dialect)
        if not asked.json:
            say_parts(rehearsed_in_words(rehearsal, asked.out, written))
    if asked.compare:
        truth["comparison"] = comparison_object(_compare(asked, rehearsal))
    if asked.json:
        say(json.dumps(truth, indent=1, allow_nan=False))


def _compare(asked: Rehearsing, faulty: Rehearsal) -> Comparison:
    healthy = rehearse(replace(faulty.request, faults=()))
    logger = asked.logger or COMPARING_LOGGER
    one = as_recording(logged(healthy, logger), "healthy")
    other = as_recording(logged(faulty, logger), "faulty")
    comparison = compare(one, other, idle_rpm=faulty.request.profile.idle_rpm)
    title = " ".join(fault_in_words(fault) for fault in faulty.request.faults) or "Nothing is wrong."
    if not asked.json:
        if asked.out is not None:
            say("")
        codes = [sorted(each.codes.pending | each.codes.confirmed) for each in (healthy, faulty)]
        say_parts(compared_in_words(comparison, codes[0], codes[1], title))
        if comparison.moves:
            say(f"\nEverything that moves (pressures absolute)\n{compared_as_table(comparison)}")
    if asked.sheet is not None:
        write_sheet(faulty, asked.sheet)
        if not asked.json:
            say(f"\n{written(asked.sheet)}")
    if asked.exhibits is not None:
        asked.exhibits.mkdir(parents=True, exist_ok=True)
        path = asked.exhibits / COMPARED
        draw_compared(comparison, one, other, the_point(comparison), path)
        if not asked.json:
            say(f"\nExhibit: {path}")
    return comparison


def _many(
    asked: Rehearsing, number: int, seed: int, engine: RehearsedEngine | None, faults: tuple[Fault, ...] | None,
    drive: Drive | None, scene: Scene,
) -> None:  # fmt: skip
    assert asked.out is not None
    request = None
    if engine is not None and not asked.spread:
        request = Request(engine.engine, engine.rehearsal, faults or (), seed=seed, scene=scene)
        request = request if drive is None else replace(request, drive=drive)
    plan = Plan(number, seed, asked.out, request, faults, drive, asked.logger, asked.written)
    refuse_others_in(plan)
    _say_if_compiling()
    with counting(f"rehearsing {number}") as progress:
        index = rehearse_many(plan, progress)
    if asked.json:
        say(json.dumps({"schema": "airproof.rehearsals/1", "number": number, "list": str(index)}, indent=1))
    else:
        say(f"{number} rehearsals are in {asked.out}: recordings, engine files and truths; {index.name} lists them.")


def _refuse_what_is_driven(drive: str | None, out: Path) -> None:
    if drive is not None and out.exists() and Path(drive).exists() and out.samefile(drive):
        raise UnusableRequest(f"{out} for both --drive and --out", "a file of its own for each", "Name another --out.")


def _say_if_compiling() -> None:
    if not is_ready():
        complain("the first rehearsal compiles the simulated engine: about half a minute, once")


def _refuse_contradictions(asked: Rehearsing) -> None:
    if asked.many is None:
        if asked.spread:
            raise UnusableRequest("--spread alone", "--many and --spread", "Say how many: --many 100 --spread.")
        if asked.engine is None:
            raise UnusableRequest("no engine", "--engine ENGINE.toml", "airproof rehearse --help shows one.")
        if asked.out is None and not asked.compare:
            wanted = "--out FILE.csv for a recording, or --compare for a table"
            raise UnusableRequest("neither --out nor --compare", wanted, "Add one of them.")
    else:
        if asked.out is None:
            raise UnusableRequest("--many without --out", "a folder for the recordings", "Add --out FOLDER.")
        if asked.compare:
            raise UnusableRequest("--many with --compare", "one or the other", "Leave one out.")
        if asked.spread == (asked.engine is not None):
            given = "--many with both --engine and --spread" if asked.spread else "--many without an engine"
            raise UnusableRequest(
                given, "--engine ENGINE.toml for one engine, or --spread for all kinds", "Choose one."
            )
        if asked.spread and (asked.altitude or asked.barometer or asked.ambient):
            raise UnusableRequest(
                "--spread with a place", "places are drawn too", "Leave out altitude, barometer, ambient."
            )
    if asked.sheet is not None and not (asked.compare and asked.causes):
        raise UnusableRequest("--sheet alone", "--compare and a --cause to teach", "Add both.")
    if asked.exhibits is not None and not asked.compare:
        raise UnusableRequest("--exhibits without --compare", "something to draw", "Add --compare.")


def _refuse_diesel(profile: EngineProfile) -> None:
    if profile.fuel == "diesel":
        raise UnusableRequest(
            "a diesel engine", "a petrol engine", "Rehearsals of diesel engines are not built yet.", where="--engine"
        )


def _faults(causes: Sequence[str], engine: RehearsedEngine | None) -> tuple[Fault, ...] | None:
    """The faults asked for; None where nothing is said, () where `none` is."""
    if not causes:
        return None
    if [cause.strip() for cause in causes] == [NONE]:
        return ()
    profile = None if engine is None else engine.engine
    details = Details() if engine is None else engine.rehearsal
    faults = tuple(parse_fault(text, profile, details) for text in causes)
    if len({fault.cause for fault in faults}) < len(faults):
        raise UnusableRequest("the same cause twice", "each cause once", "Leave one out.", where="--cause")
    if len(faults) > MOST:
        raise UnusableRequest(f"{len(faults)} causes", f"{MOST} at most", "Leave some out.", where="--cause")
    return faults


def _scene(asked: Rehearsing) -> Scene:
    scene = Scene()
    barometer, ambient_c = the_barometer(asked.altitude, asked.barometer), the_ambient_c(asked.ambient)
    if asked.barometer is not None:  # what is ordered is no report of the weather
        barometer = the_barometer(None, asked.barometer)
    if (
        barometer is not None
    ):  # the weather is what is left of this pressure at the altitude, sea level if nothing is said
        altitude = quantity_of("--altitude", asked.altitude, "length", "350m")
        scene = replace(scene, altitude_m=round(altitude or 0.0, 1), weather_kpa=0.0)
        scene = replace(scene, weather_kpa=barometer.kpa - scene.barometer_kpa)
    return scene if ambient_c is None else replace(scene, ambient_c=ambient_c)


def _whole(option: str, text: str, least: int, most: int) -> int:
    try:
        number = int(text.strip())
    except ValueError:
        number = least - 1
    if not least <= number <= most:
        raise UnusableRequest(f"{text[:40]!r}", f"a whole number from {least} to {most}", "Check it.", where=option)
    return number
