"""`airproof plan`: the whole way to the cheapest cure, laid open."""

from __future__ import annotations

from typing import Annotated

import typer


def plan(
    verdict: Annotated[
        str,
        typer.Argument(metavar="VERDICT.json", help='A verdict as "airproof weigh --json" prints it; - reads it here.'),
    ],
    done: Annotated[
        list[str] | None,
        typer.Option("--done", metavar="STEP", help="A step done since; STEP=yes or STEP=no if it tells; STEP=cannot."),
    ] = None,
    prices: Annotated[
        list[str] | None,
        typer.Option("--prices", metavar="PRICES.toml", help="Your own prices, hour, and tools you have not."),
    ] = None,
    shop: Annotated[
        list[str] | None,
        typer.Option("--shop", metavar="SHOP.json", help='What your closed jobs taught ("airproof learn").'),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")] = False,
) -> None:
    """Plan the cheapest way from a verdict to a cured and proved car.

    \b
      airproof weigh drive.csv --engine engine.toml --json > verdict.json
      airproof plan verdict.json
      airproof plan verdict.json --done look-hoses=no --done smoke-test-intake=yes
      airproof plan verdict.json --prices my_prices.toml

    \b
    A step that looks or measures takes its outcome along: yes if it found what it looks for.
    A repair that did not help is given by its name alone or as STEP=did-not-help; if it helped, the job is over.
    STEP=done says nothing of that: the plan is then for the case that it did not.
    STEP=cannot says that a step cannot be done on this car.

    \b
    A prices file holds your own where the usual ones do not fit:
      labour_per_hour = 60                # or: own_time_free = true
      tools_missing = ["smoke machine"]   # steps that need one are not planned
      [parts]
      map-sensor = 45

    "airproof explain STEP" tells how a step is done, and what to beware of.
    """
    from airproof.cli.planning_request import PlanRequest, carry_out
    from airproof.cli.typed import one_path

    carry_out(
        PlanRequest(
            verdict=verdict,
            done=done or [],
            prices=one_path("--prices", prices),
            shop=one_path("--shop", shop),
            json=json,
        )
    )
