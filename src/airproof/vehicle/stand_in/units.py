"""The stand-in's control units: what they answer to the services 01 to 0A, or to 22, 19 and 14 of SAE J1979-2.

An item that is not there is met by silence where all were asked; asked alone, a newer unit says "out of range".
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from airproof.vehicle.answers import newer
from airproof.vehicle.answers.car_information import bitmap_answer, car_information_answer
from airproof.vehicle.answers.code_text import code_number
from airproof.vehicle.answers.codes import CLEAR, PENDING, PERMANENT, STORED, codes_answer
from airproof.vehicle.answers.live import BY_IDENTIFIER, Items, frame_answer, live_answer
from airproof.vehicle.answers.monitor_results import monitor_results_answer, monitors_answer
from airproof.vehicle.answers.payload import ANSWERED
from airproof.vehicle.answers.refusals import refusal_answer
from airproof.vehicle.items import bitmap_bytes
from airproof.vehicle.link.addresses import Addresses
from airproof.vehicle.stand_in.contents import Contents, engine_contents, gearbox_contents
from airproof.vehicle.stand_in.rehearsed_car import RehearsedCar

NOT_NOW, NO_SUCH, NO_SERVICE = 0x22, 0x31, 0x11
_SPAN = 0x20
_INFORMATION, _RESULTS = 0x09, 0x06
_FAILURE_TYPE = 0x00


@dataclass(frozen=True)
class OlderUnit:
    """A unit that answers the services 01 to 0A of SAE J1979."""

    id: int
    contents: Contents

    def answer(self, question: bytes, now_s: float, *, to_all: bool, at_once: int) -> bytes | None:  # noqa: ARG002
        """The answer; None is silence."""
        service, rest = question[0], question[1:]
        held = self.contents
        match service:
            case 0x01 if rest:
                return _live(held, rest[:at_once], now_s)
            case 0x02 if len(rest) >= 2:
                return _frame(held, rest, now_s, at_once)
            case 0x03 | 0x07 | 0x0A if not rest:
                codes = {STORED: held.confirmed, PENDING: held.pending, PERMANENT: held.permanent}[service]
                return codes_answer(service, codes(now_s))
            case 0x04 if not rest:
                return bytes([CLEAR + ANSWERED]) if held.clear(now_s) else refusal_answer(CLEAR, NOT_NOW)
            case 0x06 if rest:
                return _results(held, rest[0], now_s)
            case 0x09 if rest:
                return _information(held, rest[0])
        return None


@dataclass(frozen=True)
class NewerUnit:
    """A unit that answers the services 22, 19 and 14 of SAE J1979-2, and no older one."""

    id: int
    contents: Contents

    def answer(self, question: bytes, now_s: float, *, to_all: bool, at_once: int) -> bytes | None:
        """The answer; None is silence."""
        service, rest = question[0], question[1:]
        found: bytes | None = None
        match service:
            case 0x22 if rest and len(rest) % 2 == 0:
                found = self._identified(rest, now_s, at_once)
            case 0x19 if rest:
                found = self._codes(rest, now_s)
            case 0x14 if rest in (b"\xff\xff\x33", b"\xff\xff\xff"):
                return bytes([0x54]) if self.contents.clear(now_s) else refusal_answer(0x14, NOT_NOW)
            case _:
                return None if to_all else refusal_answer(service, NO_SERVICE)
        if found is None and not to_all:
            return refusal_answer(service, NO_SUCH)
        return found

    def _identified(self, rest: bytes, now_s: float, at_once: int) -> bytes | None:
        identifiers = [rest[n] << 8 | rest[n + 1] for n in range(0, len(rest), 2)][: max(at_once // 2, 1)]
        body = b""
        for identifier in identifiers:
            kind, number = identifier & 0xFF00, identifier & 0xFF
            data: bytes | None = None
            if kind == 0xF400:
                data = _item(self.contents, number, now_s)
            elif kind == newer.MONITOR_IDENTIFIERS:
                answer = _results(self.contents, number, now_s)
                # each record repeats the monitor's number in service 06, and only its identifier here
                data = answer and _without_numbers(answer, number)
            elif kind == newer.CAR_IDENTIFIERS:
                answer = _information(self.contents, number)
                data = answer and answer[2:]
            if data is not None:
                body += identifier.to_bytes(2, "big") + data
        return bytes([BY_IDENTIFIER + ANSWERED]) + body if body else None

    def _codes(self, rest: bytes, now_s: float) -> bytes | None:
        kind, held = rest[0], self.contents
        stored, pending, permanent = held.confirmed(now_s), held.pending(now_s), held.permanent(now_s)
        statuses = {
            code: (newer.CONFIRMED | newer.LAMP) * (code in stored)
            | newer.PENDING * (code in pending)
            | newer.FAILED_SINCE_CLEARED
            for code in sorted({*stored, *pending})
        }
        if kind == newer.BY_STATUS and len(rest) >= 2:
            return _report(kind, {code: status for code, status in statuses.items() if status & rest[1]})
        if kind == newer.COUNT and len(rest) >= 2:
            count = sum(bool(status & rest[1]) for status in statuses.values())
            return bytes([0x59, newer.COUNT, 0xFF, 0x01]) + count.to_bytes(2, "big")
        if kind == newer.PERMANENT:
            return _report(kind, {code: statuses.get(code, newer.CONFIRMED) for code in permanent})
        if kind == newer.FRAME_OF_CODE and len(rest) >= 5:
            for frame in held.frames(now_s):
                if code_number(frame.code).to_bytes(2, "big") == rest[1:3]:
                    told = newer.CodeStatus(frame.code, rest[3], statuses.get(frame.code, 0))
                    items = Items(tuple(frame.items.items()))
                    return newer.frame_of_code_answer(newer.FrameOfCode(told, ((1, items),)))
        return None


Unit = OlderUnit | NewerUnit


def units_of(car: RehearsedCar, addresses: Addresses, *, newer_style: bool = False, gearbox: bool = True) -> list[Unit]:
    """The control units of a rehearsed car at their usual addresses."""
    ids = (0x18DAF110, 0x18DAF118) if addresses.extended else (0x7E8, 0x7E9)
    kind: Callable[[int, Contents], Unit] = NewerUnit if newer_style else OlderUnit
    held = [engine_contents(car), *([gearbox_contents(car)] if gearbox else [])]
    return [kind(id_, one) for id_, one in zip(ids, held, strict=False)]


def _item(held: Contents, number: int, now_s: float) -> bytes | None:
    if number % _SPAN == 0:
        return _bitmap(number, held.items)
    return held.items[number](now_s) if number in held.items else None


def _bitmap(base: int, numbers: Iterable[int]) -> bytes | None:
    """The bitmap at `base`; None where neither it nor anything after it is there."""
    beyond = [number for number in numbers if number > base]
    return bitmap_bytes(base, beyond) if beyond or base == 0 else None


def _live(held: Contents, numbers: bytes, now_s: float) -> bytes | None:
    parts = [(number, data) for number in numbers if (data := _item(held, number, now_s)) is not None]
    return live_answer(parts) if parts else None


def _frame(held: Contents, rest: bytes, now_s: float, at_once: int) -> bytes | None:
    """Items of the one freeze frame that these services have: that of the first code."""
    pairs = [(rest[n], rest[n + 1]) for n in range(0, len(rest) - 1, 2)][:at_once]
    if any(frame != 0 for _, frame in pairs):
        return None
    frames = held.frames(now_s)
    stored: Mapping[int, bytes] = {}
    if frames:
        stored = {0x02: code_number(frames[0].code).to_bytes(2, "big"), **frames[0].items}
    parts = []
    for number, _ in pairs:
        data = _bitmap(number, stored or (0x02,)) if number % _SPAN == 0 else stored.get(number)
        if number == 0x02 and not frames:
            data = b"\x00\x00"
        if data is not None:
            parts.append((number, data))
    return frame_answer(parts) if parts else None


def _results(held: Contents, monitor: int, now_s: float) -> bytes | None:
    results = held.results(now_s)
    if monitor % _SPAN == 0:
        bitmap = _bitmap(monitor, {one.monitor for one in results})
        return None if bitmap is None else monitors_answer(monitor, bitmap)
    found = [one for one in results if one.monitor == monitor]
    return monitor_results_answer(found) if found else None


def _without_numbers(answer: bytes, monitor: int) -> bytes:
    """The data of service 22 from an answer of service 06."""
    if monitor % _SPAN == 0:
        return answer[2:]
    return b"".join(answer[at + 1 : at + 9] for at in range(1, len(answer), 9))


def _information(held: Contents, number: int) -> bytes | None:
    if number % _SPAN == 0:
        bitmap = _bitmap(number, (*held.texts, *held.counters))
        return None if bitmap is None else bitmap_answer(number, bitmap)
    if number in held.texts:
        return car_information_answer(number, held.texts[number])
    return car_information_answer(number, held.counters[number]) if number in held.counters else None


def _report(kind: int, statuses: Mapping[str, int]) -> bytes:
    codes = tuple(newer.CodeStatus(code, _FAILURE_TYPE, status) for code, status in statuses.items())
    return newer.codes_report(newer.CodeReport(kind, codes, 0xFF))
