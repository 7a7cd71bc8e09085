"""`airproof job new` and `add`: what is said of a car goes into its job."""

from __future__ import annotations

from typing import Annotated

import typer

from airproof.cli.job_options import (
    Altitude,
    Ambient,
    Barometer,
    By,
    Code,
    Complaint,
    Data,
    Engine,
    Job,
    Json,
    Make,
    Many,
    Model,
    Note,
    Owner,
    Plate,
    Seen,
    Symptom,
    Vin,
    Year,
    where_of,
)


def new(
    engine: Engine = None,
    complaint: Complaint = None,
    make: Make = None,
    model: Model = None,
    year: Year = None,
    vin: Vin = None,
    plate: Plate = None,
    owner: Owner = None,
    altitude: Altitude = None,
    barometer: Barometer = None,
    ambient: Ambient = None,
    code: Code = None,
    symptom: Symptom = None,
    note: Note = None,
    data: Data = None,
    by: By = None,
    json: Json = False,
) -> None:
    """Open a job; its number is printed.

    \b
      airproof job new --plate "AB C 123" --complaint "lamp on" --engine engine.toml --code P0106
    """
    from airproof.cli.job_adding import Said, open_job

    told = {"make": make, "model": model, "year": year, "vin": vin, "plate": plate, "owner": owner}
    place = {"altitude": altitude, "barometer": barometer, "ambient": ambient}
    said = Said(
        car=told, place=place, engine=engine, complaint=complaint, codes=code, noted={"symptom": symptom}, notes=note
    )
    open_job(where_of(data, by, json=json), said)


def add(
    job: Job,
    engine: Engine = None,
    complaint: Complaint = None,
    make: Make = None,
    model: Model = None,
    year: Year = None,
    vin: Vin = None,
    plate: Plate = None,
    owner: Owner = None,
    altitude: Altitude = None,
    barometer: Barometer = None,
    ambient: Ambient = None,
    code: Code = None,
    symptom: Symptom = None,
    look: Annotated[
        Many, typer.Option("--look", metavar="NAME", help="What was seen; NAME=no if looked for and not there.")
    ] = None,
    history: Annotated[
        Many, typer.Option("--history", metavar="NAME", help="What was done to the car before. Again for more.")
    ] = None,
    condition: Annotated[
        Many, typer.Option("--condition", metavar="NAME", help="When the trouble comes. Again for more.")
    ] = None,
    reading: Annotated[
        Many, typer.Option("--reading", metavar="FILE.toml", help="Facts and measurements, as weigh takes them.")
    ] = None,
    recording: Annotated[
        Many, typer.Option("--recording", metavar="FILE", help="A recording of this car. Again for more.")
    ] = None,
    baseline: Annotated[
        Many, typer.Option("--baseline", metavar="FILE", help="A recording of this car known to be good.")
    ] = None,
    sister: Annotated[
        Many, typer.Option("--sister", metavar="FILE", help="A good one of another car with this engine.")
    ] = None,
    after: Annotated[
        Many, typer.Option("--after", metavar="FILE", help="A recording of this car from after the repair.")
    ] = None,
    signals: Annotated[
        Many, typer.Option("--signals", metavar="MAP.toml", help="Which heading of these files is which signal.")
    ] = None,
    step: Annotated[
        Many,
        typer.Option(
            "--step",
            metavar="STEP",
            help="A step: STEP=yes or =no; a repair: =helped, =did-not-help, =done (not known yet); =could-not.",
        ),
    ] = None,
    minutes: Annotated[Many, typer.Option("--minutes", metavar="N", help="What the step took, in minutes.")] = None,
    money: Annotated[Many, typer.Option("--money", metavar="N", help="What the step took, in money.")] = None,
    closed: Annotated[
        Many, typer.Option("--closed", metavar="CAUSE", help="The job is done, and this was the cause.")
    ] = None,
    proved: Annotated[
        bool, typer.Option("--proved", help="The repair was proved; else the cause is believed.")
    ] = False,
    note: Note = None,
    correct: Annotated[
        Many, typer.Option("--correct", metavar="N", help="What is said here takes the place of fact N.")
    ] = None,
    withdraw: Annotated[
        Many, typer.Option("--withdraw", metavar="N", help="Take fact N back, as if never said. Again for more.")
    ] = None,
    seen: Seen = None,
    data: Data = None,
    by: By = None,
    json: Json = False,
) -> None:
    """Add facts to a job, correct them or take them back.

    \b
      airproof job add 1 --code P0106=pending --symptom rough-idle --look plug-loose=no
      airproof job add 1 --recording drive.csv --baseline good.csv
      airproof job add 1 --step smoke-test-intake=yes --minutes 25
      airproof job add 1 --step mend-vacuum-leak=helped --minutes 40 --money 12
      airproof job add 1 --correct 5 --code P0107
      airproof job add 1 --withdraw 7
      airproof job add 1 --closed vacuum-leak --proved

    "airproof job show JOB" shows each fact with its number. What is said anew of one thing (a code, a step,
    the place) takes the place of what was said before, which the history keeps.
    """
    from airproof.cli.job_adding import Said, add_to_job

    told = {"make": make, "model": model, "year": year, "vin": vin, "plate": plate, "owner": owner}
    place = {"altitude": altitude, "barometer": barometer, "ambient": ambient}
    said = Said(
        car=told,
        place=place,
        engine=engine,
        complaint=complaint,
        codes=code,
        noted={"symptom": symptom, "look": look, "history": history, "condition": condition},
        readings=reading,
        recordings={"car": recording, "good": baseline, "sister": sister, "after": after},
        signals=signals,
        step=step,
        minutes=minutes,
        money=money,
        closed=closed,
        proved=proved,
        notes=note,
        correct=correct,
        withdraw=withdraw,
    )
    add_to_job(where_of(data, by, json=json), job, said, seen)
