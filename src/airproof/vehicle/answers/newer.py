"""The newer services of SAE J1979-2: codes by service 19, clearing by 14, everything else by identifiers of service 22.

Codes have three bytes there, the third the type of failure, and a status byte. The sub-functions are read in an open
listing (mk4-wiki.denkdose.de, service 19); their layouts, the emissions group FFFF33, the bits of the status byte and
what F5xx, F6xx and F8xx hold are from memory of ISO 14229-1 and SAE J1979-2. Of F5xx it is remembered only that it goes
on where F4xx ends, with bitmaps of the same form, and no layout: its data are kept as they came.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from airproof.errors import UnusableRequest
from airproof.vehicle.answers.car_information import VIN, CarInformation, bitmap_in, information_in
from airproof.vehicle.answers.code_text import code_number, code_with_failure
from airproof.vehicle.answers.live import BY_IDENTIFIER, LIVE_IDENTIFIERS, Items, identifier_answer, read_identified
from airproof.vehicle.answers.monitor_results import MonitorResults, result_in
from airproof.vehicle.answers.payload import ANSWERED, as_hex, body_of, unreadable
from airproof.vehicle.items import items_table
from airproof.vehicle.items.bitmap import SPAN
from airproof.vehicle.items.decode import Mode

READ_CODES, CLEAR_CODES = 0x19, 0x14
COUNT, BY_STATUS, FRAME_OF_CODE, SUPPORTED = 0x01, 0x02, 0x04, 0x0A
FAULT_COUNTERS, PERMANENT, BY_SEVERITY, OF_EMISSIONS, OF_READINESS_GROUP = 0x14, 0x15, 0x42, 0x55, 0x56
ALL_GROUPS, EMISSIONS_GROUP = 0xFFFFFF, 0xFFFF33
FURTHER_IDENTIFIERS, MONITOR_IDENTIFIERS, CAR_IDENTIFIERS, VIN_IDENTIFIER = 0xF500, 0xF600, 0xF800, 0xF190

_FORGIVING = "Ask again, or read it in the forgiving mode."
_CODE = 3
_RESULT = 8

_LAYOUT = {
    BY_STATUS: (1, 0, 0),
    SUPPORTED: (1, 0, 0),
    PERMANENT: (1, 0, 0),
    BY_SEVERITY: (4, 1, 1),
    OF_EMISSIONS: (3, 1, 0),
    OF_READINESS_GROUP: (4, 1, 0),
}
"""By sub-function: bytes before the first code, which of them tells what status bits there are, bytes before each."""

FAILED_NOW, FAILED_THIS_DRIVE, PENDING, CONFIRMED = 0x01, 0x02, 0x04, 0x08
NOT_RUN_SINCE_CLEARED, FAILED_SINCE_CLEARED, NOT_RUN_THIS_DRIVE, LAMP = 0x10, 0x20, 0x40, 0x80

STATUS_BITS = ((CONFIRMED, "stored"), (PENDING, "pending"), (FAILED_NOW, "present"))
"""The status bits that the rest of Airproof has a word for."""


@dataclass(frozen=True)
class CodeStatus:
    """One code, its type of failure and its status byte."""

    code: str
    failure: int
    status: int

    @property
    def written(self) -> str:
        """The code with its type of failure: "P0106-17"."""
        return f"{self.code}-{self.failure:02X}"

    @property
    def statuses(self) -> tuple[str, ...]:
        """What the status byte says, as the rest of Airproof calls it: stored, pending, present."""
        return tuple(name for bit, name in STATUS_BITS if self.status & bit)


@dataclass(frozen=True)
class CodeReport:
    """The codes of one answer of service 19; `kind` is the sub-function, `available` the status bits the unit has."""

    kind: int
    codes: tuple[CodeStatus, ...]
    available: int
    assumed: tuple[str, ...] = ()


@dataclass(frozen=True)
class FrameOfCode:
    """The freeze frames of one code: by record number the items, as in live data."""

    code: CodeStatus
    records: tuple[tuple[int, Items], ...]
    assumed: tuple[str, ...] = ()


@dataclass(frozen=True)
class Further:
    """The data of F5xx as they came, or, `announced`, the numbers that a bitmap among them announces."""

    number: int
    data: bytes
    announced: frozenset[int] = frozenset()
    assumed: tuple[str, ...] = ()


def by_status_request(mask: int = 0xFF) -> bytes:
    """The request for all codes of which any of these status bits is set."""
    return bytes([READ_CODES, BY_STATUS, mask])


def frame_of_code_request(code: str, failure: int, record: int = 0xFF) -> bytes:
    """The request for the freeze frames of a code; record FF asks for all."""
    return bytes([READ_CODES, FRAME_OF_CODE]) + _code_bytes(CodeStatus(code, failure, 0)) + bytes([record])


def clear_request(group: int = EMISSIONS_GROUP) -> bytes:
    """The request to clear the codes of a group."""
    return bytes([CLEAR_CODES]) + group.to_bytes(3, "big")


def codes_report(report: CodeReport) -> bytes:
    """The answer that carries these codes.

    Raises UnusableRequest for a sub-function that has no list of codes.
    """
    if report.kind not in _LAYOUT:
        raise UnusableRequest(f"sub-function {report.kind:02X}", "one that lists codes", "Look into the layouts.")
    head, mask_at, before = _LAYOUT[report.kind]
    first = bytearray(head)
    first[0] = EMISSIONS_GROUP & 0xFF
    first[mask_at] = report.available
    codes = b"".join(bytes(before) + _code_bytes(one) + bytes([one.status]) for one in report.codes)
    return bytes([READ_CODES + ANSWERED, report.kind]) + bytes(first) + codes


def frame_of_code_answer(frame: FrameOfCode) -> bytes:
    """The answer that carries the freeze frames of a code."""
    records = b"".join(
        bytes([number, len(items.parts)]) + identifier_answer(items.parts)[1:] for number, items in frame.records
    )
    return (
        bytes([READ_CODES + ANSWERED, FRAME_OF_CODE]) + _code_bytes(frame.code) + bytes([frame.code.status]) + records
    )


def read_code_report(payload: bytes, mode: Mode = "strict") -> CodeReport:
    """The codes in an answer of service 19, sub-functions 02, 0A, 15, 42, 55 and 56.

    Raises UnusableAnswer for another service or sub-function, for one cut short, and in the strict mode where bytes are
    left over.
    """
    wanted = "codes with their status: 59, the sub-function, what status bits there are, then four bytes a code"
    body = body_of(payload, READ_CODES, wanted)
    if not body or body[0] not in _LAYOUT or len(body) < 1 + _LAYOUT[body[0]][0]:
        raise unreadable(payload, wanted)
    head, mask_at, before = _LAYOUT[body[0]]
    size = before + _CODE + 1
    entries = body[1 + head :]
    over = len(entries) % size
    assumed: tuple[str, ...] = ()
    if over:
        if mode == "strict":
            raise unreadable(payload, wanted, _FORGIVING)
        assumed = (f"{as_hex(payload)}: {over} bytes at the end are no whole code and were left out",)
    codes = [_code_in(entries[at + before : at + size]) for at in range(0, len(entries) - over, size)]
    return CodeReport(body[0], tuple(codes), body[1 + mask_at], assumed)


def read_code_count(payload: bytes) -> int:
    """The number of codes in an answer of service 19, sub-function 01.

    Raises UnusableAnswer for any other.
    """
    wanted = "a number of codes: 59 01, what status bits there are, the form, and two bytes"
    body = body_of(payload, READ_CODES, wanted)
    if len(body) != 5 or body[0] != COUNT:
        raise unreadable(payload, wanted)
    return int.from_bytes(body[3:], "big")


def read_frame_of_code(payload: bytes, mode: Mode = "strict") -> FrameOfCode:
    """The freeze frames in an answer of service 19, sub-function 04.

    Raises UnusableAnswer for any other, for one cut short, and in the strict mode for identifiers whose length is not
    known here.
    """
    wanted = "freeze frames: 59 04, the code, its status, then a record's number, how many identifiers, and those"
    body = body_of(payload, READ_CODES, wanted)
    if len(body) < 2 + _CODE or body[0] != FRAME_OF_CODE:
        raise unreadable(payload, wanted)
    code, rest = _code_in(body[1 : 2 + _CODE]), body[2 + _CODE :]
    records: list[tuple[int, Items]] = []
    assumed: tuple[str, ...] = ()
    while len(rest) >= 2:
        number, count = rest[:2]
        parts, left = _identified(rest[2:], count)
        records.append((number, Items(tuple(parts))))
        rest = left
        if len(parts) < count:
            break
    if rest:
        if mode == "strict":
            raise unreadable(payload, wanted, _FORGIVING)
        assumed = (f"{as_hex(rest)} in the freeze frame of {code.written} could not be told apart and was left out",)
    return FrameOfCode(code, tuple(records), assumed)


def read_by_identifier(
    payload: bytes, asked: Collection[int] = (), mode: Mode = "strict"
) -> Items | Further | MonitorResults | CarInformation:
    """What an answer of service 22 holds: live data (F4xx), what goes on from there (F5xx), a monitor's results (F6xx),
    or information (F8xx, F190).

    `asked` are item numbers, where the request is known. Raises UnusableAnswer for another service or identifier, and
    as the readers of each do.
    """
    wanted = "data by identifiers: 62, then F4xx, F5xx, F6xx, F8xx or F190 and its data"
    body = body_of(payload, BY_IDENTIFIER, wanted)
    if len(body) < 3:
        raise unreadable(payload, wanted)
    identifier, data = int.from_bytes(body[:2], "big"), body[2:]
    kind, number = identifier & 0xFF00, identifier & 0xFF
    if kind == LIVE_IDENTIFIERS:
        return read_identified(payload, asked, mode)
    if kind == FURTHER_IDENTIFIERS:
        return Further(number, data, *(bitmap_in(number, data, mode) if number % SPAN == 0 else ()))
    if kind == MONITOR_IDENTIFIERS:
        return _results(number, data, payload, mode)
    if kind == CAR_IDENTIFIERS:
        return information_in(number, data, mode)
    if identifier == VIN_IDENTIFIER:
        return information_in(VIN, b"\x01" + data, mode)
    raise unreadable(payload, wanted, "What other identifiers hold is not known here.")


def _results(number: int, data: bytes, payload: bytes, mode: Mode) -> MonitorResults:
    if number % SPAN == 0:
        return MonitorResults((), *bitmap_in(number, data, mode))
    over = len(data) % _RESULT
    if over and mode == "strict":
        raise unreadable(payload, "eight bytes for each test of the monitor", _FORGIVING)
    results = [result_in(number, data[at : at + _RESULT]) for at in range(0, len(data) - over, _RESULT)]
    said = (f"{over} bytes behind the last test of monitor {number:02X} were left out",) if over else ()
    return MonitorResults(tuple(results), frozenset(), said)


def _identified(data: bytes, count: int) -> tuple[Sequence[tuple[int, bytes]], bytes]:
    """Up to `count` items with their identifiers, as far as their lengths are known, and what is left."""
    parts: list[tuple[int, bytes]] = []
    while len(parts) < count:
        item = items_table().get(int.from_bytes(data[:2], "big") - LIVE_IDENTIFIERS)
        if item is None or len(data) < 2 + item.length:
            break
        parts.append((item.number, data[2 : 2 + item.length]))
        data = data[2 + item.length :]
    return parts, data


def _code_bytes(code: CodeStatus) -> bytes:
    return code_number(code.code).to_bytes(2, "big") + bytes([code.failure])


def _code_in(four_bytes: bytes) -> CodeStatus:
    code, failure = code_with_failure(int.from_bytes(four_bytes[:_CODE], "big"))
    return CodeStatus(code, failure, four_bytes[_CODE])


def fault_counters(payload: bytes) -> dict[str, int]:
    """How far each failing test has counted towards a code, by code: service 19, sub-function 14.

    Raises UnusableAnswer for any other, or one cut short.
    """
    wanted = "fault counters: 59 14, then four bytes a code"
    body = body_of(payload, READ_CODES, wanted)
    if not body or body[0] != FAULT_COUNTERS or len(body) % (_CODE + 1) != 1:
        raise unreadable(payload, wanted)
    entries: Iterable[CodeStatus] = (_code_in(body[at : at + _CODE + 1]) for at in range(1, len(body), _CODE + 1))
    return {one.written: one.status for one in entries}
