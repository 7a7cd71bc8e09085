"""`airproof prove`: from recordings before and after a repair to the judgement."""

from __future__ import annotations

from typing import Annotated

import typer

Many = list[str] | None


def prove(
    engine: Annotated[
        list[str], typer.Option("--engine", metavar="ENGINE.toml", help="What engine it is, as weigh takes it.")
    ],
    before: Annotated[
        list[str],
        typer.Option(
            "--before",
            metavar="RECORDING",
            help="A recording from before the repair, or the verdict of it in JSON beside it. Again for more.",
        ),
    ],
    after: Annotated[
        list[str],
        typer.Option("--after", metavar="RECORDING", help="A recording from after the repair. Again for more."),
    ],
    step: Annotated[
        Many, typer.Option("--step", metavar="STEP", help="What was done: the id of a step. Again for more.")
    ] = None,
    cause: Annotated[
        Many, typer.Option("--cause", metavar="CAUSE", help="What was to be mended, where the step does not say.")
    ] = None,
    baseline: Annotated[
        Many, typer.Option("--baseline", metavar="RECORDING", help="A recording of this car known to be good.")
    ] = None,
    sister: Annotated[
        Many, typer.Option("--sister", metavar="RECORDING", help="A good one of another car with this engine.")
    ] = None,
    signals: Annotated[
        Many, typer.Option("--signals", metavar="MAP.toml", help="Which heading is which signal, for all files.")
    ] = None,
    code: Annotated[
        Many, typer.Option("--code", metavar="P0106", help="A code before the repair, or P0106=pending.")
    ] = None,
    symptom: Annotated[Many, typer.Option("--symptom", metavar="NAME", help="What the driver noticed before.")] = None,
    reading: Annotated[
        Many, typer.Option("--reading", metavar="FILE.toml", help="What was told or measured before, as for weigh.")
    ] = None,
    altitude: Annotated[
        Many, typer.Option("--altitude", metavar="350m", help="Where both were recorded, above the sea.")
    ] = None,
    barometer: Annotated[
        Many, typer.Option("--barometer", metavar="98.2kPa", help="The air's pressure before, absolute.")
    ] = None,
    ambient: Annotated[Many, typer.Option("--ambient", metavar="18C", help="The air outside before.")] = None,
    altitude_after: Annotated[
        Many, typer.Option("--altitude-after", metavar="350m", help="Where it was recorded after, if elsewhere.")
    ] = None,
    barometer_after: Annotated[
        Many, typer.Option("--barometer-after", metavar="99.1kPa", help="The air's pressure after, absolute.")
    ] = None,
    ambient_after: Annotated[
        Many, typer.Option("--ambient-after", metavar="12C", help="The air outside after.")
    ] = None,
    fuel_after: Annotated[
        Many, typer.Option("--fuel-after", metavar="e10", help="What was in the tank after, if another fuel.")
    ] = None,
    code_after: Annotated[
        Many, typer.Option("--code-after", metavar="P0106=pending", help="A code that is there after. Again for more.")
    ] = None,
    codes_read: Annotated[
        bool, typer.Option("--codes-read", help="All codes were read after the repair: no others are there.")
    ] = False,
    cleared: Annotated[bool, typer.Option("--cleared", help="The codes were cleared after the repair.")] = False,
    not_cleared: Annotated[
        bool, typer.Option("--not-cleared", help="They were not. Give neither where nobody knows.")
    ] = False,
    monitor: Annotated[
        Many,
        typer.Option("--monitor", metavar="NAME=complete", help="A readiness monitor after; or =incomplete."),
    ] = None,
    warm_ups: Annotated[
        Many, typer.Option("--warm-ups", metavar="N", help="Warm-ups since the codes were cleared.")
    ] = None,
    distance: Annotated[
        Many, typer.Option("--distance", metavar="35km", help="Distance since the codes were cleared.")
    ] = None,
    days: Annotated[Many, typer.Option("--days", metavar="N", help="Days since the repair.")] = None,
    returned: Annotated[bool, typer.Option("--returned", help="The owner says that the trouble is back.")] = False,
    json: Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")] = False,
) -> None:
    """Prove a repair: the same checks before and after, as one judgement with its uncertainty.

    \b
      airproof prove --engine engine.toml --before drive.csv --after again.csv --step replace-map-sensor
      airproof prove --engine engine.toml --before verdict.json --before drive.csv --after again.csv \\
                     --step mend-vacuum-leak --altitude 350m --codes-read --cleared --warm-ups 2

    \b
    The answers are: proved; not proved yet, and what to record; not fixed; fixed, but something else
    shows; nothing to prove. What nobody recorded is never called proved.

    \b
    Drive the same round before and after: ten seconds with the key on and the engine off, a minute of
    warm idle, some snaps of the throttle, steady speeds, one pull, coasting in gear. On the road a
    passenger reads. Save all codes and freeze frames before anything is erased.

    "airproof job prove" does the same on a job that is kept.
    """
    from airproof.cli.proving_request import Asked, carry_out
    from airproof.cli.typed import either, once, one_path, path_of, paths_of

    carry_out(
        Asked(
            engine=path_of("--engine", once("--engine", engine) or ""),
            before=paths_of("--before", before),
            after=paths_of("--after", after),
            steps=step or [],
            cause=once("--cause", cause),
            baselines=paths_of("--baseline", baseline),
            sisters=paths_of("--sister", sister),
            signals=one_path("--signals", signals),
            codes=code or [],
            symptoms=symptom or [],
            readings=paths_of("--reading", reading),
            place_before=(once("--altitude", altitude), once("--barometer", barometer), once("--ambient", ambient)),
            place_after=(
                once("--altitude-after", altitude_after) or once("--altitude", altitude),
                once("--barometer-after", barometer_after),
                once("--ambient-after", ambient_after),
            ),
            fuel_after=once("--fuel-after", fuel_after),
            codes_after=code_after or [],
            codes_read=codes_read,
            cleared=either("--cleared", cleared, "--not-cleared", not_cleared),
            monitors=monitor or [],
            warm_ups=once("--warm-ups", warm_ups),
            distance=once("--distance", distance),
            days=once("--days", days),
            returned=returned,
            json=json,
        )
    )
