"""Carrying out one `airproof weigh`: everything cheap is checked before anything long is begun."""

from __future__ import annotations

import filecmp
import itertools
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from airproof.cli.progress import Progress, progress_over
from airproof.cli.shop import in_your_shop, learned_in
from airproof.cli.streams import complain, say, say_parts
from airproof.diagnosis.facts import STORED, Facts, StoredCode, facts_of
from airproof.diagnosis.meter.measured import Measurements
from airproof.diagnosis.place_as_typed import the_ambient_c, the_barometer
from airproof.diagnosis.weigh import weigh
from airproof.diagnosis.weighing import Barometer, Weighing
from airproof.engine.profile import load_profile
from airproof.errors import NoTimeColumn, UnknownHeadings, UnusableFile, UnusableRequest
from airproof.knowledge.load import knowledge
from airproof.knowledge.lookup import UnlistedCode, explain_code, find_symptom
from airproof.knowledge.model import Knowledge
from airproof.recording.mapping import SignalMap, read_signal_map
from airproof.recording.recording import Recording
from airproof.repair.plan import Plan, plan_from
from airproof.repair.prices import load_prices, tools_of
from airproof.report.as_json import as_json
from airproof.report.exhibits import Exhibit, check_folder, draw_exhibits
from airproof.report.in_words import Part, in_words
from airproof.vehicle.recordings import differences, read_with_facts, with_heard

if TYPE_CHECKING:
    from airproof.cli.write_up_request import Wanted

NAMED = 3  # of a long list
MAP_LINES = (
    "Write MAP.toml with the line [signals] and below it one line for each heading, as "
    'engine_speed = {heading = "...", unit = "1/min"} and manifold_pressure = {heading = "...", unit = "kPa"}, '
    "and give it with --signals MAP.toml."
)


@dataclass(frozen=True)
class Request:
    """The options of `airproof weigh` as they were typed."""

    recordings: Sequence[Path]
    engine: Path
    baselines: Sequence[Path]
    sisters: Sequence[Path]
    signals: Path | None
    codes: Sequence[str]
    symptoms: Sequence[str]
    altitude: str | None
    barometer: str | None
    ambient: str | None
    readings: Sequence[Path]
    prices: Path | None
    shop: Path | None
    json: bool
    exhibits: Path | None
    write_up: Wanted | None = None


def carry_out(request: Request) -> None:
    """Weigh and tell."""
    learned = learned_in(request.shop, knowledge())
    known = knowledge() if learned is None else learned.knowledge
    if request.exhibits is not None:
        check_folder(request.exhibits)
    refuse_repeats(request.recordings, [*request.baselines, *request.sisters])
    profile = load_profile(request.engine)
    codes = codes_named(request.codes, known)
    barometer = the_barometer(request.altitude, request.barometer)
    ambient_c = the_ambient_c(request.ambient)
    facts = facts_told(request.readings, known, codes, request.symptoms)
    measurements = measurements_in(request.readings, known)
    if not request.recordings and not facts.anything and not measurements:
        raise UnusableRequest(
            "neither a recording nor anything told",
            "a recording, or codes, symptoms, looks or readings",
            "Give a recording, --code, --symptom or --reading FILE.toml.",
        )
    prices = known.prices if request.prices is None else load_prices(request.prices, known.prices, tools_of(known))
    mapping = None if request.signals is None else read_signal_map(request.signals)
    with progress_over([*request.recordings, *request.baselines, *request.sisters]) as progress:
        heard: list[Facts] = []
        recordings = read_all(request.recordings, mapping, barometer, progress, known, heard)
        told, facts = facts, with_heard(facts, heard)
        baselines = read_all(request.baselines, mapping, barometer, progress, known)
        sisters = read_all(request.sisters, mapping, barometer, progress, known)
        weighing = weigh(
            recordings,
            profile,
            baselines=baselines,
            sisters=sisters,
            barometer=barometer,
            ambient_c=ambient_c,
            readings=measurements,
            facts=facts,
            known=known,
            progress=progress.weighing,
        )
    for difference in differences(told, heard):
        complain(difference)
    plan = plan_from(weighing, known, prices)
    written = _written(request, weighing, plan, facts, {"car": recordings, "good": baselines, "sister": sisters}, known)
    drawn = () if request.exhibits is None else draw_exhibits(weighing, request.exhibits)
    if request.json:
        say(as_json(weighing, plan, recordings, learned=learned))
        return
    taught = in_your_shop(learned, str(request.shop))
    say_parts([*in_words(weighing, plan, recordings), *taught, *_exhibits(drawn, request.exhibits), *written])


def _written(
    request: Request,
    weighing: Weighing,
    plan: Plan | None,
    facts: Facts,
    recordings: Mapping[str, Sequence[Recording]],
    known: Knowledge,
) -> list[Part]:
    """The write-up where one is wanted, and where it is."""
    if request.write_up is None:
        return []
    from airproof.cli.write_up_request import write
    from airproof.report.write_up.case import case_of
    from airproof.report.write_up.without_job import Given, events_of

    made_at = datetime.now(UTC)
    paths = {"car": request.recordings, "good": request.baselines, "sister": request.sisters}
    files = {path.name: path for some in paths.values() for path in some}
    given = [
        Given(files[one.label], one, role) for role, some in recordings.items() for one in some if one.label in files
    ]
    place = {"altitude": request.altitude, "barometer": request.barometer, "ambient": request.ambient}
    events = events_of(weighing.profile, place, facts, given, known, made_at)
    case = case_of(events, known, made_at, weighing=weighing, plan=plan)
    remarks = write(case, request.write_up)
    return [Part("written", "Written up", (*(f"{file}" for file in request.write_up.out), *remarks))]


def _exhibits(drawn: Sequence[Exhibit], folder: Path | None) -> list[Part]:
    lines = [
        f"{one.number}. {one.title}" + (f": not drawn, because {one.not_drawn}." if one.not_drawn is not None else ".")
        for one in drawn
    ]
    return [Part("exhibits", f"Exhibits, in {folder}", tuple(lines))] if lines else []


def read_all(
    paths: Sequence[Path],
    mapping: SignalMap | None,
    barometer: Barometer | None,
    progress: Progress,
    known: Knowledge,
    heard: list[Facts] | None = None,
    *,
    after: bool = False,
) -> list[Recording]:
    """The recordings; `heard` takes the codes, freeze frames and readiness that logs of a bus hold besides.

    `after`: they are of after the repair, and where codes were cleared within a log, what was told afterwards counts.
    """
    # Gauge pressures become absolute by the barometer where it was given, or by the altitude's usual one.
    kpa = None if barometer is None else barometer.kpa
    found = []
    try:
        for path in paths:
            recording, facts = read_with_facts(
                path, known, signals=mapping, barometer_kpa=kpa, progress=progress.reading(path), after=after
            )
            if recording is not None:
                found.append(recording)
            if heard is not None:
                heard.append(facts)
    except UnknownHeadings as fault:
        if mapping is not None or isinstance(fault, NoTimeColumn):
            raise
        raise UnusableFile(fault.given, fault.wanted, MAP_LINES, where=fault.where) from fault
    return found


def codes_named(typed: Sequence[str], known: Knowledge) -> list[StoredCode]:
    """Codes as typed, several at once too, each with =pending and the like where it has a status.

    Raises UnusableRequest for one that is not weighed here, and for a status that is none.
    """
    return [_code(code, known) for asked in typed for code in re.split(r"[\s,;]+", asked.strip())]


def facts_told(paths: Sequence[Path], known: Knowledge, codes: Sequence[StoredCode], asked: Sequence[str]) -> Facts:
    """Facts from reading files, codes and symptoms as typed; raises where one is not known."""
    symptoms = [_symptom(symptom, known) for symptom in asked]
    if not paths:
        return facts_of(codes, symptoms)
    from airproof.diagnosis.facts_file import load_facts  # what reads files is not needed where there are none

    return load_facts(paths, known, codes, symptoms)


def measurements_in(paths: Sequence[Path], known: Knowledge) -> list[Measurements]:
    """Measurements with a meter from reading files."""
    if not paths:
        return []
    from airproof.diagnosis.meter.measured_file import measurements_of

    return measurements_of(paths, known)


def _code(asked: str, known: Knowledge) -> StoredCode:
    name, _, status = asked.partition("=")
    if status and status.lower() not in known.statuses:
        raise UnusableRequest(
            f"{asked!r}", f"one of {', '.join(known.statuses)} after =", "Leave it out if unsure.", where="--code"
        )
    try:
        code = explain_code(name, known)
    except UnusableRequest as fault:
        raise UnusableRequest(fault.given, fault.wanted, fault.way_out, where="--code") from fault
    if isinstance(code, UnlistedCode):
        raise UnusableRequest(
            f"{code.id} is not among the codes that are weighed here (it concerns {code.area})",
            "codes of the air path, mixture, boost or idle",
            "Leave it out: the verdict would not change with it.",
            where="--code",
        )
    return StoredCode(code.id, status.lower() or STORED)


def _symptom(asked: str, known: Knowledge) -> str:
    try:
        return find_symptom(asked, known).id
    except UnusableRequest as fault:
        raise UnusableRequest(fault.given, fault.wanted, fault.way_out, where="--symptom") from fault


def refuse_repeats(recordings: Sequence[Path], baselines: Sequence[Path]) -> None:
    """A recording weighed twice counts its evidence twice; one that is its own baseline proves nothing."""
    for first, second in itertools.combinations([*recordings, *baselines], 2):
        if not _same(first, second):
            continue
        role = "one given as good" if second in baselines and first in recordings else "another one"
        raise UnusableRequest(
            f"{first} and {role}, {second}, are the same recording",
            "different recordings",
            "Give each once; a good one is another recording, of a time or a car known to be good.",
        )


def _same(first: Path, second: Path) -> bool:
    try:
        if first.samefile(second):
            return True
        return first.is_file() and second.is_file() and filecmp.cmp(first, second, shallow=False)
    except OSError:
        return False  # what cannot be opened is told when it is read
