"""`airproof meter`: what to measure at a sensor's plug, and what the readings say."""

from __future__ import annotations

from typing import Annotated

import typer


def meter(
    what: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[worksheet | lines | learn RECORDING | FILE.toml]",
            help="A worksheet, the list of known lines, a line from a recording, or a file of readings to judge.",
        ),
    ] = None,
    sensor: Annotated[
        list[str] | None,
        typer.Option(
            "--sensor", metavar="ID", help='A line ("airproof meter lines" lists them) or a kind: three-wire, sent, ...'
        ),
    ] = None,
    thermistor: Annotated[
        list[str] | None, typer.Option("--thermistor", metavar="ID", help="The thermistor's table, for the worksheet.")
    ] = None,
    altitude: Annotated[
        list[str] | None, typer.Option("--altitude", metavar="350m", help="Where the car stands, above the sea.")
    ] = None,
    barometer: Annotated[
        list[str] | None,
        typer.Option(
            "--barometer", metavar="98.2kPa", help="The air's pressure there, absolute, not reduced to sea level."
        ),
    ] = None,
    ambient: Annotated[
        list[str] | None, typer.Option("--ambient", metavar="18C", help="The air's temperature, and the sensor's.")
    ] = None,
    supply: Annotated[
        list[str] | None,
        typer.Option("--supply", metavar="5.02V", help="The supply as measured at the plug, for the worksheet."),
    ] = None,
    accuracy: Annotated[
        list[str] | None,
        typer.Option(
            "--accuracy", metavar='"0.5 % + 2 digits"', help="What the meter's sheet says of its voltage range."
        ),
    ] = None,
    resolution: Annotated[
        list[str] | None,
        typer.Option("--resolution", metavar="0.01V", help="The worth of the meter's last digit, for the worksheet."),
    ] = None,
    pump: Annotated[
        list[str] | None,
        typer.Option(
            "--pump", metavar="vacuum|pressure", help="What the hand pump makes; vacuum where nothing is said."
        ),
    ] = None,
    gauge: Annotated[
        list[str] | None,
        typer.Option(
            "--gauge", metavar='"2 % of 30 inHg"', help="How far the pump's gauge may be off, in its own unit."
        ),
    ] = None,
    volts: Annotated[
        list[str] | None,
        typer.Option("--volts", metavar="HEADING", help="learn: the recording's column that holds the sensor's volts."),
    ] = None,
    signals: Annotated[
        list[str] | None, typer.Option("--signals", metavar="MAP.toml", help="learn: which heading is which signal.")
    ] = None,
    out: Annotated[
        list[str] | None,
        typer.Option(
            "--out", metavar="FILE.toml", help="At a terminal: write the answers here; go on where one stopped."
        ),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")] = False,
) -> None:
    """Measure at a sensor's plug: a worksheet for here and today, and a verdict on the readings.

    \b
      airproof meter worksheet --sensor absolute-250-kpa --altitude 350m
      airproof meter worksheet --sensor four-wire --barometer 98.2kPa --supply 5.02V --gauge "2 % of 30 inHg"
      airproof meter readings.toml --altitude 350m
      airproof meter lines
      airproof meter learn drive.csv --volts "MAP voltage"
      airproof meter

    \b
    A worksheet says where the probes go, what to expect here and today, and what each outcome
    means. Alone, at a terminal, the command asks for the readings one by one, writes them to
    --out (readings.toml) as it goes, and judges them.

    \b
    readings.toml; what was not done is left out:
      [meter]
      accuracy = "0.5 % + 2 digits"     # of its voltage range; ohms = "1 % + 3 digits"
      [sensor]
      line = "absolute-250-kpa"         # or points = [["20 kPa abs", "0.40 V"], ["250 kPa abs", "4.65 V"]]
      [day]
      barometer = "98.2 kPa"            # or altitude = "350 m"
      [[measured]]
      what = "supply"                   # against = "battery minus" where it is not the sensor's ground
      value = "5.02 V"
      [[measured]]
      what = "ground"
      value = "0.02 V"
      [[measured]]
      what = "signal"                   # key on, engine off
      value = "1.95 V"
      shown = "107 kPa"                 # what live data shows at that moment
      [[measured]]
      what = "sweep"                    # pressures say vacuum, gauge or abs, or counted does
      counted = "vacuum"
      points = [["0 inHg", "1.95 V"], ["10 inHg", "1.25 V"], ["20 inHg", "0.53 V"]]
      creeps = false                    # comes back slowly when the air is let in

    \b
    Also: what = "thermistor" with value = "2.31 kohm" and temperature = "19 C", "wire" with
    wire, to and value, "wiggle" with found, "digital" with value.
    The same file gives its evidence to the verdict: airproof weigh ... --reading readings.toml
    """
    from airproof.cli.meter_request import Request, carry_out
    from airproof.cli.typed import once, one_path

    carry_out(
        Request(
            words=what or [],
            sensor=once("--sensor", sensor),
            thermistor=once("--thermistor", thermistor),
            altitude=once("--altitude", altitude),
            barometer=once("--barometer", barometer),
            ambient=once("--ambient", ambient),
            supply=once("--supply", supply),
            accuracy=once("--accuracy", accuracy),
            resolution=once("--resolution", resolution),
            pump=once("--pump", pump),
            gauge=once("--gauge", gauge),
            volts=once("--volts", volts),
            signals=one_path("--signals", signals),
            out=one_path("--out", out),
            json=json,
        )
    )
