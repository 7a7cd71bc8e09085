"""`airproof learn`: closed jobs sharpen the shop's own numbers."""

from __future__ import annotations

from typing import Annotated

import typer


def learn(
    shop: Annotated[
        list[str],
        typer.Option("--shop", metavar="SHOP.json", help="Your shop's file; made if it is not there yet."),
    ],
    jobs: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="CLOSED_JOB.toml", help="Closed jobs, TOML or JSON, as many as you like.", show_default=False
        ),
    ] = None,
    undo: Annotated[
        list[str] | None,
        typer.Option(
            "--undo",
            metavar="ID",
            help='Take back the job of that id; "job learn" says it of a kept job. Again for more.',
        ),
    ] = None,
    merge: Annotated[
        list[str] | None,
        typer.Option("--merge", metavar="OTHER.json", help="Add what another shop learned. Again for more."),
    ] = None,
    export: Annotated[
        list[str] | None,
        typer.Option("--export", metavar="OUT.json", help="Write what another shop may have, without your secret."),
    ] = None,
    half_life: Annotated[
        list[str] | None,
        typer.Option(
            "--half-life", metavar="24", help="Months after which an old price counts half, kept in the file; 0: never."
        ),
    ] = None,
    show: Annotated[
        bool, typer.Option("--show", help="Tell every number that moved, before and after, and on how many jobs.")
    ] = False,
    json: Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")] = False,
) -> None:
    """Learn from closed jobs: how common causes are with you, what cures, what steps find, take and cost.

    \b
      airproof learn job17.toml job18.toml --shop shop.json
      airproof learn --shop shop.json --show
      airproof learn --shop shop.json --undo 17
      airproof learn --shop shop.json --merge other.json
      airproof plan verdict.json --shop shop.json

    \b
    A closed job names neither car nor owner:
      schema = "airproof.closed-job/1"
      id = "17"                    # your own number; only its fingerprint is kept
      closed = 2026-03-14
      codes = ["P0106"]            # all that were stored; left out: nobody read them
      symptoms = ["hesitation"]
      looks = {port-oily = true}   # only what was looked for, true or false
      [engine]
      induction = "turbocharged"
      air_metering = "air-flow sensor"
      [found]
      causes = ["map-slow"]        # one, two at once, or ["none"]
      how_sure = "proved"          # or "believed"; "handed over", without causes
      [[step]]
      id = "clean-map-sensor"
      outcome = "helped"           # or "did not help", "done"; a test: "found", "not found"
      minutes = 30                 # any step: "could not be done"
      money = 6.50

    \b
    Steps stand in the order they were taken. Of a job that is not proved, say how probable
    each cause was in the end, as "airproof plan --json" has it:
      [belief]
      map-slow = 0.7
      vacuum-leak = 0.2

    Labour is what you say it costs (--prices), and is not learned.
    """
    from airproof.cli.learning_request import LearnRequest, carry_out
    from airproof.cli.typed import once, one_path, path_of, paths_of

    carry_out(
        LearnRequest(
            shop=path_of("--shop", once("--shop", shop) or ""),
            jobs=paths_of("CLOSED_JOB.toml", jobs),
            undo=undo or [],
            merge=paths_of("--merge", merge),
            export=one_path("--export", export),
            half_life=once("--half-life", half_life),
            show=show,
            json=json,
        )
    )
