"""`airproof weigh`: from recordings, codes and readings to a verdict."""

from __future__ import annotations

from typing import Annotated

import typer


def weigh(
    engine: Annotated[
        list[str],
        typer.Option(
            "--engine", metavar="ENGINE.toml", help="What engine it is: size, cylinders, induction, air metering."
        ),
    ],
    recordings: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[RECORDING]",
            help="Recordings of the car: CSV, gzipped CSV, Parquet, MDF 4 or a CAN bus log. None where there is none.",
            show_default=False,
        ),
    ] = None,
    baseline: Annotated[
        list[str] | None,
        typer.Option(
            "--baseline",
            metavar="RECORDING",
            help="A recording of the same car known to be good. Again for more.",
        ),
    ] = None,
    sister: Annotated[
        list[str] | None,
        typer.Option(
            "--sister",
            metavar="RECORDING",
            help="A good recording of another car with the same engine. Again for more.",
        ),
    ] = None,
    signals: Annotated[
        list[str] | None,
        typer.Option(
            "--signals", metavar="MAP.toml", help="Which heading is which signal, where it cannot be guessed."
        ),
    ] = None,
    code: Annotated[
        list[str] | None, typer.Option("--code", metavar="P0106", help="A code, or P0106=pending. Again for more.")
    ] = None,
    symptom: Annotated[
        list[str] | None,
        typer.Option("--symptom", metavar="rough-idle", help="What the driver notices. Again for more."),
    ] = None,
    altitude: Annotated[
        list[str] | None,
        typer.Option("--altitude", metavar="350m", help="Where the recording was made, above the sea."),
    ] = None,
    barometer: Annotated[
        list[str] | None,
        typer.Option(
            "--barometer",
            metavar="98.2kPa",
            help="The air's pressure there, absolute, not reduced to sea level.",
        ),
    ] = None,
    ambient: Annotated[
        list[str] | None, typer.Option("--ambient", metavar="18C", help="The air's temperature outside.")
    ] = None,
    reading: Annotated[
        list[str] | None,
        typer.Option("--reading", metavar="FILE.toml", help="What was told, seen or measured by hand. Again for more."),
    ] = None,
    prices: Annotated[
        list[str] | None,
        typer.Option("--prices", metavar="PRICES.toml", help="Your own prices of parts and time."),
    ] = None,
    shop: Annotated[
        list[str] | None,
        typer.Option("--shop", metavar="SHOP.json", help='What your closed jobs taught ("airproof learn").'),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")] = False,
    exhibits: Annotated[
        list[str] | None, typer.Option("--exhibits", metavar="DIR", help="Draw the evidence into this folder.")
    ] = None,
    write_up: Annotated[
        list[str] | None,
        typer.Option("--write-up", metavar="FILE.pdf|FILE.html", help="Write the verdict up. Again for both."),
    ] = None,
    paper: Annotated[
        list[str] | None, typer.Option("--paper", metavar="a4|letter", help="The paper of the write-up.")
    ] = None,
    units: Annotated[
        list[str] | None,
        typer.Option("--units", metavar="kPa|inHg|psi|bar|mmHg", help="Its unit of pressure."),
    ] = None,
    language: Annotated[
        list[str] | None, typer.Option("--language", metavar="en|de|fr|es", help="Its language.")
    ] = None,
) -> None:
    """Weigh what can be wrong: how probable, how large, on what evidence, and what to do next.

    \b
      airproof weigh drive.csv --engine engine.toml
      airproof weigh drive.csv --engine engine.toml --code P0106 --code P0171 --symptom rough-idle
      airproof weigh drive.csv --engine engine.toml --baseline good.csv --altitude 350m --exhibits pictures
      airproof weigh --engine engine.toml --reading facts.toml
      airproof weigh drive.csv --engine engine.toml --write-up verdict.pdf --language de

    \b
    engine.toml says what engine it is; four lines are enough:
      [engine]
      displacement_l = 1.984
      cylinders = 4
      induction = "turbocharged"        # or "naturally-aspirated", "supercharged"
      air_metering = "air-flow sensor"  # or "speed-density", "both"

    \b
    A good recording holds ten seconds with the key on and the engine off, one minute of warm
    idle, some throttle snaps, steady cruise, one pull at full load and coasting in gear.
    Save codes and freeze frames before anything is erased. On the road a passenger reads.

    \b
    Symptoms are: lamp-on, rough-idle, high-idle, stalling, hesitation, limp-mode, low-power,
    surging, thirst, black-smoke, whistle, hard-start, knock, overboost-feel, fuel-smell,
    intermittent. "airproof explain rough-idle" tells what one speaks for.

    \b
    A reading file holds all that was told, seen or measured by hand, in any order:
      [[reading]]
      step = "look-hoses"       # "airproof explain look-hoses" tells what is asked
      found = false
      [[reading]]
      signal = "manifold_pressure"
      value = "106 kPa"         # absolute, key on, engine off
      [[code]]
      id = "P0106"
      status = "pending"        # or stored, permanent, present
      order = 1                 # 1 for the one that came first
      [[freeze_frame]]
      code = "P0106"
      engine_speed = "780 1/min"
      manifold_pressure = "52 kPa"
      [readiness]
      codes_read = true         # all codes are given: no others were there
      misfire = "complete"      # or incomplete, not supported
      [[look]]                  # and [[symptom]], [[history]], [[condition]]
      id = "plug-loose"
      found = false

    \b
    What was measured with a meter goes into the same file: "airproof meter --help" shows how.
    Looks, history and conditions: "airproof explain looks" (or history, conditions) lists them.
    A later entry on the same thing takes an earlier one's place; withdrawn = true takes it back.

    \b
    MAP.toml says which heading of the file is which signal, where its words are not known:
      [signals]
      engine_speed = {heading = "Drehzahl", unit = "1/min"}
      manifold_pressure = {heading = "Saugrohrdruck", unit = "hPa"}

    \b
    A prices file holds your own where the usual ones do not fit:
      labour_per_hour = 60
      [parts]
      map-sensor = 45

    Values take their unit along: 350m, 1150ft, 98.2kPa, 29.1inHg, 18C, 64F; a decimal comma is fine.
    """
    from airproof.cli.typed import once, one_path, path_of, paths_of
    from airproof.cli.weighing_request import Request, carry_out

    wanted = None
    if write_up:
        from airproof.cli.write_up_request import wanted_of  # heavy, and few ask for it

        wanted = wanted_of(write_up, paper, units, None, language, vacuum=False, private=False)
    carry_out(
        Request(
            recordings=paths_of("RECORDING", recordings or []),
            engine=path_of("--engine", once("--engine", engine) or ""),
            baselines=paths_of("--baseline", baseline),
            sisters=paths_of("--sister", sister),
            signals=one_path("--signals", signals),
            codes=code or [],
            symptoms=symptom or [],
            altitude=once("--altitude", altitude),
            barometer=once("--barometer", barometer),
            ambient=once("--ambient", ambient),
            readings=paths_of("--reading", reading),
            prices=one_path("--prices", prices),
            shop=one_path("--shop", shop),
            json=json,
            exhibits=one_path("--exhibits", exhibits, "a folder"),
            write_up=wanted,
        )
    )
