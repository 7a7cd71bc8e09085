"""One unit asked, and what it did not answer kept in words."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from airproof.errors import UnusableAnswer
from airproof.vehicle.answers.refusals import read_refusal
from airproof.vehicle.link.finding import Unit
from airproof.vehicle.link.questions import NOT_THERE, Link
from airproof.vehicle.readout.readout import UnitReadout

Read = TypeVar("Read")


class Asking:
    """Questions to one unit. Silence is no fault; a refusal and an answer that cannot be read become remarks."""

    def __init__(self, link: Link, unit: Unit, into: UnitReadout) -> None:
        self._link = link
        self._unit = unit
        self._into = into

    def ask(self, question: bytes) -> bytes | None:
        """The positive answer; None where there is none. Raises Unreachable where the adapter is gone."""
        answers = self._link.ask(question, self._unit.id)
        if not answers:
            return None
        (answer,) = answers
        if answer.refused is None:
            return answer.payload
        if answer.refused in NOT_THERE:
            return None
        why = read_refusal(answer.payload).says
        self._into.remarks.append(f"{self._unit.name} refused {question.hex(' ').upper()}: {why}")
        return None

    def read(self, question: bytes, reader: Callable[[bytes], Read]) -> Read | None:
        """The answer as `reader` reads it; None where there is none, or none that it can read."""
        for last_try in (False, True):
            payload = self.ask(question)
            if payload is None:
                return None
            try:
                found = reader(payload)
            except UnusableAnswer as fault:
                if last_try:
                    self._into.remarks.append(f"{self._unit.name}: {fault}")
                continue
            assumed = getattr(found, "assumed", ())
            if assumed and not last_try:  # a byte may have got lost; what comes twice is meant
                continue
            self._into.remarks += [f"{self._unit.name}: {line}" for line in assumed]
            return found
        return None
