"""When something was said: in UTC in a terminal, on a page by the clock on the wall, as beside each fact there."""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import UTC, datetime

import pytest

from airproof.jobs.events import Event
from airproof.jobs.kinds import payload_of
from airproof.knowledge.load import knowledge
from airproof.report.job_in_words import event_in_words, fact_in_words

KNOWN = knowledge()


@pytest.fixture
def five_hours_behind(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    if not hasattr(time, "tzset"):
        pytest.skip("the zone of this system cannot be set")
    monkeypatch.setenv("TZ", "EST5")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.mark.usefixtures("five_hours_behind")
def test_an_hour_is_that_of_the_wall_or_says_that_it_is_not() -> None:
    at = datetime(2026, 1, 2, 3, 4, tzinfo=UTC)
    event = Event(1, "0" * 32, at, "Kim", "note", 1, payload_of("note", {"text": "a note"}))
    assert event_in_words(event, KNOWN) == "[1] 2026-01-02 03:04 UTC, Kim: a note"
    assert event_in_words(event, KNOWN, local=True) == "[1] 2026-01-01 22:04, Kim: a note"


def test_what_was_measured_and_the_car_are_told_with_their_values_and_units() -> None:
    tables = {"measured": [{"what": "signal", "value": "1.89 V", "shown": "98 kPa"}, {"what": "wiggle", "found": True}]}
    told = fact_in_words("measured", payload_of("measured", {"tables": tables}), KNOWN)
    assert told == "2 measurements with a meter: signal 1.89 V (98 kPa in live data)"
    car = payload_of("car", {"vin": "WVWZZZ1KZ6W000001", "odometer_km": 1234567.0, "year": 2006})
    assert fact_in_words("car", car, KNOWN) == "car: year 2006, VIN WVWZZZ1KZ6W000001, odometer 1234567 km"
