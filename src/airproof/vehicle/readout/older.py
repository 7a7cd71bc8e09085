"""Reading a unit out by the services 01 to 0A of SAE J1979."""

from __future__ import annotations

from functools import partial

from airproof.vehicle.answers.car_information import CAR_INFORMATION, VIN, CarInformation, kinds, read_car_information
from airproof.vehicle.answers.code_text import NO_CODE, code_text
from airproof.vehicle.answers.codes import PENDING, PERMANENT, STORED, read_codes
from airproof.vehicle.answers.live import FRAME, LIVE, alone, read_frame, read_live
from airproof.vehicle.answers.monitor_results import MONITOR_RESULTS, MonitorResults, read_monitor_results
from airproof.vehicle.answers.readiness import read_readiness
from airproof.vehicle.items import SINCE_CLEARED, items_announced
from airproof.vehicle.items.decode import Mode
from airproof.vehicle.readout.announced import announced
from airproof.vehicle.readout.asking import Asking
from airproof.vehicle.readout.readout import FreezeFrame, UnitReadout, take_information

_FULL_SCALES = (0x4F, 0x50)
_READINESS, _CODE_OF_FRAME = 0x01, 0x02
_FORGIVING: Mode = "forgiving"


def supported_items(asking: Asking) -> frozenset[int]:
    """The items of live data a unit announces, bitmap after bitmap."""
    return announced(partial(_items_from, asking, LIVE), "items of live data", sure=True)


def read_unit(asking: Asking, into: UnitReadout) -> None:
    """Read everything into `into`; what was not answered stays as it was."""
    into.items = supported_items(asking)
    for numbers, to in ((_FULL_SCALES, into.full_scales), (SINCE_CLEARED, into.since_cleared)):
        for number in into.items.intersection(numbers):
            if (data := _item(asking, number)) is not None:
                to[number] = data
    if _READINESS in into.items and (data := _item(asking, _READINESS)) is not None:
        into.readiness = read_readiness(data.ljust(4, b"\0"))
    for service, name in ((STORED, "stored"), (PENDING, "pending"), (PERMANENT, "permanent")):
        there = "" if service == PERMANENT else f"its {name} codes"  # many cars have no permanent ones
        codes = asking.read(bytes([service]), partial(read_codes, mode=_FORGIVING), there=there)
        setattr(into, name, None if codes is None else tuple(dict.fromkeys(codes.codes)))
    _read_frame(asking, into)
    for monitor in sorted(announced(partial(_monitors_from, asking), "monitors")):
        answer = _results(asking, monitor, f"the results of monitor {monitor:02X}")
        into.results.extend(() if answer is None else answer.results)
    _read_information(asking, into)


def _item(asking: Asking, number: int, service: int = LIVE, there: str | None = None) -> bytes | None:
    frame = service == FRAME
    question = bytes([service, number, 0] if frame else [service, number])
    said = f"item {number:02X}{' of the freeze frame' * frame}" if there is None else there
    read = read_frame if frame else read_live
    answer = asking.read(question, lambda payload: alone(read(payload, (number,), _FORGIVING)), there=said)
    return None if answer is None else dict(answer.parts).get(number)


def _items_from(asking: Asking, service: int, base: int, there: str) -> frozenset[int] | None:
    data = _item(asking, base, service, there)
    return None if data is None else items_announced(base, data)


def _read_frame(asking: Asking, into: UnitReadout) -> None:
    """The one freeze frame of these services, item by item: what a unit has no room for is then simply not there."""
    there = "the freeze frame's code" if into.stored else ""
    code = int.from_bytes((_item(asking, _CODE_OF_FRAME, FRAME, there) or b"")[:2], "big")
    if code == NO_CODE:
        return
    held = announced(partial(_items_from, asking, FRAME), "items of the freeze frame", sure=True) - {_CODE_OF_FRAME}
    items = {number: data for number in sorted(held) if (data := _item(asking, number, FRAME)) is not None}
    into.frames.append(FreezeFrame(code_text(code), 0, items, into.full_scales))


def _results(asking: Asking, monitor: int, there: str) -> MonitorResults | None:
    return asking.read(bytes([MONITOR_RESULTS, monitor]), partial(read_monitor_results, mode=_FORGIVING), there=there)


def _monitors_from(asking: Asking, base: int, there: str) -> frozenset[int] | None:
    answer = _results(asking, base, there)
    return None if answer is None else answer.announced


def _read_information(asking: Asking, into: UnitReadout) -> None:
    def told(number: int, there: str) -> CarInformation | None:
        return asking.read(
            bytes([CAR_INFORMATION, number]), partial(read_car_information, mode=_FORGIVING), there=there
        )

    def from_base(base: int, there: str) -> frozenset[int] | None:
        answer = told(base, there)
        return None if answer is None else answer.announced

    there = announced(from_base, "information on the car")
    for number, kind in kinds().items():
        if number in there or (not there and number == VIN):
            take_information(into, told(number, kind.title if number in there else ""))
