"""Reading a unit out by the services 22 and 19 of SAE J1979-2."""

from __future__ import annotations

from functools import partial

from airproof.vehicle.answers import newer
from airproof.vehicle.answers.car_information import (
    CALIBRATION_IDS,
    CALIBRATION_NUMBERS,
    NAME,
    RATIOS_COMPRESSION,
    RATIOS_SPARK,
    VIN,
    CarInformation,
)
from airproof.vehicle.answers.live import BY_IDENTIFIER, LIVE_IDENTIFIERS, Items
from airproof.vehicle.answers.monitor_results import MonitorResults
from airproof.vehicle.answers.readiness import read_readiness
from airproof.vehicle.items import SINCE_CLEARED
from airproof.vehicle.items.bitmap import SPAN
from airproof.vehicle.items.decode import Mode
from airproof.vehicle.readout.announced import announced
from airproof.vehicle.readout.asking import Asking
from airproof.vehicle.readout.readout import FreezeFrame, UnitReadout

_FULL_SCALES = (0x4F, 0x50)
_LAST = 0xE0
_FORGIVING: Mode = "forgiving"


def supported_items(asking: Asking) -> frozenset[int]:
    """The items a unit announces, bitmap after bitmap."""
    return announced(partial(_item, asking))


def read_unit(asking: Asking, into: UnitReadout) -> None:
    """Read everything into `into`; what was not answered stays as it was."""
    into.items = supported_items(asking)
    for number in _FULL_SCALES:
        if number in into.items and (data := _item(asking, number)) is not None:
            into.full_scales[number] = data
    for number in SINCE_CLEARED:
        if number in into.items and (data := _item(asking, number)) is not None:
            into.since_cleared[number] = data
    if (data := _item(asking, 0x01)) is not None:
        into.readiness = read_readiness(data.ljust(4, b"\0"))
    _read_codes(asking, into)
    _read_results(asking, into)
    for number in sorted(announced(partial(_further, asking))):
        if (data := _further(asking, number)) is not None:
            into.further[number] = data
    into.vin = next(iter(_told(asking, VIN, into)), "")
    into.calibration_ids = _told(asking, CALIBRATION_IDS, into)
    into.calibration_numbers = _told(asking, CALIBRATION_NUMBERS, into)
    into.name = next(iter(_told(asking, NAME, into)), "")
    for number in (RATIOS_SPARK, RATIOS_COMPRESSION):
        _told(asking, number, into)


def _by_identifier(
    asking: Asking, identifier: int, number: int
) -> Items | newer.Further | MonitorResults | CarInformation | None:
    question = bytes([BY_IDENTIFIER]) + identifier.to_bytes(2, "big")
    return asking.read(question, partial(newer.read_by_identifier, asked=(number,), mode=_FORGIVING))


def _item(asking: Asking, number: int) -> bytes | None:
    answer = _by_identifier(asking, LIVE_IDENTIFIERS + number, number)
    return dict(answer.parts).get(number) if isinstance(answer, Items) else None


def _further(asking: Asking, number: int) -> bytes | None:
    answer = _by_identifier(asking, newer.FURTHER_IDENTIFIERS + number, number)
    return answer.data if isinstance(answer, newer.Further) and answer.number == number else None


def _read_codes(asking: Asking, into: UnitReadout) -> None:
    report = asking.read(newer.by_status_request(), partial(newer.read_code_report, mode=_FORGIVING))
    if report is not None:
        into.stored = tuple(dict.fromkeys(one.code for one in report.codes if "stored" in one.statuses))
        into.pending = tuple(dict.fromkeys(one.code for one in report.codes if "pending" in one.statuses))
        into.present = tuple(dict.fromkeys(one.code for one in report.codes if "present" in one.statuses))
        into.failures = {one.code: one.written for one in report.codes}
        for one in report.codes:
            question = newer.frame_of_code_request(one.code, one.failure)
            frame = asking.read(question, partial(newer.read_frame_of_code, mode=_FORGIVING))
            if frame is None:
                continue
            for record, items in frame.records:
                into.frames.append(FreezeFrame(one.code, record, dict(items.parts), into.full_scales))
    question = bytes([newer.READ_CODES, newer.PERMANENT])
    permanent = asking.read(question, partial(newer.read_code_report, mode=_FORGIVING))
    into.permanent = None if permanent is None else tuple(dict.fromkeys(one.code for one in permanent.codes))


def _read_results(asking: Asking, into: UnitReadout) -> None:
    monitors: set[int] = set()
    for base in range(0, _LAST + 1, SPAN):
        if base and base not in monitors:
            break
        answer = _by_identifier(asking, newer.MONITOR_IDENTIFIERS + base, base)
        if not isinstance(answer, MonitorResults):
            break
        monitors |= answer.announced
    for monitor in sorted(number for number in monitors if number % SPAN):
        answer = _by_identifier(asking, newer.MONITOR_IDENTIFIERS + monitor, monitor)
        if isinstance(answer, MonitorResults):
            into.results.extend(answer.results)


def _told(asking: Asking, number: int, into: UnitReadout) -> tuple[str, ...]:
    answer = _by_identifier(asking, newer.CAR_IDENTIFIERS + number, number)
    if not isinstance(answer, CarInformation):
        return ()
    if answer.counters is not None:
        into.ratios = answer.counters
    return answer.texts
