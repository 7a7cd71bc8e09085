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

TRIES, TRIES_WHERE_THERE = 2, 4
"""Judged: Airproof authors: silence mostly means that there is nothing; where a unit announced something, a frame got
lost, and on a bad bus more than once."""

STARTS_ANEW_S, MOST_PAUSES = 2.5, 3
"""Then it may be starting anew, which takes some seconds (common practice, no source); but it is not waited for at each
question of a unit that announces more than it answers."""


class Asking:
    """Questions to one unit. Silence is no fault; a refusal and an answer that cannot be read become remarks."""

    def __init__(self, link: Link, unit: Unit, into: UnitReadout) -> None:
        self._link = link
        self._unit = unit
        self._into = into
        self._pauses = MOST_PAUSES

    def read(self, question: bytes, reader: Callable[[bytes], Read], *, there: str = "") -> Read | None:
        """The answer as `reader` reads it; None where there is none, or none that it can read.

        `there` names in words what the unit is known to have: it is asked for more often, and told of where it does not
        come. Raises Unreachable where the adapter is gone.
        """
        for last_try in (False, True):
            payload = self._ask(question, there)
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

    def _ask(self, question: bytes, there: str) -> bytes | None:
        """The positive answer; None where there is none."""
        tries = TRIES_WHERE_THERE if there else TRIES
        answers = self._link.ask(question, self._unit.id, tries=tries)
        if not answers and there and self._pauses:
            self._pauses -= 1
            self._link.clock.sleep(STARTS_ANEW_S)
            answers = self._link.ask(question, self._unit.id, tries=tries)
        if not answers:
            if there:
                self._into.remarks.append(f"{self._unit.name} did not answer for {there}: read it again")
            return None
        (answer,) = answers
        if answer.refused is None:
            return answer.payload
        why = read_refusal(answer.payload).says
        if answer.refused not in NOT_THERE:
            self._into.remarks.append(f"{self._unit.name} refused {question.hex(' ').upper()}: {why}")
        elif there:
            self._into.remarks.append(f"{self._unit.name} has no {there}, though it announces that ({why})")
        return None
