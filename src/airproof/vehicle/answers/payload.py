"""What all payloads have in common: the service they answer, and how one that cannot be read is refused."""

from __future__ import annotations

from airproof.errors import UnusableAnswer

ANSWERED = 0x40
"""An answer's service is the request's and this (SAE J1979, read in copies of it)."""

SHOWN = 16


def as_hex(payload: bytes) -> str:
    """Bytes as people write them, the first of a long row: "41 0C 1A F8"."""
    shown = payload[:SHOWN].hex(" ").upper() or "nothing"
    return shown if len(payload) <= SHOWN else f"{shown} ... ({len(payload)} bytes)"


def unreadable(payload: bytes, wanted: str, way_out: str = "Ask again.") -> UnusableAnswer:
    """The error for an answer that is not what was wanted."""
    return UnusableAnswer(f"the answer is {as_hex(payload)}", wanted, way_out)


def body_of(payload: bytes, service: int, wanted: str) -> bytes:
    """What follows the service in an answer to it.

    Raises UnusableAnswer for an answer to anything else.
    """
    if not payload or payload[0] != service + ANSWERED:
        raise unreadable(payload, wanted, f"Give an answer to service {service:02X}.")
    return payload[1:]
