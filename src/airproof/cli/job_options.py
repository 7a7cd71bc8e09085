"""The options that commands on jobs share, and where the jobs are kept."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from airproof.cli.job_request import Where

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


def where_of(data: Many, by: Many, *, json: bool) -> Where:
    """Where the jobs are, who speaks, and how it is told."""
    from airproof.cli.job_request import where

    return where(data, by, json=json)
