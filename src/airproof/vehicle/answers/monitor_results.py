"""Monitor results: service 06 on CAN, what each on-board test measured and the limits it was held to.

An answer is 46 and then records of nine bytes: monitor, test, unit and scaling, value, lowest, highest, two bytes
each. Monitors 00, 20, 40 ... are bitmaps of those that follow. All of it from memory of SAE J1979.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Annotated, Any

import tomli
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from airproof.errors import BrokenKnowledge
from airproof.toml_files import in_words
from airproof.vehicle.answers.payload import ANSWERED, as_hex, body_of, unreadable
from airproof.vehicle.items.bitmap import SPAN, items_announced
from airproof.vehicle.items.decode import Mode

MONITOR_RESULTS = 0x06
RECORD = 9
BITMAP = 5
_WANTED = "monitor results: 46, then nine bytes for each test, or five for each bitmap"
_WORD = 0x10000


class UnitAndScaling(BaseModel):
    """What a unit-and-scaling number means: value = code x times / over + offset, in `unit`."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    unit: Annotated[str, Field(min_length=1)]
    times: float = 1.0
    over: float = 1.0
    offset: float = 0.0
    signed: bool = False

    def value(self, code: int) -> float:
        """The value that two bytes stand for."""
        number = code - _WORD if self.signed and code >= _WORD // 2 else code
        return number * self.times / self.over + self.offset

    def code(self, value: float) -> int:
        """The two bytes for a value, at the end of the range where it lies outside."""
        number = round((value - self.offset) * self.over / self.times)
        low, high = (-_WORD // 2, _WORD // 2 - 1) if self.signed else (0, _WORD - 1)
        return min(max(number, low), high) % _WORD


@dataclass(frozen=True)
class MonitorResult:
    """One test of one monitor, and the limits it must lie within.

    `monitor`, `test` and `scaling` are the standard's numbers; `value`, `low` and `high` in `unit`, or as bare codes
    (unit "1") where the unit-and-scaling number is not in the table, which `known_unit` says.
    """

    monitor: int
    test: int
    scaling: int
    value: float
    low: float
    high: float
    unit: str
    known_unit: bool

    @property
    def passed(self) -> bool:
        """Whether it lies within its limits."""
        return self.low <= self.value <= self.high

    @property
    def title(self) -> str:
        """The monitor and its test in words, as far as they are known."""
        names = _tables()
        monitor = names.monitors.get(self.monitor, f"monitor {self.monitor:02X}, the maker's own")
        return f"{monitor}, {names.tests.get(self.test, f'test {self.test:02X}')}"


@dataclass(frozen=True)
class MonitorResults:
    """The tests of one answer, the monitors that its bitmaps announce, and what was taken for granted."""

    results: tuple[MonitorResult, ...]
    announced: frozenset[int]
    assumed: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Tables:
    units: dict[int, UnitAndScaling]
    monitors: dict[int, str]
    tests: dict[int, str]


@cache
def _tables() -> _Tables:
    folder = files("airproof.vehicle.answers") / "data"
    raw: dict[str, Any] = {}
    for name in ("units_and_scaling.toml", "monitors.toml"):
        raw |= tomli.loads((folder / name).read_text(encoding="utf-8"))
    units = {}
    for number, row in raw["units"].items():
        try:
            units[int(number, 16)] = UnitAndScaling(signed=int(number, 16) >= 0x80, **row)
        except ValidationError as fault:
            raise BrokenKnowledge(
                f"unit and scaling {number}: {in_words(fault)}",
                "unit, times, over, offset",
                "Correct the row.",
                where="vehicle/answers/data/units_and_scaling.toml",
            ) from fault
    named = {kind: {int(number, 16): says for number, says in raw[kind].items()} for kind in ("monitors", "tests")}
    return _Tables(units, **named)


def unit_and_scaling(number: int) -> UnitAndScaling | None:
    """What a unit-and-scaling number means; None where it is not in the table."""
    return _tables().units.get(number)


def monitor_results_answer(results: Iterable[MonitorResult]) -> bytes:
    """The answer that carries these results."""
    return bytes([MONITOR_RESULTS + ANSWERED]) + b"".join(map(_record, results))


def monitors_answer(base: int, bitmap: bytes) -> bytes:
    """The answer that announces monitors; `bitmap` is bitmap_bytes of those that follow `base`."""
    return bytes([MONITOR_RESULTS + ANSWERED, base]) + bitmap


def read_monitor_results(payload: bytes, mode: Mode = "strict") -> MonitorResults:
    """The tests and bitmaps in an answer of service 06.

    Raises UnusableAnswer for another service, and in the strict mode where bytes are left over.
    """
    body = body_of(payload, MONITOR_RESULTS, _WANTED)
    results, announced, assumed = [], set[int](), []
    at = 0
    while at < len(body):
        is_bitmap = body[at] % SPAN == 0
        size = BITMAP if is_bitmap else RECORD
        if at + size > len(body):
            if mode == "strict":
                raise unreadable(payload, _WANTED, "Ask again, or read it in the forgiving mode.")
            assumed.append(f"{as_hex(body[at:])} at the end is too short for a result: left out")
            break
        if is_bitmap:
            announced |= items_announced(body[at], body[at + 1 : at + size])
        else:
            results.append(result_in(body[at], body[at + 1 : at + size]))
        at += size
    return MonitorResults(tuple(results), frozenset(announced), tuple(assumed))


def result_in(monitor: int, eight_bytes: bytes) -> MonitorResult:
    """One result from what follows the monitor's number: test, unit and scaling, value, lowest, highest."""
    test, scaling = eight_bytes[:2]
    unit = unit_and_scaling(scaling)
    codes = [int.from_bytes(eight_bytes[at : at + 2], "big") for at in (2, 4, 6)]
    value, low, high = map((unit or UnitAndScaling(unit="1")).value, codes)
    return MonitorResult(monitor, test, scaling, value, low, high, unit.unit if unit else "1", unit is not None)


def _record(result: MonitorResult) -> bytes:
    unit = unit_and_scaling(result.scaling) or UnitAndScaling(unit="1")
    codes = (unit.code(one).to_bytes(2, "big") for one in (result.value, result.low, result.high))
    return bytes([result.monitor, result.test, result.scaling]) + b"".join(codes)
