"""The fields in which a job is taken in, and what becomes of them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from airproof.diagnosis.facts import Kind, entries_of
from airproof.errors import UnusableRequest
from airproof.jobs.adding import code_said, noted_said, place_said
from airproof.jobs.events import Draft
from airproof.jobs.kinds import Car, Complaint, Engine, Place, payload_of
from airproof.jobs.pasted import codes_pasted
from airproof.knowledge.model import Knowledge
from airproof.web.bench import Bench
from airproof.web.marks import Mark, Values, choice, field, folded, one, say, ticks

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
PLACE = ("altitude", "barometer", "ambient")


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
            "The first four are needed before anything is weighed; the rest is taken wide where you leave it out.",
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


def place_fields(altitude: str = "", place: Place | None = None) -> None:
    """Where and on what day."""
    said = place or Place()
    with Mark("div", classes="pair"):
        field(
            "Altitude of the place",
            "altitude",
            said.altitude or altitude,
            hint="Such as 350m or 1150ft: the strongest help there is.",
        )
        field("Or its air pressure", "barometer", said.barometer or "", hint="Absolute, such as 98.2kPa absolute.")
        field("Temperature outside", "ambient", said.ambient or "", hint="Such as 18C or 64F.")


def drafts_of_new(bench: Bench, values: Values) -> list[Draft]:
    """All that was said on opening a job, checked; raises an error of ours for what cannot be."""
    drafts = complaint_drafts(bench, values)
    drafts += car_drafts(values, Car())
    drafts += engine_drafts(values)
    drafts += place_drafts(values, Place())
    drafts += [code_said(code, bench.known) for code in codes_pasted(one(values, "codes"), bench.known)]
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
    return [Draft("car", payload_of("car", said))] if said else []


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
    missing = [
        words
        for name, words in (
            ("displacement_l", "displacement"),
            ("cylinders", "number of cylinders"),
            ("induction", "induction"),
            ("air_metering", "how it meters its air"),
        )
        if name not in said
    ]
    if missing:
        raise UnusableRequest(
            f"the engine lacks its {', '.join(missing)}",
            "these four, or nothing of the engine yet",
            "They stand in the papers of the car or on a plate under the bonnet.",
        )
    return [Draft("engine", payload_of("engine", {"engine": said}))]


def place_drafts(values: Values, before: Place) -> list[Draft]:
    """Place and day, where anything about them is new."""
    said = {
        name: one(values, name) for name in PLACE if one(values, name) and one(values, name) != getattr(before, name)
    }
    return [place_said(Place(**said), before)] if said else []


def _number(text: str, name: str, *, whole: bool = False) -> float | int:
    try:
        return int(text) if whole else float(text.replace(",", "."))
    except ValueError as fault:
        wanted = "a whole number" if whole else "a number"
        raise UnusableRequest(f"{text[:40]!r}", wanted, "Leave the unit out.", where=name.replace("_", " ")) from fault


def _text(value: object) -> str:
    if value is None:
        return ""
    return f"{value:g}" if isinstance(value, float) else str(value)
