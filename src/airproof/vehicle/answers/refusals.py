"""Refusals: 7F, the service refused, and why (ISO 14229-1; read in several listings that agree).

On CAN an item that a car does not have is normally met by silence, not by a refusal (from memory of SAE J1979).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import tomli

from airproof.vehicle.answers.payload import unreadable

REFUSED = 0x7F
PENDING = 0x78
BUSY = 0x21
LENGTH = 3


@dataclass(frozen=True)
class Refusal:
    """A request that was not done: which service, the standard's number for why, and that in words."""

    service: int
    code: int
    says: str

    @property
    def is_pending(self) -> bool:
        """Whether the answer is still to come: wait for it, and do not ask again."""
        return self.code == PENDING

    @property
    def is_busy(self) -> bool:
        """Whether the unit asks to be asked again later."""
        return self.code == BUSY


@cache
def _reasons() -> dict[int, str]:
    raw = tomli.loads((files("airproof.vehicle.answers") / "data" / "refusals.toml").read_text(encoding="utf-8"))
    return {int(number, 16): says for number, says in raw["reasons"].items()}


def refusal_answer(service: int, code: int) -> bytes:
    """The answer that refuses a service."""
    return bytes([REFUSED, service, code])


def is_refusal(payload: bytes) -> bool:
    """Whether an answer refuses."""
    return payload[:1] == bytes([REFUSED])


def read_refusal(payload: bytes) -> Refusal:
    """What an answer refuses and why.

    Raises UnusableAnswer where it is none, or is cut short.
    """
    if not is_refusal(payload) or len(payload) < LENGTH:
        raise unreadable(payload, "a refusal: 7F, the service, and why")
    _, service, code = payload[:LENGTH]
    return Refusal(service, code, _reasons().get(code, f"reason {code:02X}, which is not in the list"))
