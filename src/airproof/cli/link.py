"""`airproof link`: talking to a car over CAN."""

from __future__ import annotations

from typing import Annotated

import typer

HELP = """Talk to a car over CAN: find it, read its codes, record it, clear its codes.

\b
  airproof link stand-in --engine engine.toml --cause map-offset=12kPa     (in another window, no car needed)
  airproof link find --adapter udp_multicast
  airproof link codes --adapter udp_multicast --out car.toml
  airproof link record --adapter udp_multicast --out drive.csv
  airproof link clear --adapter udp_multicast --out before.json
  airproof link read capture.log

With a car: --adapter socketcan:can0, slcan:/dev/ttyACM0, gs_usb:0, ...: docs/link.md says how to find yours.
Nothing is sent but the legislated questions that read; clear is the one exception, and asks twice. On the road the
driver drives and a passenger reads.
"""

app = typer.Typer(name="link", help=HELP, no_args_is_help=False, rich_markup_mode=None, add_completion=False)

Many = list[str] | None
AdapterName = Annotated[Many, typer.Option("--adapter", metavar="KIND:CHANNEL", help="Which adapter; docs/link.md.")]
Bitrate = Annotated[Many, typer.Option("--bitrate", metavar="500000", help="If you know it; else it is found.")]
Options = Annotated[
    Many, typer.Option("--option", metavar="NAME=VALUE", help="What else the adapter's driver wants. Again for more.")
]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]
Seconds = Annotated[Many, typer.Option("--seconds", metavar="600", help="End after so many; else with Ctrl-C.")]
Engine = Annotated[Many, typer.Option("--engine", metavar="ENGINE.toml", help="What engine it is.")]
Job = Annotated[Many, typer.Option("--job", metavar="N", help="Keep what is read in this job, too.")]
Data = Annotated[Many, typer.Option("--data", metavar="DIR", help="The folder of the jobs, if not the usual one.")]
By = Annotated[Many, typer.Option("--by", metavar="NAME", help="Who says so; your user name if nothing is said.")]
Pace = Annotated[
    Many,
    typer.Option("--pace", metavar="1", help="With a stand-in: so many seconds pass in one, at both ends."),
]


@app.callback(invoke_without_command=True)
def _link(context: typer.Context) -> None:
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())


@app.command("find")
def find(adapter: AdapterName = None, bitrate: Bitrate = None, option: Options = None, json: Json = False) -> None:
    """Find the car: bit rate, addresses, control units, without disturbing the bus.

    \b
      airproof link find --adapter socketcan:can0
    """
    from airproof.cli.link_request import Typed, tell_found

    tell_found(Typed(adapter, bitrate, option), json=json)


@app.command("codes")
def codes(
    adapter: AdapterName = None,
    bitrate: Bitrate = None,
    option: Options = None,
    out: Annotated[
        Many, typer.Option("--out", metavar="CAR.toml", help="Write codes, freeze frames and readiness as facts.")
    ] = None,
    job: Job = None,
    data: Data = None,
    by: By = None,
    json: Json = False,
) -> None:
    """Read everything stored: codes, freeze frames, readiness, monitor results, VIN.

    \b
      airproof link codes --adapter socketcan:can0 --out car.toml
      airproof weigh --engine engine.toml --reading car.toml
      airproof link codes --adapter socketcan:can0 --job 3

    Nothing is changed. Read before anything is cleared or unplugged.
    """
    from airproof.cli.job_request import where
    from airproof.cli.link_job import job_on_the_line
    from airproof.cli.link_request import Typed, tell_codes

    kept_in = job_on_the_line(job, where(data, by, json=json))
    tell_codes(Typed(adapter, bitrate, option), out, kept_in, json=json)


@app.command("record")
def record(
    adapter: AdapterName = None,
    bitrate: Bitrate = None,
    option: Options = None,
    out: Annotated[Many, typer.Option("--out", metavar="DRIVE.csv", help="The recording, a new file.")] = None,
    engine: Engine = None,
    seconds: Seconds = None,
    job: Job = None,
    data: Data = None,
    by: By = None,
    pace: Pace = None,
) -> None:
    """Record live data, what would tell the open causes apart most often, and say what is still missing.

    \b
      airproof link record --adapter socketcan:can0 --out drive.csv --engine engine.toml
      airproof weigh drive.csv --engine engine.toml --reading drive.facts.toml

    \b
    Ctrl-C ends it. What you type, ended with Enter, is kept as a marker. Codes are read first, into DRIVE.facts.toml;
    with --engine they decide what is asked for most. Every line is on the disk at once: pulling the plug loses nothing.
    The driver drives and a passenger reads. Outdoors or with extraction; hot parts, belts and fans injure.
    """
    from airproof.cli.job_request import where
    from airproof.cli.link_job import job_on_the_line
    from airproof.cli.link_recording import record_and_tell
    from airproof.cli.link_request import Typed

    kept_in = job_on_the_line(job, where(data, by, json=False))
    record_and_tell(Typed(adapter, bitrate, option, pace), out, engine, seconds, kept_in)


@app.command("clear")
def clear(
    adapter: AdapterName = None,
    bitrate: Bitrate = None,
    option: Options = None,
    out: Annotated[
        Many, typer.Option("--out", metavar="BEFORE.json", help="Where everything readable is saved first.")
    ] = None,
    sure: Annotated[
        int, typer.Option("--sure", count=True, help="Say it twice where nobody can be asked at a terminal.")
    ] = 0,
    job: Job = None,
    data: Data = None,
    by: By = None,
    json: Json = False,
) -> None:
    """Clear codes, after everything readable was saved, asked for twice, with the engine off.

    \b
      airproof link clear --adapter socketcan:can0 --out before.json

    Clearing mends nothing and takes freeze frames and readiness with it; some places forbid it before an inspection.
    """
    from airproof.cli.job_request import where
    from airproof.cli.link_job import job_on_the_line
    from airproof.cli.link_request import Typed, clear_and_tell

    kept_in = job_on_the_line(job, where(data, by, json=json))
    clear_and_tell(Typed(adapter, bitrate, option), out, sure, kept_in, json=json)


@app.command("read")
def read(
    log: Annotated[str, typer.Argument(metavar="LOG", help="A log of a bus.", show_default=False)],
    out: Annotated[
        Many, typer.Option("--out", metavar="CAR.toml", help="Write codes, freeze frames and readiness as facts.")
    ] = None,
    json: Json = False,
) -> None:
    """Read a log of a bus that was taken while a tester asked: its codes and what stands with them.

    \b
      airproof link read capture.log
      airproof weigh capture.log --engine engine.toml
    """
    from airproof.cli.link_request import tell_log

    tell_log(log, out, json=json)


@app.command("stand-in")
def stand_in(
    engine: Engine = None,
    cause: Annotated[Many, typer.Option("--cause", metavar="vacuum-leak=4mm", help="What is wrong with it.")] = None,
    drive: Annotated[Many, typer.Option("--drive", metavar="workshop|mixed|FILE", help="What it drives.")] = None,
    seed: Annotated[Many, typer.Option("--seed", metavar="7", help="Which car of its type.")] = None,
    manners: Annotated[
        Many, typer.Option("--manners", metavar="NAME", help="polite, quick, plain, slow, busy or rude.")
    ] = None,
    rests: Annotated[
        Many, typer.Option("--rests", metavar="20", help="Seconds that it stands with its key on before each drive.")
    ] = None,
    newer: Annotated[bool, typer.Option("--newer", help="It answers by SAE J1979-2 alone.")] = False,
    wide: Annotated[bool, typer.Option("--wide", help="With addresses of 29 bits.")] = False,
    adapter: AdapterName = None,
    option: Options = None,
    seconds: Seconds = None,
    pace: Pace = None,
) -> None:
    """Stand in for a car, on a bus between programs of this computer: a rehearsed car that answers.

    \b
      airproof link stand-in --engine engine.toml --cause map-offset=12kPa
      airproof link stand-in --engine engine.toml --cause vacuum-leak=4mm --manners rude --newer

    It stands with its key on for twenty seconds (--rests), drives, and begins anew. No real car is meant.
    """
    from airproof.cli.link_stand_in import Asked, stand_in_for_a_car

    stand_in_for_a_car(Asked(engine, cause, drive, seed, manners, rests, newer, wide, adapter, option, seconds, pace))
