"""A job of our own invention, to be written up: car, owner, fault and readings are made up."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from invented_weighings import PROFILE, weighing

from airproof.diagnosis.weighing import Weighing
from airproof.jobs.events import Event
from airproof.jobs.kinds import payload_of
from airproof.knowledge.load import knowledge
from airproof.report.write_up.case import Case, case_of

OPENED = datetime(2026, 3, 2, 8, 30, tzinfo=UTC)
WRITTEN = datetime(2026, 3, 4, 16, 0, tzinfo=UTC)
OWNER, PLATE, VIN = "Ada Beispiel", "XY Z 987", "1M8GDM9AXKP042788"  # the VIN is the example of 49 CFR 565
SAID: tuple[tuple[str, dict[str, Any]], ...] = (
    ("car", {"make": "Invented", "model": "Two", "year": 2014, "owner": OWNER, "plate": PLATE, "vin": VIN,
             "odometer_km": 123456.0}),
    ("engine", {"engine": PROFILE.model_dump(mode="json", exclude_unset=True)}),
    ("complaint", {"text": f"lamp on, hesitates; call {OWNER}"}),
    ("place", {"altitude": "350m", "ambient": "18C"}),
    ("code", {"id": "P0106", "status": "pending", "order": 1}),
    ("freeze_frame", {"code": "P0106", "values": {"engine_speed": "780 1/min", "manifold_pressure": "42 kPa"}}),
    ("readiness", {"codes_read": True, "monitors": {"misfire": "complete", "fuel_system": "incomplete"}}),
    ("symptom", {"id": "hesitation"}),
    ("look", {"id": "plug-loose", "found": False}),
    ("reading", {"signal": "barometric_pressure", "value": "98.0 kPa"}),
    ("measured", {"tables": {"meter": {"accuracy": "0.5 % + 2 digits"}, "sensor": {"line": "absolute-250-kpa"},
                             "measured": [{"what": "signal", "value": "1.848 V", "shown": "106 kPa"}]}}),
    ("recording", {"sha256": "ab" * 32, "bytes": 1000, "name": "drive XYZ-987.csv", "seconds": 120.0,
                   "holds": ["time", "engine_speed", "manifold_pressure"]}),
    ("step", {"id": "measure-key-on-signal", "outcome": "found", "minutes": 10.0}),
    ("repair", {"steps": ["replace-map-sensor"], "gone": True, "minutes": 25.0, "money": 48.5, "note": "new part"}),
)  # fmt: skip


def events(*more: tuple[str, dict[str, Any]]) -> list[Event]:
    """The events of the job, a minute apart."""
    return [
        Event(number, f"{number:032x}", OPENED + timedelta(minutes=number), "Kim", kind, 1, payload_of(kind, data))
        for number, (kind, data) in enumerate((*SAID, *more), 1)
    ]


def weighed() -> Weighing:
    """Its weighing; the recording is made up, too, and bears the plate in its name."""
    return weighing(label="drive XYZ-987.csv")


def case(*more: tuple[str, dict[str, Any]], **options: Any) -> Case:
    """The case, with further facts."""
    given = {"number": 7, "weighing": weighed(), **options}
    return case_of(events(*more), knowledge(), WRITTEN, **given)
