"""The fields in which a job is taken in, and what becomes of them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from pydantic import ValidationError

from airproof.diagnosis.facts import Kind, entries_of
from airproof.diagnosis.place_as_typed import COLDEST_C, HOTTEST_C
from airproof.errors import UnusableQuantity, UnusableRequest
from airproof.jobs.adding import noted_said, place_said
from airproof.jobs.events import Draft
from airproof.jobs.kinds import Car, Code, Complaint, Engine, Payload, Place, payload_of
from airproof.jobs.pasted import statuses_pasted
from airproof.jobs.settings import Settings
from airproof.knowledge.model import Knowledge
from airproof.quantities.constants import ZERO_CELSIUS
from airproof.quantities.units import from_unit, parse_number, to_unit
from airproof.toml_files import in_words
from airproof.web.bench import Bench
from airproof.web.marks import AtField, Mark, Values, at_field, choice, field, folded, one, say, ticks

INDUCTION = {
    "": "not said yet",
    "turbocharged": "turbocharged",
    "supercharged": "supercharged",
    "naturally-aspirated": "naturally aspirated",
}
METERING = {
    "": "not said yet",
    "air-flow sensor": "by an air flow sensor (MAF) in the intake pipe",
    "speed-density": "by manifold pressure (MAP) alone, no air flow sensor",
    "both": "by both",
}
FUELS = {"": "petrol, if nothing is said", "petrol": "petrol", "e10": "petrol with 10 % ethanol", "e85": "E85"}
CAR = ("make", "model", "year", "plate", "vin", "owner", "odometer_km")
NEEDED = {
    "displacement_l": "displacement",
    "cylinders": "number of cylinders",
    "induction": "induction",
    "air_metering": "how it meters its air",
}
_THOUSANDS = re.compile(r"[1-9]\d{0,2}(?:[ .,'\N{NO-BREAK SPACE}\N{NARROW NO-BREAK SPACE}]\d{3})+")
TEMPERATURE_SIGNS = {"degC": "\N{DEGREE SIGN}C", "degF": "\N{DEGREE SIGN}F"}
AS_A_PLACE: dict[str, tuple[str, float, float, Sequence[str]]] = {
    "altitude": ("length", -500.0, 5500.0, ("ft",)),
    "barometer": ("pressure", 50e3, 110e3, ("hPa", "mmHg", "inHg", "kPa", "psi", "bar")),
    "ambient": ("temperature", ZERO_CELSIUS + COLDEST_C, ZERO_CELSIUS + HOTTEST_C, ("degC", "degF")),
}
"""What may be meant by a number of the place without its unit: kind, lowest and highest in SI, units.

judged: Airproof authors: the Dead Sea's shore is 430 m below the sea, the highest roads 5,500 m above it.
"""


def complaint_fields(bench: Bench, text: str = "") -> None:
    """What the owner says, and what is noticed."""
    field("The complaint, in the owner's words", "complaint", text, long=True)
    with folded("What the driver notices"), Mark("div", classes="many"):
        noted_ticks(bench.known, "symptom", "Tick what is there")


def noted_ticks(known: Knowledge, kind: Any, legend: str) -> None:
    """Everything of a kind that can be noticed, to tick."""
    ticks(legend, kind, {name: entry.title for name, entry in entries_of(kind, known).items()})


def car_fields(car: Car | None = None) -> None:
    """Which car."""
    said = car.model_dump() if car is not None else {}
    with folded("Which car", opened=car is not None and car != Car()):
        with Mark("div", classes="pair"):
            for name, label in (("make", "Make"), ("model", "Model"), ("plate", "Plate"), ("owner", "Owner")):
                field(label, name, _text(said.get(name)))
            field("Year", "year", _text(said.get("year")), inputmode="numeric")
            field("Odometer, km", "odometer_km", _text(said.get("odometer_km")), inputmode="decimal")
        field(
            "VIN",
            "vin",
            _text(said.get("vin")),
            hint="A doubtful one is kept and marked; many markets have no check digit.",
            autocapitalize="characters",
            spellcheck="false",
        )


def engine_fields(engine: Engine | None = None) -> None:
    """Which engine; four things are needed before anything can be weighed."""
    said: dict[str, Any] = engine.engine.model_dump(exclude_unset=True) if engine is not None else {}
    with Mark("fieldset"):
        Mark("legend", "The engine")
        say(
            "The first four are needed before anything is weighed; of the rest the verdict says what was assumed.",
            "soft",
        )
        with Mark("div", classes="pair"):
            field("Displacement, litres", "displacement_l", _text(said.get("displacement_l")), inputmode="decimal")
            field("Cylinders", "cylinders", _text(said.get("cylinders")), inputmode="numeric")
        choice("Induction", "induction", INDUCTION, said.get("induction", ""))
        choice("How it meters its air", "air_metering", METERING, said.get("air_metering", ""))
        with folded("More about it"), Mark("div", classes="pair"):
            choice("Fuel", "fuel", FUELS, said.get("fuel", ""))
            field("Compression ratio", "compression_ratio", _text(said.get("compression_ratio")), inputmode="decimal")
            field("Warm idle, 1/min", "idle_rpm", _text(said.get("idle_rpm")), inputmode="numeric")
            field(
                "Boost at full load, kPa gauge",
                "rated_boost_kpa",
                _text(said.get("rated_boost_kpa")),
                hint="Above the air outside; 1 bar is 100 kPa, 10 psi are 69 kPa.",
                inputmode="decimal",
            )


def place_fields(bench: Bench, altitude: str = "", place: Place | None = None) -> None:
    """Where and on what day; each label names the unit in which a bare number is taken."""
    said, units = place or Place(), bare_units(bench.settings)
    with Mark("div", classes="pair"):
        field(
            f"Altitude of the place, {units['altitude']}",
            "altitude",
            said.altitude or altitude,
            hint="The strongest help there is. In feet with its unit: 1150 ft.",
        )
        field(
            f"Or its air pressure, absolute, {units['barometer']}",
            "barometer",
            said.barometer or "",
            hint="What a barometer there shows, not reduced to sea level. In another unit with it, such as 982 hPa.",
        )
        field(
            f"Temperature outside, {TEMPERATURE_SIGNS[bench.settings.temperature]}",
            "ambient",
            said.ambient or "",
            hint="In the other unit with it, such as 18 C or 64 F.",
        )


def bare_units(settings: Settings) -> dict[str, str]:
    """The unit in which each number of the place is taken that stands alone: its label says it."""
    return {"altitude": "m", "barometer": settings.pressure, "ambient": settings.temperature}


def drafts_of_new(bench: Bench, values: Values) -> list[Draft]:
    """All that was said on opening a job, checked; raises an error of ours for what cannot be."""
    drafts = complaint_drafts(bench, values)
    drafts += car_drafts(values, Car())
    drafts += engine_drafts(values)
    drafts += place_drafts(bench, values, Place())
    with at_field("codes"):
        found = statuses_pasted(one(values, "codes"), bench.known)
        drafts += [Draft("code", Code(id=code, status=status)) for code, status in found.items()]
    return drafts


def complaint_drafts(bench: Bench, values: Values, before: str = "") -> list[Draft]:
    """The complaint, where it is another than before, and what is noticed."""
    text = one(values, "complaint")
    drafts = [Draft("complaint", payload_of("complaint", Complaint(text=text).model_dump()))] if text != before else []
    return drafts + noted_drafts(bench, values, ("symptom",))


def noted_drafts(bench: Bench, values: Values, kinds: Sequence[Kind]) -> list[Draft]:
    """What was ticked."""
    return [noted_said(kind, name, bench.known) for kind in kinds for name in values.get(kind, [])]


def car_drafts(values: Values, before: Car) -> list[Draft]:
    """What was said of the car and is new."""
    said: dict[str, Any] = {}
    for name in CAR:
        text = one(values, name)
        if text and text != _text(getattr(before, name)):
            said[name] = _number(text, name, whole=name == "year") if name in ("year", "odometer_km") else text
    return [Draft("car", _payload("car", said, values))] if said else []


def engine_drafts(values: Values) -> list[Draft]:
    """The engine, where anything was said of it."""
    said: dict[str, Any] = {}
    for name in ("induction", "air_metering", "fuel"):
        if one(values, name):
            said[name] = one(values, name)
    for name in ("displacement_l", "compression_ratio", "idle_rpm", "rated_boost_kpa"):
        if one(values, name):
            said[name] = _number(one(values, name), name)
    if one(values, "cylinders"):
        said["cylinders"] = _number(one(values, "cylinders"), "cylinders", whole=True)
    if not said:
        return []
    missing = {name: words for name, words in NEEDED.items() if name not in said}
    if missing:
        fault = UnusableRequest(
            f"the engine lacks its {', '.join(missing.values())}",
            "these four, or nothing of the engine yet",
            "They stand in the papers of the car or on a plate under the bonnet.",
        )
        raise AtField(fault, next(iter(missing)))
    return [Draft("engine", _payload("engine", {"engine": said}, values))]


def place_drafts(bench: Bench, values: Values, before: Place) -> list[Draft]:
    """Place and day, where anything about them is new."""
    said: dict[str, str] = {}
    for name, unit in bare_units(bench.settings).items():
        text = one(values, name)
        if text and text != getattr(before, name):
            with at_field(name):
                said[name] = with_unit(text, unit, AS_A_PLACE[name])
                place_said(Place(**{name: said[name]}), Place())  # by itself: what is wrong is wrong with this field
    if not said:
        return []
    with at_field(next(iter(said))):
        return [place_said(Place(**said), before)]


def with_unit(text: str, unit: str, as_: tuple[str, float, float, Sequence[str]]) -> str:
    """What was typed, with that unit where it is a number alone; refused where it can only be in another one.

    `as_`: the kind of quantity, the lowest and highest it may be in SI, and the units it is told in elsewhere.
    """
    kind, low, high, others = as_
    try:
        number = parse_number(text)
    except UnusableQuantity:
        return text
    if low <= from_unit(number, unit) <= high:
        return f"{text} {unit}" + (" absolute" if kind == "pressure" else "")
    likely = [other for other in others if low <= from_unit(number, other) <= high]
    offered = " or ".join(f"{text} {other}" for other in likely)
    raise UnusableQuantity(
        f'"{text}", in {unit} as it stands alone',
        f"{to_unit(low, unit):.3g} to {to_unit(high, unit):.3g} {unit}, or another unit with the number",
        f"Perhaps {offered}? Write it so." if likely else f"Write the unit behind it, such as {others[0]}.",
    )


def _payload(kind: str, said: dict[str, Any], values: Values) -> Payload:
    """The payload of a fact; what cannot be is told at the field that it was typed into."""
    try:
        return payload_of(kind, said)
    except UnusableRequest as fault:
        cause = fault.__cause__
        if not isinstance(cause, ValidationError):
            raise
        first = cause.errors(include_url=False)[0]
        name = next((str(part) for part in reversed(first["loc"]) if str(part) in values), "")
        name = name or next((field for field in values if field in str(first["msg"])), "")
        if not name:
            raise
        bounds = {"ge": "at least", "le": "at most", "gt": "more than", "lt": "less than"}
        wanted = [f"{bounds[key]} {limit:g}" for key, limit in first.get("ctx", {}).items() if key in bounds]
        typed = one(values, name)
        way_out = _perhaps(name, typed) or "Correct it."
        told = UnusableRequest(f'"{typed}"', wanted[0] if wanted else in_words(cause), way_out)
        raise AtField(told, name) from fault


def _perhaps(name: str, typed: str) -> str:
    """Of a displacement in cubic centimetres, how it is in litres."""
    if name != "displacement_l":
        return ""
    litres = 1e-3 * float(typed.replace(",", "."))
    return f"{typed} litres? {typed} cm3 are {litres:g} litres: write {litres:g}." if 0.2 <= litres <= 12.0 else ""


def ungrouped(text: str) -> str:
    """A number without what parts its thousands ("187.000"): for money and distances; nobody says their thousandths."""
    return re.sub(r"\D", "", text) if _THOUSANDS.fullmatch(text) else text


def _number(text: str, name: str, *, whole: bool = False) -> float | int:
    text = ungrouped(text) if name == "odometer_km" else text
    try:
        return int(text) if whole else float(text.replace(",", "."))
    except ValueError as fault:
        wanted = "a whole number" if whole else "a number"
        raise AtField(UnusableRequest(f'"{text[:40]}"', wanted, "Leave the unit out."), name) from fault


def _text(value: object) -> str:
    if value is None:
        return ""
    return f"{value:.10g}" if isinstance(value, float) else str(value)
