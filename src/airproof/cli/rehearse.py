"""`airproof rehearse`: what this engine's live data would look like with that fault."""

from __future__ import annotations

from typing import Annotated

import typer


def rehearse(
    engine: Annotated[
        list[str] | None,
        typer.Option("--engine", metavar="ENGINE.toml", help="What engine it is. With --spread none is needed."),
    ] = None,
    cause: Annotated[
        list[str] | None,
        typer.Option("--cause", metavar="vacuum-leak=4mm", help="What is wrong with it. Again for more, up to four."),
    ] = None,
    drive: Annotated[
        list[str] | None,
        typer.Option("--drive", metavar="workshop|mixed|FILE", help="What is driven; a FILE holds the road speed."),
    ] = None,
    seed: Annotated[
        list[str] | None, typer.Option("--seed", metavar="7", help="Which car of its type, and which noise.")
    ] = None,
    out: Annotated[
        list[str] | None,
        typer.Option("--out", metavar="FILE.csv", help="Where the recording goes; with --many a folder."),
    ] = None,
    compare: Annotated[
        bool, typer.Option("--compare", help="Show the same car, healthy and faulty, side by side.")
    ] = False,
    exhibits: Annotated[
        list[str] | None, typer.Option("--exhibits", metavar="DIR", help="With --compare: draw it into this folder.")
    ] = None,
    sheet: Annotated[
        list[str] | None, typer.Option("--sheet", metavar="DIR", help="With --compare: a teaching sheet goes there.")
    ] = None,
    paper: Annotated[
        list[str] | None, typer.Option("--paper", metavar="a4|letter", help="With --sheet: the paper of its PDF.")
    ] = None,
    units: Annotated[
        list[str] | None,
        typer.Option("--units", metavar="kPa|inHg|psi|bar|mmHg", help="With --sheet: its unit of pressure."),
    ] = None,
    language: Annotated[
        list[str] | None, typer.Option("--language", metavar="en|de|fr|es", help="With --sheet: its language.")
    ] = None,
    many: Annotated[
        list[str] | None, typer.Option("--many", metavar="500", help="So many rehearsals, on all cores.")
    ] = None,
    spread: Annotated[
        bool, typer.Option("--spread", help="With --many: draw engines, places, weather, drivers, loggers and faults.")
    ] = False,
    altitude: Annotated[list[str] | None, typer.Option("--altitude", metavar="350m", help="Above the sea.")] = None,
    barometer: Annotated[
        list[str] | None, typer.Option("--barometer", metavar="98.2kPa", help="The air's pressure there, absolute.")
    ] = None,
    ambient: Annotated[
        list[str] | None, typer.Option("--ambient", metavar="18C", help="The air's temperature outside.")
    ] = None,
    json: Annotated[
        bool, typer.Option("--json", help="Print the truth, and the comparison if asked for, as one JSON object.")
    ] = False,
    logger: Annotated[
        list[str] | None, typer.Option("--logger", metavar="NAME", help="How fast and how evenly it is recorded.")
    ] = None,
    written: Annotated[
        list[str] | None, typer.Option("--written", metavar="NAME", help="In which headings, units and marks.")
    ] = None,
) -> None:
    """Rehearse a fault: simulate this engine with it, and write what a logger would have recorded.

    \b
      airproof rehearse --engine engine.toml --cause vacuum-leak=4mm --out leak.csv
      airproof rehearse --engine engine.toml --cause map-offset=12kPa --compare
      airproof rehearse --engine engine.toml --cause map-intermittent=0.2 --drive mixed --seed 7 --out drive.csv
      airproof rehearse --engine engine.toml --cause vacuum-leak=4mm --compare --sheet sheet
      airproof rehearse --many 500 --spread --seed 1 --out cases

    \b
    Beside FILE.csv stands FILE.truth.json: what is wrong and by how much, the codes and freeze frames that the
    simulated control unit has stored, readiness, and how this car strays from its drawing. No real car is meant.

    \b
    A cause has the id that "airproof weigh" uses, and a size; without one, the usual one:
      vacuum-leak=4mm                       always there
      map-offset=12kPa:from=60s:over=30s    begins after a minute, grows for half a minute
      ignition:on=5s:off=20s                comes and goes
    "airproof explain vacuum-leak" tells what a cause is.

    \b
    The engine file is that of "airproof weigh"; a table [rehearsal] may say more:
      [rehearsal]
      injection = "port"            # or "direct"
      barometer = "own sensor"      # or "key-on manifold pressure", "both"
      egr = false
      cams = "fixed"               # or "phased": burned gas kept at part load
      manifold_l = 3.0
      throttle_mm = 57
      full_boost_from_rpm = 1700
      cooler_effectiveness = 0.8
      car_mass_kg = 1400

    \b
    workshop is the round a good recording holds: key on, idle, snaps, town, cruise, one pull, coasting, idle. mixed is
    ten minutes of town, country road and motorway. A FILE with time and vehicle speed is driven as it stands.
    """
    from airproof.cli.rehearsal_request import Rehearsing, carry_out
    from airproof.cli.teaching_request import sheet_wanted
    from airproof.cli.typed import as_a_name, once, one_path

    driven = once("--drive", drive)
    sheet_in = one_path("--sheet", sheet, "a folder")
    carry_out(
        Rehearsing(
            engine=one_path("--engine", engine),
            causes=cause or [],
            drive=None if driven is None else as_a_name(driven),
            seed=once("--seed", seed),
            out=one_path("--out", out),
            compare=compare,
            exhibits=one_path("--exhibits", exhibits, "a folder"),
            sheet=None if sheet_in is None else sheet_wanted(sheet_in, paper, units, language),
            many=once("--many", many),
            spread=spread,
            altitude=once("--altitude", altitude),
            barometer=once("--barometer", barometer),
            ambient=once("--ambient", ambient),
            json=json,
            logger=once("--logger", logger),
            written=once("--written", written),
        )
    )
