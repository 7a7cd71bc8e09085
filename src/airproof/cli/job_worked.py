"""`airproof job weigh`, `plan`, `prove` and what follows: from what a job holds to its end."""

from __future__ import annotations

from typing import Annotated

import typer

from airproof.cli.job_options import (
    Altitude,
    Ambient,
    Barometer,
    By,
    Data,
    Job,
    Json,
    Many,
    Prices,
    Shop,
    where_of,
)


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

    weigh_and_tell(where_of(data, by, json=json), job, prices, shop, exhibits)


def plan(
    job: Job, prices: Prices = None, shop: Shop = None, data: Data = None, by: By = None, json: Json = False
) -> None:
    """Plan the repair from the job's verdict; it is weighed anew where facts have come in since.

    \b
      airproof job plan 1
    """
    from airproof.cli.job_weighing import plan_and_tell

    plan_and_tell(where_of(data, by, json=json), job, prices, shop)


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
    write_up_and_tell(where_of(data, None, json=json), job, wanted, prices, shop)


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

    teach_and_tell(where_of(data, None, json=json), job, out, paper, units, language)


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
        Many,
        typer.Option(
            "--code-after", "--code", metavar="P0106=pending", help="A code that is there after. Again for more."
        ),
    ] = None,
    codes_read: Annotated[
        bool, typer.Option("--codes-read", help="All codes were read after the repair: no others are there.")
    ] = False,
    cleared: Annotated[bool, typer.Option("--cleared", help="The codes were cleared after the repair.")] = False,
    not_cleared: Annotated[
        bool, typer.Option("--not-cleared", help="They were not. Give neither where nobody knows.")
    ] = False,
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
    from airproof.cli.typed import either

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
        cleared=either("--cleared", cleared, "--not-cleared", not_cleared),
        monitors=monitor,
        warm_ups=warm_ups,
        distance=distance,
        days=days,
        returned=returned,
    )
    prove_and_tell(where_of(data, by, json=json), job, said, shop)


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

    reopen_and_tell(where_of(data, by, json=json), job, why)


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

    learn_and_tell(where_of(data, None, json=json), job, shop)
