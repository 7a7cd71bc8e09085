"""Frames joined into payloads, against can-isotp as the sender and against lost, doubled and foreign frames."""

from __future__ import annotations

import isotp
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airproof.vehicle.bus_log.frames import Frame
from airproof.vehicle.bus_log.joining import LONGEST, Joiner
from airproof.vehicle.link.addresses import ELEVEN

hexed = bytes.fromhex


def frame(data: bytes, at: float = 0.0, identifier: int = 0x7E8) -> Frame:
    return Frame(at, identifier, ELEVEN, identifier < 0x7E8, data)


def joined(frames: list[Frame]) -> list[bytes]:
    joiner = Joiner()
    return [found.data for one in frames if (found := joiner.take(one)) is not None]


def sent_by_isotp(payload: bytes) -> list[bytes]:
    """The frames that can-isotp sends for a payload, given leave to send all of them at once."""
    sent: list[bytes] = []
    inbox = [isotp.CanMessage(arbitration_id=0x7E0, data=hexed("300000"), dlc=3)]
    layer = isotp.TransportLayerLogic(
        rxfn=lambda _timeout: inbox.pop(0) if sent and inbox else None,
        txfn=lambda message: sent.append(bytes(message.data)),
        address=isotp.Address(isotp.AddressingMode.Normal_11bits, txid=0x7E8, rxid=0x7E0),
        params={"tx_padding": 0xAA},
    )
    layer.send(payload)
    for _ in range(2000):
        layer.process()
        if not layer.transmitting():
            break
    return sent


@given(st.binary(min_size=1, max_size=300) | st.binary(min_size=LONGEST, max_size=LONGEST))
def test_what_can_isotp_sends_is_put_together(payload: bytes) -> None:
    assert joined([frame(data, 0.001 * n) for n, data in enumerate(sent_by_isotp(payload))]) == [payload]


def test_a_real_first_frame_begins_a_vin() -> None:
    # Stored question 76082339: 7E8 10 14 49 02 01 57 42 41, so 20 bytes are announced and the VIN begins "WBA".
    rest = [hexed("21") + b"1234567", hexed("22") + b"8901234"]
    (payload,) = joined([frame(hexed("10 14 49 02 01 57 42 41")), *map(frame, rest)])
    assert len(payload) == 20
    assert payload[3:6] == b"WBA"


def test_two_units_may_answer_at_once() -> None:
    first = [frame(data, 0.01 * n) for n, data in enumerate(sent_by_isotp(bytes(range(30))))]
    other = [frame(data, 0.01 * n, 0x7E9) for n, data in enumerate(sent_by_isotp(bytes(range(60, 100))))]
    mixed = [one for pair in zip(first, other, strict=False) for one in pair] + other[len(first) :]
    assert joined(mixed) == [bytes(range(30)), bytes(range(60, 100))]


@pytest.mark.parametrize(
    ("frames", "why"),
    [
        ([(hexed("10 14 49 02 01 31 4D 38"), 0.0), (hexed("22 50 30 34 32 37 38 38"), 0.1)], "a frame is missing"),
        ([(hexed("10 14 49 02 01 31 4D 38"), 0.0), (hexed("21 47 44 4D 39 41 58 4B"), 1.5)], "too long a pause"),
        ([(hexed("10 14 49 02 01 31 4D 38"), 0.0), (hexed("02 43 00"), 0.1)], "broken off by another"),
        ([(hexed("21 47 44 4D 39 41 58 4B"), 0.0)], "its first frame is not there"),
        ([(hexed("0F 43 00"), 0.0)], "a length that does not fit its frame"),
        ([(hexed("10 03 43 00"), 0.0)], "a length that does not fit its frame"),
        ([(hexed("10 00 FF FF FF FF 43 00"), 0.0)], "a length that does not fit its frame"),
        ([(hexed("F0 00"), 0.0)], "no frame of ISO 15765-2"),
        ([(b"", 0.0)], "no frame of ISO 15765-2"),
        ([(hexed("10 14 49 02 01 31 4D 38"), 0.0)], "the log ends within it"),
    ],
)
def test_what_is_lost_says_why(frames: list[tuple[bytes, float]], why: str) -> None:
    joiner = Joiner()
    for data, at in frames:
        joiner.take(frame(data, at))
    joiner.end()
    assert joiner.lost[why] == 1


@given(
    st.lists(st.tuples(st.binary(max_size=64), st.floats(0, 100), st.sampled_from(range(0x7DF, 0x7F0))), max_size=60)
)
def test_any_frames_are_taken_and_little_is_held(frames: list[tuple[bytes, float, int]]) -> None:
    joiner = Joiner()
    for data, at, identifier in frames:
        found = joiner.take(frame(data, at, identifier))
        assert found is None or 0 < len(found.data) <= LONGEST
        held = joiner._unfinished.values()
        assert len(held) <= 17
        assert all(len(one.data) < LONGEST + 64 for one in held)
