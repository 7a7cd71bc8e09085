"""Addresses, bit rates and frames of ISO 15765, byte for byte as they were read, or constructed where that is said.

liquisearch.com, obd-ii pids, CAN 11-bit bus format: functional 7DF, physical 7E0 to 7E7, answers 7E8 to 7EF, which are
the request and 8, up to eight units; the first frame of a long answer must be met by a frame to that unit alone. A
stored page of the protocol: 29 bits, functional 18DB33F1, physical 18DAxxF1, and 500 and 250 kbit/s (answers 18DAF1xx
from memory). simulationroom999.com, part 8: the four kinds of frames, 7 bytes in a single one, 4095 at most.
"""

from __future__ import annotations

import can
import pytest

from airproof.vehicle.bus_log.joining import LONGEST as LONGEST_LOGGED
from airproof.vehicle.link.adapter import RATES
from airproof.vehicle.link.addresses import ELEVEN, TWENTY_NINE
from airproof.vehicle.link.assembly import (
    CONSECUTIVE,
    FIRST,
    FLOW_CONTROL,
    LONGEST,
    SINGLE,
    Assembly,
    kind_of,
    single_frame,
)
from airproof.vehicle.stand_in.sending import Sender

hexed = bytes.fromhex


def frame(identifier: int, data: str) -> can.Message:
    return can.Message(arbitration_id=identifier, is_extended_id=identifier > 0x7FF, data=hexed(data))


def test_addresses_of_11_bits() -> None:
    assert ELEVEN.functional == 0x7DF
    questions = [n for n in range(0x800) if ELEVEN.is_question(n, extended=False)]
    answers = [n for n in range(0x800) if ELEVEN.is_answer(n, extended=False)]
    assert questions == [0x7DF, *range(0x7E0, 0x7E8)]
    assert answers == list(range(0x7E8, 0x7F0))
    assert [ELEVEN.answer_of(n) for n in questions[1:]] == answers
    assert [ELEVEN.question_to(n) for n in answers] == questions[1:]


def test_addresses_of_29_bits() -> None:
    assert TWENTY_NINE.functional == 0x18DB33F1
    for unit in range(0x100):
        question, answer = 0x18DA00F1 | unit << 8, 0x18DAF100 | unit
        assert TWENTY_NINE.is_question(question, extended=True)
        assert TWENTY_NINE.is_answer(answer, extended=True)
        assert (TWENTY_NINE.answer_of(question), TWENTY_NINE.question_to(answer)) == (answer, question)
    for strange in (0x18DAF210, 0x18DB33F2, 0x18DB0010):
        assert not TWENTY_NINE.is_question(strange, extended=True)
        assert not TWENTY_NINE.is_answer(strange, extended=True)


def test_bit_rates() -> None:
    assert set(RATES) == {500_000, 250_000}


@pytest.mark.parametrize(
    ("data", "kind"),
    [
        ("02 01 0C", SINGLE),
        ("10 14 49 02 01 57 42 41", FIRST),
        ("21 47 44 4D 39 41 58 4B", CONSECUTIVE),
        ("30 00 00", FLOW_CONTROL),
        ("40 00", None),
        ("", None),
    ],
)
def test_kinds_of_frames(data: str, kind: int | None) -> None:
    assert kind_of(hexed(data)) == kind


def test_a_question_is_one_frame_of_eight_bytes() -> None:
    sent = single_frame(0x7DF, hexed("09 02"), ELEVEN)
    assert (sent.arbitration_id, bytes(sent.data)) == (0x7DF, hexed("02 09 02 00 00 00 00 00"))
    assert len(single_frame(0x7DF, bytes(7), ELEVEN).data) == 8
    assert LONGEST == LONGEST_LOGGED == 4095


VIN = hexed("49 02 01") + b"1M8GDM9AXKP042788"
VIN_FRAMES = ("10 14 49 02 01 31 4D 38", "21 47 44 4D 39 41 58 4B", "22 50 30 34 32 37 38 38")
"""Constructed: the frames by the rules above; the VIN read at pandsauto.ca as an example of its check digit."""


def test_the_worked_vin_at_the_tester() -> None:
    sent: list[can.Message] = []
    assembly = Assembly(ELEVEN, 0x7E8, sent.append)
    assert assembly.feed(frame(0x7E8, VIN_FRAMES[0])) == []
    assert [(one.arbitration_id, bytes(one.data)[:3]) for one in sent] == [(0x7E0, hexed("30 00 00"))]  # not to 7DF
    assert assembly.feed(frame(0x7E8, VIN_FRAMES[1])) == []
    assert assembly.feed(frame(0x7E8, VIN_FRAMES[2])) == [VIN]
    assert len(sent) == 1


def test_the_worked_vin_at_the_stand_in() -> None:
    sender = Sender(ELEVEN, 0x7E8)
    first = sender.answer(VIN)
    assert [(one.arbitration_id, bytes(one.data)) for one in first] == [(0x7E8, hexed(VIN_FRAMES[0]))]
    rest = sender.flow_control(frame(0x7E0, "30 00 00"))
    assert [bytes(one.data) for one in rest] == [hexed(one) for one in VIN_FRAMES[1:]]


def test_a_real_first_frame() -> None:
    # Stored question 76082339: 7DF 02 09 00, 7E8 10 14 49 02 01 57 42 41: 20 bytes, and the VIN begins "WBA".
    sent: list[can.Message] = []
    assembly = Assembly(ELEVEN, 0x7E8, sent.append)
    assembly.feed(frame(0x7E8, "10 14 49 02 01 57 42 41"))
    assembly.feed(frame(0x7E8, "21 31 32 33 34 35 36 37"))
    (payload,) = assembly.feed(frame(0x7E8, "22 38 39 30 31 32 33 34"))
    assert (len(payload), payload[:6]) == (20, hexed("49 02 01") + b"WBA")
