"""Carrying out one `airproof prove`: everything cheap is checked before anything long is begun."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, Field, ValidationError

from airproof.cli.progress import progress_over
from airproof.cli.streams import say, say_parts
from airproof.cli.weighing_request import codes_named, facts_told, measurements_in, read_all, refuse_repeats
from airproof.diagnosis.facts import Facts
from airproof.diagnosis.place_as_typed import quantity_of, the_ambient_c, the_barometer
from airproof.diagnosis.weigh import weigh
from airproof.engine.profile import load_profile
from airproof.errors import UnusableFile, UnusableRequest
from airproof.knowledge.load import knowledge
from airproof.knowledge.model import Knowledge
from airproof.recording.mapping import read_signal_map
from airproof.repair.proof.after import Said
from airproof.repair.proof.as_typed import codes_said, count_of, days_of, fuel_said, monitors_said
from airproof.repair.proof.prove import AfterRepair, Before, Done, check_done, prove
from airproof.report.proof_as_json import as_json
from airproof.report.proof_in_words import in_words
from airproof.toml_files import in_words as faults_in_words
from airproof.vehicle.recordings import with_heard

Place = tuple[str | None, str | None, str | None]
"""Altitude, barometer and ambient temperature as typed."""

VERDICT = "a verdict of airproof.verdict/1"


@dataclass(frozen=True)
class Asked:
    """The options of `airproof prove` as they were typed."""

    engine: Path
    before: Sequence[Path]
    after: Sequence[Path]
    steps: Sequence[str]
    cause: str | None
    baselines: Sequence[Path]
    sisters: Sequence[Path]
    signals: Path | None
    codes: Sequence[str]
    symptoms: Sequence[str]
    readings: Sequence[Path]
    place_before: Place
    place_after: Place
    fuel_after: str | None
    codes_after: Sequence[str]
    codes_read: bool
    cleared: bool | None
    monitors: Sequence[str]
    warm_ups: str | None
    distance: str | None
    days: str | None
    returned: bool
    json: bool


class _Cause(BaseModel):
    id: str
    probability: Annotated[float, Field(ge=0.0, le=1.0)]


class _Verdict(BaseModel):
    version: Annotated[Literal["airproof.verdict/1"], Field(alias="schema")]
    causes: Annotated[list[_Cause], Field(min_length=1)]
    refusal: str | None = None


def carry_out(asked: Asked) -> None:
    """Prove and tell."""
    known = knowledge()
    verdicts = [path for path in asked.before if path.suffix.lower() == ".json"]
    recordings = [path for path in asked.before if path not in verdicts]
    if not recordings or len(verdicts) > 1:
        raise UnusableRequest(
            f"{len(recordings)} recordings and {len(verdicts)} verdicts from before",
            "at least one recording from before the repair, and one verdict of it at most",
            "Give --before RECORDING, and --before VERDICT.json beside it if you have one.",
        )
    refuse_repeats([*recordings, *asked.after], [*asked.baselines, *asked.sisters])
    profile = load_profile(asked.engine)
    codes = codes_named(asked.codes, known)
    facts = facts_told(asked.readings, known, codes, asked.symptoms)
    measurements = measurements_in(asked.readings, known)
    day_before, day_after = (the_barometer(one[0], one[1]) for one in (asked.place_before, asked.place_after))
    air_before, air_after = (the_ambient_c(one[2]) for one in (asked.place_before, asked.place_after))
    said, fuel = _said(asked, known), fuel_said("--fuel-after", asked.fuel_after)
    done = Done(tuple(asked.steps), asked.cause)
    check_done(done, known)
    probability = None if not verdicts else _of_verdict(verdicts[0], known)
    mapping = None if asked.signals is None else read_signal_map(asked.signals)
    with progress_over([*recordings, *asked.after, *asked.baselines, *asked.sisters]) as progress:
        heard: list[Facts] = []
        before = read_all(recordings, mapping, day_before, progress, known, heard)
        facts = with_heard(facts, heard)
        heard_after: list[Facts] = []
        after = read_all(asked.after, mapping, day_after, progress, known, heard_after, after=True)
        said = said.and_heard(heard_after)
        baselines = read_all(asked.baselines, mapping, day_before, progress, known)
        sisters = read_all(asked.sisters, mapping, day_before, progress, known)
        weighing = weigh(
            before,
            profile,
            baselines=baselines,
            sisters=sisters,
            barometer=day_before,
            ambient_c=air_before,
            readings=measurements,
            facts=facts,
            known=known,
            progress=progress.weighing,
        )
        were = {one.id: one.status for one in facts.codes}
        proof = prove(
            Before.weighed(weighing, day_before, air_before, were, probability),
            AfterRepair(tuple(after), day_after, air_after, said, fuel),
            done,
            profile,
            baselines=baselines,
            sisters=sisters,
            known=known,
        )
    if asked.json:
        say(as_json(proof))
    else:
        say_parts(in_words(proof))


def _said(asked: Asked, known: Knowledge) -> Said:
    metres = quantity_of("--distance", asked.distance, "length", "35km")
    return Said(
        codes=codes_said(asked.codes_after, known),
        codes_read=asked.codes_read,
        cleared=asked.cleared,
        monitors=monitors_said(asked.monitors, known),
        warm_ups=count_of("--warm-ups", asked.warm_ups),
        distance_km=None if metres is None else metres / 1e3,
        days=days_of("--days", asked.days),
        returned=asked.returned,
    )


def _of_verdict(path: Path, known: Knowledge) -> dict[str, float]:
    """Probabilities of the causes from a verdict that was written down."""
    where = str(path)
    way_out = 'Write one with "airproof weigh ... --json > verdict.json".'
    try:
        verdict = _Verdict.model_validate(json.loads(path.read_text(encoding="utf-8-sig")))
    except OSError as fault:
        raise UnusableFile("cannot be read", VERDICT, "Check the path.", where=where) from fault
    except ValidationError as fault:
        raise UnusableFile(faults_in_words(fault), VERDICT, way_out, where=where) from fault
    except (ValueError, RecursionError) as fault:
        raise UnusableFile(f"is not JSON ({fault})", VERDICT, way_out, where=where) from fault
    unknown = [one.id for one in verdict.causes if one.id not in known.causes]
    if unknown or verdict.refusal is not None:
        given = f"unknown cause {unknown[0]}" if unknown else f"nothing was judged there: {verdict.refusal}"
        raise UnusableFile(given, "a verdict that judges, with causes of this version", way_out, where=where)
    return {one.id: one.probability for one in verdict.causes}
