"""`airproof explain`: what is known of a code, a cause, a step, or of what is noticed, seen or told."""

from __future__ import annotations

from typing import Annotated

import typer


def explain(
    what: Annotated[
        list[str],
        typer.Argument(
            metavar="WHAT", help="Codes such as P0106, ids of causes, symptoms, looks or steps; or looks, history."
        ),
    ],
    json: Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")] = False,
) -> None:
    """Explain codes, causes, symptoms, looks and steps: what a code claims, what else sets it, what to check first.

    \b
      airproof explain P0106
      airproof explain P0299 P0234
      airproof explain map-offset
      airproof explain "rough idle" measure-key-on-signal
      airproof explain plug-loose new-sensor-in-vain only-hot
      airproof explain looks            (or symptoms, history, conditions: all there are)
      airproof explain parts            (or tools: as a shop's own prices call them)

    The maker's service data comes first; meanings here are the standard's, which makers may narrow.
    """
    from airproof.cli.streams import say, say_parts
    from airproof.knowledge.load import knowledge
    from airproof.report import explained

    explanations = [explained.explain(asked, knowledge()) for asked in dict.fromkeys(what)]
    if json:
        from json import dumps

        entries = [one.as_object() for one in explanations]
        say(dumps({"schema": explained.SCHEMA, "entries": entries}, indent=1, allow_nan=False))
        return
    for number, one in enumerate(explanations):
        if number:
            say("\n")
        say_parts(one.parts, title=f"{one.id}: {one.title}")
