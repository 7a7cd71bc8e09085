"""Diagnostic trouble codes as the bus carries them and as people write them.

Bits 15 and 14 are the letter, 13 and 12 the first digit, then three hexadecimal digits: 01 06 is P0106 (SAE J2012,
ISO 15031-6; read, with the example 01 35 for P0135, at talk.maemo.org, showpost 1257514). SAE J1979-2 adds a third, the
type of failure, written behind a dash: P0106-17.
"""

from __future__ import annotations

from airproof.errors import UnusableRequest
from airproof.knowledge.lookup import code_in

LETTERS = "PCBU"
NO_CODE = 0
"""What fills a slot without a code."""


def code_text(number: int) -> str:
    """The code that a number of two bytes stands for: 0x0106 is "P0106"."""
    return f"{LETTERS[number >> 14 & 3]}{number >> 12 & 3}{number & 0xFFF:03X}"


def code_number(text: str) -> int:
    """The two bytes of a code in any spelling of it, as one number.

    Raises UnusableRequest for what is no code.
    """
    code = code_in(text)
    if code is None:
        raise UnusableRequest(f"{text!r} is not a code", "a letter and four digits, such as P0106", "Look again.")
    return LETTERS.index(code[0]) << 14 | int(code[1]) << 12 | int(code[2:], 16)


def code_with_failure(number: int) -> tuple[str, int]:
    """The code and its type of failure from a number of three bytes."""
    return code_text(number >> 8), number & 0xFF
