"""No bytes crash a reader: they are read or refused in our own words, and what is read can be written again."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from airproof.errors import UnusableAnswer
from airproof.vehicle.answers.car_information import read_car_information
from airproof.vehicle.answers.codes import STATUSES, codes_answer, read_codes
from airproof.vehicle.answers.live import Items, live_answer, read_frame, read_identified, read_live
from airproof.vehicle.answers.monitor_results import monitor_results_answer, read_monitor_results
from airproof.vehicle.answers.newer import (
    codes_report,
    fault_counters,
    read_by_identifier,
    read_code_count,
    read_code_report,
    read_frame_of_code,
)
from airproof.vehicle.answers.readiness import read_readiness, readiness_bytes
from airproof.vehicle.answers.refusals import read_refusal
from airproof.vehicle.bus_log.dialogue import MOST_KINDS, Dialogue
from airproof.vehicle.bus_log.joining import Payload
from airproof.vehicle.items import items_table
from airproof.vehicle.link.addresses import ELEVEN

SERVICES = (0x41, 0x42, 0x43, 0x44, 0x46, 0x47, 0x49, 0x4A, 0x54, 0x59, 0x62, 0x7F)
BODIES = st.one_of(
    st.binary(max_size=80),
    st.lists(st.sampled_from([0x00, 0x01, 0x02, 0x04, 0x0B, 0x0C, 0x10, 0x20, 0x70, 0xF4, 0xFF]), max_size=60).map(
        bytes
    ),
)
PAYLOADS = st.builds(lambda service, body: bytes([service]) + body, st.sampled_from(SERVICES), BODIES) | st.binary()
READERS: list[Callable[..., object]] = [
    read_live,
    read_frame,
    read_identified,
    read_codes,
    read_monitor_results,
    read_car_information,
    read_code_report,
    read_frame_of_code,
    read_by_identifier,
]


@pytest.mark.parametrize("read", READERS, ids=lambda read: read.__name__)
@given(payload=PAYLOADS, asked=st.sets(st.integers(0, 255), max_size=6))
def test_any_payload_is_read_or_refused(read: Callable[..., object], payload: bytes, asked: set[int]) -> None:
    takes_asked = read in (read_live, read_frame, read_identified, read_by_identifier)
    for mode in ("strict", "forgiving"):
        with suppress(UnusableAnswer):
            found = read(payload, asked, mode) if takes_asked else read(payload, mode)
            assert mode == "forgiving" or not getattr(found, "assumed", ())


@given(PAYLOADS)
def test_the_other_readers_too(payload: bytes) -> None:
    for read in (read_readiness, read_refusal, read_code_count, fault_counters):
        with suppress(UnusableAnswer):
            assert read(payload) is not None


@given(PAYLOADS)
def test_what_is_read_strictly_is_written_the_same(payload: bytes) -> None:
    def again(read: Callable[[bytes], object], write: Callable[..., bytes]) -> None:
        try:
            found = read(payload)
        except UnusableAnswer:
            return
        assert write(found) == payload

    again(read_live, lambda items: live_answer(items.parts))
    if payload[:1] == b"\x59" and payload[1:2] == b"\x02":
        again(read_code_report, codes_report)
    if payload[:1] == b"\x46" and len(payload) > 1 and payload[1] % 0x20:
        found = _results(payload)
        if found is not None and not found.announced:
            again(read_monitor_results, lambda results: monitor_results_answer(results.results))
    if payload[:1] in {bytes([service + 0x40]) for service in STATUSES}:
        again(read_codes, lambda codes: _without_gaps(payload, codes.codes))


def _results(payload: bytes) -> object:
    try:
        return read_monitor_results(payload)
    except UnusableAnswer:
        return None


def _without_gaps(payload: bytes, codes: tuple[str, ...]) -> bytes:
    """The answer written anew; one with empty slots is longer than its codes."""
    written = codes_answer(payload[0] - 0x40, codes)
    return written if payload[1] == len(codes) else payload


@given(st.binary(min_size=4, max_size=4))
def test_readiness_survives_as_far_as_it_is_known(data: bytes) -> None:
    found = read_readiness(data)
    assert read_readiness(readiness_bytes(found)) == found


@given(st.lists(st.sampled_from([item for item in items_table().values() if not item.also]), min_size=1, max_size=6))
def test_several_items_come_apart_as_they_were_put_together(items: list[object]) -> None:
    parts = tuple((item.number, bytes(range(1, item.length + 1))) for item in items)  # type: ignore[attr-defined]
    found = read_live(live_answer(parts), {number for number, _ in parts})
    if len({number for number, _ in parts}) > 1:
        assert found == Items(parts)


MOMENTS = st.tuples(PAYLOADS, st.booleans(), st.sampled_from([0x7DF, 0x7E0, 0x7E8, 0x7E9]), st.floats(0, 50))


@given(st.lists(MOMENTS, max_size=30))
def test_any_dialogue_is_taken(moments: list[tuple[bytes, bool, int, float]]) -> None:
    dialogue = Dialogue()
    for data, is_question, identifier, at in moments:
        unit = identifier | 0x08 if not is_question and identifier != 0x7DF else identifier
        dialogue.take(Payload(unit, ELEVEN, is_question, at, at, data))
    dialogue.end()
    for series in dialogue.live.series():
        assert len(series.time) == len(series.values) > 0
    for unit in dialogue.units.values():
        assert isinstance(unit.frames, tuple)
        assert unit.telling in unit.told
    assert len(dialogue.unread) <= MOST_KINDS + 1


def test_sentences_of_a_long_bad_log_do_not_pile_up() -> None:
    dialogue = Dialogue()
    for number in range(5 * MOST_KINDS):
        dialogue.note(f"sentence {number}")
    assert len(dialogue.unread) == MOST_KINDS + 1
    assert dialogue.unread.total() == 5 * MOST_KINDS
