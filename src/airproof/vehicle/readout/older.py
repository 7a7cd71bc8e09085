"""Reading a unit out by the services 01 to 0A of SAE J1979."""

from __future__ import annotations

from functools import partial

from airproof.vehicle.answers.car_information import (
    CALIBRATION_IDS,
    CALIBRATION_NUMBERS,
    CAR_INFORMATION,
    NAME,
    RATIOS_COMPRESSION,
    RATIOS_SPARK,
    VIN,
    read_car_information,
)
from airproof.vehicle.answers.code_text import NO_CODE, code_text
from airproof.vehicle.answers.codes import PENDING, PERMANENT, STORED, read_codes
from airproof.vehicle.answers.live import FRAME, LIVE, read_frame, read_live
from airproof.vehicle.answers.monitor_results import MONITOR_RESULTS, read_monitor_results
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


def supported_items(asking: Asking, service: int = LIVE) -> frozenset[int]:
    """The items a unit announces for service 01 or 02, bitmap after bitmap."""
    return announced(partial(_item if service == LIVE else _frame_item, asking))


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
    for service, name in ((STORED, "stored"), (PENDING, "pending"), (PERMANENT, "permanent")):
        codes = asking.read(bytes([service]), partial(read_codes, mode=_FORGIVING))
        setattr(into, name, None if codes is None else tuple(dict.fromkeys(codes.codes)))
    _read_frame(asking, into)
    _read_results(asking, into)
    _read_information(asking, into)


def _item(asking: Asking, number: int) -> bytes | None:
    answer = asking.read(bytes([LIVE, number]), partial(read_live, asked=(number,), mode=_FORGIVING))
    return None if answer is None else dict(answer.parts).get(number)


def _frame_item(asking: Asking, number: int) -> bytes | None:
    answer = asking.read(bytes([FRAME, number, 0]), partial(read_frame, asked=(number,), mode=_FORGIVING))
    return None if answer is None else dict(answer.parts).get(number)


def _read_frame(asking: Asking, into: UnitReadout) -> None:
    """The one freeze frame of these services, item by item: what a unit has no room for is then simply not there."""
    code = _frame_item(asking, 0x02)
    number = int.from_bytes((code or b"")[:2], "big")
    if number == NO_CODE:
        return
    items = {
        item: data
        for item in sorted(supported_items(asking, FRAME) - {0x02})
        if (data := _frame_item(asking, item)) is not None
    }
    into.frames.append(FreezeFrame(code_text(number), 0, items, into.full_scales))


def _read_results(asking: Asking, into: UnitReadout) -> None:
    monitors: set[int] = set()
    for base in range(0, _LAST + 1, SPAN):
        if base and base not in monitors:
            break
        answer = asking.read(bytes([MONITOR_RESULTS, base]), partial(read_monitor_results, mode=_FORGIVING))
        if answer is None:
            break
        monitors |= answer.announced
    for monitor in sorted(number for number in monitors if number % SPAN):
        answer = asking.read(bytes([MONITOR_RESULTS, monitor]), partial(read_monitor_results, mode=_FORGIVING))
        if answer is not None:
            into.results.extend(answer.results)


def _read_information(asking: Asking, into: UnitReadout) -> None:
    def told(number: int) -> tuple[str, ...]:
        question = bytes([CAR_INFORMATION, number])
        answer = asking.read(question, partial(read_car_information, mode=_FORGIVING))
        if answer is not None and answer.counters is not None:
            into.ratios = answer.counters
        return () if answer is None else answer.texts

    announced = asking.read(bytes([CAR_INFORMATION, 0x00]), partial(read_car_information, mode=_FORGIVING))
    there = announced.announced if announced is not None else frozenset({VIN, CALIBRATION_IDS})
    if VIN in there:
        into.vin = next(iter(told(VIN)), "")
    if CALIBRATION_IDS in there:
        into.calibration_ids = told(CALIBRATION_IDS)
    if CALIBRATION_NUMBERS in there:
        into.calibration_numbers = told(CALIBRATION_NUMBERS)
    if NAME in there:
        into.name = next(iter(told(NAME)), "")
    for number in (RATIOS_SPARK, RATIOS_COMPRESSION):
        if number in there:
            told(number)
