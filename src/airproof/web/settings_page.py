"""What the user likes: units, name, look; prices and labour; what the shop has learned."""

from __future__ import annotations

import math
import re
from collections.abc import Collection

from nicegui import ui

from airproof.diagnosis.place_as_typed import the_barometer
from airproof.errors import UnusableRequest
from airproof.jobs.facts_written import toml
from airproof.jobs.settings import Settings
from airproof.knowledge.model import Prices
from airproof.quantities.wishes import PRESSURES, TEMPERATURES
from airproof.repair.prices import MOST_MONEY, tools_of
from airproof.report.learned_in_words import beside
from airproof.web.bench import SHOP, Bench
from airproof.web.case.intake import AS_A_PLACE, with_unit
from airproof.web.frame import page
from airproof.web.marks import (
    AtField,
    Form,
    Mark,
    Values,
    at_field,
    choice,
    field,
    folded,
    heading,
    lines,
    one,
    say,
    ticks,
)

LOOKS = ("as the system", "light", "dark")
CURRENCY = re.compile(r"[A-Z]{3}")
TEMPERATURE_NAMES = {"degC": "degrees Celsius", "degF": "degrees Fahrenheit"}


def show(bench: Bench) -> None:
    """The page."""
    with page(bench, "Settings", "/settings"):
        heading(1, "Settings")
        _likes(bench)
        _prices(bench)
        _learned(bench)
        say(f"Jobs, recordings and settings lie in {bench.folder}.", "soft")


def _likes(bench: Bench) -> None:
    now = bench.settings

    async def keep(values: Values) -> None:
        said = {
            **now.model_dump(),
            "pressure": one(values, "pressure"),
            "temperature": one(values, "temperature"),
            "look": one(values, "look"),
            "below_the_air_outside": "below" in values,
            "name": one(values, "name"),
            "altitude": _altitude(one(values, "altitude")),
        }
        bench.like(Settings.model_validate(said))
        ui.navigate.to("/settings")

    heading(2, "How it is shown")
    with Form(keep, send="Keep"):
        with Mark("div", classes="pair"):
            choice("Pressures", "pressure", {name: name for name in PRESSURES}, now.pressure)
            choice("Temperatures", "temperature", {t: TEMPERATURE_NAMES[t] for t in TEMPERATURES}, now.temperature)
            choice("Look", "look", {name: name for name in LOOKS}, now.look)
        with Mark("label", classes="tick"):
            Mark("input", type="checkbox", name="below", value="yes", checked=now.below_the_air_outside)
            Mark("span", "Count pressures from the air outside: vacuum below it, gauge above it")
        field("Your name", "name", now.name, hint="Stands beside what you add to a job.")
        field("Altitude of the shop, m", "altitude", now.altitude, hint="Put into each new job. In feet: 1150 ft.")
    say(
        "Everywhere at once; underneath everything stays exact, in kPa absolute and degrees Celsius. Counted from the "
        "air outside is what a running engine draws or makes. What is held against the air of the day itself stays "
        "absolute, and so does everything in a job of which neither altitude nor air pressure is known.",
        "soft",
    )


def _prices(bench: Bench) -> None:
    now, usual = bench.prices, bench.known.prices

    async def keep(values: Values) -> None:
        bench.price(prices_said(values, now, usual, tools_of(bench.known)))
        ui.navigate.to("/settings")

    heading(2, "Prices and labour")
    say(f"The plan weighs money against time at {now.labour_per_hour:.0f} {now.currency} an hour.")
    with folded("Change prices, labour and tools"), Form(keep, send="Keep these prices"):
        with Mark("div", classes="pair"):
            field(
                "An hour of work", "labour", f"{now.labour_per_hour:g}", hint="0 on one's own car.", inputmode="decimal"
            )
            field("Currency", "currency", now.currency, hint="Three letters. In another one, all prices are needed.")
        with folded("Parts"), Mark("div", classes="pair"):
            for name, part in now.parts.items():
                field(part.title, f"part {name}", f"{part.typical:g}", inputmode="decimal")
        with folded("Tools that are not there: steps that need them are not planned"), Mark("div", classes="many"):
            tools = {tool: tool for tool in sorted(tools_of(bench.known))}
            ticks("Missing", "missing", tools, now.tools_missing)


def prices_said(values: Values, now: Prices, usual: Prices, tools: Collection[str]) -> str:
    """A price file of what was said; what cannot be is told at its field."""
    currency = one(values, "currency").upper()
    if not CURRENCY.fullmatch(currency):
        fault = UnusableRequest(f"{currency[:30]!r}", "three letters, such as EUR", "Correct it.")
        raise AtField(fault, "currency")
    wanted = [
        name
        for name in now.parts
        if currency != usual.currency or one(values, f"part {name}") not in ("", f"{usual.parts[name].typical:g}")
    ]
    parts = {name: _amount(values, f"part {name}") for name in wanted}
    labour = _amount(values, "labour")
    head: dict[str, object] = {"own_time_free": True} if labour == 0.0 else {"labour_per_hour": labour}
    if currency != usual.currency:
        head["currency"] = currency
    missing = [tool for tool in sorted(tools) if tool in values.get("missing", [])]
    if missing:
        head["tools_missing"] = missing
    text = "\n".join(f"{key} = {_toml_value(value)}" for key, value in head.items())
    return f"{text}\n{toml({'parts': parts}) if parts else ''}"


def _learned(bench: Bench) -> None:
    heading(2, "What was learned")
    if bench.learned is None:
        say(
            "Nothing yet. Closed jobs sharpen this shop's own chances, times and prices: see how often each cause "
            "really was there, and how often each step really told and cured."
        )
        return
    for part in beside(bench.learned, str(bench.folder / SHOP)):
        heading(3, part.heading)
        lines(map(bench.words, part.lines))


def _altitude(text: str) -> str:
    """The altitude as typed, in metres where no unit stands with it."""
    with at_field("altitude"):
        said = with_unit(text, "m", AS_A_PLACE["altitude"]) if text else ""
        the_barometer(said or None, None)
        return said


def _amount(values: Values, name: str) -> float:
    """What was typed into that field, in money."""
    text = one(values, name)
    try:
        amount = float(text.replace(",", "."))
    except ValueError:
        amount = math.nan
    if not 0.0 <= amount <= MOST_MONEY:
        raise AtField(UnusableRequest(f"{text[:30]!r}", "a plain number", "Leave the currency out."), name)
    return amount


def _toml_value(value: object) -> str:
    return toml({"x": {"x": value}}).partition("x = ")[2].strip()
