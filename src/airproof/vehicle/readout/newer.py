"""Reading a unit out by the services 22 and 19 of SAE J1979-2."""

from __future__ import annotations

from functools import partial

from airproof.vehicle.answers import newer
from airproof.vehicle.answers.car_information import CarInformation, kinds
from airproof.vehicle.answers.live import BY_IDENTIFIER, LIVE_IDENTIFIERS, Items, alone
from airproof.vehicle.answers.monitor_results import MonitorResults
from airproof.vehicle.answers.readiness import read_readiness
from airproof.vehicle.items import SINCE_CLEARED, items_announced
from airproof.vehicle.items.decode import Mode
from airproof.vehicle.readout.announced import announced
from airproof.vehicle.readout.asking import Asking
from airproof.vehicle.readout.readout import FreezeFrame, UnitReadout, take_information

_FULL_SCALES = (0x4F, 0x50)
_READINESS = 0x01
_FORGIVING: Mode = "forgiving"

Answer = Items | newer.Further | MonitorResults | CarInformation


def supported_items(asking: Asking) -> frozenset[int]:
    """The items a unit announces, bitmap after bitmap."""
    return announced(partial(_announced_from, asking, LIVE_IDENTIFIERS), "items of live data", sure=True)


def read_unit(asking: Asking, into: UnitReadout) -> None:
    """Read everything into `into`; what was not answered stays as it was."""
    into.items = supported_items(asking)
    for numbers, to in ((_FULL_SCALES, into.full_scales), (SINCE_CLEARED, into.since_cleared)):
        for number in into.items.intersection(numbers):
            if (data := _item(asking, number)) is not None:
                to[number] = data
    if _READINESS in into.items and (data := _item(asking, _READINESS)) is not None:
        into.readiness = read_readiness(data.ljust(4, b"\0"))
    _read_codes(asking, into)
    for monitor in sorted(announced(partial(_announced_from, asking, newer.MONITOR_IDENTIFIERS), "monitors")):
        answer = _by_identifier(asking, newer.MONITOR_IDENTIFIERS + monitor, f"the results of monitor {monitor:02X}")
        into.results.extend(answer.results if isinstance(answer, MonitorResults) else ())
    for number in sorted(announced(partial(_announced_from, asking, newer.FURTHER_IDENTIFIERS), "identifiers F5xx")):
        answer = _by_identifier(asking, newer.FURTHER_IDENTIFIERS + number, f"identifier F5{number:02X}")
        if isinstance(answer, newer.Further):
            into.further[number] = answer.data
    there = announced(partial(_announced_from, asking, newer.CAR_IDENTIFIERS), "information on the car")
    for number, kind in kinds().items():
        if number in there or not there:
            answer = _by_identifier(asking, newer.CAR_IDENTIFIERS + number, kind.title if there else "")
            take_information(into, answer if isinstance(answer, CarInformation) else None)


def _by_identifier(asking: Asking, identifier: int, there: str) -> Answer | None:
    def read(payload: bytes) -> Answer:
        found = newer.read_by_identifier(payload, (identifier & 0xFF,), _FORGIVING)
        return alone(found) if isinstance(found, Items) else found

    return asking.read(bytes([BY_IDENTIFIER]) + identifier.to_bytes(2, "big"), read, there=there)


def _announced_from(asking: Asking, kind: int, base: int, there: str) -> frozenset[int] | None:
    answer = _by_identifier(asking, kind + base, there)
    if isinstance(answer, Items):
        data = dict(answer.parts).get(base)
        return None if data is None else items_announced(base, data)
    return None if answer is None else answer.announced


def _item(asking: Asking, number: int) -> bytes | None:
    answer = _by_identifier(asking, LIVE_IDENTIFIERS + number, f"item {number:02X}")
    return dict(answer.parts).get(number) if isinstance(answer, Items) else None


def _read_codes(asking: Asking, into: UnitReadout) -> None:
    read = partial(newer.read_code_report, mode=_FORGIVING)
    report = asking.read(newer.by_status_request(), read, there="its codes")
    if report is not None:
        for status in ("present", "stored", "pending"):
            setattr(into, status, tuple(dict.fromkeys(one.code for one in report.codes if status in one.statuses)))
        into.failures = {one.code: one.written for one in report.codes}
        for one in report.codes:
            _read_frames(asking, one, into)
    permanent = asking.read(bytes([newer.READ_CODES, newer.PERMANENT]), read)
    into.permanent = None if permanent is None else tuple(dict.fromkeys(one.code for one in permanent.codes))


def _read_frames(asking: Asking, code: newer.CodeStatus, into: UnitReadout) -> None:
    """The freeze frames of a code; one that is only pending may have none."""
    there = f"the freeze frame of {code.code}" if "stored" in code.statuses else ""
    question = newer.frame_of_code_request(code.code, code.failure)
    found = asking.read(question, partial(newer.read_frame_of_code, mode=_FORGIVING), there=there)
    for record, items in () if found is None else found.records:
        into.frames.append(FreezeFrame(code.code, record, dict(items.parts), into.full_scales))
