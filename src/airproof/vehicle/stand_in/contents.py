"""What the stand-in's control units hold: items, codes with their frames, monitor results, information on the car.

The engine's unit tells what the rehearsal's unit tells; what a rehearsal does not know (the number of the car, monitors
without a fault of their own, distances) is invented here, and no real car is meant.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np

from airproof.engine.rehearsal.control.monitors import criteria
from airproof.engine.rehearsal.written.logger import data_items
from airproof.vehicle.answers.monitor_results import MonitorResult
from airproof.vehicle.answers.readiness import CarReadiness, readiness_bytes
from airproof.vehicle.items import FullScales, Item, encode, encode_one, items_carrying, items_table
from airproof.vehicle.stand_in.rehearsed_car import RehearsedCar

INVENTED_VIN = "00RHEARS3ED000001"
"""Of no maker: no maker's code begins with 0; its check digit is right (49 CFR 565.15)."""

_GROUPS = {"misfire": "misfire", "fuel": "fuel-system", "components": "components", "egr": "egr"}
_SEEN_TO_BY_DRIVING = ("catalyst", "oxygen-sensor", "oxygen-sensor-heater")
_DRIVES_TO_COMPLETE = 2
_USUAL_KPA = 255.0
_MODEL_YEAR_PETROL, _EUROPEAN = b"\x01", b"\x06"

ItemNow = Callable[[float], bytes]


@dataclass(frozen=True)
class Frame:
    """One freeze frame: its code, and the items that were stored with it."""

    code: str
    items: Mapping[int, bytes]


@dataclass(frozen=True)
class Contents:
    """All that one control unit can be asked for."""

    items: Mapping[int, ItemNow]
    pending: Callable[[float], tuple[str, ...]]
    confirmed: Callable[[float], tuple[str, ...]]
    permanent: Callable[[float], tuple[str, ...]]
    frames: Callable[[float], tuple[Frame, ...]]
    results: Callable[[float], tuple[MonitorResult, ...]]
    texts: Mapping[int, tuple[str, ...]]
    counters: Mapping[int, Mapping[str, int]]
    clear: Callable[[float], bool]


def engine_contents(car: RehearsedCar) -> Contents:
    """What the engine's unit of a rehearsed car holds."""
    scales = _full_scales(car)
    signals = {number: _from_signals(car, number, names, scales) for number, names in _carried(car).items()}
    items: dict[int, ItemNow] = {
        0x01: lambda now: readiness_bytes(_readiness(car, now)),
        0x13: lambda _: b"\x03",
        0x1C: lambda _: _EUROPEAN,
        0x1F: lambda now: _word(car.running_s(now)),
        0x21: lambda now: _word(12.0 if car.codes(now).lamp else 0.0),
        0x30: lambda now: bytes([min(_since_cleared(car, now, float(car.rehearsal.codes.warm_ups)), 255)]),
        0x31: lambda now: _word(_since_cleared(car, now, 40.0)),
        0x41: lambda now: readiness_bytes(CarReadiness(False, 0, "spark", _readiness(car, now).complete)),
        0x51: lambda _: _MODEL_YEAR_PETROL,
        **signals,
        **{number: _constant(data) for number, data in scales.items()},
    }
    return Contents(
        items=items,
        pending=lambda now: car.codes(now).pending,
        confirmed=lambda now: car.codes(now).confirmed,
        permanent=lambda now: car.codes(now).permanent,
        frames=lambda now: _frames(car, now, scales),
        results=lambda now: _results(car, now),
        texts={0x02: (INVENTED_VIN,), 0x04: ("INVENTED-ENGINE1",), 0x06: ("1BADC0DE",), 0x0A: ("ECM-EngineControl",)},
        counters={0x08: {"conditions met": 120, "ignition cycles": 160, "catalyst bank 1, completed": 60}},
        clear=car.clear,
    )


def gearbox_contents(car: RehearsedCar) -> Contents:
    """What a second unit holds: an automatic gearbox with few items and no codes."""
    carried = {number: names for number, names in _carried(car).items() if number in (0x0C, 0x0D)}
    return Contents(
        items={
            0x01: lambda _: readiness_bytes(CarReadiness(False, 0, "spark", {"components": True})),
            0x1C: lambda _: _EUROPEAN,
            **{number: _from_signals(car, number, names, {}) for number, names in carried.items()},
        },
        pending=lambda _: (),
        confirmed=lambda _: (),
        permanent=lambda _: (),
        frames=lambda _: (),
        results=lambda _: (),
        texts={0x04: ("INVENTED-GEARBOX",), 0x06: ("0DEFACED",), 0x0A: ("TCM-Gearbox",)},
        counters={},
        clear=lambda now: not car.engine_turns(now),
    )


def _carried(car: RehearsedCar) -> dict[int, dict[str, str]]:
    """For each item that carries signals of this car: the signals by the names of the item's values."""
    usual: dict[str, int] = {}
    for entry in data_items():
        usual.setdefault(entry.signal, int(entry.item, 16))
    found: dict[int, dict[str, str]] = {}
    for signal in car.signals:
        ways = [(item, value) for item, value in items_carrying(signal) if value.unit == _unit(signal)]
        ways.sort(key=lambda way: way[0].number != usual.get(signal))
        if ways and ways[0][0].number != 0x01:
            item, value = ways[0]
            found.setdefault(item.number, {})[value.name] = signal
    return found


@cache
def _unit(signal: str) -> str:
    from airproof.recording.signals import signal_kind

    return signal_kind(signal).unit


def _from_signals(car: RehearsedCar, number: int, names: Mapping[str, str], scales: FullScales) -> ItemNow:
    """The item over the whole drive, coded once."""
    item = items_table()[number]
    trace = car.rehearsal.trace
    nothing = np.zeros(trace.time.size)
    blank = {one.name: nothing for one in item.values if one.present is None and one.unused is None}
    coded = encode(item, {**blank, **{name: trace.items[s] for name, s in names.items()}}, full_scales=scales)
    return lambda now: coded[car.row(now)].tobytes()


def _coded(item: Item, values: Mapping[str, float], scales: FullScales) -> bytes:
    """The data bytes; what cannot be told as missing and is not known is 0."""
    blank = {one.name: 0.0 for one in item.values if one.present is None and one.unused is None}
    return encode_one(item, {**blank, **values}, full_scales=scales)


def _full_scales(car: RehearsedCar) -> dict[int, bytes]:
    """Item 4F where the manifold sensor reads further than item 0B does by itself."""
    top = car.highest("manifold_pressure")
    return {0x4F: bytes([0, 0, 0, math.ceil(top / 10.0)])} if top > _USUAL_KPA else {}


def _frames(car: RehearsedCar, now_s: float, scales: FullScales) -> tuple[Frame, ...]:
    carried = _carried(car)
    found = []
    for code, seen in car.codes(now_s).frames.items():
        items: dict[int, bytes] = {0x1F: _word(seen.get("run_time", 0.0))}
        for number, names in carried.items():
            if all(signal in seen for signal in names.values()):
                values = {name: seen[signal] for name, signal in names.items()}
                items[number] = _coded(items_table()[number], values, scales)
        found.append(Frame(code, dict(sorted(items.items()))))
    return tuple(found)


def _readiness(car: RehearsedCar, now_s: float) -> CarReadiness:
    codes = car.codes(now_s)
    complete = {_GROUPS[group]: ready for group, ready in codes.ready.items() if group in _GROUPS}
    if not car.rehearsal.request.details.egr:
        complete.pop("egr", None)
    driven = codes.cleared_s is None and car.rehearsal.codes.trips >= _DRIVES_TO_COMPLETE
    complete |= dict.fromkeys(_SEEN_TO_BY_DRIVING, driven)
    complete["evaporative-system"] = False  # it needs a night's rest
    return CarReadiness(codes.lamp, len(codes.confirmed), "spark", complete)


def _results(car: RehearsedCar, now_s: float) -> tuple[MonitorResult, ...]:
    """Test results of a few monitors: in their limits, or beyond them where the rehearsal's monitor failed."""
    codes = car.codes(now_s)
    groups = criteria()
    failed = {groups[code]["group"] for code in (*codes.confirmed, *codes.pending) if code in groups}
    if codes.cleared_s is not None and not codes.pending:
        return ()

    def result(monitor: int, scaling: int, unit: str, high: float, group: str) -> MonitorResult:
        return MonitorResult(monitor, 0x80, scaling, (1.2 if group in failed else 0.5) * high, 0.0, high, unit, True)

    found = [
        result(0x01, 0x10, "s", 0.2, ""),
        result(0x21, 0x20, "1", 0.8, ""),
        result(0x81, 0x01, "1", 25.0, "fuel"),
        result(0xA1, 0x24, "counts", 40.0, "misfire"),
    ]
    if car.rehearsal.request.details.egr:
        found.insert(2, result(0x31, 0x1A, "kPa", 10.0, "egr"))
    return tuple(found)


def _since_cleared(car: RehearsedCar, now_s: float, otherwise: float) -> int:
    return int(otherwise) if car.codes(now_s).cleared_s is None else 0


def _constant(data: bytes) -> ItemNow:
    return lambda _: data


def _word(value: float) -> bytes:
    return min(max(int(value), 0), 0xFFFF).to_bytes(2, "big")
