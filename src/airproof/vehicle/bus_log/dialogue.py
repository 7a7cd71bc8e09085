"""Payloads in their order: each answer is matched with its question, read forgivingly, and kept where it belongs."""

from __future__ import annotations

from array import array
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np

from airproof.errors import UnusableAnswer
from airproof.vehicle.answers import newer
from airproof.vehicle.answers.car_information import CAR_INFORMATION, VIN, CarInformation, read_car_information
from airproof.vehicle.answers.codes import CLEAR, PENDING, PERMANENT, STORED, read_codes
from airproof.vehicle.answers.live import (
    BY_IDENTIFIER,
    FRAME,
    LIVE,
    LIVE_IDENTIFIERS,
    Items,
    read_frame,
    read_live,
)
from airproof.vehicle.answers.monitor_results import MONITOR_RESULTS, MonitorResults, read_monitor_results
from airproof.vehicle.answers.payload import ANSWERED
from airproof.vehicle.answers.readiness import read_readiness
from airproof.vehicle.answers.refusals import REFUSED, read_refusal
from airproof.vehicle.bus_log.collected import Collected
from airproof.vehicle.bus_log.heard import UnitHeard
from airproof.vehicle.bus_log.joining import Payload
from airproof.vehicle.items import SINCE_CLEARED, items_announced, items_table
from airproof.vehicle.items.bitmap import SPAN

READINESS, READINESS_THIS_DRIVE = 0x01, 0x41
LONGEST_WAIT_S = 20.0
"""A later answer is to no question that was heard (four times P2*, from memory of ISO 14229-2)."""

MOST_KINDS = 200
"""Different sentences that are kept of what could not be read; more are counted together."""

Read = TypeVar("Read")


@dataclass
class _Question:
    data: bytes
    asked_s: float
    pending: set[int] = field(default_factory=set)


class Dialogue:
    """Takes payloads one after the other.

    `unread` counts, by sentence, what could not be read and what was taken for granted.
    """

    def __init__(self) -> None:
        self.units: dict[int, UnitHeard] = {}
        self.live = Collected()
        self.unread: Counter[str] = Counter()
        self.questions = 0
        self._asked: dict[int, _Question] = {}
        self._delays: dict[int, array[float]] = {}
        self._readers: dict[int, Callable[[UnitHeard, Payload, _Question | None], None]] = {
            LIVE: self._live,
            FRAME: self._frame,
            STORED: self._codes,
            PENDING: self._codes,
            PERMANENT: self._codes,
            CLEAR: self._cleared,
            newer.CLEAR_CODES: self._cleared,
            MONITOR_RESULTS: self._results,
            CAR_INFORMATION: self._information,
            BY_IDENTIFIER: self._identified,
            newer.READ_CODES: self._report,
        }

    def take(self, payload: Payload) -> None:
        """One question or answer."""
        if not payload.data:
            return
        if payload.is_question:
            self.questions += 1
            self._asked[payload.identifier] = _Question(payload.data, payload.last_s)
            return
        unit = self.units.get(payload.identifier)
        if unit is None:
            name = payload.addresses.name(payload.identifier)
            unit = self.units[payload.identifier] = UnitHeard(payload.identifier, name)
        unit.answers += 1
        try:
            if payload.data[0] == REFUSED:
                self._refused(unit, payload)
                return
            service = payload.data[0] - ANSWERED
            reader = self._readers.get(service)
            if reader is None:
                self.note(f"answers to service {service & 0xFF:02X}, which is not read here")
                return
            reader(unit, payload, self._question_of(payload, service))
        except UnusableAnswer as fault:
            self.note(f"{fault.given}; wanted: {fault.wanted}")

    def end(self) -> None:
        """All has been taken: what needs the whole is made up."""
        for identifier, delays in self._delays.items():
            self.units[identifier].delay_s = float(np.median(delays))
        for unit in self.units.values():
            unit.full_scales = self.live.full_scales(unit.identifier)
            last = {number: self.live.last(unit.identifier, number) for number in SINCE_CLEARED}
            unit.since_cleared = {number: data for number, data in last.items() if data is not None}

    def note(self, sentence: str, times: int = 1) -> None:
        """Count a sentence; of very many different ones the rest is counted together."""
        if sentence not in self.unread and len(self.unread) >= MOST_KINDS:
            sentence = "more of other kinds"
        self.unread[sentence] += times

    def _question_of(self, payload: Payload, service: int) -> _Question | None:
        """The latest question that this can be the answer to: to the unit alone, or to all."""
        addresses = payload.addresses
        found: _Question | None = None
        for identifier in (addresses.functional, addresses.question_to(payload.identifier)):
            one = self._asked.get(identifier)
            if one is None or one.data[0] != service or not 0.0 <= payload.first_s - one.asked_s <= LONGEST_WAIT_S:
                continue
            if found is None or one.asked_s > found.asked_s:
                found = one
        return found

    def _moment(self, payload: Payload, question: _Question | None) -> float:
        """When the values of an answer were true: half way from the question, as the link reckons it.

        After "answer pending", or where the question is not in the log, it is the answer's first frame.
        """
        if question is None or payload.identifier in question.pending:
            return payload.first_s
        self._delays.setdefault(payload.identifier, array("d")).append(payload.first_s - question.asked_s)
        return 0.5 * (question.asked_s + payload.first_s)

    def _live(self, unit: UnitHeard, payload: Payload, question: _Question | None) -> None:
        items = _read_items(read_live, payload.data, _items_asked(question))
        self._keep_live(unit, items, self._moment(payload, question))

    def _keep_live(self, unit: UnitHeard, items: Items, moment: float) -> None:
        for sentence in items.assumed:
            self.note(sentence)
        for number, data in items.parts:
            if number % SPAN == 0:
                unit.announced |= items_announced(number, data)
            elif number == READINESS and len(data) >= 4:
                unit.now.readiness = read_readiness(data)
                unit.now.heard_s["readiness"] = moment
            elif number == READINESS_THIS_DRIVE and len(data) >= 4:
                unit.now.readiness_this_drive = read_readiness(data)
            if number not in items_table():
                self.note(f"item {number:02X} of {unit.name}, which is not in the table")
            elif number % SPAN:
                self.live.add(unit.identifier, number, moment, data)

    def _frame(self, unit: UnitHeard, payload: Payload, question: _Question | None) -> None:
        unit.now.take_frame(_read_items(read_frame, payload.data, _items_asked(question)))
        unit.now.heard_s["frames"] = payload.last_s

    def _codes(self, unit: UnitHeard, payload: Payload, _: _Question | None) -> None:
        codes = read_codes(payload.data, "forgiving")
        for sentence in codes.assumed:
            self.note(sentence)
        unit.now.take_codes(codes)
        unit.now.heard_s["codes"] = payload.last_s

    def _cleared(self, unit: UnitHeard, payload: Payload, _: _Question | None) -> None:
        unit.cleared(payload.first_s)

    def _results(self, unit: UnitHeard, payload: Payload, _: _Question | None) -> None:
        self._keep_results(unit, read_monitor_results(payload.data, "forgiving"))

    def _keep_results(self, unit: UnitHeard, found: MonitorResults) -> None:
        for sentence in found.assumed:
            self.note(sentence)
        unit.now.results.update({(one.monitor, one.test): one for one in found.results})

    def _information(self, unit: UnitHeard, payload: Payload, _: _Question | None) -> None:
        self._keep_information(unit, read_car_information(payload.data, "forgiving"), payload)

    def _keep_information(self, unit: UnitHeard, found: CarInformation, payload: Payload) -> None:
        for sentence in found.assumed:
            self.note(sentence)
        unit.information[found.number] = found
        if found.number == VIN:
            unit.vin_s = payload.last_s

    def _identified(self, unit: UnitHeard, payload: Payload, question: _Question | None) -> None:
        unit.new_style = True
        found = _read_items(newer.read_by_identifier, payload.data, _items_asked(question))
        if isinstance(found, Items):
            self._keep_live(unit, found, self._moment(payload, question))
        elif isinstance(found, MonitorResults):
            self._keep_results(unit, found)
        elif isinstance(found, newer.Further):
            unit.further[found.number] = found.data
            self.note(f"identifier F5{found.number:02X} of {unit.name}: kept as it came, its layout is not known here")
        else:
            self._keep_information(unit, found, payload)

    def _report(self, unit: UnitHeard, payload: Payload, question: _Question | None) -> None:
        unit.new_style = True
        if payload.data[1:2] == bytes([newer.FRAME_OF_CODE]):
            frame = newer.read_frame_of_code(payload.data, "forgiving")
            for sentence in frame.assumed:
                self.note(sentence)
            unit.now.take_frames_of(frame)
            unit.now.heard_s["frames"] = payload.last_s
            return
        report = newer.read_code_report(payload.data, "forgiving")
        for sentence in report.assumed:
            self.note(sentence)
        if report.kind != newer.SUPPORTED:
            by_status = question is not None and question.data[1:2] == bytes([newer.BY_STATUS])
            asked = question.data[2] if question is not None and by_status and len(question.data) > 2 else 0
            unit.now.take_report(report, asked)
            unit.now.heard_s["codes"] = payload.last_s

    def _refused(self, unit: UnitHeard, payload: Payload) -> None:
        refusal = read_refusal(payload.data)
        if refusal.is_pending:
            question = self._question_of(payload, refusal.service)
            if question is not None:
                question.pending.add(unit.identifier)
            return
        unit.refusals[refusal.service, refusal.says] += 1


def _read_items(read: Callable[..., Read], payload: bytes, asked: tuple[int, ...]) -> Read:
    """The items of an answer; where they are not those asked for, another tester's question was heard last."""
    try:
        return read(payload, asked, "forgiving")
    except UnusableAnswer:
        return read(payload, (), "forgiving")


def _items_asked(question: _Question | None) -> tuple[int, ...]:
    """The items that a question asks for; none where it is not known or asks for something else."""
    if question is None:
        return ()
    service, rest = question.data[0], question.data[1:]
    if service == LIVE:
        return tuple(rest)
    if service == FRAME:
        return tuple(rest[::2])
    if service == BY_IDENTIFIER and rest[::2] == bytes([LIVE_IDENTIFIERS >> 8]) * (len(rest) // 2):
        return tuple(rest[1::2])
    return ()
