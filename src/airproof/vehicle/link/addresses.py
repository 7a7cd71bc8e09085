"""The legislated diagnostic addresses on CAN, with 11 and with 29 bits.

Source: CHECK values of ISO 15765-4 as read in secondary pages: 11-bit functional 7DF, physical 7E0 to 7E7, answers
7E8 to 7EF, which is the request plus 8; 29-bit functional 18DB33F1, physical 18DAxxF1; answers 18DAF1xx from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

TESTER = 0xF1


@dataclass(frozen=True)
class Addresses:
    """Addresses of one width. A control unit is known by the identifier of its answers."""

    extended: bool

    @property
    def width(self) -> int:
        """Bits of an identifier."""
        return 29 if self.extended else 11

    @property
    def functional(self) -> int:
        """The identifier of a question to all control units."""
        return 0x18DB33F1 if self.extended else 0x7DF

    def is_answer(self, identifier: int, *, extended: bool) -> bool:
        """Whether a frame with this identifier comes from a control unit and is meant for a tester."""
        if extended != self.extended:
            return False
        if extended:
            return identifier & 0x1FFFFF00 == 0x18DA0000 | TESTER << 8
        return 0x7E8 <= identifier <= 0x7EF

    def is_question(self, identifier: int, *, extended: bool) -> bool:
        """Whether a tester sends with this identifier."""
        if extended != self.extended:
            return False
        if identifier == self.functional:
            return True
        if extended:
            return identifier & 0x1FFF00FF == 0x18DA0000 | TESTER
        return 0x7E0 <= identifier <= 0x7E7

    def question_to(self, unit: int) -> int:
        """The identifier of a question to one control unit."""
        return 0x18DA0000 | (unit & 0xFF) << 8 | TESTER if self.extended else unit - 8

    def answer_of(self, question: int) -> int:
        """The identifier that a unit answers with when it is asked with this one."""
        return 0x18DA0000 | TESTER << 8 | (question >> 8 & 0xFF) if self.extended else question + 8

    @property
    def filters(self) -> list[dict[str, int | bool]]:
        """Filters of the back-end that let only answers pass."""
        if self.extended:
            return [{"can_id": 0x18DA0000 | TESTER << 8, "can_mask": 0x1FFFFF00, "extended": True}]
        return [{"can_id": 0x7E8, "can_mask": 0x7F8, "extended": False}]

    def name(self, unit: int) -> str:
        """A control unit as technicians write it: 7E8, 18DAF110."""
        return f"{unit:08X}" if self.extended else f"{unit:03X}"


ELEVEN, TWENTY_NINE = Addresses(extended=False), Addresses(extended=True)
BOTH = (ELEVEN, TWENTY_NINE)
