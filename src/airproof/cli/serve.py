"""`airproof serve`: the whole job in a browser."""

from __future__ import annotations

from typing import Annotated

import typer

Many = list[str] | None


def serve(
    host: Annotated[
        Many, typer.Option("--host", metavar="ADDRESS", help="Where to listen; this computer only.")
    ] = None,
    port: Annotated[Many, typer.Option("--port", metavar="N", help="The port; 8765, or the next one free.")] = None,
    share: Annotated[
        bool, typer.Option("--share", help="For the workshop's network: a pass code is shown and asked for.")
    ] = False,
    data: Annotated[Many, typer.Option("--data", metavar="DIR", help="The folder of the jobs.")] = None,
    show: Annotated[bool, typer.Option("--show", help="Open the pages in this computer's browser.")] = False,
    demo: Annotated[
        Many, typer.Option("--demo", metavar="FOLDER", help="Begin with a job that lies prepared in a folder.")
    ] = None,
) -> None:
    """Open the pages: the whole job in a browser, on a laptop or a phone.

    \b
      airproof serve --show
      airproof serve --share            for a phone in the workshop's network
    """
    from airproof.cli.serving_request import carry_out

    carry_out(host, port, data, share=share, show=show, demo=demo)
