"""`airproof job`: the jobs that are kept, from intake to verdict."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from airproof.cli.job_request import Where

HELP = """Keep jobs: one car, one complaint, everything said of it, and its recordings.

\b
  airproof job new --plate "AB C 123" --complaint "lamp on, hesitates" --engine engine.toml
  airproof job add 1 --code P0106 --symptom hesitation --altitude 350m --recording drive.csv
  airproof job weigh 1
  airproof job plan 1
  airproof job add 1 --step look-hoses=no --minutes 5
  airproof job prove 1 again.csv --step replace-map-sensor
  airproof job show 1 --history
  airproof job list P0106 --open

Nothing is lost by correcting it: each fact has a number, --correct and --withdraw name it.
Jobs lie in your data folder; --data or AIRPROOF_DATA names another one, AIRPROOF_STORE a PostgreSQL
database. All but delete take --json.
"""

app = typer.Typer(name="job", help=HELP, no_args_is_help=False, rich_markup_mode=None, add_completion=False)

Many = list[str] | None
Data = Annotated[Many, typer.Option("--data", metavar="DIR", help="The folder of the jobs, if not the usual one.")]
By = Annotated[Many, typer.Option("--by", metavar="NAME", help="Who says so; your user name if nothing is said.")]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]
Job = Annotated[str, typer.Argument(metavar="JOB", help="The number of the job.", show_default=False)]
Prices = Annotated[Many, typer.Option("--prices", metavar="PRICES.toml", help="Your own prices of parts and time.")]
Shop = Annotated[Many, typer.Option("--shop", metavar="SHOP.json", help="What your shop has learned.")]
Seen = Annotated[
    Many,
    typer.Option("--seen", metavar="N", help="The last event you have seen: refused if others wrote since."),
]

Engine = Annotated[Many, typer.Option("--engine", metavar="ENGINE.toml", help="What engine it is.")]
Complaint = Annotated[Many, typer.Option("--complaint", metavar="TEXT", help="What the owner says.")]
Make = Annotated[Many, typer.Option("--make", metavar="NAME", help="Who made the car.")]
Model = Annotated[Many, typer.Option("--model", metavar="NAME", help="Its model.")]
Year = Annotated[Many, typer.Option("--year", metavar="2009", help="Its year.")]
Vin = Annotated[Many, typer.Option("--vin", metavar="VIN", help="Its identification number; a doubtful one is kept.")]
Plate = Annotated[Many, typer.Option("--plate", metavar="PLATE", help="Its number plate.")]
Owner = Annotated[Many, typer.Option("--owner", metavar="NAME", help="Whose car it is.")]
Altitude = Annotated[Many, typer.Option("--altitude", metavar="350m", help="Where it is, above the sea.")]
Barometer = Annotated[Many, typer.Option("--barometer", metavar="98.2kPa", help="The air's pressure there, absolute.")]
Ambient = Annotated[Many, typer.Option("--ambient", metavar="18C", help="The air's temperature outside.")]
Code = Annotated[Many, typer.Option("--code", metavar="P0106", help="A code, or P0106=pending. Again for more.")]
Symptom = Annotated[Many, typer.Option("--symptom", metavar="NAME", help="What the driver notices. Again for more.")]
Note = Annotated[Many, typer.Option("--note", metavar="TEXT", help="Anything else worth keeping. Again for more.")]


def _where(data: Many, by: Many, *, json: bool) -> Where:
    from airproof.cli.job_request import where

    return where(data, by, json=json)


@app.callback(invoke_without_command=True)
def _job(context: typer.Context) -> None:
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())


@app.command("new")
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
    open_job(_where(data, by, json=json), said)


@app.command("add")
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
        typer.Option("--step", metavar="STEP", help="A step done: STEP=yes, =no, =done or =could-not. One at a time."),
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
      airproof job add 1 --correct 5 --code P0107
      airproof job add 1 --withdraw 7
      airproof job add 1 --closed vacuum-leak --proved

    "airproof job show JOB" shows each fact with its number.
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
    add_to_job(_where(data, by, json=json), job, said, seen)


@app.command("list")
def list_jobs(
    words: Annotated[
        list[str] | None,
        typer.Argument(metavar="[WORDS]", help="Words that stand anywhere in the job.", show_default=False),
    ] = None,
    plate: Plate = None,
    vin: Vin = None,
    owner: Owner = None,
    code: Annotated[Many, typer.Option("--code", metavar="P0106", help="A code that it has.")] = None,
    cause: Annotated[Many, typer.Option("--cause", metavar="CAUSE", help="What it was, or most probably is.")] = None,
    open_: Annotated[bool, typer.Option("--open", help="Only jobs that are not closed.")] = False,
    closed: Annotated[bool, typer.Option("--closed", help="Only jobs that are closed.")] = False,
    all_: Annotated[bool, typer.Option("--all", help="All of them, not only the last 50.")] = False,
    data: Data = None,
    json: Json = False,
) -> None:
    """List jobs, the one changed last first, and search in them.

    \b
      airproof job list
      airproof job list meier hesitates --open
      airproof job list --plate c123 --code P0106
    """
    from airproof.cli.job_request import tell_list

    searched = {"plate": plate, "vin": vin, "owner": owner, "code": code, "cause": cause}
    tell_list(_where(data, None, json=json), words or [], searched, only_open=open_, only_closed=closed, all_=all_)


@app.command("show")
def show(
    job: Job,
    history: Annotated[bool, typer.Option("--history", help="All that was said, when and by whom.")] = False,
    data: Data = None,
    json: Json = False,
) -> None:
    """Show a job: what stands, each fact with its number.

    \b
      airproof job show 1
      airproof job show 1 --history
    """
    from airproof.cli.job_request import tell_job

    tell_job(_where(data, None, json=json), job, history=history)


@app.command("weigh")
def weigh(
    job: Job,
    prices: Prices = None,
    shop: Shop = None,
    exhibits: Annotated[
        Many, typer.Option("--exhibits", metavar="DIR", help="Draw the evidence into this folder.")
    ] = None,
    data: Data = None,
    by: By = None,
    json: Json = False,
) -> None:
    """Weigh all that a job holds, and keep the verdict in it.

    \b
      airproof job weigh 1
    """
    from airproof.cli.job_weighing import weigh_and_tell

    weigh_and_tell(_where(data, by, json=json), job, prices, shop, exhibits)


@app.command("plan")
def plan(
    job: Job, prices: Prices = None, shop: Shop = None, data: Data = None, by: By = None, json: Json = False
) -> None:
    """Plan the repair from the job's verdict; it is weighed anew where facts have come in since.

    \b
      airproof job plan 1
    """
    from airproof.cli.job_weighing import plan_and_tell

    plan_and_tell(_where(data, by, json=json), job, prices, shop)


@app.command("write-up")
def write_up(
    job: Job,
    out: Annotated[
        Many, typer.Option("--out", metavar="FILE.pdf|FILE.html", help="The file to write. Again for both.")
    ] = None,
    paper: Annotated[Many, typer.Option("--paper", metavar="a4|letter", help="The paper of the PDF.")] = None,
    units: Annotated[
        Many, typer.Option("--units", metavar="kPa|inHg|psi|bar|mmHg", help="In what pressures are shown.")
    ] = None,
    temperature: Annotated[
        Many, typer.Option("--temperature", metavar="C|F", help="In what temperatures are shown, if not as usual.")
    ] = None,
    vacuum: Annotated[
        bool, typer.Option("--vacuum", help="Show readings from the air outside: vacuum below it, gauge above.")
    ] = False,
    language: Annotated[Many, typer.Option("--language", metavar="en|de|fr|es", help="In which language.")] = None,
    without_private: Annotated[
        bool, typer.Option("--without-private", "--private", help="Leave out VIN, plate and owner.")
    ] = False,
    prices: Prices = None,
    shop: Shop = None,
    data: Data = None,
    json: Json = False,
) -> None:
    """Write a job up: the first page for the owner, behind it all the evidence for the trade.

    \b
      airproof job write-up 1 --out job-1.pdf
      airproof job write-up 1 --out job-1.pdf --out job-1.html --language de --units bar
      airproof job write-up 1 --out to-show.pdf --paper letter --units inHg --without-private
    """
    from airproof.cli.write_up_request import wanted_of, write_up_and_tell

    wanted = wanted_of(out, paper, units, temperature, language, vacuum=vacuum, private=without_private)
    write_up_and_tell(_where(data, None, json=json), job, wanted, prices, shop)


@app.command("teach")
def teach(
    job: Job,
    out: Annotated[Many, typer.Option("--out", metavar="DIR", help="The folder for the sheet.")] = None,
    paper: Annotated[Many, typer.Option("--paper", metavar="a4|letter", help="The paper of the PDF.")] = None,
    units: Annotated[
        Many, typer.Option("--units", metavar="kPa|inHg|psi|bar|mmHg", help="In what pressures are shown.")
    ] = None,
    language: Annotated[Many, typer.Option("--language", metavar="en|de|fr|es", help="In which language.")] = None,
    data: Data = None,
    json: Json = False,
) -> None:
    """Make a teaching sheet: this engine healthy and with this fault, in five sentences and three exhibits.

    \b
      airproof job teach 1 --out sheet

    Both drives are rehearsed, so that nothing of the car or its owner is in it.
    """
    from airproof.cli.teaching_request import teach_and_tell

    teach_and_tell(_where(data, None, json=json), job, out, paper, units, language)


@app.command("prove")
def prove(
    job: Job,
    after: Annotated[
        list[str] | None,
        typer.Argument(metavar="[AFTER_RECORDING]", help="Recordings from after the repair.", show_default=False),
    ] = None,
    step: Annotated[
        Many, typer.Option("--step", metavar="STEP", help="What was done: the id of a step. Again for more.")
    ] = None,
    cause: Annotated[Many, typer.Option("--cause", metavar="CAUSE", help="What it was to mend.")] = None,
    day: Annotated[
        Many, typer.Option("--day", metavar="2026-03-14", help="The day of the repair, if not today.")
    ] = None,
    minutes: Annotated[Many, typer.Option("--minutes", metavar="N", help="What the repair took, in minutes.")] = None,
    money: Annotated[Many, typer.Option("--money", metavar="N", help="What the repair took, in money.")] = None,
    altitude: Altitude = None,
    barometer: Barometer = None,
    ambient: Ambient = None,
    signals: Annotated[
        Many, typer.Option("--signals", metavar="MAP.toml", help="Which heading of these files is which signal.")
    ] = None,
    code: Annotated[
        Many, typer.Option("--code", metavar="P0106=pending", help="A code that is there after. Again for more.")
    ] = None,
    codes_read: Annotated[
        bool, typer.Option("--codes-read", help="All codes were read after the repair: no others are there.")
    ] = False,
    cleared: Annotated[bool, typer.Option("--cleared", help="The codes were cleared after the repair.")] = False,
    monitor: Annotated[
        Many, typer.Option("--monitor", metavar="NAME=complete", help="A readiness monitor after; or =incomplete.")
    ] = None,
    warm_ups: Annotated[Many, typer.Option("--warm-ups", metavar="N", help="Warm-ups since the clearing.")] = None,
    distance: Annotated[Many, typer.Option("--distance", metavar="35km", help="Distance since the clearing.")] = None,
    days: Annotated[
        Many, typer.Option("--days", metavar="N", help="Days since the repair, if not counted from its day.")
    ] = None,
    returned: Annotated[bool, typer.Option("--returned", help="The owner says that the trouble is back.")] = False,
    shop: Shop = None,
    data: Data = None,
    by: By = None,
    json: Json = False,
) -> None:
    """Prove the repair of a job: what is said here is kept, and so is the proof.

    \b
      airproof job prove 1 again.csv --step replace-map-sensor --minutes 20
      airproof job prove 1 --cleared --codes-read --warm-ups 2 --distance 40km
      airproof job prove 1 --days 30

    Place and air are those of the recording after, where they differ from the job's. Days count from
    the repair by themselves.
    """
    from airproof.cli.job_proving import Said, prove_and_tell

    said = Said(
        after=after,
        steps=step,
        cause=cause,
        day=day,
        minutes=minutes,
        money=money,
        place={"altitude": altitude, "barometer": barometer, "ambient": ambient},
        signals=signals,
        codes=code,
        codes_read=codes_read,
        cleared=cleared,
        monitors=monitor,
        warm_ups=warm_ups,
        distance=distance,
        days=days,
        returned=returned,
    )
    prove_and_tell(_where(data, by, json=json), job, said, shop)


@app.command("reopen")
def reopen(
    job: Job,
    why: Annotated[Many, typer.Option("--why", metavar="TEXT", help="Why it is open again.")] = None,
    data: Data = None,
    by: By = None,
    json: Json = False,
) -> None:
    """Open a closed job again; all that was said of it stands.

    \b
      airproof job reopen 1 --why "the lamp is on again"
    """
    from airproof.cli.job_proving import reopen_and_tell

    reopen_and_tell(_where(data, by, json=json), job, why)


@app.command("learn")
def learn(
    job: Job,
    shop: Shop = None,
    data: Data = None,
    json: Json = False,
) -> None:
    """Count a closed job in what the shop has learned.

    \b
      airproof job learn 1 --shop shop.json

    The same job again changes nothing; "airproof learn --shop shop.json --show" tells what was learned.
    """
    from airproof.cli.job_proving import learn_and_tell

    learn_and_tell(_where(data, None, json=json), job, shop)


@app.command("export")
def export(
    job: Job,
    out: Annotated[Many, typer.Option("--out", metavar="FILE.zip", help="The file to write.")] = None,
    without_private: Annotated[
        bool, typer.Option("--without-private", help="Leave out VIN, plate and owner, and the original recordings.")
    ] = False,
    data: Data = None,
    json: Json = False,
) -> None:
    """Write a whole job, with its recordings, to one file.

    \b
      airproof job export 1 --out job-1.zip
      airproof job export 1 --out to-show.zip --without-private
    """
    from airproof.cli.job_request import export_and_tell

    export_and_tell(_where(data, None, json=json), job, out, private=not without_private)


@app.command("import")
def import_(
    file: Annotated[str, typer.Argument(metavar="FILE.zip", help="A job file.", show_default=False)],
    as_new: Annotated[bool, typer.Option("--as-new", help="Another job, even if this one is here.")] = False,
    data: Data = None,
    json: Json = False,
) -> None:
    """Take a job in from a file; one that is here already is continued.

    \b
      airproof job import job-1.zip
    """
    from airproof.cli.job_request import import_and_tell

    import_and_tell(_where(data, None, json=json), file, as_new=as_new)


@app.command("delete")
def delete(
    job: Job,
    export_to: Annotated[
        Many, typer.Option("--export", metavar="FILE.zip", help="Where the job is written before.")
    ] = None,
    data: Data = None,
) -> None:
    """Delete a job for good: it is exported first, and asked twice.

    \b
      airproof job delete 1 --export job-1.zip
    """
    from airproof.cli.job_request import delete_and_tell

    delete_and_tell(_where(data, None, json=False), job, export_to)
