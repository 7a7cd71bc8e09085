"""Clearing codes: the one thing that changes the car, and all that has to come before it.

Everything readable is read and saved first; then it is asked for twice; then the engine must stand. Only here a permit
for the guard is made, it holds for a moment, and it lets one frame pass.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from airproof.errors import NotAllowed, Unreachable, UnusableAnswer
from airproof.vehicle.answers.live import BY_IDENTIFIER, LIVE, LIVE_IDENTIFIERS, read_identified, read_live
from airproof.vehicle.answers.refusals import read_refusal
from airproof.vehicle.items import decode_one, items_table
from airproof.vehicle.link.clock import Clock
from airproof.vehicle.link.finding import Found
from airproof.vehicle.link.questions import Answer, Link

OLDER, NEWER = b"\x04", b"\x14\xff\xff\x33"
HOLDS_S = 2.0
"""How long a permit holds: judged, Airproof authors, since an engine that stands is not started within that time."""

LOST = (
    "stored and pending codes, and the freeze frames with them",
    "readiness: every monitor has to look again, which takes some days of driving; an inspection may refuse the car",
    "monitor results, and the distance and warm-ups since codes were cleared",
    "in many cars what the control unit has learnt, so that it may idle or shift differently for a while",
)
"""What clearing resets (SAE J1979 service 04, from memory; the last one common practice, no source)."""

CAUTION = (
    "Clearing mends nothing. In some places it is forbidden to hide a fault before an inspection or a sale: follow the "
    "law there. Permanent codes stay until the car has found itself sound."
)

_ENGINE_SPEED = 0x0C
_SEAL = object()


class ClearPermit:
    """Lets one frame that clears pass the guard, soon."""

    def __init__(self, seal: object, clock: Clock) -> None:
        if seal is not _SEAL:
            raise NotAllowed("a permit of one's own making", "one that clearing gives", "Follow its steps.")
        self._clock = clock
        self._until_s = clock.now() + HOLDS_S
        self._used = False

    def use(self) -> None:
        """Take it up. Raises NotAllowed if it was used before or has gone stale."""
        if self._used or self._clock.now() > self._until_s:
            raise NotAllowed(
                "a permit that was used or has gone stale", "one given just now", "Begin again with reading out."
            )
        self._used = True


@dataclass(frozen=True)
class Cleared:
    """What each unit said: True where it has cleared, else why not."""

    units: dict[str, bool | str]

    @property
    def all_of_them(self) -> bool:
        """Whether every unit that answered has cleared, and one did."""
        return bool(self.units) and all(said is True for said in self.units.values())


class Clearing:
    """The steps to clearing, in their order: saved, confirm, confirm, carry_out."""

    def __init__(self, link: Link, found: Found) -> None:
        self._link = link
        self._found = found
        self._saved = False
        self._confirmed = 0

    def saved(self, where: Path) -> None:
        """Everything readable has been read and lies there. Raises NotAllowed where nothing does."""
        if not where.is_file() or where.stat().st_size == 0:
            raise NotAllowed(f"nothing is saved in {where}", "the readout, saved", "Read out and save first.")
        self._saved = True

    def confirm(self) -> None:
        """Somebody has seen what is lost, and wants it. Needed twice, after the readout was saved."""
        if not self._saved:
            raise NotAllowed("clearing was asked for before anything was saved", "the readout first", "Read out first.")
        self._confirmed += 1

    def carry_out(self) -> Cleared:
        """Clear. Raises NotAllowed where a step is missing, the engine turns, or nobody knows whether it does."""
        if not self._saved or self._confirmed < 2:
            raise NotAllowed(
                f"clearing was asked for {self._confirmed} times" if self._saved else "nothing was saved",
                "the readout saved, and clearing asked for twice",
                "Nothing was cleared.",
            )
        self._saved, self._confirmed = False, 0
        self._engine_must_stand()
        styles = {unit.new_style for unit in self._found.units}  # older and newer units may sit in one car
        answers: list[Answer] = []
        try:
            for newer in sorted(styles):
                answers += self._link.clear(NEWER if newer else OLDER, ClearPermit(_SEAL, self._link.clock))
        except Unreachable as fault:
            raise Unreachable(
                f"{fault.given}, just as codes were to be cleared: whether they were is not known",
                fault.wanted,
                "Plug it in again and read the codes. All that was there before is saved.",
            ) from fault
        said: dict[str, bool | str] = {}
        for one in answers:
            name = self._link.addresses.name(one.unit)
            if said.get(name) is not True:  # an older unit may well refuse what the newer ones are told
                said[name] = True if one.refused is None else read_refusal(one.payload).says
        return Cleared(said)

    def _engine_must_stand(self) -> None:
        speeds = [
            speed for unit in self._found.units if (speed := self._speed(unit.id, newer=unit.new_style)) is not None
        ]
        if not speeds or max(speeds) > 0.0:
            given = (
                f"the engine turns at {max(speeds):.0f} 1/min" if speeds else "no unit tells whether the engine turns"
            )
            raise NotAllowed(given, "key on, engine off", "Nothing was cleared. Switch the engine off, key on, again.")

    def _speed(self, unit: int, *, newer: bool) -> float | None:
        question = (
            bytes([BY_IDENTIFIER]) + (LIVE_IDENTIFIERS + _ENGINE_SPEED).to_bytes(2, "big")
            if newer
            else bytes([LIVE, _ENGINE_SPEED])
        )
        for answer in self._link.ask(question, unit, tries=4):
            if answer.refused is not None:
                return None
            try:
                items = (read_identified if newer else read_live)(answer.payload, (_ENGINE_SPEED,))
                return decode_one(items_table()[_ENGINE_SPEED], dict(items.parts)[_ENGINE_SPEED]).get("engine_speed")
            except (UnusableAnswer, KeyError):
                return None
        return None
