"""Stored, pending and permanent codes: services 03, 07 and 0A; and clearing them, service 04.

On CAN a byte with the number of codes stands before them; without CAN there is none, and slots come in threes, filled
up with 0000 (read in a forum thread that quotes a manual, and gives a real car's CAN answer 43 02 01 02 01 13). Read
without that byte, the CAN answer would tell of P0201 and P0201 in place of P0102 and P0113.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from airproof.vehicle.answers.code_text import NO_CODE, code_number, code_text
from airproof.vehicle.answers.payload import ANSWERED, as_hex, unreadable
from airproof.vehicle.items.decode import Mode

STORED, CLEAR, PENDING, PERMANENT = 0x03, 0x04, 0x07, 0x0A
STATUSES = {STORED: "stored", PENDING: "pending", PERMANENT: "permanent"}
"""The service that asks for codes, and their status as the rest of Airproof calls it."""

_MOST = 255
_WANTED = "codes: 43, 47 or 4A, the number of codes, and two bytes each"


@dataclass(frozen=True)
class Codes:
    """The codes of one answer, as people write them, and their status; `assumed` what was taken for granted."""

    status: str
    codes: tuple[str, ...]
    assumed: tuple[str, ...] = ()


def codes_answer(service: int, codes: Sequence[str]) -> bytes:
    """The answer on CAN that carries these codes."""
    numbers = b"".join(code_number(code).to_bytes(2, "big") for code in codes)
    return bytes([service + ANSWERED, min(len(codes), _MOST)]) + numbers


def read_codes(payload: bytes, mode: Mode = "strict") -> Codes:
    """The codes in an answer of service 03, 07 or 0A on CAN.

    The forgiving mode also reads answers whose number of codes is wrong, or is missing as it is without CAN.
    Raises UnusableAnswer for another service, and in the strict mode where count and codes do not agree.
    """
    service = payload[0] - ANSWERED if payload else None
    if service not in STATUSES:
        raise unreadable(payload, _WANTED, "Give an answer to service 03, 07 or 0A.")
    body = payload[1:]
    if body and len(body) == 1 + 2 * body[0]:
        return Codes(STATUSES[service], _codes_in(body[1:]))
    if mode == "strict":
        raise unreadable(payload, _WANTED, "Ask again, or read it in the forgiving mode.")
    slots = body
    if not body:
        says = "ends before the number of codes: read as none"
    elif len(body) % 2 == 0:
        says = "has no number of codes in front, as it is without CAN: read as slots of two bytes"
    else:
        slots, says = body[1:], f"announces {body[0]} codes and holds {len(body) // 2}: all it holds were read"
    return Codes(STATUSES[service], _codes_in(slots), (f"{as_hex(payload)} {says}",))


def _codes_in(slots: bytes) -> tuple[str, ...]:
    """The codes in slots of two bytes; empty ones are passed over."""
    numbers = [int.from_bytes(slots[at : at + 2], "big") for at in range(0, len(slots), 2)]
    return tuple(code_text(number) for number in numbers if number != NO_CODE)
